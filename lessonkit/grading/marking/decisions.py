"""The teacher's own decisions: given once, kept until they are withdrawn.

A decision is a row of a table with the columns student, exercise, points and reason. Once given with
`--changes` it stays: it is kept in `OUT/decisions.csv`, counts at every further grading, and is said each
time. A later table adds to it or decides anew. The word `withdrawn` in place of the points takes one back,
and so does taking its row out of `OUT/decisions.csv`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from lessonkit.grading.marking.marks import Change, Student
from lessonkit.grading.tables import PLAIN, BadTable, Style, read_table, write_table

__all__ = ["KEPT", "decisions_csv", "kept_changes", "merged", "read_changes", "with_changes"]

KEPT = "decisions.csv"
"""Where decisions are kept, in the folder of the marks."""
COLUMNS = ("student", "exercise", "points", "reason")
WITHDRAWN = "withdrawn"


def _rows(path: Path) -> list[tuple[str, str, str, str, str]]:
    """Return place, student, exercise, points and reason of each row. Raises `BadTable`."""
    head, rows = read_table(path)
    if missing := [column for column in COLUMNS if column not in head]:
        raise BadTable(f"{path} has no column {missing[0]}; it needs {', '.join(COLUMNS)}.")
    where = [head.index(column) for column in COLUMNS]
    return [(f"{path}, line {number}", *(row[place] for place in where)) for number, row in rows]  # type: ignore[misc]


def read_changes(path: Path, students: Sequence[Student]) -> tuple[Change, ...]:
    """Return the decisions in a table that was given now.

    Raises `BadTable` for a student or an exercise that isn't there, points out of bounds, or no reason.
    """
    known = {(student.name, mark.exercise): mark for student in students for mark in student.marks}
    names = {student.name for student in students}
    exercises = {exercise for _, exercise in known}
    changes: dict[tuple[str, str], Change] = {}
    for where, name, written, points, reason in _rows(path):
        exercise = _exercise(written)
        if name not in names:
            raise BadTable(f"{where}: there is no student {name!r} among those graded.")
        if exercise not in exercises:
            date = " A spreadsheet may have made a date of it: write exercise 1.1." if written else ""
            raise BadTable(f"{where}: there is no exercise {written!r}.{date}")
        change = _change(where, name, exercise, points, reason, known[name, exercise].of)
        if (name, exercise) in changes:
            raise BadTable(f"{where}: {name} has a change of {exercise} already.")
        changes[name, exercise] = change
    return tuple(changes.values())


def _exercise(written: str) -> str:
    """Return an exercise's number: tables for spreadsheets have a word before it, some a comma in it."""
    return re.sub(r"^exercise\s*", "", written, flags=re.IGNORECASE).replace(",", ".")


def _change(where: str, name: str, exercise: str, points: str, reason: str, most: float) -> Change:
    if points.casefold() == WITHDRAWN:
        return Change(name, exercise, 0.0, reason, withdrawn=True)
    try:
        value = float(points.replace(",", "."))  # half a point is 0,5 in many countries
    except ValueError:
        value = math.nan
    if not 0 <= value <= most:
        raise BadTable(
            f"{where}: points is {points!r}, but must be a number from 0 to {most:g}, or {WITHDRAWN}."
        )
    if not reason:
        raise BadTable(f"{where}: there is no reason; say why the mark of {exercise} is changed.")
    return Change(name, exercise, value, reason)


def kept_changes(out: Path) -> tuple[Change, ...]:
    """Return the decisions that were given before.

    Those on somebody who has left the class are among them. Raises `BadTable` where somebody has edited
    the table and left something that can't be meant.
    """
    path = out / KEPT
    if not path.exists():
        return ()
    return tuple(
        _change(where, name, _exercise(exercise), points, reason, math.inf)
        for where, name, exercise, points, reason in _rows(path)
    )


def merged(kept: Sequence[Change], given: Sequence[Change]) -> tuple[Change, ...]:
    """Return what counts: what was given now, and of what was kept all that it doesn't speak of."""
    found = {(change.student, change.exercise): change for change in (*kept, *given)}
    return tuple(change for change in found.values() if not change.withdrawn)


def decisions_csv(changes: Sequence[Change], style: Style = PLAIN) -> bytes:
    """Return the table that decisions are kept in."""
    rows = [
        (change.student, style.exercise(change.exercise), style.number(change.points), change.reason)
        for change in changes
    ]
    return write_table(COLUMNS, rows, style)


def with_changes(students: Sequence[Student], changes: Sequence[Change]) -> list[Student]:
    """Return the students with the teacher's decisions applied."""
    by = {(change.student, change.exercise): change for change in changes}
    found = []
    for student in students:
        marks = []
        for mark in student.marks:
            change = by.get((student.name, mark.exercise))
            # A decision kept from a time when the exercise was worth more gives no more than it is worth now.
            points = min(change.points, mark.of) if change else mark.points
            marks.append(replace(mark, points=points, change=change) if change else mark)
        found.append(replace(student, marks=tuple(marks)))
    return found
