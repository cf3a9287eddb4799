"""Handing out: each student's own workbooks, and the manifest for the school.

The same roster, seed and workbooks give the same files, byte for byte. A file is named after its student;
inside it there is only the variant's number, unless names are asked for. A file that is there already is
left alone when it is the same, and never written over when it isn't: it may hold answers.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from lessonkit.errors import LessonError
from lessonkit.exercises.glossary import GLOSSARY
from lessonkit.exercises.notebooks import blank, markdown_cell, notebook_bytes, with_variant, without_verdicts
from lessonkit.files import write_whole
from lessonkit.grading.roster import MANIFEST_COLUMNS, Place, Roll, assign, read_class
from lessonkit.grading.school import School
from lessonkit.grading.tables import write_table

__all__ = ["HandedOut", "hand_out", "notebook_for"]

MANIFEST = "manifest.csv"


class InTheWay(LessonError, FileExistsError):
    """A file that a hand-out would have to write over."""

    __str__ = Exception.__str__


@dataclass(frozen=True)
class HandedOut:
    """What a hand-out made.

    The roll, the manifest's path, and how many students share a workbook's numbers.
    """

    roll: Roll
    manifest: Path
    shared: int


def notebook_for(school: School, place: Place, *, names_inside: bool = False) -> dict[str, Any]:
    """Return one student's notebook."""
    book = school.book(place.book)
    if book is None:
        raise LessonError(f"There is no workbook {place.book!r} in {school.folder}.")
    # An answer's form may hang on the numbers: the calls to fill in, say. So it is written anew as well.
    notebook = without_verdicts(blank(with_variant(book.notebook, place.variant)))
    if names_inside:
        notebook = copy.deepcopy(notebook)
        # As code, so that no sign in a name is taken for Markdown.
        notebook["cells"].insert(
            1, markdown_cell(f"Made for `{place.student.replace('`', ' ')}`.", "made-for")
        )
    return notebook


def hand_out(
    school: School, roster: Path, seed: object, out: Path, *, names_inside: bool = False
) -> HandedOut:
    """Write every student's workbooks and the manifest under a folder.

    Raises `InTheWay` where another file stands, before anything is written.
    """
    members = read_class(roster)
    roll = assign(school, tuple(members), seed, members)
    if out.exists() and not out.is_dir():
        raise InTheWay(f"{out} is a file; name a folder with --out.")

    def content(place: Place) -> bytes:
        return notebook_bytes(notebook_for(school, place, names_inside=names_inside))

    for place in roll.places:
        path = out / place.file
        if path.exists() and path.read_bytes() != content(place):
            raise InTheWay(f"{path} is there already and is another file; hand out into a new folder.")
    rows = [(place.student, place.book, place.file, place.variant) for place in roll.places]
    table = write_table(MANIFEST_COLUMNS, rows)
    if roll.groups:
        table = write_table((*MANIFEST_COLUMNS, "group"), [(*row, roll.group(row[0])) for row in rows])
    if (out / MANIFEST).exists() and (out / MANIFEST).read_bytes() != table:
        raise InTheWay(f"{out / MANIFEST} is another hand-out's; hand out into a new folder.")
    for place in roll.places:
        write_whole(out / place.file, content(place))
        _lay_glossary(school, (out / place.file).parent)
    write_whole(out / MANIFEST, table)
    numbers = [(place.book, place.variant) for place in roll.places]
    return HandedOut(roll, out / MANIFEST, len(numbers) - len(set(numbers)))


def _lay_glossary(school: School, folder: Path) -> None:
    """Lay the school's glossary, if it has one, where the workbooks' links look for it."""
    origin = school.folder / GLOSSARY
    if origin.is_file() and not (folder / GLOSSARY).exists():
        (folder / GLOSSARY).parent.mkdir(exist_ok=True)
        write_whole(folder / GLOSSARY, origin.read_bytes())
