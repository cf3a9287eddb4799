"""An invented school for the tests of grading: its pristine workbooks, and hand-ins of every kind.

`make_school` writes the pristine notebooks; `answered` fills one in for a student. `HOSTILE` and `DAMAGED`
list what a class can hand in besides honest work, each with the marks that an honest marker would give.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from lessonkit.exercises import load_exercises, sheets
from lessonkit.exercises.core import draw, solution

BOOKS = {"orchard_a": "91_pump.ipynb", "orchard_b": "92_gate.ipynb"}

Sheet = dict[str, Any]


def pristine(book: str) -> Sheet:
    """Return a pristine notebook: title, setup, a bench-like cell, and the exercises."""
    title, exercises = load_exercises(book)
    cells = [
        sheets.markdown_cell(f"# {title}\n", "title"),
        sheets.code_cell(
            f'import lessonkit as lk\n\nworkbook = lk.open_workbook("{book}", variant=0)', "setup"
        ),
        sheets.code_cell("drawn = list(range(3))\nprint(drawn)", "try-1"),
    ]
    for exercise in exercises:
        cells += sheets.exercise_cells(exercise)
    return sheets.new_sheet(cells)


def make_school(folder: Path) -> Path:
    """Write the pristine notebooks and return their folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for book, name in BOOKS.items():
        sheets.write_sheet(folder / name, pristine(book))
    return folder


def right(book: str, variant: int) -> dict[str, Any]:
    """Return the right answers of a variant."""
    return {item.id: solution(item, draw(item, variant)) for item in load_exercises(book)[1]}


def answered(book: str, variant: int, answers: dict[str, Any] | None = None) -> Sheet:
    """Return a student's notebook: right, but for the answers given here."""
    sheet = sheets.with_variant(pristine(book), variant)
    return sheets.with_answers(sheet, right(book, variant) | (answers or {}))


def to_bytes(sheet: Sheet) -> bytes:
    """Return the file that Jupyter would write."""
    return (json.dumps(sheet, indent=1, ensure_ascii=False) + "\n").encode("utf-8")


def changed(sheet: Sheet, cell_id: str, source: str | None) -> Sheet:
    """Return the notebook with a cell's source replaced, or with the cell deleted."""
    sheet = copy.deepcopy(sheet)
    cells = sheet["cells"]
    place = next(index for index, cell in enumerate(cells) if cell["id"] == cell_id)
    if source is None:
        del cells[place]
    else:
        cells[place]["source"] = source.splitlines(keepends=True)
    return sheet


def with_code(sheet: Sheet, source: str, before: str) -> Sheet:
    """Return the notebook with a new code cell before the one of that id."""
    sheet = copy.deepcopy(sheet)
    place = next(index for index, cell in enumerate(sheet["cells"]) if cell["id"] == before)
    sheet["cells"].insert(place, sheets.code_cell(source, f"own-{len(sheet['cells'])}"))
    return sheet


def answer_cell(source: str) -> Callable[[int], Sheet]:
    """Return a maker of notebooks that are right, but for the answer cell of 91.1."""
    return lambda variant: changed(answered("orchard_a", variant), "answer-91-1", source)
