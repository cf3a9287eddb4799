"""The series through grading: what is handed out, answered and handed in gets the marks that nbval gives.

The judge from outside is nbval, run as anyone would run it: over one student's file of workbook 00 as it is,
and over the exercises of all the student's other files, put into one notebook.
"""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
from nbvalrun import exercise_cells_of, run_nbval

from lessonkit.exercises import notebooks, open_workbook
from lessonkit.exercises.core import modelled
from lessonkit.exercises.glossary import GLOSSARY
from lessonkit.grading.handout.copies import hand_out
from lessonkit.grading.reading.hand_ins import files_in
from lessonkit.grading.roster import read_roll
from lessonkit.grading.run import Graded, grade_folder
from lessonkit.grading.school import School, load_school

NAMES = ("Ida Holm", "Jon Vik")


@pytest.fixture(scope="module")
def school() -> School:
    """Return the series that came with lessonkit."""
    return load_school()


@pytest.fixture(scope="module")
def handed_in(school: School, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with two students' answers to everything, each with misunderstandings of their own."""
    root = tmp_path_factory.mktemp("series")
    (root / "roster.csv").write_text("name\n" + "\n".join(NAMES) + "\n")
    made = hand_out(school, root / "roster.csv", "series", root / "out")
    (root / "in").mkdir()
    for place in made.roll.places:
        notebook = notebooks.solved(notebooks.read_notebook(root / "out" / place.file))
        workbook = open_workbook(place.book, place.variant)
        for exercise in workbook.exercises[NAMES.index(place.student) :: 3]:
            models = modelled(exercise, workbook.givens(exercise.id))
            if models:
                notebook = notebooks.with_answers(notebook, {exercise.id: list(models.values())[-1]})
        notebooks.write_notebook(root / "in" / Path(place.file).name, notebook)
    return root


def test_what_is_to_be_filled_in_fits_the_student_s_own_question(school: School, handed_in: Path) -> None:
    """A table to fill in names what this student's question asks for, not what another's does."""
    forms = set()
    for place in read_roll(handed_in / "out" / "manifest.csv", school, None).places:
        notebook = notebooks.read_notebook(handed_in / "out" / place.file)
        answers = notebooks.find_answers(notebook)
        workbook = open_workbook(place.book, place.variant)
        for exercise in workbook.exercises:
            cell = ast.parse(notebooks.source_of(notebook["cells"][answers[exercise.id]])).body[0]
            assert isinstance(cell, ast.Assign)
            written = ast.literal_eval(cell.value)
            assert written == exercise.form(workbook.givens(exercise.id)).blank(), exercise.id
            forms.add((exercise.id, str(written)))
    assert len(forms) > sum(len(book.exercises) for book in school.books)


def test_the_glossary_goes_with_the_workbooks(handed_in: Path) -> None:
    """A word that a student's copy links to is there, in the folder of each student, and is nobody's work."""
    folders = [path for path in (handed_in / "out").iterdir() if path.is_dir()]
    assert len(folders) == len(NAMES)
    for folder in folders:
        assert (folder / GLOSSARY).is_file()
    found, others = files_in(handed_in / "out")
    assert [name for name in (*found, *dict(others)) if "glossary" in name] == []


@pytest.fixture(scope="module")
def graded(school: School, handed_in: Path) -> Graded:
    """Return the class, graded."""
    roll = read_roll(handed_in / "out" / "manifest.csv", school, None)
    return grade_folder(handed_in / "in", handed_in / "marks", school, roll=roll)


def test_marks_are_those_of_nbval_over_the_files_themselves(
    school: School, handed_in: Path, graded: Graded
) -> None:
    """For one student's exercises of every workbook, right and not right are nbval's pass and fail."""
    # What is handed out stores no verdict, so nbval gets the files with the school's put back.
    files = sorted((handed_in / "in").glob("*_ida-holm.ipynb"))
    start, *others = [notebooks.with_verdicts(notebooks.read_notebook(path)) for path in files]
    cells = [cell for k, other in enumerate(others) for cell in exercise_cells_of(other, f"file-{k}-")]
    asked = {"start": start, "others": notebooks.new_notebook(cells)}
    (handed_in / "nbval").mkdir()
    ran = run_nbval(handed_in / "nbval", asked)
    expected = {}
    for name, notebook in asked.items():
        for exercise, index in notebooks.find_checks(notebook).items():
            expected[exercise] = notebook["cells"][index]["id"] not in ran[name].red
    ida = next(student for student in graded.students if student.name == "Ida Holm")
    assert {mark.exercise: mark.state == "right" for mark in ida.marks} == expected
    assert len(expected) == sum(len(book.exercises) for book in school.books)
    assert set(expected.values()) == {True, False}


def test_every_page_has_the_student_s_own_questions(school: School, handed_in: Path, graded: Graded) -> None:
    """Each question is there, and those of a workbook with 4 kB of them are whole, with the own numbers."""
    assert all(mark.asked for student in graded.students for mark in student.marks)
    book = next(book for book in school.books if book.id == "07")
    ida = next(student for student in graded.students if student.name == "Ida Holm")
    (path,) = (handed_in / "in").glob(f"{book.stem}_ida-holm.ipynb")
    workbook = open_workbook(*notebooks.opened(notebooks.read_notebook(path)))
    expected = {item.id: item.question(workbook.givens(item.id)).strip() for item in book.exercises}
    assert {mark.exercise: mark.asked for mark in ida.marks if mark.book == "07"} == expected
    assert sum(map(len, expected.values())) > 4000


def test_every_planted_misunderstanding_is_met(school: School, graded: Graded) -> None:
    """Each wrong answer is recognised by its model, and nothing waits for the teacher."""
    for student in graded.students:
        assert student.remarks == ()
        for book in school.books:
            marks = [mark for mark in student.marks if mark.book == book.id]
            planted = {exercise.id for exercise in book.exercises[NAMES.index(student.name) :: 3]}
            for mark in marks:
                if mark.exercise in planted and mark.state != "right":
                    assert (mark.state, bool(mark.model)) == ("not yet", True)
                elif mark.exercise not in planted:
                    assert mark.state == "right"
