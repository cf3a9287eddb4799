"""What a class has gained between two forms of one test: the normalised gain, and each question's part in it.

    g = (after - before) / (100 - before)      both in percent of the points, averaged over the class

It says how much of what could still be learnt was learnt (R. R. Hake, American Journal of Physics 66, 64
(1998); from memory, and so are its bands: below 0.3 low, up to 0.7 medium, from there on high). Where a class
had everything right before, there was nothing left to gain, and g is not defined: None.

The two runs are what `grade` has written. Only students who took both forms count, whatever their order in
the tables; the others are named. A question that waits for the teacher counts as not right.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from lessonkit.grading.tables import BadTable, read_table

__all__ = ["ClassGain", "ItemGain", "Taken", "band", "class_gain", "normalised_gain", "read_taken"]

VERDICTS = "verdicts.csv"
#: A gain below the first is low, from the second on high.
LOW, HIGH = 0.3, 0.7


@dataclass(frozen=True)
class Taken:
    """One form of a test as a class has taken it.

    `points` maps a student to a share of the points (0 to 1) for each question, by its number; `models` maps
    a question's number to the misunderstandings that were met, and by how many of which students.
    """

    name: str
    points: Mapping[str, Mapping[str, float]]
    models: Mapping[str, Mapping[str, str]]

    @property
    def questions(self) -> tuple[str, ...]:
        """Return the numbers of the questions, in order."""
        found = {question for by in self.points.values() for question in by}
        return tuple(sorted(found, key=lambda text: (len(text), text)))


@dataclass(frozen=True)
class ItemGain:
    """One question: percent right before and after, its gain, and the commonest misunderstanding of each."""

    question: str
    before: float
    after: float
    gain: float | None
    met_before: str
    met_after: str


@dataclass(frozen=True)
class ClassGain:
    """A class that took both forms: percent before and after, the gain, and each question in it.

    `students` took both; `only_before` and `only_after` took one form, and count nowhere.
    """

    before: float
    after: float
    gain: float | None
    items: tuple[ItemGain, ...]
    students: tuple[str, ...]
    only_before: tuple[str, ...]
    only_after: tuple[str, ...]


def normalised_gain(before: float, after: float) -> float | None:
    """Return Hake's normalised gain of two percentages; None where nothing was left to gain.

    >>> normalised_gain(40.0, 70.0)
    0.5
    """
    left = 100.0 - before
    return None if left <= 1e-9 else (after - before) / left


def band(gain: float | None) -> str:
    """Return the word for a gain."""
    if gain is None:
        return "not defined"
    if gain < 0:
        return "a loss"
    return "low" if gain < LOW else "medium" if gain < HIGH else "high"


def read_taken(path: Path) -> Taken:
    """Return one form of a test from a folder of marks, or from its verdicts.csv. Raises `BadTable`."""
    table = path / VERDICTS if path.is_dir() else path
    head, rows = read_table(table)
    needed = ("student", "workbook", "exercise", "verdict", "points", "of", "misunderstanding", "changed_to")
    if missing := [name for name in needed if name not in head]:
        raise BadTable(
            f"{table} has no column {missing[0]}; give a folder that `lessonkit grade` has written."
        )
    books: Counter[str] = Counter()
    points: dict[str, dict[str, float]] = {}
    models: dict[str, dict[str, str]] = {}
    for line, row in rows:
        cell = dict(zip(head, row, strict=True))
        if cell["verdict"] == "missing" and not cell["changed_to"]:
            continue
        books[cell["workbook"]] += 1
        student, question = cell["student"], cell["exercise"].split()[-1].partition(".")[2]
        share = _number(cell["changed_to"] or cell["points"] or "0") / _number(cell["of"])
        if not (question and math.isfinite(share)):
            raise BadTable(f"{table}, line {line}: this is no line of a test: {cell['exercise']!r}.")
        points.setdefault(student, {})[question] = share
        if cell["misunderstanding"] and share < 1:
            models.setdefault(question, {})[student] = cell["misunderstanding"]
    if len(books) != 1:
        found = ", ".join(sorted(books)) or "none that anybody has handed in"
        raise BadTable(
            f"{table} must hold one form of a test, and has the workbooks {found}; grade with --only."
        )
    return Taken(next(iter(books)), points, models)


def _number(text: str) -> float:
    try:
        return float(text.replace(",", "."))
    except ValueError:
        return math.nan


def class_gain(before: Taken, after: Taken) -> ClassGain:
    """Return what the students who took both forms have gained. Raises `BadTable` where nobody did.

    The forms need questions of the same numbers.
    """
    if before.questions != after.questions:
        raise BadTable(
            f"The two forms have other questions ({len(before.questions)} and {len(after.questions)}); "
            "give the marks of the form before the course first, then those of the form after it."
        )
    both = tuple(name for name in before.points if name in after.points)
    if not both:
        raise BadTable("No student took both forms; see that the names in the two tables are spelt alike.")
    items = tuple(_item(question, before, after, both) for question in before.questions)
    was = math.fsum(item.before for item in items) / len(items)
    now = math.fsum(item.after for item in items) / len(items)
    return ClassGain(
        was,
        now,
        normalised_gain(was, now),
        items,
        both,
        tuple(name for name in before.points if name not in after.points),
        tuple(name for name in after.points if name not in before.points),
    )


def _item(question: str, before: Taken, after: Taken, both: Sequence[str]) -> ItemGain:
    was, now = (
        100 * math.fsum(form.points[name].get(question, 0.0) for name in both) / len(both)
        for form in (before, after)
    )
    met = [_commonest(form.models.get(question, {}), both) for form in (before, after)]
    return ItemGain(question, was, now, normalised_gain(was, now), met[0], met[1])


def _commonest(models: Mapping[str, str], both: Sequence[str]) -> str:
    """Return the misunderstanding that most of these students met, with how many; "" for none."""
    met = Counter(models[name] for name in both if name in models)
    if not met:
        return ""
    model, count = min(met.items(), key=lambda one: (-one[1], one[0]))
    return f"{model} ({count})"
