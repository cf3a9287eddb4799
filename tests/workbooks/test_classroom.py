"""The classroom demonstrations: they run, they tell an instructor what to do, and nobody is marked."""

from __future__ import annotations

import argparse
import re
from importlib import import_module
from pathlib import Path

import prose
import pytest

from lessonkit.__main__ import COMMANDS
from lessonkit.exercises.notebooks import read_notebook, source_of
from lessonkit.exercises.pristine import copy_workbooks
from lessonkit.grading.handout.copies import hand_out
from lessonkit.grading.reading.hand_ins import files_in
from lessonkit.grading.school import load_school
from lessonkit.site.build import workbook_files

FOLDER = Path(__file__).resolve().parents[2] / "notebooks" / "classroom"
DEMONSTRATIONS = sorted(FOLDER.glob("[1-9]_*.ipynb"))

each = pytest.mark.parametrize("path", DEMONSTRATIONS, ids=lambda path: path.stem)


def text_of(path: Path) -> str:
    """Return the text cells of a demonstration."""
    cells = read_notebook(path)["cells"]
    return "\n\n".join(source_of(cell) for cell in cells if cell["cell_type"] == "markdown")


def test_there_are_six() -> None:
    """Each of them is run and used as a page of JupyterLab in tests/browser/test_every_page.py."""
    assert len(DEMONSTRATIONS) == 6


@each
def test_the_running_order_fills_the_minutes(path: Path) -> None:
    """The rows of the running order follow each other without a gap, up to the minutes that are said."""
    text = text_of(path)
    said = re.search(r"in front of a class\. (\d+) minutes", text)
    assert said is not None
    rows = [(int(a), int(b)) for a, b in re.findall(r"^\| (\d+) to (\d+) \|", text, re.MULTILINE)]
    assert rows[0][0] == 0
    assert [end for _, end in rows[:-1]] == [begin for begin, _ in rows[1:]]
    assert rows[-1][1] == int(said[1])


@each
def test_an_instructor_is_told_what_to_ask_and_what_to_do_then(path: Path) -> None:
    """Each has a question a row, a guess that says it is one, a way on for a class that is right, limits."""
    text = text_of(path)
    rows = re.findall(r"^\| \d+ to \d+ \|.*\|(.*)\|$", text, re.MULTILINE)
    assert all("?" in row or '."' in row for row in rows), rows
    assert "**A common guess** (not measured by us)" in text
    assert re.search(r"\*\*If (?:the class|a team) is right", text)
    assert "Where the model stops" in text
    assert "> **Caution.**" in text


@each
def test_demonstrations_are_easy_to_read(path: Path) -> None:
    """The reading grade of a demonstration is 7 or less, as that of a workbook."""
    reached = prose.grade(text_of(path))
    assert reached <= 7.0, "\n".join([f"grade {reached:.1f}", *prose.hardest(text_of(path))])


@each
def test_a_question_stands_on_the_page_before_its_panel(path: Path) -> None:
    """What a panel shows is shown once without widgets first, so that the page reads with no browser."""
    code = [source_of(cell) for cell in read_notebook(path)["cells"] if cell["cell_type"] == "code"]
    first = next(k for k, source in enumerate(code) if "display(" in source and "import" not in source)
    assert first >= 2


def test_demonstrations_are_no_workbooks(tmp_path: Path) -> None:
    """No school marks them and no hand-out has them; a folder that is handed in with them is not bothered."""
    school = load_school()
    assert [book.file for book in school.books if not re.match(r"\d\d_", book.file)] == []
    (tmp_path / "roster.csv").write_text("name\nIda Holm\n")
    hand_out(school, tmp_path / "roster.csv", "classroom", tmp_path / "out")
    assert list((tmp_path / "out").rglob("classroom")) == []
    copied = copy_workbooks(tmp_path / "lab")
    names = {f"classroom/{path.name}" for path in DEMONSTRATIONS}
    assert names <= set(copied.added)
    assert names <= set(workbook_files())
    found, others = files_in(tmp_path / "lab")
    assert [name for name in (*found, *dict(others)) if "classroom/" in name] == []


WEEK = FOLDER / "0_week.ipynb"
#: What the plan of the week may name before it is there: the series to its end.
PLANNED = {f"{number:02}" for number in range(14)}


def days() -> list[tuple[list[tuple[int, str, str]], int]]:
    """Return each day of the plan: its rows (minutes, what, prepare), and the sum that stands below them."""
    found = []
    for part in re.split(r"^## Day ", text_of(WEEK), flags=re.MULTILINE)[1:]:
        rows = re.findall(r"^\| (\d+) \| (.+) \| (.+) \|$", part, re.MULTILINE)
        together = re.search(r"\*\*(\d+)\*\* \| \*\*together", part)
        assert together is not None
        found.append(([(int(minutes), what, prepare) for minutes, what, prepare in rows], int(together[1])))
    return found


def test_the_week_has_five_days_that_add_up() -> None:
    """Five days, each with the sum of its minutes, and no day longer than five and a half hours."""
    plan = days()
    assert len(plan) == 5
    for rows, together in plan:
        assert sum(minutes for minutes, _, _ in rows) == together
        assert together <= 330


def test_the_week_has_every_workbook_and_every_demonstration() -> None:
    """Each workbook of the series stands in the plan by its name, each demonstration with its own minutes."""
    text = re.sub(r"[-,]", " ", text_of(WEEK).lower()).replace("  ", " ")
    assert set(re.findall(r"\| workbook (\d\d) ", text)) == PLANNED
    for path in FOLDER.parent.glob("[01][0-9]_*.ipynb"):
        if path.name[:2] != "13":  # the capstone goes by that word
            assert f"workbook {path.stem.replace('_', ' ')}" in text
    rows = [row for day, _ in days() for row in day]
    for path in DEMONSTRATIONS:
        minutes = re.search(r"in front of a class\. (\d+) minutes", text_of(path))
        assert minutes is not None
        assert [row[0] for row in rows if path.name in row[1]] == [int(minutes[1])]
    assert [what for _, what, _ in rows if "concept test" in what] == [
        "concept test, the form before the course",
        "concept test, the form after the course",
    ]


def test_the_week_s_commands_exist_and_it_is_easy_to_read() -> None:
    """Each command that the plan shows takes the options that it shows; the text has grade 7 or less."""
    shown = re.findall(r"^ {4,}lessonkit (.+)$", text_of(WEEK), re.MULTILINE)
    assert len(shown) >= 6
    for line in shown:
        word, *rest = line.split()
        parser = argparse.ArgumentParser()
        import_module(COMMANDS[word].room).add_arguments(parser)
        parser.parse_args(rest)
    assert prose.grade(text_of(WEEK)) <= 7.0
