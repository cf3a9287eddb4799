"""Frames: characters and our frame, round trips and every kind of damage."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lessonkit.signal.crc import parity_bit
from lessonkit.signal.frames import (
    SYNC,
    CharacterError,
    Frame,
    FrameError,
    bits_per_character,
    character_levels,
    frame_levels,
    frame_seconds,
    manchester_bits,
    manchester_levels,
    read_character,
    read_levels,
)

BYTE = st.integers(0, 255)
PARITY = st.sampled_from([None, "even", "odd"])


@given(BYTE, BYTE, BYTE, PARITY)
def test_frame_goes_round(address: int, call_bits: int, sequence: int, parity: str | None) -> None:
    """Any frame comes back from its bytes, and its bytes from their levels."""
    frame = Frame(address, call_bits, sequence)
    data = frame.to_bytes()
    assert Frame.from_bytes(data) == frame
    assert read_levels(frame_levels(data, parity), parity) == data


@given(BYTE, BYTE, BYTE, st.sets(st.integers(8, 39), min_size=1, max_size=3))
def test_any_three_wrong_bits_are_noticed(address: int, call: int, sequence: int, where: set[int]) -> None:
    """Hamming distance 4: up to three wrong bits behind the sync never give another frame."""
    data = bytearray(Frame(address, call, sequence).to_bytes())
    for bit in where:
        data[bit // 8] ^= 1 << bit % 8
    with pytest.raises(FrameError) as caught:
        Frame.from_bytes(bytes(data))
    assert caught.value.reason == "check"


def test_damage_is_told_apart() -> None:
    """Length, sync and check each have their own reason and sentence."""
    data = Frame(1, 2, 3).to_bytes()
    with pytest.raises(FrameError, match="has 5 characters, but 4 came in") as caught:
        Frame.from_bytes(data[:-1])
    assert caught.value.reason == "length"
    with pytest.raises(FrameError, match="begins with 0x55, but 0x54 came in") as caught:
        Frame.from_bytes(bytes([SYNC ^ 1]) + data[1:])
    assert caught.value.reason == "sync"
    with pytest.raises(FrameError, match="check should be 0x") as caught:
        Frame.from_bytes(data[:-1] + bytes([data[-1] ^ 0x80]))
    assert caught.value.reason == "check"


def test_all_zeros_and_all_ones_are_no_frame() -> None:
    """A dead or stuck line never looks like a good frame, even behind a lucky sync."""
    for stuck in (0x00, 0xFF):
        with pytest.raises(FrameError):
            Frame.from_bytes(bytes([SYNC, stuck, stuck, stuck, stuck]))


def test_lengths_and_times() -> None:
    """Ten bits a character, eleven with parity; five characters at 1200 baud take 41.7 ms."""
    assert bits_per_character() == 10
    assert bits_per_character("odd") == 11
    assert bits_per_character(None, 2) == 11
    assert frame_seconds(1200) == pytest.approx(50 / 1200)
    assert len(frame_levels(Frame(1, 2, 3).to_bytes(), "even")) == 55
    assert len(frame_levels(b"")) == 0


@pytest.mark.parametrize(("bit", "reason"), [(0, "start"), (9, "parity"), (10, "stop"), (4, "parity")])
def test_character_damage(bit: int, reason: str) -> None:
    """A wrong start, stop, parity or data bit of a character with parity is named."""
    levels = character_levels(0xA6, "even")
    levels[bit] ^= 1
    with pytest.raises(CharacterError) as caught:
        read_character(levels, "even")
    assert caught.value.reason == reason


def test_ragged_levels() -> None:
    """Levels that are no whole number of characters are refused with the numbers."""
    with pytest.raises(FrameError, match="13 levels are not a whole number of 10-bit characters"):
        read_levels([1] * 13)


@given(st.lists(st.integers(0, 1), max_size=40), st.booleans())
def test_manchester_goes_round(bits: list[int], one_rises: bool) -> None:
    """Any bits come back, in either sense."""
    assert manchester_bits(manchester_levels(bits, one_rises=one_rises), one_rises=one_rises).tolist() == bits


def test_parity_bit_counts() -> None:
    """Byte and parity bit together have an even, or an odd, number of ones."""
    for byte in range(256):
        assert (byte.bit_count() + parity_bit(byte, "even")) % 2 == 0
        assert (byte.bit_count() + parity_bit(byte, "odd")) % 2 == 1


def test_numpy_integers_are_integers() -> None:
    """Call bits may come out of an array."""
    assert Frame(np.uint8(1), np.int64(2), 3).to_bytes() == Frame(1, 2, 3).to_bytes()  # type: ignore[arg-type]
