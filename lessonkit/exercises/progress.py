"""Progress: what is answered, right or still open, read from an apprentice's own files.

Nothing is run and nothing is judged here. A workbook's file holds what was written into the answer cells,
and what the check cells said last; both are text, and that is all that is looked at. So a page about a whole
folder takes a moment, and a spoilt file does no harm: it is named as one that can't be read.

An exercise is in one of four states:

    open      nothing is written, or a place of the answer still has its three dots
    written   there is an answer, and the check cell has said nothing about it
    not yet   the check cell says that something is wrong
    right     the check cell says so

The check cell knows only the answer that it was last run with. Whoever changes an answer runs it again.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from lessonkit.errors import LessonError
from lessonkit.exercises.notebooks import BadNotebook, Notebook, find_checks, opened, read_notebook, source_of
from lessonkit.exercises.pristine import pristine_folder

__all__ = ["BookProgress", "Progress", "minutes_of", "read_progress", "series_books"]

OPEN, WRITTEN, NOT_YET, RIGHT = STATES = ("open", "written", "not yet", "right")

_ANSWER = re.compile(r"^answer_(\w+?)\s*=", re.MULTILINE)
_CHECK = re.compile(r"""\bcheck\(\s*["']([\w.]+)["']""")
_OPENS = re.compile(r"""\bopen_workbook\(\s*["']([\w.]+)["']""")
_PREDICTION = re.compile(r"^prediction_\w+\s*=\s*(.*)$", re.MULTILINE)
_MINUTES = (
    re.compile(r"(\d+) minutes, and (\d+) more"),
    re.compile(r"[Tt]ime to expect:?\**:? about (\d+) minutes"),
    re.compile(r"(\d+) minutes"),
)
_TOO_LARGE = 50_000_000


@dataclass(frozen=True)
class BookProgress:
    """How far one workbook is.

    `file` is the apprentice's own, by its name in the folder, "" where there is none. `states` has a state
    for each exercise, in the order of the workbook; `predicted` of `predictions` are written. `minutes` is
    the time to expect for all of it, 0 where the workbook does not say. `trouble` says why a file can't be
    read.
    """

    id: str
    title: str
    file: str
    minutes: int
    states: Mapping[str, str]
    predicted: int = 0
    predictions: int = 0
    trouble: str = ""

    def count(self, state: str) -> int:
        """Return how many exercises are in a state."""
        return sum(found == state for found in self.states.values())

    @property
    def begun(self) -> bool:
        """Tell whether anything was written."""
        return self.predicted > 0 or self.count(OPEN) < len(self.states)

    @property
    def done(self) -> bool:
        """Tell whether every exercise is right."""
        return bool(self.states) and self.count(RIGHT) == len(self.states)

    def first(self, *states: str) -> str | None:
        """Name the first exercise that is in one of these states."""
        return next((number for number, state in self.states.items() if state in states), None)


@dataclass(frozen=True)
class Progress:
    """How far each workbook of a folder is, in the order of the series."""

    folder: Path
    books: tuple[BookProgress, ...]

    @property
    def next(self) -> BookProgress | None:
        """Return the workbook to go on with: the first one that is not all right."""
        return next((book for book in self.books if book.file and not book.done and not book.trouble), None)


def series_books(folder: Path | None = None) -> dict[str, Notebook]:
    """Return the pristine workbooks of the series by their ids, in lesson order."""
    folder = pristine_folder() if folder is None else folder
    found = {}
    for path in sorted(folder.glob("[0-9][0-9]_*.ipynb")):
        notebook = read_notebook(path)
        found[opened(notebook)[0]] = notebook
    return found


def read_progress(folder: Path | str = ".", *, series: Mapping[str, Notebook] | None = None) -> Progress:
    """Return how far each workbook in a folder is.

    A file counts for the workbook that it opens, whatever its name. Of several for one workbook, the one with
    most in it counts. Raises `LessonError` where the folder is none.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise LessonError(f"{folder} is no folder; give the one that your workbooks are in.")
    series = series_books() if series is None else series
    best: dict[str, BookProgress] = {}
    for path in sorted(folder.glob("*.ipynb")):
        found = _book_in(path, series)
        if found is not None and (found.id not in best or _worth(found) > _worth(best[found.id])):
            best[found.id] = found
    books = [
        best.get(number) or BookProgress(number, title_of(book), "", minutes_of(book), _all_open(book))
        for number, book in series.items()
    ]
    return Progress(folder, tuple(books))


def _worth(book: BookProgress) -> tuple[int, ...]:
    return (not book.trouble, book.count(RIGHT), -book.count(OPEN), book.predicted)


def _book_in(path: Path, series: Mapping[str, Notebook]) -> BookProgress | None:
    """Return how far a file is; None where it is no workbook of the series."""
    try:
        if path.stat().st_size > _TOO_LARGE:
            raise BadNotebook("it is too large for a workbook")
        cells = list(_code_in(read_notebook(path)))
    except (BadNotebook, OSError, RecursionError):
        number = path.name[:2]
        if number not in series:
            return None
        book = series[number]
        trouble = f"{path.name} can't be read as a notebook"
        return BookProgress(
            number, title_of(book), path.name, minutes_of(book), _all_open(book), trouble=trouble
        )
    texts = [text for text, _ in cells]
    number = next((match[1] for text in texts if (match := _OPENS.search(text))), "")
    if number not in series:
        return None
    book = series[number]
    written = {match[1].replace("_", "."): text for text in texts for match in _ANSWER.finditer(text)}
    said = {match[1]: _said(cell) for text, cell in cells if (match := _CHECK.search(text))}
    states = {item: _state(written.get(item), said.get(item, "")) for item in find_checks(book)}
    guesses = [match[1].strip() for text in texts for match in _PREDICTION.finditer(text)]
    predicted = sum(guess not in ("...", "") for guess in guesses)
    return BookProgress(number, title_of(book), path.name, minutes_of(book), states, predicted, len(guesses))


def _code_in(notebook: Notebook) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield the code cells of any file: the text of each, and the cell."""
    for cell in notebook["cells"]:
        if isinstance(cell, dict) and cell.get("cell_type") == "code":
            source = cell.get("source", "")
            if isinstance(source, str) or (
                isinstance(source, list) and all(isinstance(line, str) for line in source)
            ):
                yield source_of(cell), cell


def _said(cell: Mapping[str, Any]) -> str:
    """Return what a check cell printed last."""
    parts = []
    for output in cell.get("outputs") or ():
        text = output.get("text", "") if isinstance(output, dict) else ""
        parts += [text] if isinstance(text, str) else [line for line in text if isinstance(line, str)]
    return "".join(parts)


def _state(answer: str | None, said: str) -> str:
    """Return the state of an exercise from the text of its answer and the words of its check."""
    if answer is None or _is_open(answer):
        return OPEN
    verdict = re.match(r"[\w.]+ (right|not yet|unanswered|unreadable)\b", said)
    if verdict is None or verdict[1] == "unanswered":
        return WRITTEN
    return RIGHT if verdict[1] == "right" else NOT_YET


def _is_open(source: str) -> bool:
    """Tell whether an answer still has a place with three dots, as it was handed out."""
    try:
        nodes = [node for node in ast.parse(source).body if isinstance(node, ast.Assign)]
    except (SyntaxError, ValueError, RecursionError, MemoryError):
        return False  # something was typed, if not in Python's grammar
    return any(
        isinstance(leaf, ast.Constant) and leaf.value is ...
        for node in nodes
        if isinstance(node.targets[0], ast.Name) and node.targets[0].id.startswith("answer_")
        for leaf in ast.walk(node.value)
    )


def title_of(notebook: Notebook) -> str:
    """Return the title of a workbook, its number in front."""
    for cell in notebook["cells"]:
        if match := re.match(r"#\s+(.+)", source_of(cell)):
            return match[1].strip()
    return ""


def minutes_of(notebook: Notebook) -> int:
    """Return the minutes to expect for a workbook, the exercises included; 0 where it does not say."""
    opening = []
    for cell in notebook["cells"]:
        if cell["cell_type"] != "markdown":
            break
        opening.append(source_of(cell))
    text = " ".join(" ".join(opening).split())
    for pattern in _MINUTES:
        if match := pattern.search(text):
            return sum(map(int, match.groups()))
    return 0


def _all_open(notebook: Notebook) -> dict[str, str]:
    return dict.fromkeys(find_checks(notebook), OPEN)
