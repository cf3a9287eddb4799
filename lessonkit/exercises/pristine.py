"""The pristine workbooks, and an apprentice's own copies of them.

The series is kept once, unanswered: in `notebooks/` of a checkout, inside the package where it was
installed. Nobody works in those files. An apprentice works in a folder of copies, which belongs to the
apprentice: a file that is there already stays as it is, whatever it holds, and only missing ones are added.
A copy says nothing before it is answered: the verdicts that the pristine check cells store, for nbval to
compare with, stay behind.

A small record in the folder remembers which edition each copy was made from. So when the series has moved on,
the folder can say which copies come from an older edition, and lay the new one beside it when asked:

    03_conductors.ipynb        the apprentice's own, with answers
    03_conductors.new.ipynb    today's edition, unanswered
"""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from lessonkit.errors import LessonError
from lessonkit.exercises.notebooks import BadNotebook, notebook_bytes, read_notebook, without_verdicts
from lessonkit.files import first_free, write_whole

__all__ = [
    "CONCEPTS",
    "DEMONSTRATION",
    "Copied",
    "NoWorkbooks",
    "copy_workbooks",
    "learners_copy",
    "pristine_folder",
    "workbook_names",
]

#: Where the concept test lies under the folder of the workbooks. It is handed out, and lies nowhere else.
CONCEPTS = "concepts"
#: How the path of a classroom demonstration ends, or of the plan of the week beside them.
DEMONSTRATION = re.compile(r"/classroom/[0-9]_\w+\.ipynb$")

RECORD = ".lessonkit.json"
_SKIPPED = {"__pycache__", "_build", CONCEPTS}


class NoWorkbooks(LessonError, FileNotFoundError):
    """A folder that should hold workbooks holds none."""

    # FileNotFoundError would show an errno; the sentence is enough.
    __str__ = Exception.__str__


@dataclass(frozen=True)
class Copied:
    """What copying the series into a folder did.

    All are names relative to the folder: `added` copies, `kept` files that were there before, those of them
    that come from an `older` edition, and the new editions laid `beside` them.
    """

    folder: Path
    added: tuple[str, ...]
    kept: tuple[str, ...]
    older: tuple[str, ...]
    beside: tuple[str, ...]

    @property
    def first(self) -> str:
        """Name the workbook to open first."""
        return min(name for name in self.added + self.kept if name.endswith(".ipynb") and "/" not in name)


def pristine_folder() -> Path:
    """Return the folder of pristine workbooks.

    It is `notebooks/` of the checkout where there is one, else the copy inside the installed package. Raises
    `NoWorkbooks` where neither holds a workbook.
    """
    package = Path(__file__).resolve().parents[1]
    candidates = (package / "_notebooks", package.parent / "notebooks")
    for folder in candidates:
        if any(folder.glob("*.ipynb")):
            return folder
    places = " or ".join(map(str, reversed(candidates)))
    raise NoWorkbooks(f"There are no workbooks in {places}; install lessonkit again.")


def workbook_names(folder: Path | None = None) -> tuple[str, ...]:
    """Name the workbooks of a folder in lesson order.

    Without a folder, the pristine ones. Those alone have a number in front: the start page is not among them,
    and neither are the classroom demonstrations, a folder down.
    """
    folder = pristine_folder() if folder is None else folder
    return tuple(sorted(path.name for path in folder.glob("[0-9][0-9]_*.ipynb")))


def copy_workbooks(into: Path, *, beside: bool = False, source: Path | None = None) -> Copied:
    """Copy the series into an apprentice's folder.

    `beside` asks for today's edition beside each copy of an older one. No existing file is ever changed.
    Raises `LessonError` where the folder is a file or is the pristine one, and `OSError` where it can't be
    written.
    """
    source = pristine_folder() if source is None else source
    try:
        into = into.expanduser().absolute()
    except RuntimeError:  # nobody of that name, or a machine without home folders
        raise LessonError(f"{into} leads to no home folder; write the folder out in full.") from None
    _refuse(into, source)
    into.mkdir(parents=True, exist_ok=True)
    record = _read_record(into)
    added, kept, older, laid = [], [], [], []
    for name in _series(source):
        origin, own = source / name, into / name
        copy = learners_copy(origin)
        edition = _digest(copy)
        if not own.exists() and not own.is_symlink():
            write_whole(own, copy)
            record[name] = edition
            added.append(name)
            continue
        kept.append(name)
        if record.get(name, edition) != edition and own.is_file() and _digest(own.read_bytes()) != edition:
            older.append(name)
            if beside:
                laid += _lay_beside(copy, own, into)
    _write_record(into, record)
    return Copied(into, tuple(added), tuple(kept), tuple(older), tuple(laid))


def _refuse(into: Path, source: Path) -> None:
    """Refuse a folder that can't be the apprentice's own."""
    if into.exists() and not into.is_dir():
        raise LessonError(f"{into} is a file, and workbooks need a folder; choose another with --folder.")
    here, there = into.resolve(), source.resolve()
    if here == there or there in here.parents:
        raise LessonError(f"{into} is where the pristine workbooks are kept; choose a folder of your own.")


def _series(source: Path) -> list[str]:
    """Name every file of the series, with / between folders."""
    names = []
    for path in source.rglob("*"):
        inside = path.relative_to(source)
        hidden = any(part.startswith(".") or part in _SKIPPED for part in inside.parts)
        if path.is_file() and not hidden:
            names.append(str(PurePosixPath(*inside.parts)))
    return sorted(names)


def _lay_beside(copy: bytes, own: Path, into: Path) -> list[str]:
    """Lay today's edition beside an older copy, once."""

    def is_another(name: str) -> bool:
        beside = own.with_name(name)
        return beside.exists() and beside.read_bytes() != copy

    new = own.with_name(first_free(f"{own.stem}.new", is_another, end=own.suffix))
    if new.exists():  # today's edition was laid there before
        return []
    write_whole(new, copy)
    return [str(PurePosixPath(*new.relative_to(into).parts))]


def learners_copy(origin: Path) -> bytes:
    """Return a file as an apprentice gets it: a workbook without the verdicts stored in it."""
    data = origin.read_bytes()
    try:
        notebook = read_notebook(origin)
    except BadNotebook:
        return data  # a picture, say
    copy = without_verdicts(notebook)
    return data if copy == notebook else notebook_bytes(copy)


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _read_record(folder: Path) -> dict[str, str]:
    """Read which edition each copy came from, if that is known."""
    try:
        record = json.loads((folder / RECORD).read_text(encoding="utf-8"))
        return {str(name): str(edition) for name, edition in record["editions"].items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return {}


def _write_record(folder: Path, record: dict[str, str]) -> None:
    text = json.dumps({"editions": record}, indent=1, sort_keys=True) + "\n"
    write_whole(folder / RECORD, text)
