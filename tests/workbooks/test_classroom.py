"""The classroom demonstrations: they run, they tell an instructor what to do, and nobody is marked."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pytest

from lessonkit.exercises.notebooks import read_notebook, source_of
from lessonkit.exercises.pristine import copy_workbooks
from lessonkit.grading.handout.copies import hand_out
from lessonkit.grading.reading.hand_ins import files_in
from lessonkit.grading.school import load_school
from lessonkit.site.build import workbook_files

sys.path.insert(0, str(Path(__file__).parent))
import prose
from test_workbooks import run_nbval

sys.path.pop(0)

FOLDER = Path(__file__).resolve().parents[2] / "notebooks" / "classroom"
DEMONSTRATIONS = sorted(FOLDER.glob("[1-9]_*.ipynb"))

each = pytest.mark.parametrize("path", DEMONSTRATIONS, ids=lambda path: path.stem)


def text_of(path: Path) -> str:
    """Return the text cells of a demonstration."""
    cells = read_notebook(path)["cells"]
    return "\n\n".join(source_of(cell) for cell in cells if cell["cell_type"] == "markdown")


def test_every_demonstration_runs_from_top_to_bottom(tmp_path: Path) -> None:
    """Each of the six runs without a page and without an error."""
    assert len(DEMONSTRATIONS) == 6
    runs = run_nbval(tmp_path, {path.stem: read_notebook(path) for path in DEMONSTRATIONS})
    assert {name: run.red for name, run in runs.items() if run.red} == {}


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
