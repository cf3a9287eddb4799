"""Which of several files for one student and one workbook counts.

One that is plainly the student's: it can be read, has the student's own numbers, is answered, and lies in the
student's own folder if any does. Files that are left after that and say the same count as one; so do those of
which one goes further than the others. Where two contradict each other, no rule could tell the student's from
one that a classmate has named after the student, so both wait for the teacher, who reads both names.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import PurePosixPath

from lessonkit.exercises.plain import decode
from lessonkit.grading.reading.read import Reading

__all__ = ["HandIn", "copy_mark", "counting"]

TWO_CLAIMS = "several files were handed in for this workbook, and their answers differ"


@dataclass(frozen=True)
class HandIn:
    """One file that counts: a student's workbook.

    `book` is "" when nothing tells which it is. `variant` is what it is judged with, None when it is `held`
    back, with the reason. `remarks` are for the teacher. `lies` is where the file lies: in the student's
    "own" folder, in "another" student's, or in none that is anybody's ("").
    """

    student: str
    book: str
    file: str
    reading: Reading
    variant: int | None = None
    held: str = ""
    remarks: tuple[str, ...] = ()
    lies: str = ""


def counting(mine: Sequence[HandIn], variant: int | None = None) -> HandIn:
    """Return the one that counts of several files of a student for a workbook.

    `variant` has the numbers that the student was given, where that is known. What does not count is named.
    """
    left = list(mine)
    for plainly in (
        lambda one: not one.reading.trouble,
        lambda one: variant is None or one.reading.variant in (None, variant),
        lambda one: not is_blank(one.reading),
        lambda one: one.lies == "own",
    ):
        left = _those(plainly, left)
    left.sort(key=lambda one: (-_given(one.reading), len(one.remarks) + len(copy_mark(one.file)), one.file))
    first = left[0]
    if first.lies != "own":
        for other in left[1:]:
            if differ := _contradicted(first.reading, other.reading):
                return _waiting(first, other, differ, mine)
    else:  # in a folder of the student's own, the file with the plainest name
        first = min(left, key=lambda one: (len(one.remarks) + len(copy_mark(one.file)), one.file))
    others = [other for other in mine if other is not first]
    named = [f"{other.file} was handed in as well and does not count" for other in others]
    return replace(first, remarks=(*first.remarks, *named))


def _those(plainly: Callable[[HandIn], bool], some: list[HandIn]) -> list[HandIn]:
    return [one for one in some if plainly(one)] or some


def _waiting(first: HandIn, other: HandIn, differ: list[str], mine: Sequence[HandIn]) -> HandIn:
    files = " and ".join([first.file, *(one.file for one in mine if one is not first)])
    remark = (
        f"{files} are handed in as the same workbook of {first.student}, and differ in {', '.join(differ)}; "
        "move away what is not the student's, and grade again"
    )
    return replace(first, held=TWO_CLAIMS, remarks=(*first.remarks, *other.remarks, remark))


def _given(reading: Reading) -> int:
    return sum(found.state == "given" for _, found in reading.answers)


def _contradicted(one: Reading, other: Reading) -> list[str]:
    """Return the exercises that two files answer, each in its own way."""
    said = dict(other.answers)
    pairs = ((exercise, found, said.get(exercise)) for exercise, found in one.answers)
    return [
        exercise
        for exercise, found, theirs in pairs
        if theirs is not None
        and "unanswered" not in (found.state, theirs.state)
        and (found.state, found.wire) != (theirs.state, theirs.wire)
    ]


def is_blank(reading: Reading) -> bool:
    """Tell whether nothing in a file has been answered: all is as it was handed out."""
    return all(
        one.state == "unanswered" or (one.state == "given" and _open(decode(one.wire)))
        for _, one in reading.answers
    )


def _open(value: object) -> bool:
    """Tell whether an answer is still to be given in every part."""
    if isinstance(value, dict):
        return bool(value) and all(map(_open, value.values()))
    if isinstance(value, list | tuple):
        return bool(value) and all(map(_open, value))
    return value is ...


def copy_mark(file: str) -> str:
    """Return the mark that a system puts on a second copy, such as "(1)"."""
    found = re.search(r"(\s*\(\d+\)|[-_ ]copy\s*\d*|\s+-\s+copy)+$", PurePosixPath(file).stem, re.IGNORECASE)
    return found[0] if found else ""
