"""Pairs of students whose own words are alike, for the teacher's eyes.

It compares what students wrote beside the answers (`lessonkit.grading.reading.own_words`). Words that many in
the class have, because a lesson or a teacher suggested them, don't count. A pair says nothing about who wrote
what, or whether working together was welcome: it is no verdict and changes no mark.
"""

from __future__ import annotations

import itertools
from collections import Counter, defaultdict
from collections.abc import Sequence

from lessonkit.grading.marking.claims import HandIn
from lessonkit.grading.tables import PLAIN, Style, write_table

__all__ = ["alike_csv"]

SHARED = 8
"""Runs of words that two files must share to be named; a sentence or two."""
SHARE = 0.4
"""What part of the shorter file's words that must be."""
COMMON = 5
"""Words that more than one in so many students have are the class's."""


def alike_csv(hand_ins: Sequence[HandIn], style: Style = PLAIN) -> bytes:
    """Return the table of pairs, the most alike first."""
    rows: list[tuple[str, str, str, int, str, str]] = []
    by: dict[str, list[HandIn]] = defaultdict(list)
    for one in hand_ins:
        by[one.book].append(one)
    for book, mine in by.items():
        for one, other, share in _pairs(mine):
            rows.append((book, one.student, other.student, round(100 * share), one.file, other.file))
    rows.sort(key=lambda row: (-row[3], *row[:3]))
    return write_table(("workbook", "student", "other", "percent", "file", "other_file"), rows, style)


def _pairs(mine: Sequence[HandIn]) -> list[tuple[HandIn, HandIn, float]]:
    users: dict[int, list[int]] = defaultdict(list)
    for place, one in enumerate(mine):
        for run in one.reading.words:
            users[run].append(place)
    most = max(2, len(mine) // COMMON)
    rare = [places for places in users.values() if len(places) <= most]
    sizes = Counter(place for places in rare for place in places)
    shared = Counter(pair for places in rare for pair in itertools.combinations(places, 2))
    found = []
    for (first, second), number in shared.items():
        share = number / min(sizes[first], sizes[second])
        if number >= SHARED and share >= SHARE:
            found.append((mine[first], mine[second], share))
    return found
