"""Checks: a few extra bits that tell a good frame from a damaged one.

The sender computes a check from the data and sends it along; the receiver computes it again and compares.
A check never proves that the data is right. It catches some kinds of damage always and lets the rest slip
through by chance, and the kinds differ: that is why there are several, and why a lesson counts them.

    parity                 one bit: is the number of ones even? Catches every odd number of wrong bits
    one's-complement sum   adds the data as numbers, the carry goes round to the low end
    CRC                    divides the data, read as a polynomial over 0 and 1, and sends the remainder

All work on whole bytes. The bits are in the order in which they travel: a start-stop character sends its
lowest bit first. A CRC that is not reflected takes the highest bit first, and its promise about bursts
holds only on a line that sends it so; `FRAME_CRC` is therefore reflected. Many data words at once are an
array of shape (words, bytes).

Sources: RFC 1071 (one's-complement sum); the catalogue of parametrised CRC algorithms (RevEng), whose names
and parameters are used as they stand there; Koopman (Hamming distances, see `lessonkit.signal.distance`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from lessonkit.errors import BadParameter, require

__all__ = [
    "CRC_CATALOGUE",
    "FRAME_CRC",
    "Code",
    "Crc",
    "OnesComplementSum",
    "Parity",
    "Tally",
    "crc",
    "parity_bit",
    "try_bursts",
    "try_flips",
    "try_noise",
]

Bits = NDArray[np.uint8]
Words = NDArray[Any]


def _reflected(value: int, width: int) -> int:
    return int(f"{value:0{width}b}"[::-1], 2)


_MIRROR = np.array([_reflected(byte, 8) for byte in range(256)], dtype=np.uint8)


def _reflected_many(values: Words, width: int) -> Words:
    mirrored = np.zeros_like(values)
    for shift in range(0, width, 8):
        mirrored = mirrored << np.uint32(8) | _MIRROR[values >> np.uint32(shift) & np.uint32(255)]
    return mirrored


@dataclass(frozen=True)
class Crc:
    """A cyclic redundancy check with the catalogue's parameters.

    `poly` leaves out its top term, `init` fills the register at the start, `refin` and `refout` say whether
    bytes go in and the result comes out lowest bit first, `xorout` is applied last. `check` is the result for
    the nine ASCII characters 123456789, by which the catalogue identifies the algorithm.
    """

    name: str
    width: int
    poly: int
    init: int
    refin: bool
    refout: bool
    xorout: int
    check: int

    @property
    def full_poly(self) -> int:
        """The polynomial with its top term: 0x12F for 0x2F."""
        return self.poly | 1 << self.width

    @property
    def koopman(self) -> int:
        """Koopman's notation: top term kept, the +1 left out."""
        return self.full_poly >> 1

    @property
    def lowest_bit_first(self) -> bool:
        """The order of bits for which the burst promise holds."""
        return self.refin

    def of(self, data: bytes) -> int:
        """The check of some bytes."""
        table, top, mask = _crc_table(self.width, self.poly), self.width - 8, (1 << self.width) - 1
        register = self.init
        for byte in _MIRROR[np.frombuffer(data, np.uint8)].tolist() if self.refin else data:
            register = (register << 8 & mask) ^ table[register >> top ^ byte]
        return (_reflected(register, self.width) if self.refout else register) ^ self.xorout

    def of_many(self, data: Words) -> Words:
        """The checks of many words at once, from an array (words, bytes)."""
        table = np.array(_crc_table(self.width, self.poly), dtype=np.uint32)
        top, mask = np.uint32(self.width - 8), np.uint32((1 << self.width) - 1)
        columns = _MIRROR[data] if self.refin else data
        register = np.full(len(data), self.init, dtype=np.uint32)
        for column in columns.T:
            register = (register << np.uint32(8) & mask) ^ table[register >> top ^ column]
        if self.refout:
            register = _reflected_many(register, self.width)
        return register ^ np.uint32(self.xorout)

    def check_bits(self, data: Words) -> Bits:
        """The check of many words, as bits in travelling order."""
        order = range(self.width) if self.lowest_bit_first else range(self.width - 1, -1, -1)
        values = self.of_many(data)
        return np.stack([values >> np.uint32(k) & np.uint32(1) for k in order], axis=1).astype(np.uint8)


@cache
def _crc_table(width: int, poly: int) -> tuple[int, ...]:
    """What eight more divisions do to each value of the register's top byte."""
    require(width in (8, 16, 24, 32), "width", width, "8, 16, 24 or 32 bits")
    top, mask = 1 << width - 1, (1 << width) - 1
    table = []
    for byte in range(256):
        register = byte << width - 8
        for _ in range(8):
            register = (register << 1 ^ poly if register & top else register << 1) & mask
        table.append(register)
    return tuple(table)


@dataclass(frozen=True)
class Parity:
    """One bit that makes the number of ones even (or odd).

    Over the whole word, or with `per_byte` one for each byte, as a start-stop character carries it.
    """

    odd: bool = False
    per_byte: bool = False
    lowest_bit_first: bool = True

    @property
    def name(self) -> str:
        """What a legend calls it."""
        return ("odd" if self.odd else "even") + " parity" + (" per character" if self.per_byte else "")

    def check_bits(self, data: Words) -> Bits:
        """The parity bit or bits of many words."""
        ones = np.bitwise_count(data).astype(np.int64)
        if not self.per_byte:
            ones = ones.sum(axis=1, keepdims=True)
        return ((ones + self.odd) & 1).astype(np.uint8)


def parity_bit(byte: int, parity: str) -> int:
    """The bit that makes the ones of byte and bit even or odd."""
    require(parity in ("even", "odd"), "parity", parity, "'even' or 'odd'")
    return (byte.bit_count() + (parity == "odd")) & 1


@dataclass(frozen=True)
class OnesComplementSum:
    """The inverted sum of the data, the carry going round.

    With 16 bits this is the checksum of RFC 1071. An odd last byte is filled up with a zero byte behind it.
    """

    width: int = 8
    lowest_bit_first: bool = True

    @property
    def name(self) -> str:
        """What a legend calls it."""
        return f"one's-complement sum, {self.width} bits"

    def of(self, data: bytes) -> int:
        """The checksum of some bytes."""
        return int(self.of_many(np.frombuffer(data, np.uint8)[np.newaxis, :])[0])

    def of_many(self, data: Words) -> Words:
        """The checksums of many words, from an array (words, bytes)."""
        require(self.width in (8, 16), "width", self.width, "8 or 16 bits")
        terms = data.astype(np.int64)
        if self.width == 16:
            if terms.shape[1] % 2:
                terms = np.pad(terms, ((0, 0), (0, 1)))
            terms = terms[:, 0::2] * 256 + terms[:, 1::2]
        full = (1 << self.width) - 1
        total = terms.sum(axis=1)
        while np.any(total > full):
            total = (total & full) + (total >> self.width)
        checksums: Words = full - total
        return checksums

    def check_bits(self, data: Words) -> Bits:
        """The checksum of many words, as bits in travelling order."""
        octets = self.of_many(data)[:, np.newaxis] >> np.arange(self.width - 8, -1, -8) & 255
        return np.unpackbits(octets.astype(np.uint8), axis=1, bitorder="little")


class Code(Protocol):
    """Anything that turns data into check bits."""

    @property
    def name(self) -> str:
        """What a legend calls it."""

    @property
    def lowest_bit_first(self) -> bool:
        """The order in which the bits of a byte travel."""

    def check_bits(self, data: Words) -> Bits:
        """The check bits (words, bits) of many words (words, bytes)."""


FRAME_CRC = Crc("CRC-8 of our frame", 8, 0x2F, 0xFF, True, True, 0xFF, 0xC4)
"""The check of our frame: the parameters of CRC-8/AUTOSAR, but taken in the order in which the bits travel.

The polynomial keeps Hamming distance 4 to 119 data bits, so any three wrong bits among our 32 are caught,
with room for a longer frame. A few others let less of the fourfold errors through at exactly our length, but
fall to distance 3 with one more byte; of those that do not, none is better
(`lessonkit.signal.distance.rank_polynomials(24, growth_bits=8)`).
A start-stop character sends its lowest bit first. Taken the catalogue's way, highest bit first, a burst that
crosses from one character into the next is torn apart in the CRC's eyes, and three bursts of only five bits
slip through; reflected, none does up to eight.
"""

CRC_CATALOGUE: dict[str, Crc] = {
    code.name: code
    for code in (
        Crc("CRC-8/AUTOSAR", 8, 0x2F, 0xFF, False, False, 0xFF, 0xDF),
        Crc("CRC-8/CDMA2000", 8, 0x9B, 0xFF, False, False, 0x00, 0xDA),
        Crc("CRC-8/DARC", 8, 0x39, 0x00, True, True, 0x00, 0x15),
        Crc("CRC-8/DVB-S2", 8, 0xD5, 0x00, False, False, 0x00, 0xBC),
        Crc("CRC-8/I-432-1", 8, 0x07, 0x00, False, False, 0x55, 0xA1),
        Crc("CRC-8/MAXIM-DOW", 8, 0x31, 0x00, True, True, 0x00, 0xA1),
        Crc("CRC-8/ROHC", 8, 0x07, 0xFF, True, True, 0x00, 0xD0),
        Crc("CRC-8/SAE-J1850", 8, 0x1D, 0xFF, False, False, 0xFF, 0x4B),
        Crc("CRC-8/SMBUS", 8, 0x07, 0x00, False, False, 0x00, 0xF4),
        Crc("CRC-8/WCDMA", 8, 0x9B, 0x00, True, True, 0x00, 0x25),
        Crc("CRC-16/ARC", 16, 0x8005, 0x0000, True, True, 0x0000, 0xBB3D),
        Crc("CRC-16/DNP", 16, 0x3D65, 0x0000, True, True, 0xFFFF, 0xEA82),
        Crc("CRC-16/IBM-3740", 16, 0x1021, 0xFFFF, False, False, 0x0000, 0x29B1),
        Crc("CRC-16/IBM-SDLC", 16, 0x1021, 0xFFFF, True, True, 0xFFFF, 0x906E),
        Crc("CRC-16/KERMIT", 16, 0x1021, 0x0000, True, True, 0x0000, 0x2189),
        Crc("CRC-16/MODBUS", 16, 0x8005, 0xFFFF, True, True, 0x0000, 0x4B37),
        Crc("CRC-16/XMODEM", 16, 0x1021, 0x0000, False, False, 0x0000, 0x31C3),
    )
}
"""Standard CRCs by the catalogue's name."""


def crc(name: str) -> Crc:
    """A standard CRC by its name in the catalogue."""
    if name not in CRC_CATALOGUE:
        raise BadParameter("name", name, "one of " + ", ".join(CRC_CATALOGUE))
    return CRC_CATALOGUE[name]


# Experiments: damage many words at random and count what the check did not notice.


@dataclass(frozen=True)
class Tally:
    """How many words were damaged, and how many slipped through."""

    name: str
    damaged: int
    slipped: int

    @property
    def share(self) -> float:
        """Slipped over damaged; 0 when nothing was damaged."""
        return self.slipped / self.damaged if self.damaged else 0.0


def _try(
    code: Code, words: int, data_bytes: int, rng: np.random.Generator, damage: Callable[[int, int], Bits]
) -> Tally:
    """Send random words with their check, spoil them by `damage(words, bits)`, check them, count."""
    require(words > 0, "words", words, "one word or more")
    require(data_bytes > 0, "data_bytes", data_bytes, "one byte or more")
    order: Any = "little" if code.lowest_bit_first else "big"
    data = rng.integers(0, 256, (words, data_bytes), dtype=np.uint8)
    sent = np.hstack([np.unpackbits(data, axis=1, bitorder=order), code.check_bits(data)])
    errors = damage(words, sent.shape[1])
    got = sent ^ errors
    data_bits = 8 * data_bytes
    fits = code.check_bits(np.packbits(got[:, :data_bits], axis=1, bitorder=order)) == got[:, data_bits:]
    damaged = errors.any(axis=1)
    return Tally(code.name, int(damaged.sum()), int((damaged & fits.all(axis=1)).sum()))


def try_flips(code: Code, flips: int, words: int, rng: np.random.Generator, data_bytes: int = 3) -> Tally:
    """Exactly `flips` wrong bits a word, anywhere."""

    def damage(count: int, bits: int) -> Bits:
        require(1 <= flips <= bits, "flips", flips, f"from 1 to the {bits} bits of a word")
        chosen = rng.random((count, bits)).argpartition(flips - 1, axis=1)[:, :flips]
        errors = np.zeros((count, bits), dtype=np.uint8)
        np.put_along_axis(errors, chosen, 1, axis=1)
        return errors

    return _try(code, words, data_bytes, rng, damage)


def try_bursts(code: Code, length: int, words: int, rng: np.random.Generator, data_bytes: int = 3) -> Tally:
    """One burst a word: both ends wrong, between them by chance."""

    def damage(count: int, bits: int) -> Bits:
        require(1 <= length <= bits, "length", length, f"from 1 to the {bits} bits of a word")
        burst = rng.integers(0, 2, (count, length), dtype=np.uint8)
        burst[:, [0, -1]] = 1
        errors = np.zeros((count, bits), dtype=np.uint8)
        where = rng.integers(0, bits - length + 1, count)[:, np.newaxis] + np.arange(length)
        np.put_along_axis(errors, where, burst, axis=1)
        return errors

    return _try(code, words, data_bytes, rng, damage)


def try_noise(
    code: Code, bit_error_rate: float, words: int, rng: np.random.Generator, data_bytes: int = 3
) -> Tally:
    """Every bit wrong with the same small chance."""
    require(0.0 <= bit_error_rate <= 1.0, "bit_error_rate", bit_error_rate, "a chance from 0 to 1")
    return _try(
        code,
        words,
        data_bytes,
        rng,
        lambda count, bits: (rng.random((count, bits)) < bit_error_rate).astype(np.uint8),
    )
