"""From workbooks to files on paper: each one run once, a page for each student, and a PDF of each page.

The lesson is the same for a whole class, so a workbook is run once, by Jupyter's own means, and only
questions and answers change with the student. PDF comes from a Chromium browser without a window, which
prints the page as it would on a desk.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from lessonkit.errors import LessonError
from lessonkit.exercises.notebooks import Notebook, notebook_bytes
from lessonkit.files import write_whole
from lessonkit.grading.handout.sheets import PAPERS, handout_html
from lessonkit.grading.roster import Roll
from lessonkit.grading.school import Book, School

__all__ = ["Printed", "find_browser", "print_handouts", "run_once"]

_NAMES = ("chromium", "chromium-browser", "chrome")
_SECONDS = 120


class NoPrinter(LessonError, RuntimeError):
    """A browser that can't print a page."""


@dataclass(frozen=True)
class Printed:
    """What was written: the pages and the PDFs, in the order of the workbooks."""

    pages: tuple[Path, ...]
    pdfs: tuple[Path, ...]


def find_browser(named: str | None = None) -> str | None:
    """Return the path of a Chromium browser, or None. Raises `NoPrinter` where a named one is not there."""
    named = named or os.environ.get("LESSONKIT_CHROMIUM")
    if named:
        found = shutil.which(named)
        if found is None:
            raise NoPrinter(f"There is no program {named}; give the path of a Chromium browser.")
        return found
    return next(filter(None, map(shutil.which, _NAMES)), None)


def print_handouts(
    school: School,
    out: Path,
    *,
    books: Iterable[str] = (),
    roll: Roll | None = None,
    paper: str = "a4",
    browser: str | None = None,
    say: Callable[[str], None] = lambda text: None,
) -> Printed:
    """Write handouts into a folder, and PDFs beside them where there is a browser to print with.

    `books` are workbooks by their ids, all of them where there are none. `roll` gives each student a folder
    with that student's numbers; without one there is one set, with the numbers for self-study.
    """
    if paper not in PAPERS:
        raise LessonError(f"The paper is {paper!r}, but must be one of {', '.join(PAPERS)}.")
    if out.exists() and not out.is_dir():
        raise LessonError(f"{out} is a file; name a folder for the handouts.")
    pages: list[Path] = []
    for book in _chosen(school, tuple(books)):
        say(f"running workbook {book.id}")
        ran = run_once(book)
        for name, variant, folder in _for_whom(roll, book, out):
            page = folder / f"{book.stem}_{paper}.html"
            page.parent.mkdir(parents=True, exist_ok=True)
            write_whole(page, handout_html(ran, variant, paper=paper, name=name))
            pages.append(page)
    pdfs = []
    for page in pages if browser else ():
        say(f"printing {page.stem}")
        pdfs.append(_to_pdf(page, browser or ""))
    return Printed(tuple(pages), tuple(pdfs))


def _chosen(school: School, ids: tuple[str, ...]) -> list[Book]:
    known = {book.id: book for book in school.books}
    if unknown := [name for name in ids if name not in known]:
        raise LessonError(f"There is no workbook {unknown[0]!r}; there are {', '.join(known)}.")
    return [known[name] for name in ids] if ids else list(known.values())


def _for_whom(roll: Roll | None, book: Book, out: Path) -> list[tuple[str, int, Path]]:
    """List who gets a workbook: the name, the variant, and the folder."""
    if roll is None:
        return [("", 0, out)]
    places = [place for place in roll.places if place.book == book.id]
    return [(place.student, place.variant, out / roll.folders[place.student]) for place in places]


def run_once(book: Book) -> Notebook:
    """Return a pristine workbook with what its cells show, run from top to bottom."""
    import nbformat
    from nbclient import NotebookClient

    notebook = nbformat.reads(notebook_bytes(book.notebook).decode(), 4)
    with tempfile.TemporaryDirectory(prefix="lessonkit-") as room:
        resources = {"metadata": {"path": room}}
        client = NotebookClient(
            notebook, timeout=300, kernel_name="python3", allow_errors=True, resources=resources
        )
        env = {**os.environ, "JUPYTER_PREFER_ENV_PATH": "1", "MPLBACKEND": "Agg"}
        client.execute(env=env, stderr=subprocess.DEVNULL)  # a kernel talks of its own ports there
    ran: Notebook = dict(notebook)
    return ran


def _to_pdf(page: Path, browser: str) -> Path:
    """Print a page to a PDF beside it."""
    pdf = page.with_suffix(".pdf")
    with tempfile.TemporaryDirectory(prefix="lessonkit-") as room:
        command = [
            *(browser, "--headless", "--disable-gpu", "--no-first-run", "--disable-background-networking"),
            *(["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []),
            *(f"--user-data-dir={room}", "--no-pdf-header-footer", f"--print-to-pdf={pdf.absolute()}"),
            page.absolute().as_uri(),
        ]
        try:
            done = subprocess.run(command, capture_output=True, text=True, timeout=_SECONDS, check=False)
        except (OSError, subprocess.TimeoutExpired) as error:
            raise NoPrinter(f"{browser} could not print {page} ({error}); print it by hand.") from None
    if done.returncode or not pdf.is_file():
        said = (done.stderr or "").strip().splitlines()[-1:] or ["it said nothing"]
        raise NoPrinter(f"{browser} could not print {page} ({said[0]}); open the page and print it by hand.")
    return pdf
