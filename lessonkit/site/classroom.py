"""A class site: each student's numbers in the site, and nobody's name.

The numbers are those that a hand-out with the same roster and seed gives, so `grade` needs nothing new. What
of a workbook differs from everyone's is kept in a file for each student, which the page lays over the
workbook. The file's name comes from a key:

* a **link** holds a key of 128 random-looking bits, which only the school's seed makes: nobody can guess it;
* a **typed name** makes a key by hashing, slow on purpose. Whoever has the site and guesses a name can test
  the guess. Where even that is too much, `links_only` leaves typed names out.

    key   = SHA-256 of "SALT name", and again of that, ROUNDS times in all; hexadecimal
    place = first 24 hexadecimal digits of SHA-256 of "place KEY"
"""

from __future__ import annotations

import hashlib
import hmac
import json
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from lessonkit.errors import LessonError
from lessonkit.exercises.notebooks import source_of
from lessonkit.grading.handout.copies import notebook_for
from lessonkit.grading.roster import Roll
from lessonkit.grading.school import School

__all__ = ["ROUNDS", "ClassSite", "key_of", "own_cells", "place_of"]

ROUNDS = 50_000
"""Hashes to a key: a tenth of a second in a page, and a thousand years of pages for all names there are."""

STRETCH = 200_000


def place_of(key: str) -> str:
    """Return the name of the file that a key leads to."""
    return hashlib.sha256(f"place {key}".encode()).hexdigest()[:24]


def _worded(name: str) -> str:
    # As the page does it; a roster's `worded` folds case more thoroughly than a browser can.
    tidy = unicodedata.normalize("NFKC", name).lower()
    return "-".join(re.findall(r"[^\W_]+", tidy))


def key_of(name: str, salt: str, rounds: int = ROUNDS) -> str:
    """Return the key that a typed name makes."""
    digest = hashlib.sha256(f"{salt} {_worded(name)}".encode()).digest()
    for _ in range(rounds - 1):
        digest = hashlib.sha256(digest).digest()
    return digest.hex()


def own_cells(everyones: Mapping[str, Any], own: Mapping[str, Any]) -> dict[str, list[str]]:
    """Return the cells of a student's workbook that differ, by id: everyone's source and the student's.

    Both have the same cells in the same order, as a hand-out makes them.
    """
    pairs = zip(everyones["cells"], own["cells"], strict=True)
    return {
        theirs["id"]: [source_of(theirs), source_of(mine)]
        for theirs, mine in pairs
        if source_of(theirs) != source_of(mine)
    }


@dataclass(frozen=True)
class ClassSite:
    """What makes a site a class's: the school's workbooks, the roll, and the class seed."""

    school: School
    roll: Roll
    seed: object
    links_only: bool = False

    @property
    def _secret(self) -> bytes:
        return hashlib.pbkdf2_hmac("sha256", str(self.seed).encode(), b"lessonkit site", STRETCH)

    @property
    def salt(self) -> str:
        """Return the salt of typed names: the class's own, and no way back to the seed."""
        return hmac.new(self._secret, b"salt", "sha256").hexdigest()[:32]

    def links(self) -> dict[str, str]:
        """Return what to put behind the site's address, for each student."""
        secret = self._secret
        return {
            name: f"#me={hmac.new(secret, f'link {name}'.encode(), 'sha256').hexdigest()[:32]}"
            for name in self.roll.students
        }

    def files(self, workbooks: Mapping[str, bytes]) -> dict[str, bytes]:
        """Return the files of the class. `workbooks` are everyone's, by file name."""
        everyones = {name: json.loads(data) for name, data in workbooks.items()}
        names = {book.id: f"{book.stem}.ipynb" for book in self.school.books}
        found: dict[str, bytes] = {}
        salt = self.salt
        about = {"typed": not self.links_only, "salt": salt, "rounds": ROUNDS}
        found["class/class.json"] = json.dumps(about, indent=1).encode()
        places: dict[str, str] = {}
        for student, link in self.links().items():
            keys = [link.partition("=")[2]]
            if not self.links_only:
                keys.append(key_of(student, salt))
            for path in (f"class/{place_of(key)}.json" for key in keys):
                if path in places:
                    raise LessonError(
                        f"{student} can't be told from another student by the words of the name; "
                        "tell them apart in the roster, or give --links-only."
                    )
                places[path] = student
        written: dict[str, bytes] = {}
        for student in self.roll.students:
            cells = {}
            for book in self.school.books:
                place = self.roll.of(student, book.id)
                if place is not None:
                    file = names[book.id]
                    cells[file] = own_cells(everyones[file], notebook_for(self.school, place))
            written[student] = json.dumps(cells, ensure_ascii=False, sort_keys=True).encode()
        return found | {path: written[student] for path, student in places.items()}
