"""Whose file is it, and which one counts.

With a roll, a file is known by the name it was handed out under, which learning platforms wrap in names of
their own but keep; failing that, by the numbers in it. Without one, the files' names are the students:
`anna.ipynb`, `01_calls_anna.ipynb` or `anna/01_calls.ipynb`.

The numbers inside are held against the roll: a file with another student's numbers, or with none of the
class's, is held back for the teacher, whoever's name is on it. Of two files for one workbook one counts, and
both are named.
"""

from __future__ import annotations

import re
import unicodedata
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import PurePosixPath

from lessonkit.exercises.core import variant_number
from lessonkit.exercises.plain import decode
from lessonkit.grading.reading.read import Reading
from lessonkit.grading.roster import Place, Roll, slug, squeezed, worded
from lessonkit.grading.school import School

__all__ = ["HandIn", "identify"]


_NOT_OWN = "the numbers in the file are not those that were handed out under this name"


@dataclass(frozen=True)
class HandIn:
    """One file that counts: a student's workbook.

    `book` is "" when nothing tells which it is. `variant` is what it is judged with, None when it is `held`
    back, with the reason. `remarks` are for the teacher.
    """

    student: str
    book: str
    file: str
    reading: Reading
    variant: int | None = None
    held: str = ""
    remarks: tuple[str, ...] = ()


def identify(
    readings: Mapping[str, Reading], school: School, roll: Roll | None, seed: object | None
) -> tuple[list[HandIn], list[str]]:
    """Return the hand-ins that count, and a line about each file that belongs to nobody.

    `readings` are by the file's path under the folder, with slashes.
    """
    known: dict[tuple[str, str], list[HandIn]] = defaultdict(list)
    strays = []
    if roll is None:
        students = _students_by_name(readings, school)
        for file, reading in readings.items():
            book = reading.book or _book_by_name(file, school)
            known[students[file], book].append(HandIn(students[file], book, file, reading))
        return _without_roll([_counting(mine) for mine in known.values()], seed), []
    names = _Names(roll)
    for file, reading in readings.items():
        found, remarks = _in_roll(file, reading, names, roll, school)
        if found is None:
            why = reading.trouble or "neither its name nor its numbers are in the roster"
            strays.append(f"{file}: {why}")
            continue
        known[found.student, found.book].append(
            HandIn(found.student, found.book, file, reading, remarks=remarks)
        )
    return [_held_to(roll, _counting(mine, roll)) for mine in known.values()], strays


class _Names:
    """The names that a class's files were handed out under, and what becomes of them on the way."""

    def __init__(self, roll: Roll) -> None:
        self._roll = roll
        self._given = {_even(PurePosixPath(place.file).stem): place for place in roll.places}
        self._worded = {f"-{worded(stem)}-": place for stem, place in self._given.items()}
        self._squeezed = {squeezed(stem): place for stem, place in self._given.items()}

    def find(self, file: str, reading: Reading) -> Place | None:
        """Return what a file is by its name, whatever a platform has put around it or dropped from it."""
        stem = PurePosixPath(file).stem
        if (place := self._given.get(_even(stem))) is not None:
            return place
        # The mark of a copy goes first: "zoe (2)" is Zoe's, though there may be a zoe-2. Of the names in what
        # is left the longest fits best: "anna" is in "anna-berg" too.
        for part in (stem.removesuffix(_copy_mark(file)), stem):
            whole = f"-{worded(part)}-"
            if inside := max((name for name in self._worded if name in whole), key=len, default=""):
                return self._worded[inside]
        plain = whole.replace("-", "")
        inside = max((name for name in self._squeezed if name in plain), key=len, default="")
        # Without blanks "ann" is in "annalena", who may be a stranger: then the numbers must be the class's.
        known = inside == plain or self._roll.by_variant(reading.book, reading.variant or 0) is not None
        return self._squeezed[inside] if inside and known else None


def _folder(place: Place) -> str:
    """Return the squeezed name of the folder that a workbook was handed out in."""
    return squeezed(PurePosixPath(place.file).parent.name)


def _even(stem: str) -> str:
    return unicodedata.normalize("NFKC", stem).casefold()


def _in_roll(
    file: str, reading: Reading, names: _Names, roll: Roll, school: School
) -> tuple[Place | None, tuple[str, ...]]:
    """Return what a file was handed out as: by its name, else by its numbers."""
    place = names.find(file, reading)
    if place is None:  # in a student's folder, under a name of its own
        folders = {squeezed(part) for part in PurePosixPath(file).parts[:-1]}
        mine = [one for one in roll.places if {squeezed(one.student), _folder(one)} & folders]
        book = reading.book or _book_by_name(file, school)
        place = next((one for one in mine if one.book == book), None)
    if place is not None:
        if reading.book and reading.book != place.book:
            other = roll.of(place.student, reading.book)
            return other or place, (
                f"{file} holds workbook {reading.book}, not {place.book} as its name says",
            )
        return place, ()
    if reading.variant is not None and (place := roll.by_variant(reading.book, reading.variant)) is not None:
        return place, (f"{file} was known by its numbers, not by its name",)
    return None, ()


def _held_to(roll: Roll, one: HandIn) -> HandIn:
    """Return the hand-in with the variant it was handed out with, held back if the file has another."""
    place = roll.of(one.student, one.book)
    variant = None if place is None else place.variant
    inside = one.reading.variant
    if one.reading.trouble or inside is None or inside == variant:
        return _with(one, variant=variant)
    other = roll.by_variant(one.book, inside)
    whose = (
        f"handed out to {other.student}"
        if other
        else "the self-study ones"
        if inside == 0
        else "nobody's here"
    )
    return _with(one, held=_NOT_OWN, remarks=(*one.remarks, f"{one.file}: its numbers are {whose}"))


def _without_roll(hand_ins: Sequence[HandIn], seed: object | None) -> list[HandIn]:
    """Return the hand-ins with the variants that they were made with; the file says which."""
    inside: dict[str, Counter[int]] = defaultdict(Counter)
    for one in hand_ins:
        if one.reading.variant is not None:
            inside[one.book][one.reading.variant] += 1
    # With the class seed a student's name says which numbers it was given, so a file with another's is known.
    owners = {variant_number(seed, slug(one.student)): one.student for one in hand_ins}
    found = []
    for one in hand_ins:
        variant, remarks = one.reading.variant, list(one.remarks)
        if one.reading.trouble or not one.book:
            found.append(one)
            continue
        if variant is None and len(inside[one.book]) == 1:  # the whole class has the same numbers
            variant = next(iter(inside[one.book]))
        if variant is None:
            held = "the cell that opens the workbook is missing, so its numbers are unknown"
            found.append(_with(one, held=held))
            continue
        own = variant_number(seed, slug(one.student))
        if seed is not None and variant not in (0, own) and variant in owners:
            remarks.append(f"{one.file}: its numbers are those of {owners[variant]}")
            found.append(_with(one, held=_NOT_OWN, remarks=tuple(remarks)))
            continue
        if variant != 0 and inside[one.book][variant] > 1:
            same = sorted(
                other.student for other in hand_ins if other is not one and _same_numbers(other, one)
            )
            remarks.append(f"{one.file}: the same numbers as {', '.join(same[:3])}")
        elif seed is not None and variant not in (0, own):
            remarks.append(f"{one.file}: its numbers are not those of seed {seed} for this name")
        found.append(_with(one, variant=variant, remarks=tuple(remarks)))
    return found


def _same_numbers(one: HandIn, other: HandIn) -> bool:
    return one.book == other.book and one.reading.variant == other.reading.variant


def _with(one: HandIn, **changes: object) -> HandIn:
    return replace(one, **changes)  # type: ignore[arg-type]


def _counting(mine: Sequence[HandIn], roll: Roll | None = None) -> HandIn:
    """Return the one of several files for a workbook that counts.

    It can be read, has the student's own numbers and an answer in it, and is plainly named; the first by
    name.
    """
    place = None if roll is None else roll.of(mine[0].student, mine[0].book)

    def rank(one: HandIn) -> tuple[bool, bool, bool, int, str]:
        strange = place is not None and one.reading.variant not in (None, place.variant)
        unlike = len(one.remarks) + len(_copy_mark(one.file))
        return bool(one.reading.trouble), strange, _is_blank(one.reading), unlike, one.file

    first, *others = sorted(mine, key=rank)
    named = [f"{other.file} was handed in as well and does not count" for other in others]
    return _with(first, remarks=(*first.remarks, *named))


def _is_blank(reading: Reading) -> bool:
    """Tell whether nothing in a file has been answered: all is as it was handed out."""
    return all(
        one.state == "unanswered" or (one.state == "given" and _open(decode(one.wire)))
        for _, one in reading.answers
    )


def _open(value: object) -> bool:
    """Tell whether an answer is still to be given in every part."""
    if isinstance(value, dict):
        return bool(value) and all(map(_open, value.values()))
    if isinstance(value, list | tuple):
        return bool(value) and all(map(_open, value))
    return value is ...


def _copy_mark(file: str) -> str:
    """Return the mark that a system puts on a second copy, such as "(1)"."""
    found = re.search(r"(\s*\(\d+\)|[-_ ]copy\s*\d*|\s+-\s+copy)+$", PurePosixPath(file).stem, re.IGNORECASE)
    return found[0] if found else ""


def _own_part(file: str, school: School) -> str:
    """Return what is left of a file's name without its workbook's: the student, or nothing."""
    stem = PurePosixPath(file).stem
    stem = stem.removesuffix(_copy_mark(file))
    for book in school.books:
        found = re.search(rf"(?<![^\W_]){re.escape(book.stem)}(?![^\W_])", stem, re.IGNORECASE)
        if found:
            stem = stem[: found.start()] + " " + stem[found.end() :]
            break
    return stem.strip(" _-.")


def _book_by_name(file: str, school: School) -> str:
    """Return the workbook that a file's name speaks of, or ""."""
    plain = squeezed(PurePosixPath(file).stem)
    for book in school.books:
        if squeezed(book.stem) in plain:
            return book.id
    number = re.match(r"(\d\d)(?!\d)", PurePosixPath(file).name)
    found = [book for book in school.books if number and book.file.startswith(number[1])]
    return found[0].id if len(found) == 1 else school.books[0].id if len(school.books) == 1 else ""


def _students_by_name(readings: Mapping[str, Reading], school: School) -> dict[str, str]:
    """Return the student of each file, from the names alone.

    In a folder of its own a file belongs to the folder's student, unless the folder has several files of one
    workbook: then it is a class, and its files' names are the students.
    """
    folders: dict[str, list[str]] = defaultdict(list)
    for file in readings:
        folders[str(PurePosixPath(file).parent)].append(file)
    students = {}
    for folder, files in folders.items():
        books: Counter[str] = Counter(
            readings[file].book or _book_by_name(file, school) for file in files if not _copy_mark(file)
        )
        several = (
            len({_own_part(file, school) for file in files} - {""}) > 1 and max(books.values(), default=0) > 1
        )
        for file in files:
            own = _own_part(file, school)
            if folder == ".":
                students[file] = own or PurePosixPath(file).stem
            elif several and own:
                students[file] = f"{folder}/{own}"
            else:
                students[file] = folder
    return students
