"""Pages to read and to print: one for each student, and the class picture.

Plain HTML with its style inside: it opens in any browser without a network, prints on paper, and reads aloud
in the right order. The verdict is written out, with a sign beside it; colour only repeats it. Everything
that came from outside (names, answers) is escaped by jinja2, wherever it stands.
"""

from __future__ import annotations

import functools
import math
import re
import statistics
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from lessonkit.grading.marking.marks import Mark, Student
from lessonkit.grading.marking.picture import STATES, Tally, class_svg, tallies
from lessonkit.grading.school import School

__all__ = ["class_page", "student_page"]

_SIGNS = {"right": "✓", "not yet": "→", "unanswered": "…", "unreadable": "?", "teacher": "•", "missing": "–"}
AGAIN = 5
"""How many misunderstandings the class picture puts first."""
_WORDS = {"teacher": "for the teacher", "missing": "not handed in"}


@functools.cache
def _template(name: str) -> Any:
    import jinja2

    rooms = jinja2.FileSystemLoader(Path(__file__).parent, encoding="utf-8")
    return jinja2.Environment(
        loader=rooms, autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    ).get_template(name)


@functools.cache
def _style() -> Any:
    from markupsafe import Markup

    return Markup((Path(__file__).parent / "page.css").read_text(encoding="utf-8"))


def _points(number: float) -> str:
    return f"{number:g}"


@functools.cache
def _markdown() -> Any:
    from markdown_it import MarkdownIt

    return MarkdownIt("commonmark", {"html": False}).enable("table")


@functools.lru_cache(maxsize=4096)
def _question(text: str) -> Any:
    """Return a question as HTML; its tables get what a screen reader needs."""
    from markupsafe import Markup

    html = str(_markdown().render(text)).replace("<table>", "<table><caption>Given</caption>")
    return Markup(re.sub(r"<th(?=[ >])", '<th scope="col"', html))


def student_page(student: Student, school: School, date: str) -> bytes:
    """Return a student's page; `date` is the day of the marks, as 2026-11-25."""
    books = []
    for book in school.books:
        marks = [mark for mark in student.marks if mark.book == book.id]
        titles = {exercise.id: exercise.title for exercise in book.exercises}
        books.append(
            {
                "title": f"{book.title}",
                "points": math.fsum(mark.points for mark in marks),
                "of": book.points,
                "handed_in": any(mark.state != "missing" or mark.change for mark in marks),
                "rows": [_row(mark, titles[mark.exercise]) for mark in marks],
            }
        )
    page: str = _template("page.html").render(
        student=student,
        date=date,
        books=books,
        of=math.fsum(book.points for book in school.books),
        open=sum(mark.state == "teacher" and mark.change is None for mark in student.marks),
        points=_points,
        style=_style(),
    )
    return (page + "\n").encode("utf-8")


def _row(mark: Mark, title: str) -> dict[str, Any]:
    return {
        "mark": mark,
        "title": title,
        "question": _question(mark.asked) if mark.asked else "",
        "kind": "right" if mark.state == "right" else "open",
        "sign": _SIGNS[mark.state],
        "words": _WORDS.get(mark.state, mark.state),
        "before": None if mark.state in _WORDS else mark.of if mark.state == "right" else 0.0,
    }


def class_page(students: Sequence[Student], school: School, date: str) -> bytes:
    """Return the class picture with its tables; it names nobody."""
    counts = tallies(students, school)
    hints = {
        (exercise.id, model.name): model.hint
        for book in school.books
        for exercise in book.exercises
        for model in exercise.wrong_models
    }
    models: list[dict[str, Any]] = [
        {"exercise": count.exercise, "model": model, "count": number, "hint": hints[count.exercise, model]}
        for count in counts
        for model, number in count.models.items()
    ]
    page: str = _template("class.html").render(
        students=len(students),
        date=date,
        again=_again(counts, school, hints),
        near=sorted((count for count in counts if count.near), key=lambda count: -count.near),
        times=_times(students, school),
        picture=class_svg(counts),
        states=STATES,
        rows=counts,
        models=sorted(models, key=lambda row: (-row["count"], row["exercise"], row["model"])),
        style=_style(),
    )
    return (page + "\n").encode("utf-8")


def _again(
    counts: Sequence[Tally], school: School, hints: dict[tuple[str, str], str]
) -> list[dict[str, Any]]:
    """Return the commonest misunderstandings in words: where, by how many, and what to say again."""
    titles = {exercise.id: book.title for book in school.books for exercise in book.exercises}
    rows: list[dict[str, Any]] = [
        {
            "exercise": count.exercise,
            "title": count.title,
            "book": titles[count.exercise],
            "model": model.replace("_", " "),
            "count": number,
            "answered": count.states["right"] + count.states["not yet"],
            "hint": hints[count.exercise, model],
        }
        for count in counts
        for model, number in count.models.items()
    ]
    return sorted(rows, key=lambda row: (-row["count"], row["exercise"], row["model"]))[:AGAIN]


def _times(students: Sequence[Student], school: School) -> list[dict[str, Any]]:
    """Return the middle of the minutes that files of each workbook tell of."""
    found: dict[str, list[float]] = {}
    for student in students:
        for book_id, minutes in student.minutes:
            found.setdefault(book_id, []).append(minutes)
    return [
        {
            "title": book.title,
            "minutes": f"{statistics.median(found[book.id]):.0f}",
            "files": len(found[book.id]),
        }
        for book in school.books
        if book.id in found
    ]
