"""Distance: how many wrong bits it takes to fool a CRC, exactly.

The Hamming distance of a check, for words of a given length, is the smallest number of wrong bits that can
turn one good word into another. With distance 4 any three wrong bits are caught; four may slip through.

A CRC makes it easy to find out without trying words. Each wrong bit changes the remainder by a value of its
own, x^i modulo the polynomial for the bit i places from the end, and the changes add up by exclusive or.
Damage is invisible exactly when its changes cancel. So keep, for every possible remainder, the fewest bits
that produce it, and take in the positions one by one: each step looks at every remainder once. That is
exhaustive (no pattern of any weight is left out) and quick: 256 remainders times the length.

Polynomials are written in full, with the top term and the +1: 0x12F. Koopman's notation is that shifted down
by one, 0x97; the catalogue leaves the top term out, 0x2F.

Source: the figures to hold this against are Koopman's, "CRC Polynomial Selection" (hd3 to hd6 pages) and
Koopman and Chakravarty, DSN 2004.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from lessonkit.errors import require

__all__ = [
    "Ranked",
    "from_koopman",
    "hamming_distance",
    "longest_data_bits",
    "rank_polynomials",
    "syndromes",
    "undetected_bursts",
    "undetected_patterns",
]


def from_koopman(koopman: int) -> int:
    """The full polynomial from Koopman's notation: 0x97 is 0x12F."""
    return koopman << 1 | 1


def _width(full_poly: int) -> int:
    require(
        isinstance(full_poly, int) and full_poly >= 7 and full_poly & 1,
        "full_poly",
        full_poly,
        "a polynomial with its top term and the +1, such as 0x12F",
    )
    width = full_poly.bit_length() - 1
    require(width <= 16, "full_poly", full_poly, "of degree 2 to 16")
    return width


def syndromes(full_poly: int, bits: int) -> list[int]:
    """What each wrong bit does to the remainder, last bit first."""
    width = _width(full_poly)
    changes, change = [], 1
    for _ in range(bits):
        changes.append(change)
        change <<= 1
        if change >> width:
            change ^= full_poly
    return changes


@lru_cache(maxsize=1024)
def _lightest_by_length(full_poly: int, bits: int) -> tuple[int, ...]:
    """For each total length 1..bits, the fewest wrong bits that cancel (bits + 1 where none do)."""
    width = _width(full_poly)
    remainders = np.arange(1 << width)
    never = bits + 1
    fewest = np.full(1 << width, never, dtype=np.int32)  # bits needed for each remainder, so far
    fewest[0] = 0
    lightest, best = [], never
    for change in syndromes(full_poly, bits):
        # This bit wrong, and the others so that together they cancel it.
        best = min(best, int(fewest[change]) + 1)
        lightest.append(best)
        fewest = np.minimum(fewest, fewest[remainders ^ change] + 1)
    return tuple(lightest)


def hamming_distance(full_poly: int, data_bits: int) -> int:
    """The Hamming distance of a CRC for some data bits.

    Check bits are not counted. A word that nothing can fool at that length gives its own number of bits
    plus one.

    >>> hamming_distance(0x12F, 24)
    4
    """
    require(data_bits >= 1, "data_bits", data_bits, "one bit or more")
    return _lightest_by_length(full_poly, data_bits + _width(full_poly))[-1]


def longest_data_bits(full_poly: int, distance: int, limit: int = 300) -> int:
    """The most data bits for which a distance still holds.

    0 if it holds for none. Looks up to `limit` data bits, beyond which it says `limit`. This is the number
    in Koopman's tables.
    """
    require(limit >= 1, "limit", limit, "one bit or more")
    width = _width(full_poly)
    lightest = _lightest_by_length(full_poly, limit + width)[width:]
    return sum(1 for fewest in lightest if fewest >= distance)


def undetected_patterns(full_poly: int, data_bits: int, flips: int) -> int:
    """How many patterns of exactly `flips` wrong bits slip through.

    Counted, not sampled: as above, but the number of ways is kept for each remainder and number of bits.
    """
    require(0 <= flips <= 8, "flips", flips, "from 0 to 8 wrong bits")
    width = _width(full_poly)
    require(1 <= data_bits <= 512, "data_bits", data_bits, "from 1 to 512 bits")
    remainders = np.arange(1 << width)
    ways = np.zeros((flips + 1, 1 << width), dtype=np.uint64)
    ways[0, 0] = 1
    for change in syndromes(full_poly, data_bits + width):
        ways[1:] = ways[1:] + ways[:-1, remainders ^ change]
    return int(ways[flips, 0])


def undetected_bursts(
    full_poly: int, data_bits: int, length: int, *, low_bit_first_line: bool = False
) -> tuple[int, int]:
    """How many bursts of a length slip through, and of how many.

    A burst begins and ends with a wrong bit; between them anything. Bits travel in the CRC's own order,
    unless `low_bit_first_line` says that each byte is turned round on the line: what a start-stop line does
    to a CRC that takes the highest bit first. Then `data_bits` must be whole bytes.
    """
    width = _width(full_poly)
    total = data_bits + width
    require(1 <= length <= min(total, 20), "length", length, f"from 1 to {min(total, 20)} bits")
    changes = np.array(syndromes(full_poly, total)[::-1])  # first bit sent comes first
    if low_bit_first_line:
        require(total % 8 == 0, "data_bits", data_bits, "a whole number of bytes with the check")
        changes = changes.reshape(-1, 8)[:, ::-1].reshape(-1)
    inner = np.arange(1 << max(length - 2, 0))
    escaped = 0
    for begin in range(total - length + 1):
        remainder = np.full(len(inner), changes[begin])
        if length > 1:
            remainder ^= changes[begin + length - 1]
        for k in range(length - 2):
            remainder ^= np.where(inner >> k & 1, changes[begin + 1 + k], 0)
        escaped += int((remainder == 0).sum())
    return escaped, len(inner) * (total - length + 1)


@dataclass(frozen=True)
class Ranked:
    """One polynomial's fitness for a length, best first in a list.

    `escapes` is the number of patterns of `distance` wrong bits that slip through; `longest` the most data
    bits at which that distance still holds, in case the frame grows.
    """

    full_poly: int
    distance: int
    escapes: int
    longest: int

    @property
    def koopman(self) -> int:
        """The polynomial in Koopman's notation."""
        return self.full_poly >> 1


def rank_polynomials(data_bits: int, width: int = 8, growth_bits: int = 0) -> list[Ranked]:
    """All polynomials of a width, the best for some data bits first.

    First the Hamming distance, which has to hold even when the frame has grown by `growth_bits`; among equals
    the fewest patterns of that many wrong bits that slip through today; then the longest word that keeps it.
    Each polynomial has a mirror image that does equally well.

    >>> [f"{one.full_poly:#x}" for one in rank_polynomials(24, growth_bits=8)[:2]]
    ['0x12f', '0x1e9']
    """
    require(3 <= width <= 10, "width", width, "from 3 to 10 check bits")
    require(1 <= data_bits <= 256, "data_bits", data_bits, "from 1 to 256 bits")
    require(0 <= growth_bits <= 256, "growth_bits", growth_bits, "from 0 to 256 bits")
    ranked = []
    for full_poly in range((1 << width) + 1, 1 << width + 1, 2):
        distance = hamming_distance(full_poly, data_bits + growth_bits)
        escapes = undetected_patterns(full_poly, data_bits, distance) if distance <= 8 else 0
        ranked.append(Ranked(full_poly, distance, escapes, longest_data_bits(full_poly, distance)))
    return sorted(ranked, key=lambda one: (-one.distance, one.escapes, -one.longest, one.full_poly))
