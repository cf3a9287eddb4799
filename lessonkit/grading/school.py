"""The school's own copy: which workbooks there are, and what their cells look like.

A school is a folder of pristine workbooks, by default the series that came with lessonkit. A notebook counts
when it opens a workbook that has exercises; which ones exist is read from the folder and nowhere written
down. From each come the check cells, byte for byte, that nbval will run, and the sources of the cells that a
student is not meant to change, by which they are recognised in a student's file.
"""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

import lessonkit
from lessonkit.errors import LessonError
from lessonkit.exercises import Exercise, Workbook, load_exercises, open_workbook
from lessonkit.exercises.notebooks import (
    BadNotebook,
    answer_name,
    find_answers,
    find_checks,
    opened,
    read_notebook,
    source_of,
)
from lessonkit.exercises.pristine import CONCEPTS, pristine_folder

__all__ = ["BadSchool", "Book", "School", "fingerprint_of", "load_school", "tidy_source"]


class BadSchool(LessonError, ValueError):
    """A folder of pristine workbooks that can't be graded from."""


@dataclass(frozen=True)
class Book:
    """One pristine workbook: its file, its exercises, its cells.

    `checks` has the check cell of each exercise as it stands in the notebook; `locked` the tidied sources of
    all code cells but the answers.
    """

    id: str
    title: str
    file: str
    notebook: dict[str, Any] = field(repr=False)
    exercises: tuple[Exercise, ...] = field(repr=False)
    checks: dict[str, dict[str, Any]] = field(repr=False)
    locked: frozenset[str] = field(repr=False)

    @property
    def stem(self) -> str:
        """Return the file's name without its ending, such as "01_calls"."""
        return Path(self.file).stem

    @property
    def points(self) -> float:
        """Return the sum of all points."""
        return sum(exercise.points for exercise in self.exercises)

    @cached_property
    def names(self) -> dict[str, str]:
        """Return the answer variables and their exercises."""
        return {answer_name(exercise.id): exercise.id for exercise in self.exercises}

    @cached_property
    def sources(self) -> tuple[str, ...]:
        """Return what stands in the pristine notebook's cells, text and code."""
        return tuple(source_of(cell) for cell in self.notebook["cells"])

    @cached_property
    def tidied(self) -> frozenset[str]:
        """Return the tidied sources of all the pristine notebook's cells."""
        return frozenset(map(tidy_source, self.sources))

    def open(self, variant: int) -> Workbook:
        """Open the workbook with a variant's numbers."""
        return open_workbook(self.id, variant)


@dataclass(frozen=True)
class School:
    """All pristine workbooks, in the order of their files."""

    folder: Path
    books: tuple[Book, ...]

    def book(self, book_id: str) -> Book | None:
        """Return a workbook by its id, or None."""
        return next((book for book in self.books if book.id == book_id), None)


def tidy_source(source: str) -> str:
    """Return a source without the blanks that editors and systems change."""
    return "\n".join(line.rstrip() for line in source.strip().splitlines())


def load_school(folder: Path | str | None = None, only: Iterable[str] = ()) -> School:
    """Return the school whose pristine workbooks are in a folder; without one, the series.

    `only` names workbooks by their ids, those of the concept test too; without it all but the concept test
    are taken. Raises `BadSchool` for a folder with none, for a workbook that there isn't, and for a check
    cell that nbval would pass whatever it prints.
    """
    place = pristine_folder() if folder is None else Path(folder)
    wanted = tuple(dict.fromkeys(only))
    paths = sorted(place.glob("*.ipynb"))
    if wanted:
        paths += sorted((place / CONCEPTS).glob("*.ipynb"))
    books, known = [], []
    for path in paths:
        notebook = read_notebook(path)
        try:
            book_id, _ = opened(notebook)
        except BadNotebook:
            continue  # a notebook without exercises
        known.append(book_id)
        if wanted and book_id not in wanted:
            continue
        title, exercises = load_exercises(book_id)
        books.append(_book(path, notebook, book_id, title, exercises))
    if strange := [one for one in wanted if one not in known]:
        there = ", ".join(known) or "none"
        raise BadSchool(f"There is no workbook {strange[0]!r} in {place}; there are {there}.")
    if not books:
        raise BadSchool(f"There is no workbook with exercises in {place}; name the folder of pristine ones.")
    ids = [exercise.id for book in books for exercise in book.exercises]
    if twice := sorted({name for name in ids if ids.count(name) > 1}):
        raise BadSchool(f"Two workbooks in {place} have an exercise {twice[0]}; ids must differ in a school.")
    return School(place, tuple(books))


def _book(path: Path, notebook: dict[str, Any], book_id: str, title: str, exercises: Any) -> Book:
    where, answers = find_checks(notebook), set(find_answers(notebook).values())
    checks = {}
    for exercise in exercises:
        if exercise.id not in where:
            raise BadSchool(f"{path.name} has no check cell for exercise {exercise.id}.")
        cell = notebook["cells"][where[exercise.id]]
        # nbval passes a cell that was never run whatever it prints; that must not happen to the school's
        # copy.
        said = "".join("".join(item.get("text", "")) for item in cell.get("outputs", []))
        if cell.get("execution_count") is None or said != f"{exercise.id} right\n":
            raise BadSchool(f"{path.name}: the check cell of {exercise.id} has no stored right verdict.")
        checks[exercise.id] = cell
    locked = frozenset(
        tidy_source(source_of(cell))
        for index, cell in enumerate(notebook["cells"])
        if cell.get("cell_type") == "code" and index not in answers
    )
    return Book(book_id, title, path.name, notebook, tuple(exercises), checks, locked)


def fingerprint_of(school: School) -> str:
    """Return a short text that changes when a verdict could.

    It covers lessonkit's sources, the pristine workbooks, and the rooms of a school's own exercises.
    """
    package = Path(lessonkit.__file__).parent
    files = sorted(package.rglob("*.py")) + sorted(package.rglob("*.toml"))
    for book in school.books:
        module = sys.modules.get(book.id)
        if module is not None and module.__file__:
            files.append(Path(module.__file__))
    total = hashlib.sha256(repr((sys.version_info[:2], [book.notebook for book in school.books])).encode())
    for path in files:
        total.update(path.name.encode() + hashlib.sha256(path.read_bytes()).digest())
    return total.hexdigest()[:16]
