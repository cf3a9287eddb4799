"""The notebook file of a workbook: cells found by what they say, filled in, blanked and varied.

Judges from outside: nbformat's schema for notebooks, and nbval, which must be red on a blank workbook and
green on a solved one.
"""

from __future__ import annotations

import copy
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import nbformat
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "grading" / "school"))
import orchard

from lessonkit.exercises import load_exercises, notebooks, open_workbook
from lessonkit.exercises.workbook import UnknownWorkbook


@pytest.fixture(autouse=True, scope="module")
def _school_on_path() -> Iterator[None]:
    with orchard.on_path():
        yield


def test_built_notebook_is_valid_for_nbformat() -> None:
    """The notebook keeps nbformat's schema, ids included."""
    nbformat.validate(nbformat.from_dict(orchard.pristine("orchard_a")))


def test_blank_notebook_is_red_only_at_its_checks_and_the_solved_one_green(tmp_path: Path) -> None:
    """nbval fails exactly the check cells of a blank workbook, and none of a solved one."""
    notebook = orchard.pristine("orchard_b")
    notebooks.write_notebook(tmp_path / "blank.ipynb", notebook)
    notebooks.write_notebook(tmp_path / "solved.ipynb", notebooks.solved(notebook))
    words = ["-m", "pytest", "-q", "-p", "nbval.plugin", "--nbval-lax", "--rootdir", str(tmp_path)]
    command = [sys.executable, *words, "-p", "no:cacheprovider"]
    # Other plugins that are installed have no part in it, and take seconds to load.
    env = {**os.environ, "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"}
    done = subprocess.run(command, cwd=tmp_path, env=env, capture_output=True, text=True, check=False)
    lines = done.stdout.splitlines()
    code = [cell for cell in notebook["cells"] if cell["cell_type"] == "code"]
    checks = [n for n, cell in enumerate(code) if "NBVAL_CHECK_OUTPUT" in notebooks.source_of(cell)]
    failed = [line.split(" - ")[0] for line in lines if line.startswith("FAILED")]
    assert failed == [f"FAILED blank.ipynb::Cell {number}" for number in checks]
    assert lines[-1].startswith("2 failed, 14 passed")


def test_cells_are_found_wherever_they_are() -> None:
    """Reversing the notebook and taking its ids away changes nothing."""
    notebook = orchard.pristine("orchard_a")
    turned = copy.deepcopy(notebook)
    turned["cells"].reverse()
    for cell in turned["cells"]:
        cell["id"] = f"x{id(cell)}"
    last = len(notebook["cells"]) - 1
    assert notebooks.find_answers(turned) == {
        e: last - n for e, n in notebooks.find_answers(notebook).items()
    }
    assert notebooks.find_checks(turned) == {e: last - n for e, n in notebooks.find_checks(notebook).items()}
    assert notebooks.opened(turned) == ("orchard_a", 0)


@pytest.mark.parametrize("variant", [0, 5])
def test_solved_then_blank_is_the_pristine_notebook(variant: int) -> None:
    """Filling in and blanking are each other's reverse, and change nothing else."""
    notebook = notebooks.with_variant(orchard.pristine("orchard_a"), variant)
    before = copy.deepcopy(notebook)
    solved = notebooks.solved(notebook)
    assert notebook == before
    assert solved != notebook
    assert notebooks.blank(solved) == notebook


def test_comment_beside_an_answer_stays() -> None:
    """Only the value is replaced, whatever stands around it."""
    notebook = orchard.changed(
        orchard.pristine("orchard_a"), "answer-91-1", "# é first\nanswer_91_1 = ...  # in ohm"
    )
    filled = notebooks.with_answers(notebook, {"91.1": "wörd"})
    cell = filled["cells"][notebooks.find_answers(filled)["91.1"]]
    assert notebooks.source_of(cell) == '# é first\nanswer_91_1 = "wörd"  # in ohm'


def test_variant_changes_the_number_and_the_questions() -> None:
    """Another variant's notebook opens that variant and shows its numbers before anything is run."""
    notebook = notebooks.with_variant(orchard.pristine("orchard_a"), 77)
    assert notebooks.opened(notebook) == ("orchard_a", 77)
    ask = next(cell for cell in notebook["cells"] if cell["id"] == "ask-91-1")
    length = open_workbook("orchard_a", 77).givens("91.1")["length_m"]
    assert f"{length} m" in "".join(ask["outputs"][0]["data"]["text/markdown"])


def test_every_model_gives_its_own_hint() -> None:
    """A copy with one wrong model's answer differs from the solved one in that answer, and gets that hint."""
    notebook = orchard.pristine("orchard_a")
    _, exercises = load_exercises("orchard_a")
    workbook = open_workbook("orchard_a")
    for exercise in exercises:
        for model in exercise.wrong_models:
            try:
                copy_ = notebooks.with_model(notebook, exercise.id, model.name)
            except notebooks.BadNotebook:
                continue  # it coincides with the right answer in this variant
            names: dict[str, Any] = {}
            source = notebooks.source_of(copy_["cells"][notebooks.find_answers(copy_)[exercise.id]])
            exec(source, names)  # noqa: S102  our own cell
            verdict = workbook.verdict(exercise.id, names[notebooks.answer_name(exercise.id)])
            assert (verdict.hint, verdict.model) == (model.hint, model.name)


def test_workbook_speaks_in_plain_text_outside_a_notebook(capsys: pytest.CaptureFixture[str]) -> None:
    """Asking and checking print text where there is no notebook."""
    workbook = open_workbook("orchard_b")
    workbook.ask("92.2")
    workbook.check("92.2", "Disconnect")
    said = capsys.readouterr().out
    assert said.startswith("**92.2 First step** (1 point)")
    assert said.endswith("92.2 right\n")


@pytest.mark.parametrize("name", ["99", "no such", "os", "lessonkit.exercises.core", "../x", ""])
def test_unknown_workbook_is_one_sentence(name: str) -> None:
    """A name that is no workbook is refused with what there is."""
    with pytest.raises(UnknownWorkbook):
        open_workbook(name)


@pytest.mark.parametrize("variant", [-1, 1.5, True, "3", None])
def test_bad_variant_is_refused(variant: Any) -> None:
    """A variant is a whole number, 0 or above."""
    with pytest.raises(UnknownWorkbook, match="variant"):
        open_workbook("orchard_b", variant)
