"""A still picture: pixels for the eye, and words that say the same.

A notebook, a page and a screen reader all take it from here. Pixels come from matplotlib without its window
part, so that a picture is the same in JupyterLab, in a test and on a machine with no screen.
"""

from __future__ import annotations

import base64
import io
from dataclasses import dataclass
from pathlib import Path

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from lessonkit.draw.image import MOST, image_html
from lessonkit.draw.palette import INK, PAPER, SOFT

__all__ = ["Still", "axes", "plainly"]

TEXT_PT = 12.0
_DPI = 110.0


@dataclass(frozen=True)
class Still:
    """A picture and its text alternative.

    `figure` is matplotlib's; `words` says in a sentence or two what it shows. Shown last in a cell, it is an
    image with its words behind it; printed, it is the words.
    """

    figure: Figure
    words: str

    def png(self, dpi: float = _DPI) -> bytes:
        """Return the picture as PNG."""
        stream = io.BytesIO()
        self.figure.savefig(stream, format="png", dpi=dpi, metadata={"Software": None})
        return stream.getvalue()

    def save(self, path: Path | str, dpi: float = _DPI) -> None:
        """Write the picture to a PNG file."""
        Path(path).write_bytes(self.png(dpi))

    def _repr_html_(self) -> str:
        data = base64.b64encode(self.png()).decode("ascii")
        # At most as wide as its pixels; on a phone wide enough for its letters, and scrolled.
        width = self.figure.get_figwidth() * _DPI / MOST
        return image_html(f"data:image/png;base64,{data}", self.words, width)

    def __repr__(self) -> str:
        return self.words


def plainly(value: float, _: object = None) -> str:
    """Return a number of an axis with its zeros, such as 0.001: powers of ten are not for all readers."""
    return f"{value:.9f}".rstrip("0").rstrip(".")


def axes(width_in: float = 8.0, height_in: float = 3.6, rows: int = 1) -> tuple[Figure, list[Axes]]:
    """Return a figure and its axes, one below the other, in the look of all still pictures."""
    figure = Figure(figsize=(width_in, height_in), layout="constrained", facecolor=PAPER)
    made = [figure.add_subplot(rows, 1, row + 1) for row in range(rows)]
    for one in made:
        one.tick_params(labelsize=TEXT_PT - 1, colors=INK)
        one.spines[["top", "right"]].set_visible(False)
        one.grid(True, color=SOFT, alpha=0.2, linewidth=0.8)
        one.xaxis.label.set_fontsize(TEXT_PT)
        one.yaxis.label.set_fontsize(TEXT_PT)
    return figure, made
