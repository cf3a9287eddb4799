"""Handouts: what a workbook becomes on paper, with lines to write on, for each student, and as PDF.

One workbook is run once for all tests here. A PDF is read by pypdf, a library of general use.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from pypdf import PdfReader

from lessonkit.errors import LessonError
from lessonkit.exercises.notebooks import Notebook, find_answers
from lessonkit.exercises.workbook import open_workbook
from lessonkit.grading.handout import printing
from lessonkit.grading.handout.sheets import handout_html
from lessonkit.grading.roster import assign
from lessonkit.grading.school import School, load_school

#: A point of PDF is 1/72 inch; ISO 216 has A4 as 210 x 297 mm, and ANSI/ASME Y14.1 letter as 8.5 x 11 inches.
SIZES = {"a4": (210 / 25.4 * 72, 297 / 25.4 * 72), "letter": (8.5 * 72, 11 * 72)}


@pytest.fixture(scope="module")
def school() -> School:
    """Return the series."""
    return load_school()


@pytest.fixture(scope="module")
def ran(school: School) -> Notebook:
    """Return workbook 02, run once: it has a panel, pictures, tables and folded explanations."""
    book = school.book("02")
    assert book is not None
    return printing.run_once(book)


@pytest.fixture(scope="module")
def html(ran: Notebook) -> str:
    """Return the handout for self-study."""
    return handout_html(ran)


def shown(html: str) -> str:
    """Return the words of a page, without its style, its tags and its pictures."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", re.sub(r"(?s)<style>.*?</style>", "", html)))


def test_a_page_stands_alone(html: str) -> None:
    """Nothing is fetched or run: no script, no foreign address, and each picture has words."""
    assert not re.search(r"<script|<link|<iframe|src=\"(?!data:)|@import|url\(", html)
    images = re.findall(r"<img[^>]*>", html)
    assert len(images) >= 5
    assert [image[:80] for image in images if not re.search(r'alt="[^"]{8,}"', image)] == []
    assert '<html lang="en">' in html
    assert "<title>02 The 24-volt circuit</title>" in html


def test_cautions_questions_and_pictures_stay_and_machinery_goes(html: str) -> None:
    """The caution is boxed, each exercise is asked under a heading, and no line of code is printed."""
    words = shown(html)
    assert re.search(r"<blockquote>\s*<p><strong>Caution", html)
    for exercise in open_workbook("02").exercises:
        assert re.search(rf"<h3[^>]*>{re.escape(exercise.id)} ", html), exercise.id
    for machinery in ("import lessonkit", "workbook.check", "prediction_1", "answer_2_1", "asleep is"):
        assert machinery not in words
    assert "unanswered" not in words
    assert "by hand 2.92 V" in words, "what a cell printed"


def test_there_are_lines_for_predictions_and_answers(ran: Notebook, html: str) -> None:
    """Each prediction, each reason and each part of an answer has room to write."""
    assert html.count("<b>Prediction ") == 6
    assert html.count("<b>Reason ") == 2
    assert html.count('class="write"') == 6 + len(find_answers(ran))
    rows = re.findall(r"<tr><td>(\d+ ohm)</td><td></td></tr>", html)
    assert len(rows) == 4, "a row for each resistance of 2.7"


def test_explanations_wait_on_the_last_pages(html: str) -> None:
    """What a workbook folds away stands behind everything else, each with its prediction."""
    before, _, behind = html.partition('class="later"')
    assert "ghost" in behind
    assert "a reading of 27 or 28 V" not in re.sub(r"<[^>]*>", "", before)
    assert "a reading of 27 or 28 V" in re.sub(r"<[^>]*>", "", behind)
    assert "<details" not in html
    assert [int(n) for n in re.findall(r"<strong>Prediction (\d)\.", behind)] == [1, 2, 3, 4, 5, 6]


def test_a_student_gets_their_own_numbers_and_name(ran: Notebook, html: str) -> None:
    """Questions are those of the variant, a name is text and no markup, and the lesson stays the same."""
    page = handout_html(ran, 4711, name="<Ida> Holm")
    assert "&lt;Ida&gt; Holm" in page
    own = open_workbook("02", 4711)
    for exercise in own.exercises:
        number = re.search(r"\d+\.\d+", own.question(exercise.id).partition("\n")[2])
        assert number is None or number[0] in page, exercise.id
    assert shown(page) != shown(html)
    lessons = [each.partition("<h2")[2].partition("Exercises")[0] for each in (page, html)]
    assert lessons[0] == lessons[1]


@pytest.mark.chromium
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_a_pdf_has_the_paper_and_the_words(
    paper: str, ran: Notebook, school: School, chromium: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Chromium prints each student's page on the paper asked for, with caution, question and name."""
    monkeypatch.setattr(printing, "run_once", lambda book: ran)
    roll = assign(school, ("Ida Holm",), "autumn")
    made = printing.print_handouts(school, tmp_path, books=["02"], roll=roll, paper=paper, browser=chromium)
    (pdf,) = made.pdfs
    assert pdf == tmp_path / "ida-holm" / f"02_the_24_volt_circuit_{paper}.pdf"
    read = PdfReader(pdf)
    assert 5 <= len(read.pages) <= 16
    box = read.pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(SIZES[paper], abs=1.0)
    text = " ".join(" ".join(page.extract_text() for page in read.pages).split())
    for words in ("Ida Holm", "Caution.", "2.8 Ohms with a second path", "Explanations", "Prediction 6"):
        assert words in text


def test_what_cannot_be_is_refused(school: School, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A workbook, a folder, a paper or a browser that is not there is one sentence."""
    (tmp_path / "file").write_text("")
    with pytest.raises(LessonError, match="no workbook '77'"):
        printing.print_handouts(school, tmp_path / "out", books=["77"])
    with pytest.raises(LessonError, match="is a file"):
        printing.print_handouts(school, tmp_path / "file")
    with pytest.raises(LessonError, match="must be one of a4, letter"):
        printing.print_handouts(school, tmp_path / "out", paper="a5")
    with pytest.raises(LessonError, match="There is no program no-such-browser"):
        printing.find_browser("no-such-browser")
    monkeypatch.delenv("LESSONKIT_CHROMIUM", raising=False)
    monkeypatch.setenv("PATH", str(tmp_path))
    assert printing.find_browser() is None
