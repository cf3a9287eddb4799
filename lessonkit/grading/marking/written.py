"""What a grading run writes: tables, pages, the class picture, and the decisions that are kept.

Each file appears whole, and one that has not changed is left alone, to the byte and the time.
"""

from __future__ import annotations

import datetime
import functools
import re
from collections.abc import Callable, Sequence
from pathlib import Path

from lessonkit.files import write_whole
from lessonkit.grading.marking.alike import alike_csv
from lessonkit.grading.marking.claims import HandIn
from lessonkit.grading.marking.decisions import KEPT, decisions_csv
from lessonkit.grading.marking.marks import Change, Student, junit_xml, marks_csv, verdicts_csv
from lessonkit.grading.marking.pages import class_page, student_page
from lessonkit.grading.marking.picture import class_svg, tallies
from lessonkit.grading.roster import Roll, file_names
from lessonkit.grading.school import School
from lessonkit.grading.tables import Style, write_table

__all__ = ["write_marks"]


def write_marks(
    out: Path,
    students: Sequence[Student],
    hand_ins: Sequence[HandIn],
    strays: Sequence[str],
    school: School,
    roll: Roll | None,
    decided: Sequence[Change],
    style: Style,
) -> None:
    """Write everything about a class under a folder.

    `strays` are lines "file: why"; `decided` are the teacher's decisions that count.
    """
    if decided or (out / KEPT).exists():
        write_whole(out / KEPT, decisions_csv(decided, style))
    write_whole(out / "marks.csv", marks_csv(students, school, style))
    write_whole(out / "verdicts.csv", verdicts_csv(students, style))
    write_whole(out / "junit.xml", junit_xml(students, school))
    aside = (stray.split(": ", 1) for stray in strays)
    write_whole(out / "left-aside.csv", write_table(["file", "why"], aside, style))
    write_whole(out / "alike.csv", alike_csv(hand_ins, style))
    _write_dated(out / "class.html", lambda date: class_page(students, school, date))
    write_whole(out / "class.svg", class_svg(tallies(students, school)).encode("utf-8"))
    _write_pages(out / "pages", students, school, roll)


def _write_dated(path: Path, page: Callable[[str], bytes]) -> None:
    """Write a page with today's date; one on which nothing else has changed keeps the date that it has."""
    old = path.read_bytes() if path.is_file() else b""
    dated = re.search(rb'<time datetime="(\d{4}-\d\d-\d\d)">', old)
    if dated is None or page(dated[1].decode("ascii")) != old:
        write_whole(path, page(datetime.date.today().isoformat()))


def _write_pages(folder: Path, students: Sequence[Student], school: School, roll: Roll | None) -> None:
    """Write a page for each student, called as the student's folder is, and remove those of others."""
    names = file_names([student.name for student in students])
    if roll is not None:
        names |= roll.folders
    for student in students:
        page = functools.partial(student_page, student, school)
        _write_dated(folder / f"{names[student.name]}.html", page)
    current = {names[student.name] for student in students}
    for path in folder.glob("*.html"):
        if path.stem not in current:
            path.unlink()  # of a student who is no longer in the class
