"""What the processes of the judging half tell each other: marks on cells, a status, and questions.

A page shows each question with the student's own numbers. Its words may come from a bench, as the answer
does, so the judge's kernel says them: there the bench has run already, and the pages have only to be
written. No student's code runs in that kernel; what comes out of it is checked all the same.
"""

from __future__ import annotations

import json

from lessonkit.exercises.workbook import Workbook
from lessonkit.grading.said import fit_page

__all__ = ["ASKED", "MARK", "MOST", "NO_ROOM", "SAY", "questions", "say"]

MARK = "lessonkit-mark"
"""The key in a cell's metadata under which its submission and exercise stand."""

ASKED = "asked"
"""What stands in place of an exercise at the cell that says a submission's questions."""

NO_ROOM = 74
"""The status of a run whose marks could not be written down: the disk is full, most likely."""

MOST = {ASKED: 400_000}
"""How many letters of a cell's output are kept, where that is not the few that a verdict has."""

SAY = f"from {__name__} import say\nsay(workbook)"
"""The cell that says the questions of the workbook which is open."""

QUESTION_MOST = 20_000


def say(workbook: Workbook) -> None:
    """Print the questions of a workbook's exercises, by exercise, in one line of JSON."""
    asked = {one.id: one.question(workbook.givens(one.id)).strip() for one in workbook.exercises}
    print(json.dumps(asked))  # noqa: T201  the line is what the cell is for


def questions(said: str) -> dict[str, str]:
    """Return the questions that `say` printed, by exercise; what is no such thing is left out."""
    try:
        found = json.loads(said)
    except (ValueError, RecursionError):
        return {}
    if not isinstance(found, dict):
        return {}
    return {name: fit_page(text, QUESTION_MOST) for name, text in found.items() if isinstance(text, str)}
