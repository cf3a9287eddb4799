"""The judging half: answers as literals in the school's own notebook, run by nbval.

For each workbook of a batch a notebook is generated in a new folder that holds nothing else. It opens the
workbook with a student's variant, assigns every answer variable (those without an answer get None, so that
nothing is left over from the student before), and repeats the school's check cells as they stand, stored
verdict and all; then the next student. nbval runs it and compares. Nothing a student wrote is executed here:
answers are plain data, written out again by us.

A check that prints another verdict is an answer that is not right. A check that fails, hangs or brings its
kernel down is a fault of the judge, and says nothing about the answer: that one goes to the teacher, and all
the others are run again without it.
"""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
import tempfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from lessonkit.errors import LessonError
from lessonkit.exercises.core import OUTCOMES, RIGHT
from lessonkit.exercises.plain import from_wire, literal
from lessonkit.exercises.sheets import answer_name, code_cell, new_sheet, write_sheet
from lessonkit.grading.children import own_environment
from lessonkit.grading.nbval_run import MARK
from lessonkit.grading.school import Book, load_school

__all__ = ["Judged", "JudgingFailed", "Submission", "judge_batch"]

CELL_TIMEOUT_S = 30.0
_Pair = tuple[str, str]  # submission, exercise


class JudgingFailed(LessonError, RuntimeError):
    """nbval could not be run at all."""


@dataclass(frozen=True)
class Submission:
    """One student's answers to one workbook, as they go to the judge.

    `key` tells submissions of a batch apart; `answers` are (exercise, wire).
    """

    key: str
    book: str
    variant: int
    answers: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Judged:
    """What became of one answer: an outcome and its hint, or "teacher" and why."""

    outcome: str
    hint: str = ""


def judge_batch(
    folder: str, submissions: Sequence[Submission], timeout_s: float = CELL_TIMEOUT_S
) -> dict[_Pair, Judged]:
    """Return the verdict on every answer of a batch, by (submission's key, exercise).

    `folder` has the school's pristine workbooks. The batch may mix workbooks; it is plain data in and out.
    Raises `JudgingFailed` when nothing can be judged at all.
    """
    school = load_school(folder)
    books = {book.id: book for book in school.books}
    todo: list[_Pair] = [(one.key, exercise) for one in submissions for exercise, _ in one.answers]
    judged: dict[_Pair, Judged] = {}
    while todo:
        found, suspects = _run(books, submissions, set(todo), timeout_s)
        judged.update(found)
        left = [pair for pair in todo if pair not in judged]
        if left and not found and not suspects:
            raise JudgingFailed("nbval ran none of the checks; see that `pytest --nbval-lax` works here.")
        # Where a kernel was lost, whatever it was at is to blame, and what came after was never run.
        for pair in suspects:
            alone, again = _run(books, submissions, {pair}, timeout_s)
            judged.update(alone or {pair: Judged("teacher", f"its check {_WHY[again.get(pair, 'dead')]}")})
        todo = [pair for pair in left if pair not in judged]
    return judged


_WHY = {"failed": "failed on it", "timeout": "took too long", "dead": "did not come to an end"}


def _run(
    books: dict[str, Book], submissions: Sequence[Submission], pairs: set[_Pair], timeout_s: float
) -> tuple[dict[_Pair, Judged], dict[_Pair, str]]:
    """Run nbval once; return the verdicts, and the first check of each notebook that got none."""
    with tempfile.TemporaryDirectory(prefix="judge-", ignore_cleanup_errors=True) as name:
        folder = Path(name)
        notebooks: dict[str, list[_Pair]] = {}
        for number, book in enumerate(dict.fromkeys(one.book for one in submissions)):
            mine = [one for one in submissions if one.book == book]
            cells = _cells(books[book], mine, pairs)
            if len(cells) > 1:
                path = folder / f"judge_{number:02}.ipynb"
                write_sheet(path, new_sheet(cells))
                notebooks[str(path)] = [pair for pair in map(_mark, cells) if pair is not None]
        lines = _nbval(folder, list(notebooks), timeout_s)
    written = {pair for marks in notebooks.values() for pair in marks}
    said = {(line["submission"], line["exercise"]): line for line in lines if line["submission"] is not None}
    if not set(said) <= written:
        raise JudgingFailed("nbval reports a check that was not written; nothing is graded.")
    found = {pair: verdict for pair, line in said.items() if (verdict := _verdict(pair, line)) is not None}
    suspects = {}
    for marks in notebooks.values():
        lost = [pair for pair in marks if pair not in found]
        if lost:
            suspects[lost[0]] = said.get(lost[0], {}).get("how", "dead")
    return found, suspects


def _cells(book: Book, submissions: Iterable[Submission], pairs: set[_Pair]) -> list[dict[str, Any]]:
    """Return the cells of a notebook for these submissions: one that assigns, then the checks."""
    cells = [code_cell("import lessonkit as lk", "setup")]
    for number, one in enumerate(submissions):
        given = {exercise: wire for exercise, wire in one.answers if (one.key, exercise) in pairs}
        if not given:
            continue
        lines = [f"workbook = lk.open_workbook({book.id!r}, variant={one.variant})"]
        for exercise in book.exercises:
            answer = literal(from_wire(given[exercise.id])) if exercise.id in given else "None"
            lines.append(f"{answer_name(exercise.id)} = {answer}")
        cells.append(code_cell("\n".join(lines), f"answers-{number}"))
        for place, exercise in enumerate(book.exercises):
            if exercise.id in given:
                mark = {MARK: {"submission": one.key, "exercise": exercise.id}}
                cells.append({**book.checks[exercise.id], "id": f"check-{number}-{place}", "metadata": mark})
    return cells


def _mark(cell: dict[str, Any]) -> _Pair | None:
    mark = cell["metadata"].get(MARK)
    return (mark["submission"], mark["exercise"]) if mark else None


def _verdict(pair: _Pair, line: dict[str, Any]) -> Judged | None:
    """Return the verdict that a check printed, or None where it is no verdict."""
    exercise = pair[1]
    if line["how"] == "failed":
        return Judged("teacher", f"its check {_WHY['failed']}")
    for outcome in OUTCOMES:
        head = f"{exercise} {outcome}"
        text = line["text"]
        if line["passed"] == (outcome == RIGHT) and (text == head + "\n" or text.startswith(head + ": ")):
            return Judged(outcome, text[len(head) + 2 :].strip())
    if line["how"] == "differs":
        return Judged("teacher", "its check printed no verdict")
    return None


def _nbval(folder: Path, notebooks: Sequence[str], timeout_s: float) -> list[dict[str, Any]]:
    """Run nbval over notebooks in a folder of their own and return what it wrote down."""
    report = folder / "marks.jsonl"
    (folder / "judge.ini").write_text("[pytest]\n", encoding="ascii")
    home = folder / "home"
    home.mkdir()
    settings = {
        "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1",
        "PYTEST_ADDOPTS": "",
        # A warning is printed once in a process: the first student would have it, the others not.
        "PYTHONWARNINGS": "ignore",
        "MPLBACKEND": "Agg",
        # No profile, start-up file or kernel of whoever grades has a say.
        **{name: str(home) for name in ("IPYTHONDIR", "JUPYTER_CONFIG_DIR", "JUPYTER_RUNTIME_DIR")},
        "JUPYTER_PLATFORM_DIRS": "1",
    }
    command = [sys.executable, "-m", "lessonkit.grading.nbval_run", str(report), f"{timeout_s:g}", *notebooks]
    subprocess.run(
        command,
        cwd=folder,
        env=own_environment(**settings),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        check=False,
    )
    lines = []
    if report.exists():
        for line in report.read_text(encoding="ascii").splitlines():
            with contextlib.suppress(ValueError):
                lines.append(json.loads(line))
    return lines
