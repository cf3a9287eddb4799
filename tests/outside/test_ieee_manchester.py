"""Manchester code and start-stop characters against their standards.

Sources: IEEE 802.3 clause 7 (a one is low then high, as quoted by teaching pages; the standard itself not
seen), and G. E. Thomas's opposite sense; the eight-bit code of a start-stop line as any serial port sends
it (common practice); ASCII.
"""

from __future__ import annotations

import numpy as np
import pytest

from lessonkit.signal.frames import (
    ManchesterError,
    character_levels,
    frame_levels,
    manchester_bits,
    manchester_levels,
    read_levels,
)


def test_one_rises_zero_falls() -> None:
    """In IEEE 802.3 a 1 is low then high and a 0 is high then low."""
    assert manchester_levels([1]).tolist() == [0, 1]
    assert manchester_levels([0]).tolist() == [1, 0]


def test_preamble_is_a_square_wave() -> None:
    """The 802.3 preamble 1010 becomes a square wave of half the bit rate, and ends in 11."""
    preamble = [1, 0] * 4
    assert manchester_levels(preamble).tolist() == [0, 1, 1, 0] * 4
    delimiter = [1, 0, 1, 0, 1, 0, 1, 1]
    assert manchester_levels(delimiter)[-4:].tolist() == [0, 1, 0, 1]


def test_thomas_is_the_opposite() -> None:
    """After G. E. Thomas, as some glossaries print it, every level is turned round."""
    bits = [1, 1, 0, 1, 0, 0]
    assert (manchester_levels(bits, one_rises=False) == 1 - manchester_levels(bits)).all()
    # Read in the wrong sense, every bit comes out wrong: the sense has to be agreed.
    assert manchester_bits(manchester_levels(bits), one_rises=False).tolist() == [1 - bit for bit in bits]


def test_code_is_free_of_dc() -> None:
    """Every bit is half high, half low, so the mean never wanders, whatever is sent."""
    bits = np.random.default_rng(3).integers(0, 2, 500)
    levels = manchester_levels(bits)
    assert levels.mean() == 0.5
    assert np.abs(np.cumsum(2.0 * levels - 1)).max() <= 2
    assert (manchester_bits(levels) == bits).all()


def test_missing_middle_is_an_error() -> None:
    """Two equal halves are no bit in any sense, and the error names which."""
    with pytest.raises(ManchesterError, match="Bit 1 does not change") as caught:
        manchester_bits([0, 1, 1, 1])
    assert caught.value.bit == 1


def test_letter_a_on_a_start_stop_line() -> None:
    """ASCII A, 0x41, at 8-N-1: start 0, lowest bit first 1000 0010, stop 1 (common practice)."""
    assert "".join(map(str, character_levels(ord("A")))) == "0" + "10000010" + "1"
    # 7-bit teletype habit, even parity: A has two ones, C has three.
    assert character_levels(ord("A"), "even")[9] == 0
    assert character_levels(ord("C"), "even")[9] == 1
    assert read_levels(frame_levels(b"AC", "odd"), "odd") == b"AC"
