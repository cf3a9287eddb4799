"""Who is in the class, and whose numbers are whose.

A roster is a CSV file with a column `name`, and one called `group` if the school likes. With the class seed
it decides everything: each student's variant of each workbook, the names of the files, and so the manifest
that a hand-out writes for the school. Grading takes the roster or the manifest, whichever is at hand; the
manifest is a CSV with the columns student, workbook, file and variant, and group where the roster has it.

Names are compared as a person reads them: composed or decomposed accents, blanks of any width and invisible
marks of direction make no difference.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path, PurePosixPath

from lessonkit.exercises.core import Exercise, givens_for, variant_number
from lessonkit.files import first_free
from lessonkit.grading.school import School
from lessonkit.grading.tables import JOINERS, BadTable, read_table

__all__ = [
    "MANIFEST_COLUMNS",
    "Place",
    "Roll",
    "Used",
    "assign",
    "file_names",
    "handed_out",
    "read_class",
    "read_names",
    "read_roll",
    "slug",
    "squeezed",
    "worded",
]

MANIFEST_COLUMNS = ("student", "workbook", "file", "variant")
TURNS = 64
"""How often another number is tried before two students may share a workbook's numbers."""
LONGEST = 48
"""Letters of a name in a file's name: with a workbook's before it and four bytes each, systems take that."""
DEVICES = {"con", "prn", "aux", "nul"} | {port + digit for port in ("com", "lpt") for digit in "0123456789"}
"""Names that Windows keeps for devices, and under which it makes no file or folder."""


@dataclass(frozen=True)
class Place:
    """One workbook of one student: the file it was handed out as, and its variant."""

    student: str
    book: str
    file: str
    variant: int


@dataclass(frozen=True)
class Roll:
    """All that was handed out to a class; `groups` are (student, group) where the roster says so."""

    places: tuple[Place, ...]
    groups: tuple[tuple[str, str], ...] = ()

    @cached_property
    def _places(self) -> dict[tuple[str, str], Place]:
        return {(place.student, place.book): place for place in self.places}

    @cached_property
    def _variants(self) -> dict[tuple[str, int], Place]:
        return {(place.book, place.variant): place for place in reversed(self.places)}

    @property
    def students(self) -> tuple[str, ...]:
        """Return the students in the order of the roster."""
        return tuple(dict.fromkeys(place.student for place in self.places))

    @cached_property
    def folders(self) -> dict[str, str]:
        """Return the name of each student's folder; the student's page is called the same."""
        found: dict[str, str] = {}
        for place in self.places:
            found.setdefault(place.student, PurePosixPath(place.file).parent.name)
        if all(found.values()) and len(set(found.values())) == len(found):
            return found
        return file_names(self.students)  # a manifest that somebody has edited

    def group(self, student: str) -> str:
        """Return the group that a student is in, or ""."""
        return dict(self.groups).get(student, "")

    def of(self, student: str, book: str) -> Place | None:
        """Return what a student was given as a workbook."""
        return self._places.get((student, book))

    def by_variant(self, book: str, variant: int) -> Place | None:
        """Return whose numbers these are."""
        return self._variants.get((book, variant))


def slug(name: str) -> str:
    """Return a name as part of a file's name, one that every system can make.

    Lower case, letters and digits of any script, at most 48 of them.

    >>> slug("  Ana-María O'Neill "), slug("Con")
    ('ana-maría-o-neill', 'student-con')
    """
    short = worded(name)[:LONGEST].strip("-")
    return f"student-{short}" if short in DEVICES else short or "student"


def squeezed(text: str) -> str:
    """Return a name without the signs that platforms and systems change in it.

    >>> squeezed("01_Calls_Ana-María (1)")
    '01callsanamaría1'
    """
    return worded(text).replace("-", "")


def worded(text: str) -> str:
    """Return a text's words, lower case, of letters and digits of any script, with hyphens between.

    The marks that an Indian or Arabic letter carries belong to it; joiners and other invisible signs part
    nothing, since platforms drop them.

    >>> worded("Ann_Lee"), worded("a\u200cb")
    ('ann-lee', 'ab')
    """
    tidy = unicodedata.normalize("NFKC", text).casefold()
    seen = (sign for sign in tidy if unicodedata.category(sign) != "Cf")
    part = (sign if sign.isalnum() or unicodedata.category(sign).startswith("M") else " " for sign in seen)
    return "-".join("".join(part).split())


def file_names(names: Sequence[str]) -> dict[str, str]:
    """Return each student's name as the name of a folder or a page, no two alike.

    >>> file_names(["Ann Lee", "ann-lee"])
    {'Ann Lee': 'ann-lee', 'ann-lee': 'ann-lee-2'}
    """
    taken: set[str] = set()
    found = {}
    for name in names:
        # Squeezed, because a platform may drop what tells ann-abel from annabel.
        own = first_free(slug(name), lambda one: squeezed(one) in taken)
        taken.add(squeezed(own))
        found[name] = own
    return found


def read_names(path: Path) -> tuple[str, ...]:
    """Return the names in a roster, in its order. Raises `BadTable` as `read_class` does."""
    return tuple(read_class(path))


def read_class(path: Path) -> dict[str, str]:
    """Return the names in a roster, in its order, each with its group, "" where there is none.

    Raises `BadTable` for a table without a column `name`, an empty one, and a name that stands twice.
    """
    head, rows = read_table(path)
    column = next((word for word in ("name", "student") if word in head), None)
    if column is None:
        raise BadTable(f"{path} has no column name; its columns are {', '.join(head)}.")
    names: dict[str, int] = {}
    groups: dict[str, str] = {}
    for number, row in rows:
        name = row[head.index(column)]
        if not name or not all(sign.isprintable() or sign in JOINERS for sign in name):
            raise BadTable(
                f"{path}, line {number}: there is no name, or one with signs that can't be printed."
            )
        if name in names:
            raise BadTable(
                f"{path}, line {number}: {name} stands in line {names[name]} too; tell them apart."
            )
        names[name] = number
        groups[name] = row[head.index("group")] if "group" in head else ""
    if not names:
        raise BadTable(f"{path} names nobody.")
    return groups


def assign(
    school: School, names: Sequence[str], seed: object, groups: Mapping[str, str] | None = None
) -> Roll:
    """Return each student's variant of each workbook, from the class seed; `groups` are carried along.

    No two students have the same numbers in all exercises of a workbook, as far as a workbook has that many
    variants; and in no case in all exercises of all. Raises `BadTable` where that can't be.
    """
    slugs = file_names(names)
    places = []
    whole: dict[str, list[int]] = {name: [] for name in names}
    for book in school.books:
        used = Used(book.exercises)
        for name in names:
            for turn in range(TURNS):
                variant = variant_number(seed, slugs[name], turn)
                other = used.same_as(variant)
                if other is None:
                    break
            whole[name].append(variant if other is None else other)
            places.append(Place(name, book.id, f"{slugs[name]}/{book.stem}_{slugs[name]}.ipynb", variant))
    if len({tuple(numbers) for numbers in whole.values()}) < len(names):
        raise BadTable(f"The workbooks in {school.folder} have too few variants for {len(names)} students.")
    order = {name: number for number, name in enumerate(names)}
    known = tuple((name, group) for name, group in (groups or {}).items() if group)
    return Roll(tuple(sorted(places, key=lambda place: order[place.student])), known)


class Used:
    """The variants of a workbook that are given to somebody; no more is drawn than tells them apart.

    Some exercises run a bench to draw their numbers. A variant stands under the numbers of its first few
    exercises, as many as nobody else has; where two meet, both are drawn one exercise further.
    """

    def __init__(self, exercises: Sequence[Exercise]) -> None:
        self._exercises = exercises
        self._under: dict[tuple[str, ...], int | None] = {}  # None where several go on

    def same_as(self, variant: int) -> int | None:
        """Return the variant given before that has the same numbers throughout, or None and note this one."""
        numbers: tuple[str, ...] = ()
        while numbers in self._under:
            other = self._under[numbers]
            if len(numbers) == len(self._exercises):
                return other
            if other is not None:
                self._under[numbers] = None
                self._under[self._further(numbers, other)] = other
            numbers = self._further(numbers, variant)
        self._under[numbers] = variant
        return None

    def _further(self, numbers: tuple[str, ...], variant: int) -> tuple[str, ...]:
        exercise = self._exercises[len(numbers)]
        return (*numbers, repr(sorted(givens_for(exercise, variant).items())))


def handed_out(path: Path | None) -> tuple[str, ...]:
    """Return the ids of the workbooks that a manifest names; of a roster, or of no file, none."""
    if path is None:
        return ()
    head, rows = read_table(path)
    if not set(MANIFEST_COLUMNS) <= set(head):
        return ()
    return tuple(dict.fromkeys(row[head.index("workbook")] for _, row in rows))


def read_roll(path: Path, school: School, seed: object | None) -> Roll:
    """Return the roll in a manifest, or the one that a roster and the class seed make. Raises `BadTable`."""
    head, rows = read_table(path)
    if not set(MANIFEST_COLUMNS) <= set(head):
        if seed is None:
            raise BadTable(f"{path} is a roster, so the class seed is needed too: give --seed.")
        members = read_class(path)
        return assign(school, tuple(members), seed, members)
    where = [head.index(column) for column in MANIFEST_COLUMNS]
    places, groups = [], {}
    for number, row in rows:
        student, book, file, variant = (row[place] for place in where)
        if school.book(book) is None:
            known = ", ".join(item.id for item in school.books)
            raise BadTable(f"{path}, line {number}: there is no workbook {book!r}; there are {known}.")
        if not variant.isdecimal():
            raise BadTable(f"{path}, line {number}: the variant is {variant!r}, but must be a whole number.")
        places.append(Place(student, book, file, int(variant)))
        if "group" in head and (group := row[head.index("group")]):
            groups[student] = group
    if not places:
        raise BadTable(f"{path} names nobody.")
    return Roll(tuple(places), tuple(groups.items()))
