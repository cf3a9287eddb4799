"""Every workbook of the series runs blank, is green when solved, and gives each wrong model its own hint.

Workbooks are found by themselves: a new `notebooks/NN_name.ipynb` with its room `workbook_NN` is tested from
the day it appears. nbval runs a copy of each, as a school would: solved, with another student's numbers and
with predictions made. One notebook more holds the exercises of all workbooks, blank, solved and wrong: they
need no more of a workbook than the cell that opens it. Whole and blank, as they are handed out, workbooks run
in JupyterLab itself (tests/browser/test_every_page.py). Exercises by themselves, with the numbers of a class,
are judged in test_class_of_thirty.py.
"""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path

import pytest
from nbvalrun import Run, code_cells, exercise_cells_of, run_nbval

from lessonkit.exercises import load_exercises, open_workbook
from lessonkit.exercises.core import modelled
from lessonkit.exercises.notebooks import (
    Notebook,
    blank,
    find_answers,
    find_checks,
    new_notebook,
    opened,
    read_notebook,
    solved,
    source_of,
    with_answers,
    with_variant,
)

NOTEBOOKS = Path(__file__).resolve().parents[2] / "notebooks"
SERIES = sorted(NOTEBOOKS.glob("[0-9][0-9]_*.ipynb"))
ANOTHER_STUDENT = 271_828_182

each_workbook = pytest.mark.parametrize("path", SERIES, ids=lambda path: path.stem)


def check_ids(notebook: Notebook) -> set[str]:
    """Return the ids of the check cells."""
    return {notebook["cells"][index]["id"] for index in find_checks(notebook).values()}


def prediction_nodes(notebook: Notebook) -> list[tuple[dict, ast.Assign]]:
    """List the cells that hold a prediction, with the assignment in each."""
    found = []
    for cell in code_cells(notebook):
        for node in ast.parse(source_of(cell)).body:
            named = isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name)
            if named and node.targets[0].id.startswith(("prediction_", "reason_")):
                found.append((cell, node))
    return found


def predicted(notebook: Notebook) -> Notebook:
    """Return the notebook with a guess or the word "skip" in every prediction, so that all is revealed."""
    guessed: dict[str, dict] = {}
    for count, (cell, node) in enumerate(prediction_nodes(notebook)):
        name, source = node.targets[0].id, source_of(guessed.get(cell["id"], cell))
        word = "a guess" if name.startswith("reason_") or count % 2 else "skip"
        old = ast.get_source_segment(source_of(cell), node)
        guessed[cell["id"]] = {**cell, "source": source.replace(old, f'{name} = "{word}"').splitlines(True)}
    return {**notebook, "cells": [guessed.get(cell["id"], cell) for cell in notebook["cells"]]}


def first_models(notebook: Notebook) -> dict[str, str]:
    """Return, for each exercise of a notebook, the first wrong model that its variant can meet."""
    workbook = open_workbook(*opened(notebook))
    models = {}
    for number in find_answers(notebook):
        models[number] = next(iter(modelled(workbook.exercise(number), workbook.givens(number))))
    return models


def wrong(notebook: Notebook) -> Notebook:
    """Return the notebook with a wrong model's answer in every exercise."""
    workbook = open_workbook(*opened(notebook))
    answers = {
        number: modelled(workbook.exercise(number), workbook.givens(number))[model]
        for number, model in first_models(notebook).items()
    }
    return with_answers(notebook, answers)


@cache
def pristine(path: Path) -> Notebook:
    """Read a workbook once."""
    return read_notebook(path)


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Run]:
    """Return what nbval says of each workbook as another student's, and of all exercises put together.

    One process runs them all, each notebook with a kernel of its own.
    """
    cells = []
    for path in SERIES:
        for prefix, fill in (("blank", blank), ("right", solved), ("wrong", wrong)):
            cells += exercise_cells_of(fill(pristine(path)), f"{prefix}-{path.name[:2]}-")
    others = {path.stem: with_variant(pristine(path), ANOTHER_STUDENT) for path in SERIES}
    asked = {name: predicted(solved(notebook)) for name, notebook in others.items()}
    return run_nbval(tmp_path_factory.mktemp("runs"), {**asked, "exercises": new_notebook(cells)})


@pytest.fixture(scope="module")
def judged(runs: dict[str, Run]) -> Run:
    """Return what nbval says of every workbook's exercises, blank, solved and wrong."""
    return runs["exercises"]


@each_workbook
def test_another_students_numbers_are_green(path: Path, runs: dict[str, Run]) -> None:
    """Solved with other numbers, and with predictions made, it passes against the same stored verdicts."""
    run = runs[path.stem]
    assert run.red == {}
    assert run.ran == len(code_cells(pristine(path)))


@each_workbook
def test_blank_is_red_at_its_checks(path: Path, judged: Run) -> None:
    """The checks of a workbook just opened say that there is something to do."""
    prefix = f"blank-{path.name[:2]}-"
    red = {cell.removeprefix(prefix) for cell in judged.red if cell.startswith(prefix)}
    assert red == check_ids(pristine(path))


@each_workbook
def test_solved_is_green(path: Path, judged: Run) -> None:
    """With the right answers every check of a workbook passes."""
    prefix = f"right-{path.name[:2]}-"
    assert {cell: said for cell, said in judged.red.items() if cell.startswith(prefix)} == {}


@each_workbook
def test_wrong_is_red_with_the_hint(path: Path, judged: Run) -> None:
    """A misunderstanding turns its check red, and what is printed there is the hint for it."""
    notebook, prefix = pristine(path), f"wrong-{path.name[:2]}-"
    red = {cell.removeprefix(prefix): said for cell, said in judged.red.items() if cell.startswith(prefix)}
    assert set(red) == check_ids(notebook)
    workbook = open_workbook(*opened(notebook))
    for number, name in first_models(notebook).items():
        hint = next(model.hint for model in workbook.exercise(number).wrong_models if model.name == name)
        assert hint in red[notebook["cells"][find_checks(notebook)[number]]["id"]], (number, name)


@each_workbook
def test_notebook_and_room_have_the_same_exercises(path: Path) -> None:
    """Each exercise of the room is asked, answered and checked in the notebook, in the same order."""
    notebook = pristine(path)
    number, variant = opened(notebook)
    expected = [exercise.id for exercise in load_exercises(number)[1]]
    asked = [
        node.args[0].value
        for cell in code_cells(notebook)
        for node in ast.walk(ast.parse(source_of(cell)))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "ask"
    ]
    assert (number, variant) == (path.name[:2], 0)
    assert asked == list(find_answers(notebook)) == list(find_checks(notebook)) == expected


@each_workbook
def test_shipped_workbooks_are_blank(path: Path) -> None:
    """What is handed out has neither answers nor predictions in it."""
    notebook = pristine(path)
    assert blank(notebook) == notebook
    values = [node.value for _, node in prediction_nodes(notebook)]
    assert all(isinstance(value, ast.Constant) and value.value is ... for value in values)


@each_workbook
def test_a_lesson_asks_before_it_shows(path: Path) -> None:
    """Each workbook lets the apprentice predict, and the name of a prediction is used once only."""
    nodes = [node for _, node in prediction_nodes(pristine(path))]
    names = [node.targets[0].id for node in nodes if node.targets[0].id.startswith("prediction_")]
    assert len(names) >= 3
    assert len(set(names)) == len(names)
