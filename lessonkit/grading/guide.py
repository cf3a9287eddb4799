"""The teacher's guide: every exercise with its right answer, its misunderstandings and hints, as a page.

It is made from the exercises themselves, with the numbers of one student or of self-study, so it can't be
out of step with what students are asked. It tells everything, and is for teachers alone: it lies in no copy,
no hand-out and no site, and the command refuses to write it into a folder that is a student's.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from html import escape
from pathlib import Path
from typing import Any

from lessonkit.draw import paper
from lessonkit.errors import LessonError
from lessonkit.exercises.compare import ChoiceSet, Compare, ListOf, Number, Record, Table
from lessonkit.exercises.core import Exercise, Givens, modelled, solution
from lessonkit.exercises.pristine import RECORD
from lessonkit.grading.school import Book, School

__all__ = ["answer_words", "guide_page", "refuse_students_folder"]

_MANIFEST = "manifest.csv"
_SITE = "lessonkit/build.json"


class InStudentsHands(LessonError, PermissionError):
    """A guide that would be written where students look."""

    __str__ = Exception.__str__


def refuse_students_folder(path: Path) -> None:
    """Refuse to write the guide into an apprentice's folder, a student's hand-out, or a site."""
    for folder in path.expanduser().absolute().parents:
        theirs = (folder / RECORD).is_file() or (folder / _SITE).is_file()
        if theirs or (folder.parent / _MANIFEST).is_file():
            raise InStudentsHands(f"{folder} is a folder that students see; write the guide somewhere else.")


def answer_words(form: Compare, answer: Any) -> str:
    """Return an answer as a person would say it, with its unit; `answer` has the form's shape."""
    return _words(form, form.read(answer))


def _words(form: Compare, value: Any) -> str:
    if isinstance(form, Number):
        return f"{value:.4g} {form.unit}".rstrip()
    if isinstance(form, (Record, Table)):
        return "; ".join(f"{name}: {_words(inner, value[name])}" for name, inner in form.fields_())
    if isinstance(form, ListOf):
        return ", ".join(_words(form.item, item) for item in value) or "an empty list"
    if isinstance(form, ChoiceSet):
        return ", ".join(sorted(map(str, value))) or "none of them"
    return str(value)


def _tolerance(form: Compare, right: Any) -> str:
    if not isinstance(form, Number):
        return ""
    within = max(form.rel * abs(form.read(right)), form.absolute)
    return f" (within {within:.2g} {form.unit})".replace(" )", ")")


def guide_page(school: School, variant_of: Callable[[str], int], whose: str) -> str:
    """Return the guide as HTML text.

    `variant_of` maps a workbook's id to the variant; `whose` says in words whose numbers these are.
    """
    return paper.page(f"Teacher's guide, {whose}", _body(school, variant_of, whose))


def _body(school: School, variant_of: Callable[[str], int], whose: str) -> Iterator[str]:
    yield f"<h1>Teacher's guide, {escape(whose)}</h1>"
    yield (
        '<div class="caution"><strong>For the teacher alone.</strong> These pages hold every answer. Keep '
        "them out of the room's printer, and out of every folder that students see. Other students have "
        "other numbers; the misunderstandings are the same.</div>"
    )
    yield paper.cautions()
    for book in school.books:
        yield from _of_book(book, variant_of(book.id))


def _of_book(book: Book, variant: int) -> Iterator[str]:
    workbook = book.open(variant)
    yield f"<h2>{escape(book.id)} {escape(book.title)} ({book.points:g} points)</h2>"
    for exercise in book.exercises:
        yield from _of_exercise(exercise, workbook.givens(exercise.id))
    yield "<p>Open tasks of this workbook, with what a good answer has, stand at its end. You mark those.</p>"


def _of_exercise(exercise: Exercise, givens: Givens) -> Iterator[str]:
    form, right = exercise.form(givens), solution(exercise, givens)
    yield f"<h3>{escape(exercise.id)} {escape(exercise.title)} ({exercise.points:g})</h3>"
    yield _markdown(exercise.question(givens).strip())
    words = escape(answer_words(form, right) + _tolerance(form, right))
    if exercise.rule is None:
        yield f"<p><strong>Right:</strong> {words}</p>"
    else:
        yield f"<p><strong>One right answer of several</strong> (a rule on the bench judges): {words}</p>"
    led_to = modelled(exercise, givens)
    rows = [
        (
            model.name,
            answer_words(form, led_to[model.name]) if model.name in led_to else "not here",
            model.hint,
        )
        for model in exercise.wrong_models
    ]
    if rows:
        yield paper.table(("Misunderstanding", "Leads to", "Hint"), rows)
    if exercise.nudge:
        yield f"<p>Any other answer: {escape(exercise.nudge)}</p>"


def _markdown(text: str) -> str:
    from markdown_it import MarkdownIt

    return str(MarkdownIt("commonmark", {"html": False}).enable("table").render(text))
