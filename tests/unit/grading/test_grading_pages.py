"""Pages for a student and for a class: date, group, question, all that was typed, and what to teach again."""

from __future__ import annotations

import datetime
import re
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent / "school"))
import orchard

from lessonkit.exercises.core import Exercise, givens_for
from lessonkit.grading.marking.marks import Mark, Student
from lessonkit.grading.marking.near import near_miss
from lessonkit.grading.marking.pages import class_page, student_page
from lessonkit.grading.marking.written import write_marks
from lessonkit.grading.reading.intake import minutes_at as minutes_of
from lessonkit.grading.reading.intake import read_cells
from lessonkit.grading.roster import assign
from lessonkit.grading.school import School, load_school
from lessonkit.grading.tables import PLAIN

DAY = "2026-11-25"


@pytest.fixture(scope="module")
def school(tmp_path_factory: pytest.TempPathFactory) -> Iterator[School]:
    """Return the invented school."""
    with orchard.on_path():
        yield load_school(orchard.make_school(tmp_path_factory.mktemp("school")))


def asked(exercise: Exercise) -> str:
    """Return a question with the numbers of variant 7."""
    return exercise.question(givens_for(exercise, 7))


def student(school: School, name: str = "Ann", model: str = "", **first: object) -> Student:
    """Return a student who is right everywhere, but for the first exercise."""
    marks = [
        Mark(book.id, item.id, "right", item.points, item.points, answer="1", how="typed", asked=asked(item))
        for book in school.books
        for item in book.exercises
    ]
    if model or first:
        hints = {one.name: one.hint for one in school.books[0].exercises[0].wrong_models}
        marks[0] = replace(marks[0], state="not yet", points=0.0, model=model, said=hints.get(model, ""))
        marks[0] = replace(marks[0], **first)  # type: ignore[arg-type]
    return Student(name, tuple(marks), group="2b", minutes=(("orchard_a", 34.0),))


def test_page_has_date_group_question_and_answer(school: School) -> None:
    """Who reads the page alone at home sees what was asked, with the own numbers, and when it was marked."""
    page = student_page(student(school), school, DAY).decode("utf-8")
    assert asked(school.books[0].exercises[0]) in page
    assert f'<time datetime="{DAY}">' in page
    assert "Group <bdi>2b</bdi>" in page
    assert page.count("<article") == sum(len(book.exercises) for book in school.books)


def test_page_hides_nothing_that_was_typed(school: School) -> None:
    """What could not be read stands there as it was typed, and can do nothing."""
    ann = student(school, answer="", typed="answer_91_1 = <b>26", state="unreadable")
    page = student_page(ann, school, DAY)
    assert b"<pre>answer_91_1 = &lt;b&gt;26</pre>" in page


def test_class_page_says_what_to_teach_again(school: School) -> None:
    """The commonest misunderstandings come first, in words, with the exercise and what to say."""
    some = [student(school, str(n), "one-way") for n in range(3)] + [student(school, "x", "twice")]
    some += [student(school, "y", near=True), student(school, "z")]
    page = class_page(some, school, DAY).decode("utf-8")
    again = page[page.index("What to teach again") : page.index("Near misses")]
    first, second = re.findall(r"<li>(.*?)</li>", again, re.DOTALL)
    assert "91.1 There and back" in first
    assert "3 of 6" in first
    assert "Teach again: The current goes there and comes back." in first
    assert "You counted the way back twice." in second
    assert "91.1 There and back: 1." in page[page.index("Near misses") :]
    assert "The orchard pump 34, from 6 files." in page


@pytest.mark.parametrize(
    ("exercise", "off", "near"),
    [("91.1", 1.05, True), ("91.1", 0.95, True), ("91.1", 1.07, False), ("91.3", 1.0, False)],
)
def test_near_miss_is_within_three_tolerances(school: School, exercise: str, off: float, near: bool) -> None:
    """A tolerance of 2 % makes 5 % a near miss; 7 % is none, and a word is never near."""
    item = next(one for one in school.books[0].exercises if one.id == exercise)
    right = orchard.right("orchard_a", 7)[exercise]
    answer = right * off if isinstance(right, float) else "other"
    assert near_miss(item, givens_for(item, 7), answer) is near


def test_page_keeps_its_date_until_something_changes(
    school: School, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Graded again on another day a page is the same to the byte; with another mark it has the new day."""

    class Day(datetime.date):
        today_is = DAY

        @classmethod
        def today(cls) -> datetime.date:  # type: ignore[override]
            return datetime.date.fromisoformat(cls.today_is)

    monkeypatch.setattr("lessonkit.grading.marking.written.datetime.date", Day)
    roll = assign(school, ["Ann"], 1)
    page = tmp_path / "pages" / "ann.html"
    for day, some, dated in (
        ("2026-11-25", student(school), "2026-11-25"),
        ("2026-11-27", student(school), "2026-11-25"),
        ("2026-11-28", student(school, model="one-way"), "2026-11-28"),
    ):
        Day.today_is = day
        write_marks(tmp_path, [some], [], [], school, roll, [], PLAIN)
        assert f'<time datetime="{dated}">' in page.read_text(encoding="utf-8")


def test_minutes_are_those_that_jupyter_noted(school: School) -> None:
    """Runs at 10:00, 10:10, 11:10 and 11:15 are fifteen minutes; what else is noted is passed over."""
    notebook = orchard.answered("orchard_a", 7)
    noted = ["2026-11-25T10:00:00Z", "2026-11-25T10:10:00+00:00", "2026-11-25T12:10:00+01:00"]
    noted += ["2026-11-25T11:15:00", "yesterday", "9" * 40, "0001-01-01T00:00:00"]
    for cell, when in zip(notebook["cells"], noted, strict=False):
        cell["metadata"]["execution"] = {"iopub.execute_input": when}
    assert minutes_of(read_cells(orchard.to_bytes(notebook))[0]) == 15.0


@pytest.mark.chromium
def test_the_class_picture_is_on_the_first_printed_page(
    tmp_path: Path, browser_tools: Any, chromium: str
) -> None:
    """On A4 with margins of 1 cm, what to teach again, near misses, time and the bars fit on one page."""
    series = load_school(Path(__file__).parents[3] / "notebooks")
    marks = tuple(
        Mark(
            book.id, item.id, "not yet", item.points, 0.0, answer="1", how="typed", near=True,
            model=item.wrong_models[0].name if item.wrong_models else "",
        )
        for book in series.books[:4]
        for item in book.exercises
    )  # fmt: skip
    whole = Student("Ann", marks, group="2b", minutes=tuple((book.id, 50.0) for book in series.books[:4]))
    (tmp_path / "class.html").write_bytes(class_page([whole] * 30, series, DAY))
    browser = browser_tools.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
    page = browser.new_page(viewport={"width": round(190 * 96 / 25.4), "height": 1000})
    page.emulate_media(media="print")
    page.goto((tmp_path / "class.html").as_uri())
    below = page.locator(".picture").evaluate("one => one.getBoundingClientRect().bottom + window.scrollY")
    browser.close()
    assert below <= 277 * 96 / 25.4


@pytest.mark.chromium
def test_pages_fit_a_telephone(school: School, tmp_path: Path, browser_tools: Any, chromium: str) -> None:
    """At 380 pixels nothing of a page lies beside the screen."""
    long = student(school, "x" * 60, "one-way", typed="answer_91_1 = " + "y" * 300)
    (tmp_path / "student.html").write_bytes(student_page(long, school, DAY))
    (tmp_path / "class.html").write_bytes(class_page([long], school, DAY))
    browser = browser_tools.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
    page = browser.new_page(viewport={"width": 380, "height": 800})
    for name in ("student.html", "class.html"):
        page.goto((tmp_path / name).as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") <= 380
    browser.close()
