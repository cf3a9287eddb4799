"""Tables in CSV, as teachers' programs write and read them.

Read are commas, semicolons or tabs, with or without the byte-order mark that spreadsheets write. Written is
what RFC 4180 describes, in UTF-8 without that mark, which most programs other than spreadsheets take for a
letter.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from pathlib import Path

from lessonkit.errors import LessonError

__all__ = ["BadTable", "read_table", "write_table"]


class BadTable(LessonError, ValueError):
    """A table, such as a roster, that can't be used."""


def read_table(path: Path) -> tuple[list[str], list[tuple[int, list[str]]]]:
    """Return a table's column names, in lower case, and its rows with their line numbers.

    Rows are as long as the head; empty lines are left out, and so is an apostrophe that was put before a
    formula. Raises `BadTable`.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise BadTable(f"{path} can't be read: {error.strerror}.") from None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BadTable(f"{path} is not in UTF-8; save the table again as CSV in UTF-8.") from None
    mark = max(",;\t", key=text.partition("\n")[0].count)
    lines = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    try:
        rows = [(lines.line_num, [_as_meant(item.strip()) for item in row]) for row in lines]
    except csv.Error as error:
        raise BadTable(f"{path}, line {lines.line_num}: this is no table in CSV ({error}).") from None
    rows = [(number, row) for number, row in rows if any(row)]
    if not rows:
        raise BadTable(f"{path} is empty; its first line must be the names of its columns.")
    head = [item.casefold() for item in rows[0][1]]
    for number, row in rows[1:]:
        if len(row) > len(head):
            raise BadTable(
                f"{path}, line {number}: the line has {len(row)} columns, the head has {len(head)}."
            )
    return head, [(number, row + [""] * (len(head) - len(row))) for number, row in rows[1:]]


def write_table(head: Iterable[str], rows: Iterable[Iterable[object]]) -> bytes:
    """Return a table as a CSV file.

    A text that a spreadsheet would take for a formula gets an apostrophe in front.
    """
    text = io.StringIO(newline="")
    table = csv.writer(text, lineterminator="\r\n")
    table.writerow(list(head))
    for row in rows:
        table.writerow([_harmless(item) for item in row])
    return text.getvalue().encode("utf-8")


_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def _harmless(item: object) -> object:
    return f"'{item}" if isinstance(item, str) and item.startswith(_FORMULA) else item


def _as_meant(item: str) -> str:
    """Return a text without the apostrophe that `write_table` put in front, so that names come back."""
    return item[1:] if item.startswith("'") and item[1:].startswith(_FORMULA) else item
