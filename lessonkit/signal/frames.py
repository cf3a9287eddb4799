"""Frames: how a call becomes a row of bits on one conductor.

Three layers, each a few lines:

    levels       the line is high (1) or low (0) for the time of a bit; at rest it is high
    characters   start bit 0, eight data bits lowest first, perhaps a parity bit, stop bit 1: "8-N-1".
                 The fall into the start bit tells the receiver when to look, afresh for every character
    frame        five characters: sync, address, call bits, sequence, CRC-8

        sync 0x55   address   call bits   sequence   check of the three before it

The sync character is a square wave, 0 1 0 1 0 1 0 1 0 1 on the line, so that an ear or a scope finds it at
once. The address says whom the frame is for, the sequence counts frames so that a stuck sender shows. At 1200
baud the fifty bits take 42 milliseconds.

Manchester code stands beside it for the lessons: no start bit, a change of level in the middle of every bit.

Sources: start-stop characters as in every asynchronous serial port (common practice); Manchester in the sense
of IEEE 802.3, where a one rises in mid-bit; sync 0x55 is common practice on self-timing serial buses.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lessonkit.errors import BadParameter, LessonError, require
from lessonkit.signal.crc import FRAME_CRC, parity_bit

__all__ = [
    "FRAME_BYTES",
    "SYNC",
    "CharacterError",
    "Frame",
    "FrameError",
    "ManchesterError",
    "bits_per_character",
    "character_levels",
    "frame_levels",
    "frame_seconds",
    "manchester_bits",
    "manchester_levels",
    "read_character",
    "read_levels",
]

SYNC = 0x55
"""First character of every frame."""

FRAME_BYTES = 5
"""Sync, address, call bits, sequence, check."""

Levels = NDArray[np.uint8]


class FrameError(LessonError, ValueError):
    """Bytes that are not a good frame.

    `reason` is "length", "sync" or "check", for counting; the sentence says what was found.
    """

    def __init__(self, reason: str, sentence: str) -> None:
        super().__init__(sentence)
        self.reason = reason


class CharacterError(LessonError, ValueError):
    """Levels that are not a good character.

    `reason` is "start", "parity" or "stop".
    """

    def __init__(self, reason: str, sentence: str) -> None:
        super().__init__(sentence)
        self.reason = reason


class ManchesterError(LessonError, ValueError):
    """A Manchester bit without a change in the middle.

    `bit` counts from 0.
    """

    def __init__(self, bit: int) -> None:
        super().__init__(f"Bit {bit} does not change level in the middle, so it is neither a 0 nor a 1.")
        self.bit = bit


@dataclass(frozen=True)
class Frame:
    """One message of the link: for whom, which calls, which number.

    Each field is a byte, 0 to 255. What the call bits mean is the link's affair.

    >>> Frame(address=1, call_bits=0b0101, sequence=7).to_bytes().hex(" ")
    '55 01 05 07 06'
    """

    address: int
    call_bits: int
    sequence: int

    def __post_init__(self) -> None:
        for name in ("address", "call_bits", "sequence"):
            value = getattr(self, name)
            if type(value) is int and 0 <= value <= 255:
                continue  # a simulated hour makes thousands of frames
            whole = isinstance(value, (int, np.integer)) and not isinstance(value, bool)
            require(whole and 0 <= value <= 255, name, value, "a whole number from 0 to 255")

    def to_bytes(self) -> bytes:
        """The five bytes in the order in which they are sent."""
        body = bytes((self.address, self.call_bits, self.sequence))
        return bytes((SYNC,)) + body + bytes((FRAME_CRC.of(body),))

    @classmethod
    def from_bytes(cls, data: bytes) -> Frame:
        """Read five received bytes, or say why not by `FrameError`."""
        if len(data) != FRAME_BYTES:
            raise FrameError("length", f"A frame has {FRAME_BYTES} characters, but {len(data)} came in.")
        if data[0] != SYNC:
            raise FrameError("sync", f"A frame begins with 0x{SYNC:02X}, but 0x{data[0]:02X} came in.")
        expected = FRAME_CRC.of(data[1:-1])
        if data[-1] != expected:
            came = f"The check should be 0x{expected:02X}, but 0x{data[-1]:02X} came in: bits were damaged."
            raise FrameError("check", came)
        return cls(*data[1:-1])


def bits_per_character(parity: str | None = None, stop_bits: int = 1) -> int:
    """Levels in a character: ten for 8-N-1, eleven with parity."""
    require(parity in (None, "even", "odd"), "parity", parity, "None, 'even' or 'odd'")
    require(stop_bits in (1, 2), "stop_bits", stop_bits, "1 or 2")
    return 9 + (parity is not None) + stop_bits


def frame_seconds(baud: float, characters: int = FRAME_BYTES, parity: str | None = None) -> float:
    """How long some characters take on the line, in seconds."""
    require(baud > 0, "baud", baud, "a number of bits a second above 0, such as 1200")
    return characters * bits_per_character(parity) / baud


def character_levels(byte: int, parity: str | None = None, stop_bits: int = 1) -> Levels:
    """Levels of one character.

    Start, eight data bits lowest first, perhaps parity, stop.

    >>> character_levels(0x55).tolist()
    [0, 1, 0, 1, 0, 1, 0, 1, 0, 1]
    """
    bits_per_character(parity, stop_bits)
    require(0 <= byte <= 255, "byte", byte, "a whole number from 0 to 255")
    data = [byte >> k & 1 for k in range(8)]
    extra = [] if parity is None else [parity_bit(byte, parity)]
    return np.array([0, *data, *extra, *[1] * stop_bits], dtype=np.uint8)


def frame_levels(data: bytes, parity: str | None = None, stop_bits: int = 1) -> Levels:
    """Levels of some bytes, sent one behind the other."""
    if not data:
        return np.zeros(0, dtype=np.uint8)
    return np.concatenate([character_levels(byte, parity, stop_bits) for byte in data])


def read_character(levels: Sequence[int] | Levels, parity: str | None = None) -> int:
    """The byte in one character's levels, or a `CharacterError`."""
    length = bits_per_character(parity)
    if len(levels) < length:
        raise BadParameter("levels", list(levels), f"at least {length} levels long")
    if levels[0] != 0:
        raise CharacterError("start", "The start bit is 1, but a character begins with 0.")
    if levels[length - 1] != 1:
        raise CharacterError("stop", "The stop bit is 0, but a character ends with 1 (a framing error).")
    byte = sum(int(bit) << k for k, bit in enumerate(levels[1:9]))
    if parity is not None and levels[9] != parity_bit(byte, parity):
        raise CharacterError("parity", f"The parity bit is {levels[9]}, which does not make it {parity}.")
    return byte


def read_levels(levels: Sequence[int] | Levels, parity: str | None = None) -> bytes:
    """The bytes in a row of characters without gaps between them."""
    length = bits_per_character(parity)
    if len(levels) % length:
        raise FrameError("length", f"{len(levels)} levels are not a whole number of {length}-bit characters.")
    return bytes(read_character(levels[at : at + length], parity) for at in range(0, len(levels), length))


def manchester_levels(bits: Iterable[int], *, one_rises: bool = True) -> Levels:
    """Two half-bit levels for each bit.

    A one rises in mid-bit, a zero falls: that is IEEE 802.3. Some books print the opposite sense, after G.
    E. Thomas: `one_rises=False`.

    >>> manchester_levels([1, 0]).tolist()
    [0, 1, 1, 0]
    """
    second = np.asarray(list(bits), dtype=np.uint8)
    require(np.all(second <= 1), "bits", second.tolist(), "zeros and ones")
    second = second if one_rises else 1 - second
    return np.stack([1 - second, second], axis=1).reshape(-1)


def manchester_bits(levels: Sequence[int] | Levels, *, one_rises: bool = True) -> Levels:
    """The bits in Manchester half-bit levels, or `ManchesterError`."""
    halves = np.asarray(levels, dtype=np.uint8)
    require(len(halves) % 2 == 0, "levels", len(halves), "an even number of half-bit levels")
    first, second = halves.reshape(-1, 2).T
    stuck = np.flatnonzero(first == second)
    if stuck.size:
        raise ManchesterError(int(stuck[0]))
    return np.asarray(second if one_rises else first, dtype=np.uint8)
