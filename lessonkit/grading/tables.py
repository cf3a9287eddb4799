"""Tables in CSV, as teachers' programs write and read them.

Read are commas, semicolons or tabs, in UTF-8 or UTF-16, with or without the byte-order mark and the line
`sep=;` that spreadsheets write. Written is what RFC 4180 describes, in UTF-8 without that mark, which most
programs other than spreadsheets take for a letter; a `Style` for spreadsheets has the mark, and the signs of
either half of the world: `a,b` with `2.5`, or `a;b` with `2,5`.
"""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from lessonkit.errors import LessonError

__all__ = ["JOINERS", "PLAIN", "STYLES", "BadTable", "Style", "read_table", "tidy_text", "write_table"]


class BadTable(LessonError, ValueError):
    """A table, such as a roster, that can't be used."""


@dataclass(frozen=True)
class Style:
    """How a table is written.

    `parts` parts the columns, `point` the decimals of a number. `for_spreadsheet` puts the byte-order mark in
    front, without which a spreadsheet spoils every letter beyond ASCII, and a word before an exercise's
    number, which it would take for a date.
    """

    parts: str = ","
    point: str = "."
    for_spreadsheet: bool = False

    def number(self, value: float) -> str:
        """Return a number as this half of the world writes it."""
        return f"{value:g}".replace(".", self.point)

    def exercise(self, exercise_id: str) -> str:
        """Return an exercise's number so that 1.1 becomes no date, and 1.10 no 1.1."""
        return f"exercise {exercise_id}" if self.for_spreadsheet else exercise_id


PLAIN = Style()
STYLES = {"comma": Style(",", ".", True), "semicolon": Style(";", ",", True)}
"""What spreadsheets open rightly, by the sign that parts columns."""


JOINERS = "\u200c\u200d"
"""Zero width non-joiner and joiner: invisible, and part of how a name is spelt."""


def tidy_text(text: str) -> str:
    """Return a text as a person reads it: blanks of every width are one blank, invisible signs are gone.

    Letters and their accents come composed (NFC). The joiners of Persian and Indian scripts belong to the
    spelling and stay; marks of direction don't, since each program sets them in its own way.

    >>> tidy_text(" Ana\u00a0 Mari\u0301a\u200f")
    'Ana María'
    """
    kept = "".join(
        " " if unicodedata.category(sign) in ("Zs", "Zl", "Zp") or sign in "\t\r\n\v\f" else sign
        for sign in unicodedata.normalize("NFC", text)
        if unicodedata.category(sign) != "Cf" or sign in JOINERS
    )
    return " ".join(word for word in kept.split(" ") if word)


def _decoded(path: Path, data: bytes) -> str:
    """Return a table's text. Raises `BadTable` for an encoding that nothing in the file gives away."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        name = "utf-16"
    elif data[:2].count(0) == 1:  # UTF-16 that lost its mark: every second byte of a plain head is 0
        name = "utf-16-be" if data[0] == 0 else "utf-16-le"
    else:
        name = "utf-8-sig"
    try:
        return data.decode(name)
    except UnicodeDecodeError:
        raise BadTable(f"{path} is not in UTF-8; save the table again as CSV in UTF-8.") from None


def _separator(text: str) -> tuple[str, str]:
    """Return the sign that parts the columns, and the text without the line that names it."""
    head, _, rest = text.partition("\n")
    if named := re.fullmatch(r'"?sep=(.)"?[,;\t]*', head.strip("\r "), re.IGNORECASE):
        return named[1], "\n" + rest  # the empty line keeps the count of lines
    return max(",;\t", key=head.count), text


def read_table(path: Path) -> tuple[list[str], list[tuple[int, list[str]]]]:
    """Return a table's column names, in lower case, and its rows with their line numbers.

    Rows are as long as the head; empty lines are left out, and so are empty columns without a name, and an
    apostrophe that was put before a formula. Raises `BadTable`.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise BadTable(f"{path} can't be read: {error.strerror}.") from None
    mark, text = _separator(_decoded(path, data))
    lines = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    try:
        rows = [(lines.line_num, [_as_meant(tidy_text(item)) for item in row]) for row in lines]
    except csv.Error as error:
        raise BadTable(f"{path}, line {lines.line_num}: this is no table in CSV ({error}).") from None
    rows = [(number, row) for number, row in rows if any(row)]
    if not rows:
        raise BadTable(f"{path} is empty; its first line must be the names of its columns.")
    head = [item.casefold() for item in rows[0][1]]
    while head and not head[-1]:  # a spreadsheet that once had something further right
        head.pop()
    for number, row in rows[1:]:
        while len(row) > len(head) and not row[-1]:
            row.pop()
        if len(row) > len(head):
            raise BadTable(
                f"{path}, line {number}: the line has {len(row)} columns, the head has {len(head)}."
            )
    return head, [(number, row + [""] * (len(head) - len(row))) for number, row in rows[1:]]


def write_table(head: Iterable[str], rows: Iterable[Iterable[object]], style: Style = PLAIN) -> bytes:
    """Return a table as a CSV file.

    A text that a spreadsheet would take for a formula gets an apostrophe in front, and so does a part of a
    text that would be a cell of its own where columns are parted by another sign.
    """
    text = io.StringIO(newline="")
    table = csv.writer(text, lineterminator="\r\n", delimiter=style.parts)
    for row in ([*head], *rows):
        table.writerow([_harmless(item) if isinstance(item, str) else item for item in row])
    return text.getvalue().encode("utf-8-sig" if style.for_spreadsheet else "utf-8")


# Where a cell may begin, in a world of commas, of semicolons or of tabs; and what begins a formula there, in
# the wide signs of East Asian keyboards too. Apostrophes that are there already count, so that reading gives
# every text back as it was.
_BEGIN = r"(^|[,;\t\r\n])(\s*)"
_FORMULA = r"('*[=+\-@\uff1d\uff0b\uff0d\uff20])"


def _harmless(item: str) -> str:
    if item.startswith(("\t", "\r")):
        item = "'" + item
    return re.sub(_BEGIN + _FORMULA, r"\1\2'\3", item)


def _as_meant(item: str) -> str:
    """Return a text without the apostrophes that `write_table` put in, so that names come back."""
    return re.sub(_BEGIN + "'" + _FORMULA, r"\1\2\3", item)
