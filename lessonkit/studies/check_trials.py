"""Checks put to the proof: words damaged by the thousand, and what each kind of check lets through.

    count_slips()          a row for each kind of damage, a column for each check

Random words of three bytes (address, call bits, number) are sent with their check, damaged, and checked
again. For the CRC the last column does not sample: it goes through every pattern there is (`distance`).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from lessonkit.errors import require
from lessonkit.signal.crc import (
    FRAME_CRC,
    Code,
    OnesComplementSum,
    Parity,
    Tally,
    try_bursts,
    try_flips,
)
from lessonkit.signal.distance import undetected_bursts, undetected_patterns

__all__ = ["CHECKS", "SlipRow", "Slips", "count_slips"]

DATA_BYTES = 3
_DATA_BITS = 8 * DATA_BYTES
_WORD_BITS = _DATA_BITS + FRAME_CRC.width

#: Column -> check, from the weakest.
CHECKS: dict[str, Code] = {
    "one parity bit": Parity(),
    "parity in each character": Parity(per_byte=True),
    "sum": OnesComplementSum(),
    "CRC-8": FRAME_CRC,
}


@dataclass(frozen=True)
class SlipRow:
    """One kind of damage: `tallies` for each of `CHECKS`, and every pattern of the CRC (slipped, of all)."""

    damage: str
    tallies: dict[str, Tally]
    exhausted: tuple[int, int]


@dataclass(frozen=True)
class Slips:
    """What slipped through each check, by kind of damage. Shown last in a cell, it is a table."""

    words: int
    rows: tuple[SlipRow, ...]

    def share(self, damage: str, check: str) -> float:
        """Return the share of damaged words that slipped through, such as `share("2 bits", "sum")`."""
        rows = {row.damage: row for row in self.rows}
        require(damage in rows, "damage", damage, f"one of {', '.join(rows)}")
        require(check in CHECKS, "check", check, f"one of {', '.join(CHECKS)}")
        return rows[damage].tallies[check].share

    def exhausted(self, damage: str) -> tuple[int, int]:
        """Return how many patterns of a damage fool the CRC, and of how many: all of them, none sampled."""
        return {row.damage: row for row in self.rows}[damage].exhausted

    def __str__(self) -> str:
        return "\n".join("  ".join(f"{cell:>24}" for cell in row) for row in self._cells())

    __repr__ = __str__

    def _repr_markdown_(self) -> str:
        head, *rows = self._cells()
        lines = [f"| {' | '.join(cells)} |" for cells in (head, ["---"] * len(head), *rows)]
        return f"Slipped through, of {self.words} damaged messages:\n\n" + "\n".join(lines)

    def _cells(self) -> list[list[str]]:
        made = [["damage", *CHECKS, "CRC-8, every pattern"]]
        for row in self.rows:
            slipped, of = row.exhausted
            counts = [str(row.tallies[name].slipped) for name in CHECKS]
            made.append([row.damage, *counts, f"{slipped} of {of}"])
        return made


def count_slips(words: int = 10_000, seed: int = 0) -> Slips:
    """Damage words in several ways, and count what slips through.

    `words` are damaged for each cell of the table; `seed` draws them.
    """
    require(1 <= words <= 1_000_000, "words", words, "from 1 to 1 000 000")
    rows = [_row(f"{n} bit{'s' if n > 1 else ''}", try_flips, n, words, seed) for n in (1, 2, 3, 4)]
    rows += [_row(f"a burst of {n} bits", try_bursts, n, words, seed) for n in (8, 9, 12)]
    return Slips(words, tuple(rows))


def _row(damage: str, tried: Callable[..., Tally], size: int, words: int, seed: int) -> SlipRow:
    tallies = {
        name: tried(code, size, words, np.random.default_rng((seed, size, k)))
        for k, (name, code) in enumerate(CHECKS.items())
    }
    poly = FRAME_CRC.full_poly
    if tried is try_bursts:
        return SlipRow(damage, tallies, undetected_bursts(poly, _DATA_BITS, size))
    every = undetected_patterns(poly, _DATA_BITS, size), math.comb(_WORD_BITS, size)
    return SlipRow(damage, tallies, every)
