"""The concept test: two forms that are alike, right by the bench, silent until both are taken."""

from __future__ import annotations

import re
from pathlib import Path

import prose
import pytest

from lessonkit.__main__ import main
from lessonkit.exercises import load_exercises, open_workbook
from lessonkit.exercises.concept_bench import BENCH, RIGHT, bench_says
from lessonkit.exercises.concepts import FORMS, Idea, ideas
from lessonkit.exercises.core import givens_for, modelled, solution
from lessonkit.exercises.notebooks import (
    blank,
    find_checks,
    opened,
    read_notebook,
    solved,
    source_of,
    with_answers,
    write_notebook,
)
from lessonkit.exercises.pristine import CONCEPTS, copy_workbooks
from lessonkit.grading.school import BadSchool, load_school
from lessonkit.site.build import workbook_files

FOLDER = Path(__file__).resolve().parents[2] / "notebooks" / CONCEPTS
BOOKS = dict(zip(FORMS, ("20", "21"), strict=True))
NAMES = ("Ida Holm", "Jon Vik", "Una Berg")

each = pytest.mark.parametrize("idea", ideas(), ids=lambda idea: idea.key)


def test_there_are_twenty_pairs() -> None:
    """Twenty ideas, each asked in both forms; both forms mark the same points in the same order."""
    before, after = (load_exercises(number)[1] for number in BOOKS.values())
    assert len(ideas()) == len(before) == len(after) == 20
    assert [one.points for one in before] == [one.points for one in after]


@each
def test_a_pair_probes_the_same_misunderstandings(idea: Idea) -> None:
    """Both forms offer four answers: one right, and one for each of the same three misunderstandings."""
    place = ideas().index(idea)
    before, after = (load_exercises(number)[1][place] for number in BOOKS.values())
    assert [(m.name, m.hint) for m in before.wrong_models] == [(m.name, m.hint) for m in after.wrong_models]
    assert len(before.wrong_models) == 3
    for form in FORMS:
        assert len(set(idea.forms[form])) == 5
    assert not set(idea.forms["before"]) & set(idea.forms["after"]) - {
        words for words in idea.forms["before"][1:] if len(words.split()) <= 8
    }
    for exercise in (before, after):
        givens = givens_for(exercise, 7)
        answers = [solution(exercise, givens), *modelled(exercise, givens).values()]
        assert sorted(answers) == [1, 2, 3, 4]


@pytest.mark.parametrize("form", FORMS)
@each
def test_the_bench_says_what_is_right(idea: Idea, form: str) -> None:
    """What stands there as right is what the bench does; where it can't say it, a fact has its source."""
    assert idea.by_bench != bool(idea.fact)
    assert bench_says(idea.key, form) == RIGHT
    if idea.fact:
        assert re.search(r"common practice|NEC|from memory", idea.fact)


def test_most_questions_are_answered_by_the_bench() -> None:
    """The bench answers every question but those that no circuit can answer."""
    assert set(BENCH) == {idea.key for idea in ideas()} - {"who-decides", "fuse"}


@each
def test_nobody_has_to_compute(idea: Idea) -> None:
    """No number stands in a question or an answer but the 24 of the supply."""
    numbers = {number for form in FORMS for text in idea.forms[form] for number in re.findall(r"\b\d+", text)}
    assert numbers <= {"24"}


def test_the_two_forms_are_as_long_and_as_easy_to_read() -> None:
    """Neither form has many more words or harder ones; a right answer is not known by its length.

    With four answers the right one is the longest in 5 of 20 questions by chance, and the shortest in 5.
    """
    texts = {form: [idea.forms[form] for idea in ideas()] for form in FORMS}
    words = {form: sum(len(text.split()) for one in texts[form] for text in one) for form in FORMS}
    assert abs(words["before"] - words["after"]) < 0.1 * words["before"]
    grades = {form: prose.grade("\n\n".join(text for one in texts[form] for text in one)) for form in FORMS}
    assert max(grades.values()) <= 7.0
    assert abs(grades["before"] - grades["after"]) < 1.0
    for form in FORMS:
        for end, name in ((max, "longest"), (min, "shortest")):
            answers = {idea.key: idea.forms[form][1:] for idea in ideas()}
            known = [key for key, four in answers.items() if end(four, key=len) == four[0]]
            assert len(known) <= 5, f"{form}: the right answer is the {name} in {known}"


def test_a_check_notes_and_does_not_tell(capsys: pytest.CaptureFixture[str]) -> None:
    """Right and wrong get the same words; only whoever marks is told, and what is no answer is said."""
    student, marker = open_workbook("20", 5), open_workbook("20", 5, marking=True)
    right = solution(student.exercise("20.1"), student.givens("20.1"))
    for workbook in (student, marker):
        for answer in range(1, 5):
            workbook.check("20.1", answer)
    said = capsys.readouterr().out.splitlines()
    assert said[:4] == ["20.1 noted"] * 4
    assert said[4:][right - 1] == "20.1 right"
    assert sum(line.startswith("20.1 not yet: ") for line in said[4:]) == 3
    assert {str(student.verdict("20.1", answer)) for answer in range(1, 5)} == {"20.1 noted"}
    assert {student.verdict("20.1", answer).model for answer in range(1, 5)} == {""}
    student.check("20.1", ...)
    student.check("20.1", "maybe")
    unanswered, unreadable = capsys.readouterr().out.splitlines()
    assert unanswered.startswith("20.1 unanswered")
    assert unreadable.startswith("20.1 unreadable")


@pytest.mark.parametrize(("form", "number"), BOOKS.items())
def test_the_notebooks_are_those_of_the_rooms(form: str, number: str) -> None:
    """Each form's notebook is blank, asks every question, and holds no hint."""
    (path,) = FOLDER.glob(f"{number}_*.ipynb")
    notebook = read_notebook(path)
    assert blank(notebook) == notebook
    assert list(find_checks(notebook)) == [f"{number}.{k}" for k in range(1, 21)]
    text = path.read_text(encoding="utf-8")
    assert [hint for idea in ideas() for _, hint in idea.wrong if hint in text] == []
    prose_text = "\n\n".join(source_of(c) for c in notebook["cells"] if c["cell_type"] == "markdown")
    assert prose.grade(prose_text) <= 7.0


def test_it_lies_nowhere_but_in_a_hand_out(tmp_path: Path) -> None:
    """Neither an apprentice's folder nor the site has the test, nor does a hand-out of the series."""
    names = (*copy_workbooks(tmp_path).added, *workbook_files(), *(book.file for book in load_school().books))
    assert [name for name in names if "concepts" in name] == []
    assert [book.id for book in load_school(only=("20",)).books] == ["20"]
    with pytest.raises(BadSchool, match="no workbook '99'"):
        load_school(only=("99",))


def answered(path: Path, right: int) -> None:
    """Answer a form in a file: the first `right` questions rightly, the others as a misunderstanding says."""
    notebook = solved(read_notebook(path))
    number = path.name[:2]
    workbook = open_workbook(*opened(notebook))
    wrong = {}
    for exercise in workbook.exercises[right:]:
        wrong[exercise.id] = next(iter(modelled(exercise, workbook.givens(exercise.id)).values()))
    assert number == workbook.id
    write_notebook(path, with_answers(notebook, wrong))


def test_a_class_takes_both_forms_and_gains(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Handed out alone, answered, graded alone; 8 of 20 before and 14 of 20 after are a gain of one half."""
    (tmp_path / "roster.csv").write_text("name\n" + "\n".join(NAMES) + "\n")
    for form, number, right in (("before", "20", 8), ("after", "21", 14)):
        out, marks = tmp_path / form, tmp_path / f"marks-{form}"
        roster = ["--roster", str(tmp_path / "roster.csv"), "--seed", "autumn", "--only", number]
        assert main(["hand-out", *roster, "--out", str(out)]) == 0
        files = sorted(out.rglob("*.ipynb"))
        papers = [path for path in files if "glossary" not in path.parts]
        assert [path.name[:2] for path in papers] == [number] * 3
        for path in papers[: 3 if form == "before" else 2]:
            answered(path, right)
        papers[-1].unlink() if form == "after" else None
        manifest = ["--roster", str(out / "manifest.csv"), "--unconfined"]
        assert main(["grade", str(out), *manifest, "--out", str(marks)]) == 0
        assert "Keep them until the class has taken the second form" in capsys.readouterr().out
        head = (marks / "marks.csv").read_text(encoding="utf-8").splitlines()[0]
        assert head.split(",")[1:3] == [f"{number}.1", f"{number}.2"]
        assert "01.1" not in head
    assert main(["gain", str(tmp_path / "marks-before"), str(tmp_path / "marks-after")]) == 0
    said = capsys.readouterr().out
    assert "2 students took both forms: 40.0 % before, 70.0 % after. Normalised gain 0.50, medium." in said
    assert "left out, took only the form before the course: Una Berg" in said
