"""Pictures of single characters, and of how long frames take."""

from __future__ import annotations

import numpy as np
import pytest

from lessonkit.draw.characters import character_picture, frame_time_picture
from lessonkit.errors import BadParameter
from lessonkit.signal.frames import character_levels


@pytest.mark.parametrize("parity", [None, "even", "odd"])
@pytest.mark.parametrize("number", [0, 5, 11, 128, 255])
def test_the_line_drawn_is_the_line_sent(number: int, parity: str | None) -> None:
    """The steps of the picture are the levels of the character, with rest on either side."""
    plot = character_picture(number, parity).figure.axes[0]
    levels = character_levels(number, parity).tolist()
    assert list(np.asarray(plot.lines[0].get_ydata(), dtype=int)) == [1, 1, *levels, 1, 1, 1]
    written = [text.get_text() for text in plot.texts if text.get_text() in ("0", "1")]
    assert [int(digit) for digit in written if digit].count(0) == levels.count(0)


def test_words_give_bits_in_the_order_on_the_line() -> None:
    """Who can't see the picture gets start, data from the lowest, parity where there is one, and stop."""
    assert "start 0; data, lowest first, 1 0 1 0 0 0 0 0; stop 1." in repr(character_picture(5))
    assert "1 1 0 1 0 0 0 0; parity 1; stop 1." in repr(character_picture(11, "even"))
    assert "The number 11 = 1 + 2 + 8" in repr(character_picture(11))


def test_frame_times_are_bits_over_baud() -> None:
    """Points and words of the picture say the same times: 50 bits at each speed, 55 with parity."""
    shown = frame_time_picture()
    line = shown.figure.axes[0].lines[0]
    assert line.get_ydata() == pytest.approx([50_000 / baud for baud in line.get_xdata()])
    assert "41.7 ms at 1200" in repr(shown)
    assert "has 55 bits" in repr(frame_time_picture(parity="even"))
    with pytest.raises(BadParameter, match="two speeds or more"):
        frame_time_picture([1200])
