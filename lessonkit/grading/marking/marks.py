"""Marks: what each student gets for each exercise, and the tables that say so.

A mark has a state: the four verdicts of the judge, "teacher" where a person has to decide, and "missing"
where the workbook was not handed in. Right earns the exercise's points, everything else none. A teacher's
own decisions (`decisions.py`) change the points and never hide what was there before.

    marks.csv      a row a student, a column an exercise: points; empty where there is nothing to mark yet
    verdicts.csv   a row a student and exercise: state, points, hint, misunderstanding, the teacher's change,
                   and how the answer came about: typed, or computed by code of the student's
    junit.xml      the same for programs that read test results: a suite a workbook, a case a student's
    exercise
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from xml.etree import ElementTree

from lessonkit.grading.school import School
from lessonkit.grading.tables import PLAIN, Style, write_table

__all__ = [
    "Change",
    "Mark",
    "Student",
    "junit_xml",
    "marks_csv",
    "verdicts_csv",
]


@dataclass(frozen=True)
class Change:
    """A teacher's decision on one exercise of one student; `withdrawn` takes an earlier one back."""

    student: str
    exercise: str
    points: float
    reason: str
    withdrawn: bool = False


@dataclass(frozen=True)
class Mark:
    """One exercise of one student.

    `said` is what the student reads: the hint, or why there is no verdict; `model` the misunderstanding that
    was met, or "". `points` are what the exercise earned out of `of`, the teacher's `change` included.
    `answer` is the value that was judged, and `typed` what stands in the file where the value alone would not
    show it. `how` is "typed" or "computed", "" without an answer. `near` tells that a number is close to the
    right one and outside its tolerance. `asked` is the question with the student's own numbers, as Markdown,
    "" where nobody knows whose numbers they are.
    """

    book: str
    exercise: str
    state: str
    points: float
    of: float
    said: str = ""
    model: str = ""
    answer: str = ""
    change: Change | None = None
    typed: str = ""
    how: str = ""
    near: bool = False
    asked: str = ""

    @property
    def decided(self) -> bool:
        """Tell whether there is something to count."""
        return self.change is not None or self.state not in ("teacher", "missing")


@dataclass(frozen=True)
class Student:
    """All marks of one student.

    `remarks` are for the teacher alone; `minutes` are (workbook, minutes at it) where a file says so.
    """

    name: str
    marks: tuple[Mark, ...]
    remarks: tuple[str, ...] = field(default=())
    group: str = ""
    minutes: tuple[tuple[str, float], ...] = ()

    @property
    def points(self) -> float:
        """Return the points of all exercises."""
        return math.fsum(mark.points for mark in self.marks)


def marks_csv(students: Sequence[Student], school: School, style: Style = PLAIN) -> bytes:
    """Return the table of points: a row a student, a column an exercise."""
    exercises = [exercise for book in school.books for exercise in book.exercises]
    total = math.fsum(exercise.points for exercise in exercises)
    rows = []
    for student in students:
        by = {mark.exercise: mark for mark in student.marks}
        cells = [style.number(by[item.id].points) if by[item.id].decided else "" for item in exercises]
        open_ones = [mark.exercise for mark in student.marks if mark.state == "teacher" and not mark.change]
        changed = [mark.exercise for mark in student.marks if mark.change]
        remarks = list(student.remarks)
        if open_ones:
            remarks.insert(0, f"for the teacher: {', '.join(open_ones)}")
        if changed:
            remarks.insert(0, f"changed by the teacher: {', '.join(changed)}")
        if computed := [mark.exercise for mark in student.marks if mark.how == "computed"]:
            remarks.append(f"computed, not typed: {', '.join(computed)}")
        sums = (style.number(student.points), style.number(total))
        rows.append([student.name, *cells, *sums, "; ".join(remarks)])
    heads = (style.exercise(item.id) for item in exercises)
    return write_table(["student", *heads, "points", "of", "remarks"], rows, style)


def verdicts_csv(students: Sequence[Student], style: Style = PLAIN) -> bytes:
    """Return the table of verdicts: a row a student and exercise."""
    head = ("student", "workbook", "exercise", "verdict", "points", "of", "hint", "misunderstanding")
    rows = []
    for student in students:
        for mark in student.marks:
            points = style.number(mark.of if mark.state == "right" else 0)
            if mark.state in ("teacher", "missing"):
                points = ""
            changed = (style.number(mark.change.points), mark.change.reason) if mark.change else ("", "")
            said = (mark.state, points, style.number(mark.of), mark.said, mark.model)
            exercise = style.exercise(mark.exercise)
            rows.append((student.name, mark.book, exercise, *said, *changed, mark.how))
    return write_table((*head, "changed_to", "reason", "how"), rows, style)


def junit_xml(students: Sequence[Student], school: School) -> bytes:
    """Return the verdicts in the form that test runners write.

    Right passes, not yet, unanswered and unreadable fail, teacher is an error, missing is skipped.
    """
    root = ElementTree.Element("testsuites", name="lessonkit")
    for book in school.books:
        cases = [(student, mark) for student in students for mark in student.marks if mark.book == book.id]
        states = [_kind(mark) for _, mark in cases]
        suite = ElementTree.SubElement(
            root,
            "testsuite",
            name=book.stem,
            tests=str(len(cases)),
            failures=str(states.count("failure")),
            errors=str(states.count("error")),
            skipped=str(states.count("skipped")),
        )
        for student, mark in cases:
            case = ElementTree.SubElement(suite, "testcase", classname=_xml(student.name), name=mark.exercise)
            properties = ElementTree.SubElement(case, "properties")
            for name, value in _properties(mark).items():
                ElementTree.SubElement(properties, "property", name=name, value=_xml(value))
            if kind := _kind(mark):
                said = f"{mark.state}: {mark.said}" if mark.said else mark.state
                ElementTree.SubElement(case, kind, message=_xml(said))
    ElementTree.indent(root)
    return (
        b"<?xml version='1.0' encoding='utf-8'?>\n"
        + ElementTree.tostring(root, encoding="unicode").encode()
        + b"\n"
    )


def _properties(mark: Mark) -> Mapping[str, str]:
    found = {"verdict": mark.state, "points": f"{mark.points:g}", "of": f"{mark.of:g}"}
    if mark.model:
        found["misunderstanding"] = mark.model
    if mark.change:
        found["changed"] = mark.change.reason
    return found


def _kind(mark: Mark) -> str:
    """Return the element that says how a case ended, "" for one that passed."""
    if mark.change is not None:
        return "" if mark.points == mark.of else "failure"
    return {"right": "", "teacher": "error", "missing": "skipped"}.get(mark.state, "failure")


def _xml(text: str) -> str:
    """Return a text without the characters that XML 1.0 has no way to write."""
    return re.sub("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]", "\ufffd", text)
