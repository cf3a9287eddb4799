"""A canvas to draw on: SVG through the standard library's XML tools.

Coordinates are pixels at normal size, x to the right and y downwards. A canvas scales to the width that it is
given and never below its normal size, so that what is legible once stays legible on a projector. Text goes
through the XML writer, never pasted into markup, so no name of a job can break a picture or slip a script in.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from functools import cache, lru_cache
from xml.etree.ElementTree import Element, SubElement, tostring

from lessonkit.draw.palette import INK, PAPER, Look

__all__ = ["TEXT_PX", "Canvas", "number", "text_width"]

TEXT_PX = 16.0
"""Size of ordinary text; nothing is written smaller than 14 px."""

_FONT = "system-ui, 'Segoe UI', 'DejaVu Sans', Arial, sans-serif"


@lru_cache(maxsize=4096)  # a picture has few coordinates, and each of them many times
def number(value: float) -> str:
    """Return a coordinate with one decimal at most, so that a picture is the same on every machine.

    >>> number(3.0), number(2.25)
    ('3', '2.2')
    """
    text = f"{value:.1f}"
    return text[:-2] if text.endswith(".0") else text


def text_width(words: str, size: float = TEXT_PX, bold: bool = False) -> float:
    """Return about how wide words are, in a font that runs wide."""
    narrow = sum(1 for letter in words if letter in " .,:;|ijlft'")
    return size * (0.64 * len(words) - 0.26 * narrow) * (1.1 if bold else 1.0)


class Canvas:
    """One SVG picture in the making.

    Parameters: size in pixels; `title` names the picture, `words` tell what it shows to those who
    can't see it.
    """

    def __init__(self, width: float, height: float, title: str, words: str, **more: str) -> None:
        self.width, self.height = width, height
        size = f"width:100%;min-width:{number(width * 0.8)}px;max-width:{number(width * 1.35)}px;height:auto"
        self.root = Element(
            "svg",
            {
                "xmlns": "http://www.w3.org/2000/svg",
                "viewBox": f"0 0 {number(width)} {number(height)}",
                "role": "img",
                "aria-label": f"{title}. {words}",
                "font-family": _FONT,
                "font-size": number(TEXT_PX),
                "style": size,
                **_names(more),
            },
        )
        SubElement(self.root, "title").text = title
        SubElement(self.root, "desc").text = words
        self._into = self.root
        self.rect(0, 0, width, height, fill=PAPER)

    def __str__(self) -> str:
        """Return the picture as text."""
        return tostring(self.root, encoding="unicode")

    def add(self, tag: str, **attributes: float | str | None) -> Element:
        """Add an element; attributes that are None are left out, `_` in a name stands for `-`."""
        return SubElement(self._into, tag, _names(attributes))

    @contextmanager
    def group(self, title: str = "", **attributes: float | str | None) -> Iterator[Element]:
        """Draw what follows inside a group; a `title` shows when the mouse rests on it."""
        outer, self._into = self._into, self.add("g", **attributes)
        if title:
            self.add("title").text = title
        try:
            yield self._into
        finally:
            self._into = outer

    def text(
        self,
        x: float,
        y: float,
        words: str,
        *,
        size: float = TEXT_PX,
        anchor: str = "start",
        fill: str = INK,
        bold: bool = False,
        turn: float = 0.0,
        halo: bool = False,
    ) -> None:
        """Write words with their baseline at y; `halo` puts paper behind them, `turn` is in degrees."""
        if halo:
            wide = text_width(words, size, bold) + 6
            left = x - {"start": 3, "middle": wide / 2, "end": wide - 3}[anchor]
            self.rect(left, y - size * 0.8, wide, size, fill=PAPER)
        self.add(
            "text",
            x=x,
            y=y,
            font_size=None if size == TEXT_PX else size,
            text_anchor=None if anchor == "start" else anchor,
            fill=None if fill == INK else fill,
            font_weight="bold" if bold else None,
            transform=f"rotate({number(turn)} {number(x)} {number(y)})" if turn else None,
        ).text = words

    def rect(self, x: float, y: float, w: float, h: float, **more: float | str | None) -> None:
        """Draw a box from its upper left corner."""
        self.add("rect", x=x, y=y, width=w, height=h, **more)

    def circle(self, x: float, y: float, r: float, **more: float | str | None) -> None:
        """Draw a circle."""
        self.add("circle", cx=x, cy=y, r=r, **more)

    def path(
        self, points: Iterable[tuple[float, float]], look: Look | None = None, **more: float | str | None
    ) -> None:
        """Draw straight lines from point to point, as a look says or with attributes of your own."""
        given = {"fill": "none", **more} if look is None else {**_strokes(look), **more}
        self.add("polyline", points=" ".join([f"{x:.1f},{y:.1f}" for x, y in points]), **given)

    def line(
        self,
        x1: float,
        y1: float,
        x2: float,
        y2: float,
        look: Look | None = None,
        **more: float | str | None,
    ) -> None:
        """Draw one straight line."""
        given = {"stroke": INK, "stroke_width": 2, **more} if look is None else {**_strokes(look), **more}
        self.add("line", x1=x1, y1=y1, x2=x2, y2=y2, **given)


def _strokes(look: Look) -> dict[str, float | str | None]:
    dash = look.dash or None
    return {"fill": "none", "stroke": look.colour, "stroke_width": look.width, "stroke_dasharray": dash}


@cache
def _name(name: str) -> str:
    return name.rstrip("_").replace("_", "-")


def _names(attributes: dict[str, float | str | None] | dict[str, str]) -> dict[str, str]:
    return {
        _name(name): value if isinstance(value, str) else number(value)
        for name, value in attributes.items()
        if value is not None
    }
