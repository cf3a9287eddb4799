"""The triangle of volts: its sides are those of a hand case and of the bench's solver."""

from __future__ import annotations

import math

import pytest

from lessonkit.copper.elements import Resistance, Source, Winding
from lessonkit.copper.network import Network, solve
from lessonkit.draw.triangle import triangle_picture
from lessonkit.errors import LessonError


def test_sides_of_a_hand_case() -> None:
    """Splice 9 ohm, copper 6, reactance 8: the whole is 17 ohm, as in the triangle 8, 15, 17.

    25.5 V drive 1.5 A: 13.5 V across the splice and 15 V across the coil.
    """
    words = triangle_picture(25.5, 9, 10, 6).words
    assert "the splice, 13.5 V" in words
    assert "the coil, 15.0 V" in words
    assert "make 28.5 V in line" in words


def test_sides_are_those_of_the_solver() -> None:
    """The coil's side is what the circuit solver finds for the same splice and coil."""
    x_ohm = math.sqrt(19.2**2 - 10**2)
    parts = (
        Source("supply", "near", "C", 1e-6, complex(26.0)),
        Resistance("splice", "near", "coil", 8.0),
        Winding("coil", "coil", "C", 10.0, x_ohm / (2 * math.pi * 60)),
    )
    volts = abs(solve(Network(parts, "C"), 60.0).v("coil"))
    assert f"the coil, {volts:.1f} V" in triangle_picture(26.0, 8, 19.2, 10).words


def test_a_coil_is_more_than_its_copper() -> None:
    """An impedance below the copper's ohms is refused with a sentence."""
    with pytest.raises(LessonError, match="below the impedance"):
        triangle_picture(26.0, 8, 10, 19.2)
    with pytest.raises(LessonError, match="splice_ohm"):
        triangle_picture(26.0, 0, 19.2, 10)


def test_picture_and_words_come_together() -> None:
    """The picture is drawn, and says the same in words."""
    still = triangle_picture(25.5, 9, 10, 6)
    assert still.png(dpi=40).startswith(b"\x89PNG")
    assert still.words in repr(still)
