"""The start page of an apprentice's folder: how far each workbook is, what comes next, a link to each.

`lessonkit lab` writes it as `start_page.ipynb` each time it starts, and opens it. It is a notebook of text
cells, so that it is read without running anything, by eye or by a screen reader; one code cell brings it up
to date:

    lk.progress()

The page is ours and the rest of the folder is the apprentice's. Cells that somebody has added to it stay,
behind ours; another file of that name is left alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from lessonkit.exercises.glossary import GLOSSARY
from lessonkit.exercises.notebooks import (
    BadNotebook,
    Notebook,
    code_cell,
    markdown_cell,
    new_notebook,
    notebook_bytes,
    read_notebook,
    source_of,
)
from lessonkit.exercises.progress import (
    NOT_YET,
    OPEN,
    RIGHT,
    WRITTEN,
    BookProgress,
    Progress,
    read_progress,
)
from lessonkit.files import write_whole

__all__ = ["START", "progress", "start_notebook", "write_start_page"]

#: The name of the start page in the folder.
START = "start_page.ipynb"

_TITLE = """# Your start page

This page shows how far you are. It is read from your own files in this folder, and made again each time that
`lessonkit lab` starts. A click on a name opens a workbook.

> **Caution.** The bench is a model: break it as often as you like. Real equipment can hurt you and others.
> Switch off, lock, and prove dead before you touch. Local codes, makers' instructions and licensed practice
> come first."""

_AGAIN = """## Bring this page up to date

Save your workbook. Then click into the next cell and press Shift and Enter."""

_HOW = (
    "The minutes are the time to expect for all of a workbook. **Right** and **not yet** are what the check "
    "cell said last. An answer that was changed after that counts when you run its check cell again. **To "
    "check** is an answer that no check cell has seen."
)


@dataclass(frozen=True)
class Shown:
    """Progress as a notebook shows it: as Markdown, with links; elsewhere as plain lines."""

    progress: Progress

    def __repr__(self) -> str:
        return "\n".join(f"{book.title}: {_words(book)}" for book in self.progress.books)

    def _repr_markdown_(self) -> str:
        return f"{next_words(self.progress)}\n\n{table(self.progress)}\n\n{_HOW}"


def progress(folder: Path | str = ".") -> Shown:
    """Show what is right, not yet right and open.

    It is read from the workbooks in a folder, by default the one that the notebook is in; no code of
    theirs is run. Raises `LessonError` where the folder is none.
    """
    return Shown(read_progress(folder))


def next_words(found: Progress) -> str:
    """Say what comes next, with a link to that place."""
    book = found.next
    if book is None:
        if all(each.done for each in found.books):
            return "**All exercises of all workbooks are right.** Well done."
        return "There is no workbook to go on with in this folder. `lessonkit lab` puts them there."
    link = f"[{book.title}]({book.file})"
    if not book.begun:
        return f"**What next:** begin {link}.{_time(book)}"
    wrong, unseen, waiting = book.first(NOT_YET), book.first(WRITTEN), book.first(OPEN)
    first = wrong or unseen or waiting
    assert first is not None, "a workbook that is not done has one"
    place = f"[exercise {first}]({book.file}#cell-id=ask-{first.replace('.', '-')})"
    if wrong:
        return f"**What next:** look again at {place} in {link}; its hint says where."
    if unseen:
        return f"**What next:** run the check cell of {place} in {link}."
    return f"**What next:** go on in {link}. The first open one is {place}."


def _time(book: BookProgress) -> str:
    return f" Time to expect: about {book.minutes} minutes." if book.minutes else ""


def table(found: Progress) -> str:
    """Return the workbooks as a table in Markdown, a row each."""
    rows = ["| workbook | minutes | right | how far |", "| --- | --- | --- | --- |"]
    for book in found.books:
        name = f"[{book.title}]({book.file})" if book.file else book.title
        minutes = f"{book.minutes}" if book.minutes else ""
        rows.append(f"| {name} | {minutes} | {book.count(RIGHT)} of {len(book.states)} | {_words(book)} |")
    return "\n".join(rows)


def _words(book: BookProgress) -> str:
    """Say in a few words how far a workbook is."""
    if book.trouble:
        return book.trouble
    if not book.file:
        return "not in this folder"
    if book.done:
        return "all right"
    if not book.begun:
        return "not begun"
    said = [f"{book.predicted} of {book.predictions} predictions written"] if book.predictions else []
    for state, words in ((NOT_YET, "not yet right"), (WRITTEN, "to check"), (OPEN, "open")):
        if count := book.count(state):
            said.append(f"{count} {words}")
    return ", ".join(said)


def start_notebook(found: Progress) -> Notebook:
    """Return the start page for what was found."""
    more = f"A word that you do not know? The [glossary]({GLOSSARY}) has a line for each."
    cells = [
        markdown_cell(_TITLE, "start-title"),
        markdown_cell(f"## What next\n\n{next_words(found)}", "start-next"),
        markdown_cell(f"## The workbooks\n\n{table(found)}\n\n{_HOW}\n\n{more}", "start-books"),
        markdown_cell(_AGAIN, "start-again"),
        code_cell("import lessonkit as lk\n\nlk.progress()", "start-progress"),
    ]
    notebook = new_notebook(cells)
    notebook["metadata"]["lessonkit"] = {"page": "start"}
    return notebook


def write_start_page(folder: Path) -> bool:
    """Write the start page into a folder of workbooks, and tell whether it is there now.

    Another file of that name is left alone, and so are cells that somebody has added to the page.
    """
    path = folder / START
    page = start_notebook(read_progress(folder))
    if path.exists() or path.is_symlink():
        try:
            before = read_notebook(path)
            if before["metadata"]["lessonkit"] != {"page": "start"}:
                return False
            ours = {cell["id"] for cell in page["cells"]}
            added = [cell for cell in before["cells"] if cell["id"] not in ours and source_of(cell).strip()]
        except (BadNotebook, KeyError, TypeError, AttributeError):
            return False
        page["cells"] += added
    write_whole(path, notebook_bytes(page))
    return True
