"""A student's file, from bytes to cells: whatever state it is in.

Nothing here trusts the file. It may be empty, a web page, half a notebook, of an old format, in another
encoding, or made to use up memory; `read_cells` returns its cells, or raises `UnreadableFile` with a
sentence for the student. It runs in a child process with limits (`lessonkit.grading.reading.reader`), since a
hostile file can still make a JSON reader slow or greedy. nbformat is not used: it takes three times the
memory and refuses what a marker would read with ease.
"""

from __future__ import annotations

import datetime
import itertools
import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from lessonkit.errors import LessonError

__all__ = ["MAX_BYTES", "StudentCell", "UnreadableFile", "decode", "minutes_at", "read_cells", "too_large"]

MAX_BYTES = 20_000_000
MAX_CELLS = 5_000
MAX_SOURCE = 2_000_000
PAUSE_S = 900.0
"""Who runs nothing for so long is at something else."""


class UnreadableFile(LessonError, ValueError):
    """A hand-in from which no cell can be read."""


class ClosedFile(UnreadableFile):
    """A hand-in that this machine may not open, which is no student's fault."""


@dataclass(frozen=True)
class StudentCell:
    """One cell: code or text, and the label that our metadata gives it.

    `label` is the exercise that the metadata names, "" for none. It is a hint and decides nothing. `ran_s` is
    when the cell was last run, in seconds since 1970, where Jupyter has been told to note it, else 0.
    """

    code: bool
    source: str
    label: str = ""
    ran_s: float = 0.0


def too_large(size: int) -> UnreadableFile:
    """Return the error for a file of that many bytes."""
    has, most = size // 1_000_000, MAX_BYTES // 1_000_000
    return UnreadableFile(
        f"The file has {has} MB, and at most {most} are read; clear the outputs and hand it in again."
    )


def decode(data: bytes) -> tuple[str, str]:
    """Return a file's text, and a note when it was not plain UTF-8."""
    if data.startswith(b"\xef\xbb\xbf"):
        return _strict(data, "utf-8-sig"), "the file starts with a byte-order mark"
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return _strict(data, "utf-16"), "the file is in UTF-16"
    if data[:2].count(0) == 1:  # a brace of UTF-16 without its mark
        name = "utf-16-be" if data[0] == 0 else "utf-16-le"
        return _strict(data, name), "the file is in UTF-16"
    try:
        return data.decode("utf-8"), ""
    except UnicodeDecodeError:
        # Windows' western code page leaves five bytes undefined; latin-1 has all.
        try:
            return data.decode("cp1252"), "the file is not in UTF-8"
        except UnicodeDecodeError:
            return data.decode("latin-1"), "the file is not in UTF-8"


def _strict(data: bytes, name: str) -> str:
    try:
        return data.decode(name)
    except UnicodeDecodeError:
        raise UnreadableFile("The file's text is damaged; save the notebook and hand it in again.") from None


def read_cells(data: bytes) -> tuple[list[StudentCell], list[str]]:
    """Return a notebook's cells in order, and notes for the teacher. Raises `UnreadableFile`."""
    if not data.strip():
        raise UnreadableFile("The file is empty; save the notebook and hand it in again.")
    if len(data) > MAX_BYTES:
        raise too_large(len(data))
    text, note = decode(data)
    try:
        notebook = json.loads(text)
    except (ValueError, RecursionError, MemoryError) as error:
        raise UnreadableFile(_why_no_json(text, error)) from None
    notes = [note] if note else []
    cells = [_cell(item) for item in _items(notebook, notes) if isinstance(item, dict)]
    if sum(len(cell.source) for cell in cells) > MAX_SOURCE:
        raise UnreadableFile("The notebook holds more text than can be read.")
    if not any(cell.code for cell in cells):
        raise UnreadableFile("The notebook has no code cell, so there is no answer in it.")
    return cells, notes


def _why_no_json(text: str, error: BaseException) -> str:
    start = text.lstrip()[:200].lower()
    if start.startswith(("<", "%pdf", "pk\x03\x04")) or (not text.isprintable() and "\x00" in text):
        return "The file is not a notebook: it is a web page or a document; hand in the .ipynb file itself."
    if start.startswith("{") and isinstance(error, json.JSONDecodeError):
        if error.pos >= len(text.rstrip()) - 1 or "Unterminated" in error.msg:
            return "The file breaks off in the middle; save the notebook and hand it in again."
        return f"The file is damaged at line {error.lineno}; save the notebook and hand it in again."
    if start.startswith(("{", "[")):
        return "The file is nested or sized as no notebook is; hand in the notebook that was given out."
    return "The file is not a notebook; hand in the .ipynb file itself."


def _items(notebook: Any, notes: list[str]) -> list[Any]:
    if not isinstance(notebook, dict):
        raise UnreadableFile("The file is not a notebook; hand in the .ipynb file itself.")
    version = notebook.get("nbformat")
    items = notebook.get("cells")
    if items is None and isinstance(notebook.get("worksheets"), list):
        items = []
        for page in notebook["worksheets"]:
            if isinstance(page, dict) and isinstance(page.get("cells"), list):
                items += page["cells"]
    if not isinstance(items, list):
        raise UnreadableFile("The file has no cells, so it is no notebook; hand in the .ipynb file itself.")
    if version != 4:
        shown = version if type(version) is int and 0 <= version < 100 else "unknown"
        notes.append(f"the notebook's format is {shown}, not 4")
    if len(items) > MAX_CELLS:
        raise UnreadableFile(f"The notebook has more than {MAX_CELLS} cells.")
    return items


def _cell(item: dict[str, Any]) -> StudentCell:
    source = item.get("source", item.get("input", ""))  # format 3 says input
    if isinstance(source, list):
        source = "".join(line for line in source if isinstance(line, str))
    if not isinstance(source, str):
        source = ""
    source = source.replace("\r\n", "\n").replace("\r", "\n")
    meta = item.get("metadata")
    ours = meta.get("lessonkit") if isinstance(meta, dict) else None
    label = ours.get("exercise") if isinstance(ours, dict) and ours.get("role") == "answer" else ""
    code, named = item.get("cell_type") == "code", label if isinstance(label, str) else ""
    return StudentCell(code, source, named, _ran_s(meta))


def _ran_s(meta: Any) -> float:
    """Return when a cell was run; `execution` in its metadata is JupyterLab's, and may hold anything."""
    noted = meta.get("execution") if isinstance(meta, dict) else None
    when = noted.get("iopub.execute_input") if isinstance(noted, dict) else None
    if not isinstance(when, str) or not 19 <= len(when) <= 40:
        return 0.0
    try:
        moment = datetime.datetime.fromisoformat(when.replace("Z", "+00:00"))
        return max(moment.replace(tzinfo=moment.tzinfo or datetime.UTC).timestamp(), 0.0)
    except (ValueError, OverflowError):
        return 0.0


def minutes_at(cells: Sequence[StudentCell]) -> float:
    """Return the minutes from a file's first run to its last without pauses; 0 where nothing is noted."""
    times = sorted(cell.ran_s for cell in cells if cell.ran_s)
    gaps = [later - earlier for earlier, later in itertools.pairwise(times)]
    return round(sum(gap for gap in gaps if gap <= PAUSE_S) / 60.0, 1)
