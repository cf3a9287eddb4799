"""The judging half: answers as literals in the school's own notebook, run by nbval.

For a batch a notebook is generated in a new folder that holds nothing else. It opens the workbook of a
submission with the student's variant, assigns every answer variable (those without an answer get None, so
that nothing is left over from the student before), and repeats the school's check cells as they stand, stored
verdict and all, and where it is wanted a cell that says the questions with this variant's numbers; then the
next submission, of whichever workbook. nbval runs it and compares. Nothing a
student wrote is executed here: answers are plain data, written out again by us.

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
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from lessonkit.errors import LessonError
from lessonkit.exercises.core import OUTCOMES, RIGHT
from lessonkit.exercises.notebooks import answer_name, code_cell, new_notebook, write_notebook
from lessonkit.exercises.plain import decode, literal
from lessonkit.grading.children import own_environment, python_command
from lessonkit.grading.judging.report import ASKED, MARK, NO_ROOM, SAY
from lessonkit.grading.school import Book, load_school

__all__ = ["Judged", "JudgingFailed", "Submission", "judge_batch"]

CELL_TIMEOUT_S = 30.0
_HOMES = ("IPYTHONDIR", "JUPYTER_CONFIG_DIR", "JUPYTER_DATA_DIR", "JUPYTER_RUNTIME_DIR")
_Pair = tuple[str, str]  # submission, exercise


class JudgingFailed(LessonError, RuntimeError):
    """nbval could not be run at all."""


@dataclass(frozen=True)
class Submission:
    """One student's answers to one workbook, as they go to the judge.

    `key` tells submissions of a batch apart; `answers` are (exercise, wire). With `ask` the judge says the
    workbook's questions as well, with this variant's numbers.
    """

    key: str
    book: str
    variant: int
    answers: tuple[tuple[str, str], ...]
    ask: bool = False

    def pairs(self) -> list[_Pair]:
        """Return what the judge has to say: of each answer its verdict, and the questions."""
        names = [exercise for exercise, _ in self.answers] + [ASKED] * self.ask
        return [(self.key, name) for name in names]


@dataclass(frozen=True)
class Judged:
    """What became of one answer: an outcome and its hint, or "teacher" and why.

    Of the questions it is `ASKED` and what was printed.
    """

    outcome: str
    hint: str = ""


def judge_batch(
    folder: str, submissions: Sequence[Submission], timeout_s: float = CELL_TIMEOUT_S
) -> dict[_Pair, Judged]:
    """Return the verdict on every answer of a batch, by (submission's key, exercise).

    Questions that were wanted stand under (key, `ASKED`). `folder` has the school's pristine workbooks. The
    batch may mix workbooks; it is plain data in and out. Raises `JudgingFailed` when nothing can be judged at
    all.
    """
    books = {book.id: book for book in load_school(folder, [one.book for one in submissions]).books}
    everything = {pair for one in submissions for pair in one.pairs()}
    judged: dict[_Pair, Judged] = {}
    groups, tried = [everything] if everything else [], set[_Pair]()
    while groups:
        found, broken = _run(books, submissions, groups, timeout_s)
        judged.update(found)
        groups = []
        for lost in broken:
            # What took too long, and what a kernel was at when it was lost, is run again alone; what came
            # after a lost kernel was never run, and is run again without it.
            dead = next((pair for pair, how in lost if how == "dead"), None)
            suspects = [(pair, how) for pair, how in lost if how == "timeout" or pair == dead]
            rest = {pair for pair, _ in lost} - {pair for pair, _ in suspects}
            alone = len(lost) == 1 and lost[0][0] in tried
            for pair, how in suspects:
                if alone:
                    judged[pair] = Judged("teacher", f"its check {_WHY[how]}")
                else:
                    groups.append({pair})
            tried |= {pair for pair, _ in suspects}
            if rest:
                groups.append(rest)
    return judged


_WHY = {"failed": "failed on it", "timeout": "took too long", "dead": "did not come to an end"}


def _run(
    books: dict[str, Book], submissions: Sequence[Submission], groups: Sequence[set[_Pair]], timeout_s: float
) -> tuple[dict[_Pair, Judged], list[list[tuple[_Pair, str]]]]:
    """Run nbval once, with a notebook for each group.

    Return the verdicts, and for each notebook that has some without one: which, in order, and what became of
    them.
    """
    with tempfile.TemporaryDirectory(prefix="judge-", ignore_cleanup_errors=True) as name:
        folder = Path(name)
        notebooks: dict[str, list[_Pair]] = {}
        for number, group in enumerate(groups):
            cells = _cells(books, submissions, group)
            path = folder / f"judge_{number:03}.ipynb"
            write_notebook(path, new_notebook(cells))
            marks = (cell["metadata"].get(MARK) for cell in cells)
            notebooks[str(path)] = [_pair(mark) for mark in marks if mark and mark["exercise"]]
        lines = _nbval(folder, list(notebooks), timeout_s)
    written = [pair for marks in notebooks.values() for pair in marks]
    said = {_pair(line): line for line in lines if line["exercise"]}
    if not set(said) <= set(written):
        raise JudgingFailed("nbval reports a check that was not written; nothing is graded.")
    if not said or any(line["submission"] is None for line in lines):
        raise JudgingFailed(
            "nbval can't run the school's checks here; try `pytest --nbval-lax` on a workbook."
        )
    # A student whose answers were not put in place has those of the one before, and no verdict.
    spoilt = {line["submission"] for line in lines if line["exercise"] == "" and line["how"] == "failed"}
    found = {}
    for pair, line in said.items():
        verdict = _verdict(pair, line, spoilt=pair[0] in spoilt)
        if verdict is not None:
            found[pair] = verdict
    lost = [
        [(pair, _fate(said.get(pair))) for pair in marks if pair not in found] for marks in notebooks.values()
    ]
    return found, [some for some in lost if some]


def _pair(mark: dict[str, str]) -> _Pair:
    return mark["submission"], mark["exercise"]


def _fate(line: dict[str, Any] | None) -> str:
    return "dead" if line is None or line["how"] != "timeout" else "timeout"


def _cells(
    books: Mapping[str, Book], submissions: Iterable[Submission], pairs: set[_Pair]
) -> list[dict[str, Any]]:
    """Return the cells for these pairs: of each submission one that assigns, its checks, its questions."""
    cells = [code_cell("import lessonkit as lk", "setup")]
    for number, one in enumerate(submissions):
        given = {exercise: wire for exercise, wire in one.answers if (one.key, exercise) in pairs}
        ask = (one.key, ASKED) in pairs
        if not given and not ask:
            continue
        book = books[one.book]
        lines = [f"workbook = lk.open_workbook({book.id!r}, variant={one.variant}, marking=True)"]
        for exercise in book.exercises:
            answer = literal(decode(given[exercise.id])) if exercise.id in given else "None"
            lines.append(f"{answer_name(exercise.id)} = {answer}")
        mark = {MARK: {"submission": one.key, "exercise": ""}}
        cells.append(code_cell("\n".join(lines), f"answers-{number}", metadata=mark))
        for place, exercise in enumerate(book.exercises):
            if exercise.id in given:
                mark = {MARK: {"submission": one.key, "exercise": exercise.id}}
                cells.append({**book.checks[exercise.id], "id": f"check-{number}-{place}", "metadata": mark})
        if ask:
            mark = {MARK: {"submission": one.key, "exercise": ASKED}}
            cells.append(code_cell(SAY, f"asked-{number}", metadata=mark))
    return cells


def _verdict(pair: _Pair, line: dict[str, Any], *, spoilt: bool) -> Judged | None:
    """Return the verdict that a check printed, or None where it is no verdict."""
    exercise = pair[1]
    if line["how"] == "failed" or spoilt:
        return Judged("teacher", f"its check {_WHY['failed']}")
    if exercise == ASKED:
        return Judged(ASKED, line["text"]) if line["passed"] else None
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
        "MPLBACKEND": "Agg",
        # No profile, start-up file, kernel or setting of whoever grades has a say.
        **{name: str(home) for name in _HOMES},
        "JUPYTER_PATH": "",
        # What libraries put aside goes when the folder goes.
        **{name: str(home) for name in ("TMPDIR", "TEMP", "TMP")},
        "JUPYTER_PLATFORM_DIRS": "1",
    }
    command = python_command("lessonkit.grading.judging.nbval_run", str(report), f"{timeout_s:g}", *notebooks)
    # It watches its standard input: when that closes, this process is gone, and it clears up.
    with subprocess.Popen(
        command,
        cwd=folder,
        env=own_environment(**settings),
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=sys.platform != "win32",
    ) as child:
        if child.wait() == NO_ROOM:
            where = folder.parent
            raise JudgingFailed(f"The judge can't write in {where}; make room there, and grade again.")
    lines = []
    if report.exists():
        for line in report.read_text(encoding="ascii").splitlines():
            with contextlib.suppress(ValueError):
                lines.append(json.loads(line))
    return lines
