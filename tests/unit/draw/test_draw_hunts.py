"""Pictures of a search: they draw the bits, minutes and chances that it has, and say the same in words."""

from __future__ import annotations

import numpy as np
import pytest

from lessonkit.draw.hunts import bits_picture, chances_picture, split_picture
from lessonkit.errors import LessonError
from lessonkit.studies.find import Search
from lessonkit.studies.hunt import box_hunt

FAULTS = ["outdoor.R=open", "outdoor.SIG=open", "air.encoder=dead", "out.relay-board=dead"]


def test_bits_are_drawn_best_first() -> None:
    """Bars are bits and marks bits a minute, the best for its minutes on top; words name both winners."""
    run = box_hunt([1, 1, 1, 1, 1, 1, 1, 7], [2, 2, 2, 2, 2, 2, 12])
    still, scores = bits_picture(run), run.scores()
    (ax,) = still.figure.axes
    assert [bar.get_width() for bar in ax.patches] == pytest.approx([score.bits for score in scores])
    marks = np.asarray(ax.lines[0].get_xdata(), dtype=float)
    assert marks == pytest.approx([score.bits_a_minute for score in scores])
    assert "The most bits at once: box 7; the most bits a minute: box 6." in still.words
    assert ax.get_yticklabels()[0].get_text() == "box 6  (2 min)"


def test_nothing_to_draw_is_said() -> None:
    """Where no look tells anything more, there is a sentence instead of an empty picture."""
    with pytest.raises(LessonError, match="nothing to draw"):
        bits_picture(box_hunt([1, 1]).after("box 1", "volts"))


def test_chances_are_drawn_step_by_step() -> None:
    """A bar for each suspect and step, as long as its chance in percent; the words tell the end."""
    search = Search("wire-return", suspects=FAULTS, calls=["cool-1"], call="cool-1", here="air")
    search.read("cool-1: air:SIG-out air:C 0.0 VDC")
    still = chances_picture(search)
    widths = np.array([bar.get_width() for bar in still.figure.axes[0].patches])
    assert len(widths) == 2 * len(FAULTS)
    assert widths[: len(FAULTS)].sum() == pytest.approx(100)
    assert widths.max() == pytest.approx(100 * search.belief.max())
    assert "direct volts air:SIG-out air:C: air.encoder=dead 100 %" in still.words


def test_the_curve_of_a_split() -> None:
    """The curve has its top of 1 bit at one half, and marks 0.81 bits at a quarter."""
    still = split_picture(0.25)
    curve = still.figure.axes[0].lines[0]
    bits = np.asarray(curve.get_ydata(), dtype=float)
    assert bits.max() == pytest.approx(1.0, abs=1e-4)
    assert bits == pytest.approx(bits[::-1])
    assert "0.81 bits at 0.25" in still.words
    with pytest.raises(LessonError, match="between 0 and 1"):
        split_picture(1.5)
