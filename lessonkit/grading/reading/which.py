"""Which workbook a file is of, and whose numbers it has.

A file is the workbook whose answers it assigns, whatever other workbook somebody has looked at in a cell of
their own. Its numbers are those in force where its first answer stands, as in a run from the top: an opening
further down, or one under another name, is a look at something else, and is told to the teacher.
"""

from __future__ import annotations

import ast
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from lessonkit.grading.reading.intake import UnreadableFile
from lessonkit.grading.reading.trees import parts_of
from lessonkit.grading.school import Book, School

__all__ = ["which_workbook"]

NAME = "workbook"
"""What a pristine notebook calls its workbook."""


class Parsed(Protocol):
    """A code cell with its place in the notebook and its syntax tree, if it has one."""

    index: int
    tree: ast.Module | None


@dataclass(frozen=True)
class _Opening:
    """One call of `open_workbook`: where, under which name (or ""), and what it opens."""

    place: int
    name: str
    book: str
    variant: int | None


def which_workbook(cells: Sequence[Parsed], school: School) -> tuple[Book, int | None, list[str]]:
    """Return the workbook of a file, its variant, and notes for the teacher.

    The variant is None where no cell opens the workbook with a number. Raises `UnreadableFile` for a file
    that is of none of the school's workbooks.
    """
    openings: list[_Opening] = []
    stored: dict[str, int] = {}
    for cell in cells:
        if cell.tree is None:
            continue
        openings += _openings(cell.index, cell.tree)
        for node in parts_of(cell.tree):
            if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
                stored.setdefault(node.id, cell.index)
    known = [one for one in openings if school.book(one.book) is not None]
    opened = [book for book in school.books if any(one.book == book.id for one in known)]
    # With no opening left the names of the answers tell; with several workbooks opened, they decide.
    book = max(opened or school.books, key=lambda item: sum(name in stored for name in item.names))
    answers = [stored[name] for name in book.names if name in stored]
    if not opened and not answers:
        raise UnreadableFile(
            "The notebook opens a workbook that is none of this school's."
            if openings
            else "The notebook is none of the workbooks: it opens none and answers none."
        )
    mine = [one for one in known if one.book == book.id]
    if not mine:
        return book, None, []
    in_force = _in_force(mine, min(answers, default=None))
    notes = []
    if others := sorted({one.book for one in known if one.book != book.id}):
        notes.append(f"it opens workbook {', '.join(others)} too, which changes nothing")
    if any(one.variant != in_force.variant for one in mine):
        notes.append("it opens its workbook with other numbers too; those above its first answer count")
    return book, in_force.variant, notes


def _in_force(mine: Sequence[_Opening], first: int | None) -> _Opening:
    """Return the opening that holds where the first answer stands."""
    named = [one for one in mine if one.name == NAME] or mine
    above = [one for one in named if first is None or one.place <= first]
    return above[-1] if above and first is not None else named[0]


def _openings(place: int, tree: ast.Module) -> list[_Opening]:
    names: dict[ast.Call, str] = {}
    for node in parts_of(tree):
        if isinstance(node, ast.Assign) and isinstance(node.value, ast.Call):
            for target in node.targets:
                if isinstance(target, ast.Name):
                    names[node.value] = target.id
    calls = (node for node in parts_of(tree) if isinstance(node, ast.Call))
    return [
        _Opening(place, names.get(call, ""), *opened)
        for call in calls
        if getattr(call.func, "attr", getattr(call.func, "id", "")) == "open_workbook"
        for opened in _opening(call)
    ]


def _opening(call: ast.Call) -> list[tuple[str, int | None]]:
    given = [part.value for part in call.args if isinstance(part, ast.Constant)]
    named = [word.value.value for word in call.keywords if isinstance(word.value, ast.Constant)]
    values = given + named
    if len(values) < 1 or type(values[0]) is not str:
        return []
    alone = len(call.args) + len(call.keywords) == 1  # then it is the self-study variant
    number = values[1] if len(values) > 1 else 0 if alone else None
    good = isinstance(number, int) and not isinstance(number, bool) and 0 <= number < 10**12
    return [(values[0], number if good else None)]  # type: ignore[list-item]
