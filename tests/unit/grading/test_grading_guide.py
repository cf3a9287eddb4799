"""The teacher's guide: all that an exercise knows, for teachers, and never where students look."""

from __future__ import annotations

from html import unescape
from pathlib import Path

import pytest

from lessonkit.__main__ import main
from lessonkit.exercises import load_exercises, open_workbook
from lessonkit.exercises.compare import ChoiceSet, Count, ListOf, Number, Record, Table
from lessonkit.exercises.core import givens_for, modelled, solution
from lessonkit.grading.guide import answer_words
from lessonkit.site.build import workbook_files


def written(folder: Path, *words: str) -> str:
    """Write a guide and return its text."""
    path = folder / "guide.html"
    assert main(["guide", "--html", str(path), *words]) == 0
    return unescape(path.read_text(encoding="utf-8"))


def test_the_guide_has_every_answer_hint_and_misunderstanding(tmp_path: Path) -> None:
    """For each exercise: its title, the right answer of self-study, each misunderstanding with its hint."""
    text = written(tmp_path, "--only", "05", "--only", "20")
    for number in ("05", "20"):
        for exercise in load_exercises(number)[1]:
            givens = givens_for(exercise, 0)
            form = exercise.form(givens)
            assert f"{exercise.id} {exercise.title}" in text
            assert answer_words(form, solution(exercise, givens)) in text
            for answer in modelled(exercise, givens).values():
                assert answer_words(form, answer) in text
            for model in exercise.wrong_models:
                assert model.name in text
                assert model.hint in text


def test_a_student_s_guide_has_that_student_s_numbers(tmp_path: Path) -> None:
    """With a roster and a name, answers are those of the numbers that were handed out to that name."""
    (tmp_path / "roster.csv").write_text("name\nIda Holm\nJon Vik\n")
    hand = ["--roster", str(tmp_path / "roster.csv"), "--seed", "autumn"]
    assert main(["hand-out", *hand, "--only", "05", "--out", str(tmp_path / "out")]) == 0
    line = (tmp_path / "out" / "manifest.csv").read_text(encoding="utf-8").splitlines()[1]
    workbook = open_workbook("05", int(line.split(",")[3]))
    roster = ["--roster", str(tmp_path / "out" / "manifest.csv"), "--student", "Ida Holm"]
    text = written(tmp_path, "--only", "05", *roster)
    assert "numbers of Ida Holm" in text
    for exercise in workbook.exercises:
        givens = workbook.givens(exercise.id)
        assert answer_words(exercise.form(givens), solution(exercise, givens)) in text


def test_the_guide_is_refused_where_students_look(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Not into an apprentice's folder, not into a student's hand-out, not into a site."""
    (tmp_path / "lab").mkdir()
    (tmp_path / "lab" / ".lessonkit.json").write_text("{}")
    (tmp_path / "out" / "ida-holm").mkdir(parents=True)
    (tmp_path / "out" / "manifest.csv").write_text("student,workbook,file,variant\n")
    (tmp_path / "public" / "lessonkit").mkdir(parents=True)
    (tmp_path / "public" / "lessonkit" / "build.json").write_text("{}")
    for folder in ("lab", "out/ida-holm", "public", "public/lessonkit"):
        assert main(["guide", "--html", str(tmp_path / folder / "guide.html"), "--only", "20"]) == 2
        assert "a folder that students see" in capsys.readouterr().err
        assert not (tmp_path / folder / "guide.html").exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--student", "Ida Holm"), "go together"),
        (("--only", "99"), "no workbook '99'"),
    ],
)
def test_what_can_t_be_printed_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], said: str
) -> None:
    """A name without a roster, and a workbook that there isn't."""
    assert main(["guide", "--html", str(tmp_path / "guide.html"), *words]) == 2
    assert said in capsys.readouterr().err


def test_answers_are_said_as_a_person_would() -> None:
    """A number with its unit, a set in order, a table row by row, a list with commas."""
    assert answer_words(Number(unit="V"), 26.41234) == "26.41 V"
    assert answer_words(ChoiceSet(("Y1", "G")), ["Y1", "G"]) == "G, Y1"
    assert answer_words(ChoiceSet(("Y1", "G")), []) == "none of them"
    assert (
        answer_words(Table(("a", "b"), ListOf(Count())), {"a": [1, 2], "b": []})
        == "a: 1, 2; b: an empty list"
    )
    inner = Record((("volts", Number(unit="V")), ("set", ChoiceSet(("x",)))))
    assert answer_words(inner, {"volts": 1.0, "set": ["x"]}) == "volts: 1 V; set: x"


def test_no_guide_is_among_what_students_get() -> None:
    """The guide is made by a command and lies nowhere: not in the series, not in the site."""
    assert [name for name in workbook_files() if "guide" in name] == []
