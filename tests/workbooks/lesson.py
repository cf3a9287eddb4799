"""What the tests of all lessons share: the words of a workbook, right work by hand, and single slips."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from functools import cache
from pathlib import Path
from typing import Any

from lessonkit.exercises.core import Exercise, Givens, givens_for, judge, solution
from lessonkit.exercises.notebooks import read_notebook, source_of

_NOTEBOOKS = Path(__file__).resolve().parents[2] / "notebooks"


def notebook(number: str) -> Path:
    """Return the path of the workbook with this number, such as "05"."""
    (found,) = _NOTEBOOKS.glob(f"{number}_*.ipynb")
    return found


@cache
def words_of(number: str) -> str:
    """Return the words of a workbook: each line break a blank, each link its words."""
    cells = read_notebook(notebook(number))["cells"]
    whole = " ".join(source_of(cell) for cell in cells if cell["cell_type"] == "markdown")
    return " ".join(re.sub(r"\[([^\]]*)\]\([^)]*\)", r"\1", whole).split())


def assert_right_by_hand(
    exercise: Exercise, by_hand: Callable[[Givens], Any], students: Iterable[int] = range(30)
) -> None:
    """Work every student's variant with paper and pencil, and have each of these answers called right."""
    for student in students:
        givens = givens_for(exercise, student)
        assert judge(exercise, givens, by_hand(givens)).outcome == "right", (student, by_hand(givens))


def assert_each_slip_has_its_hint(exercise: Exercise, students: Iterable[int] = range(8)) -> None:
    """Take each row of a table of words for each other word, and have a hint of its own answer that."""
    for student in students:
        givens = givens_for(exercise, student)
        right: dict[str, Any] = solution(exercise, givens)
        for row in right:
            for word in exercise.form(givens).item.options:  # type: ignore[union-attr]
                if word != right[row]:
                    verdict = judge(exercise, givens, {**right, row: word})
                    assert (verdict.outcome, bool(verdict.model)) == ("not yet", True), (
                        exercise.id,
                        student,
                        row,
                        word,
                    )
