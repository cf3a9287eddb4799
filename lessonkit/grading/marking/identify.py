"""Whose file is it, by its name, its folder and its numbers.

With a roll, a file is known by the name it was handed out under, which learning platforms wrap in names of
their own but keep; failing that, by the numbers in it. Without one, the files' names are the students:
`anna.ipynb`, `01_calls_anna.ipynb` or `anna/01_calls.ipynb`.

The numbers inside are held against the roll, or against the class seed: a file with another student's
numbers, with the self-study ones or with nobody's is held back for the teacher, whoever's name is on it.
Without roll and seed a class in which nearly all have numbers of their own is held to that too. Which of
several files for one workbook counts is decided in `claims.py`.
"""

from __future__ import annotations

import re
import unicodedata
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import PurePosixPath

from lessonkit.exercises.core import variant_number
from lessonkit.grading.marking.claims import HandIn, copy_mark, counting
from lessonkit.grading.reading.read import Reading
from lessonkit.grading.roster import TURNS, Place, Roll, slug, squeezed, worded
from lessonkit.grading.school import School

__all__ = ["identify"]


_NOT_OWN = "the numbers in the file are not those that were handed out under this name"
AT_HOME = "these workbooks"
"""Whose workbooks are when they lie by themselves under the series' own names."""
_SAME = "the numbers in the file are those of another file"


def identify(
    readings: Mapping[str, Reading], school: School, roll: Roll | None, seed: object | None
) -> tuple[list[HandIn], list[str]]:
    """Return the hand-ins that count, and a line about each file that belongs to nobody.

    `readings` are by the file's path under the folder, with slashes.
    """
    known: dict[tuple[str, str], list[HandIn]] = defaultdict(list)
    if roll is None:
        students = _students_by_name(readings, school)
        for file, reading in readings.items():
            book = reading.book or _book_by_name(file, school)
            own = _folder_of(file) == students[file]
            one = HandIn(students[file], book, file, reading, lies="own" if own else "")
            known[one.student, one.book].append(one)
        numbers = _Numbers([one for mine in known.values() for one in mine], seed)
        return [numbers.held(counting(mine, numbers.own(mine))) for mine in known.values()], []
    strays = []
    names = _Names(roll)
    for file, reading in readings.items():
        found, remarks, lies = _in_roll(file, reading, names, roll, school)
        if found is None:
            why = reading.trouble or "neither its name nor its numbers are in the roster"
            strays.append(f"{file}: {why}")
            continue
        one = HandIn(found.student, found.book, file, reading, remarks=remarks, lies=lies)
        known[one.student, one.book].append(one)
    return [_held_to(roll, counting(mine, _given(roll, mine[0]))) for mine in known.values()], strays


def _given(roll: Roll, one: HandIn) -> int | None:
    place = roll.of(one.student, one.book)
    return None if place is None else place.variant


class _Names:
    """The names that a class's files were handed out under, and what becomes of them on the way."""

    def __init__(self, roll: Roll) -> None:
        self._roll = roll
        self._given = {_even(PurePosixPath(place.file).stem): place for place in roll.places}
        self._worded = {f"-{worded(stem)}-": place for stem, place in self._given.items()}
        self._squeezed = {squeezed(stem): place for stem, place in self._given.items()}

        self._people: dict[str, list[str]] = defaultdict(list)
        for student in roll.students:
            self._people[worded(student)].append(student)
        self._folders: dict[str, list[str]] = defaultdict(list)
        for student, folder in roll.folders.items():
            for name in {squeezed(student), squeezed(folder)}:
                self._folders[name].append(student)

    def owners(self, file: str, *, wrapped: bool = False) -> list[str]:
        """Return the students after whom one of the folders of a file is named.

        `wrapped` takes names that a platform has put something around as well.
        """
        parts = [re.sub(r"\.zip$", "", part) for part in PurePosixPath(file).parts[:-1]]
        found = [owner for part in reversed(parts) for owner in self._folders.get(squeezed(part), ())]
        for part in parts if wrapped else ():
            inside = [name for name in self._people if f"-{name}-" in f"-{worded(part)}-"]
            found += self._people[max(inside, key=len)] if inside else []
        return list(dict.fromkeys(found))

    def find(self, file: str, reading: Reading) -> Place | None:
        """Return what a file is by its name, whatever a platform has put around it or dropped from it."""
        stem = PurePosixPath(file).stem
        if (place := self._given.get(_even(stem))) is not None:
            return place
        # The mark of a copy goes first: "zoe (2)" is Zoe's, though there may be a zoe-2. Of the names in what
        # is left the longest fits best: "anna" is in "anna-berg" too.
        for part in (stem.removesuffix(copy_mark(file)), stem):
            whole = f"-{worded(part)}-"
            if inside := max((name for name in self._worded if name in whole), key=len, default=""):
                return self._worded[inside]
        plain = whole.replace("-", "")
        inside = max((name for name in self._squeezed if name in plain), key=len, default="")
        # Without blanks "ann" is in "annalena", who may be a stranger: then the numbers must be the class's.
        known = inside == plain or self._roll.by_variant(reading.book, reading.variant or 0) is not None
        return self._squeezed[inside] if inside and known else None


def _even(stem: str) -> str:
    return unicodedata.normalize("NFKC", stem).casefold()


def _in_roll(
    file: str, reading: Reading, names: _Names, roll: Roll, school: School
) -> tuple[Place | None, tuple[str, ...], str]:
    """Return what a file was handed out as, remarks, and where it lies.

    Its name says, else its folder, else its numbers. Where the name says another student than folder and
    numbers do, those two are right: nobody has others' numbers in the own folder by a slip in a name.
    """
    place, remarks = names.find(file, reading), []
    owners, likely = names.owners(file), names.owners(file, wrapped=True)
    book = reading.book or _book_by_name(file, school)
    theirs = None if reading.variant is None else roll.by_variant(reading.book, reading.variant)
    if place is None:  # in a student's folder, under a name of its own
        place = next((one for owner in owners if (one := roll.of(owner, book))), None)
    elif theirs is not None and theirs.student != place.student and theirs.student in likely:
        remarks.append(
            f"{file} is named after {place.student}, but its folder and its numbers are {theirs.student}'s"
        )
        place = theirs
    if place is None and theirs is not None:
        return theirs, (f"{file} was known by its numbers, not by its name",), ""
    if place is None:
        return None, (), ""
    lies = "own" if place.student in likely else "another" if owners else ""
    if lies == "another":
        remarks.append(f"{file} lies in the folder of {' or '.join(owners)}")
    if reading.book and reading.book != place.book:
        remarks.append(f"{file} holds workbook {reading.book}, not {place.book} as its name says")
        place = roll.of(place.student, reading.book) or place
    return place, tuple(remarks), lies


def _held_to(roll: Roll, one: HandIn) -> HandIn:
    """Return the hand-in with the variant it was handed out with, held back if the file has another."""
    if one.reading.trouble and one.lies == "another":  # it says nothing of whose it is but its name
        return replace(one, held="a file under this name can't be read")
    variant = _given(roll, one)
    inside = one.reading.variant
    if one.held:
        return one
    if one.reading.trouble or inside is None or inside == variant:
        return replace(one, variant=variant)
    other = roll.by_variant(one.book, inside)
    whose = (
        f"handed out to {other.student}"
        if other
        else "the self-study ones"
        if inside == 0
        else "nobody's here"
    )
    return replace(one, held=_NOT_OWN, remarks=(*one.remarks, f"{one.file}: its numbers are {whose}"))


class _Numbers:
    """Whose numbers are whose without a roster: the files say, and the class seed where it is given."""

    def __init__(self, hand_ins: Sequence[HandIn], seed: object | None) -> None:
        self._seed = seed
        self._users: dict[tuple[str, int], set[str]] = defaultdict(set)
        books: dict[str, list[int]] = defaultdict(list)
        for one in hand_ins:
            if one.reading.variant is not None:
                books[one.book].append(one.reading.variant)
                self._users[one.book, one.reading.variant].add(one.student)
        # A class in which most have numbers of their own was given them; else all have the same.
        self._each_own = {
            book for book, inside in books.items() if 2 * len({*inside} - {0}) > len(inside) > 1
        }
        self._only = {book: inside[0] for book, inside in books.items() if len({*inside}) == 1}
        self._owners: dict[int, str] = {}
        self._made: dict[str, set[int]] = {}
        for student in {one.student: None for one in hand_ins} if seed is not None else ():
            names = {slug(student), slug(PurePosixPath(student).name)}
            made = {variant_number(seed, name, turn) for name in names for turn in range(TURNS)}
            self._made[student] = made
            self._owners |= dict.fromkeys(made, student)

    def own(self, mine: Sequence[HandIn]) -> int | None:
        """Return the one of the files' variants that the seed gives their student, if it does."""
        made = self._made.get(mine[0].student, set())
        return next((one.reading.variant for one in mine if one.reading.variant in made), None)

    def held(self, one: HandIn) -> HandIn:
        """Return the hand-in with the variant that it is judged with, or held back with the reason."""
        variant = one.reading.variant
        if one.held or one.reading.trouble or not one.book:
            return one
        if variant is None:
            variant = self._only.get(one.book)
        if variant is None:
            held = "the cell that opens the workbook is missing, so its numbers are unknown"
            return replace(one, held=held)
        if self._seed is not None and variant not in self._made[one.student]:
            owner = self._owners.get(variant)
            whose = (
                f"its numbers are those of {owner}"
                if owner
                else "its numbers are the self-study ones"
                if variant == 0
                else f"its numbers are not those of seed {self._seed} for this name"
            )
            return replace(one, held=_NOT_OWN, remarks=(*one.remarks, f"{one.file}: {whose}"))
        others = sorted(self._users[one.book, variant] - {one.student})
        if variant == 0 and one.book in self._each_own:
            remarks = (*one.remarks, f"{one.file}: its numbers are the self-study ones")
            return replace(one, held=_NOT_OWN, remarks=remarks)
        if variant and others:
            remarks = (*one.remarks, f"{one.file}: the same numbers as {', '.join(others[:3])}")
            if one.book in self._each_own:
                return replace(one, held=_SAME, remarks=remarks)
            return replace(one, variant=variant, remarks=remarks)
        return replace(one, variant=variant)


def _own_part(file: str, school: School) -> str:
    """Return what is left of a file's name without its workbook's: the student, or nothing."""
    stem = PurePosixPath(file).stem
    stem = stem.removesuffix(copy_mark(file))
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


def _folder_of(file: str) -> str:
    """Return the folder that a file lies in; an archive is one where files lie in it without another."""
    *above, last = PurePosixPath(file).parts[:-1] or (".",)
    parts = [part for part in above if not part.lower().endswith(".zip")]
    return "/".join([*parts, re.sub(r"\.zip$", "", last, flags=re.IGNORECASE)])


def _students_by_name(readings: Mapping[str, Reading], school: School) -> dict[str, str]:
    """Return the student of each file, from the names alone.

    In a folder of its own a file belongs to the folder's student, unless the folder has several files of one
    workbook: then it is a class, and its files' names are the students. Several workbooks under their own
    names, in no folder, are somebody's own copies at home.
    """
    folders: dict[str, list[str]] = defaultdict(list)
    for file in readings:
        folders[_folder_of(file)].append(file)
    students = {}
    for folder, files in folders.items():
        books: Counter[str] = Counter(
            readings[file].book or _book_by_name(file, school) for file in files if not copy_mark(file)
        )
        several = (
            len({_own_part(file, school) for file in files} - {""}) > 1 and max(books.values(), default=0) > 1
        )
        at_home = folder == "." and len(books) > 1 and not any(_own_part(file, school) for file in files)
        for file in files:
            own = _own_part(file, school)
            if at_home:
                students[file] = AT_HOME
            elif folder == "." or (
                several and own and PurePosixPath(file).parent.name.lower().endswith(".zip")
            ):
                students[file] = own or PurePosixPath(file).stem
            elif several and own:
                students[file] = f"{folder}/{own}"
            else:
                students[file] = folder
    return students
