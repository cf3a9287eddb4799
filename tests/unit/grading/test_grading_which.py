"""Which workbook a file is of, and whose numbers it has, whatever else its owner has looked at."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent / "school"))
import orchard

from lessonkit.exercises import notebooks
from lessonkit.grading.reading.reader import read_one
from lessonkit.grading.school import School, load_school


@pytest.fixture(scope="module")
def school(tmp_path_factory: pytest.TempPathFactory) -> Iterator[School]:
    """Return the invented school."""
    with orchard.on_path():
        yield load_school(orchard.make_school(tmp_path_factory.mktemp("school")))


@pytest.fixture
def read(school: School) -> Callable[[str, str], dict[str, Any]]:
    """Return what reads a right file of variant 7 with one more cell before another."""

    def reading(cell: str, before: str) -> dict[str, Any]:
        notebook = orchard.answered("orchard_a", 7)
        if before == "end":
            notebook["cells"].append(notebooks.code_cell(cell, "own"))
        else:
            notebook = orchard.with_code(notebook, cell, before)
        return read_one(orchard.to_bytes(notebook), school)

    return reading


@pytest.mark.parametrize(
    "look",
    [
        'workbook = lk.open_workbook("orchard_b", variant=3)',
        'workbook = lk.open_workbook("orchard_a", variant=0)',
        'other = lk.open_workbook("orchard_b", variant=7)',
        'lk.open_workbook("orchard_a", variant=0).ask("91.1")',
        'workbook = lk.open_workbook("orchard_a")',
    ],
)
@pytest.mark.parametrize("before", ["end", "setup"])
def test_look_at_another_workbook_loses_nothing(
    read: Callable[[str, str], dict[str, Any]], look: str, before: str
) -> None:
    """Another workbook or variant, opened at the end or above the own opening, changes nothing."""
    record = read(look, before)
    assert (record["book"], record["variant"]) == ("orchard_a", 7)
    assert {one[0] for one in record["found"].values()} == {"given"}
    assert any("opens" in note for note in record["notes"])


def test_numbers_in_force_at_the_answers_count(read: Callable[[str, str], dict[str, Any]]) -> None:
    """Who opens other numbers above the answers has those, as in a run from the top."""
    assert read('workbook = lk.open_workbook("orchard_a", variant=5)', "answer-91-1")["variant"] == 5
