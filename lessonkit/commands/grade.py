"""The command `grade`: from a folder of answered workbooks to marks.

    lessonkit grade DIR --seed S --out DIR

Progress goes to standard error and only to a terminal; what was found goes to standard output.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from lessonkit.commands.words import class_seed, many
from lessonkit.errors import LessonError

__all__ = ["add_arguments", "run"]


DASK_WAIT_S = 10
STRAYS_SHOWN = 20


class NotConfined(LessonError, RuntimeError):
    """This machine can't confine a student's code, and nobody has said that this is known."""


def _workers(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 256:
        raise argparse.ArgumentTypeError(f"{text!r} is no whole number from 1 to 256")
    return int(text)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments."""
    parser.add_argument(
        "folder", type=Path, metavar="DIR", help="the folder with the notebooks that were handed in"
    )
    parser.add_argument(
        "--out", type=Path, required=True, help="the folder for marks.csv and everything else"
    )
    parser.add_argument(
        "--seed", type=class_seed, help="the class seed that the workbooks were handed out with"
    )
    parser.add_argument(
        "--only",
        action="append",
        metavar="NUMBER",
        help="this workbook only; may be given several times (default: what manifest.csv names, else all)",
    )
    parser.add_argument("--roster", type=Path, help="the roster or the manifest.csv of the hand-out")
    parser.add_argument(
        "--changes",
        type=Path,
        help="your own decisions: student, exercise, points, reason (CSV); they stay until you withdraw them",
    )
    parser.add_argument(
        "--spreadsheet",
        choices=("comma", "semicolon"),
        help="write the tables for a spreadsheet that parts columns by commas (2.5) or by semicolons (2,5)",
    )
    parser.add_argument(
        "--workbooks", type=Path, help="a folder of pristine workbooks in place of the series"
    )
    parser.add_argument(
        "--workers", type=_workers, help="how many batches at a time (default: one a processor)"
    )
    parser.add_argument("--dask", metavar="ADDRESS", help="the scheduler of a Dask cluster to do the work")
    parser.add_argument(
        "--unconfined",
        action="store_true",
        help="go on where student code can't be confined: none is run, and computed answers are left to you",
    )


def run(options: argparse.Namespace) -> int:
    """Mark a folder of answered workbooks."""
    from lessonkit.grading.places import check_places
    from lessonkit.grading.reading.confine import confinement
    from lessonkit.grading.roster import handed_out, read_roll
    from lessonkit.grading.run import grade_folder
    from lessonkit.grading.school import load_school
    from lessonkit.grading.tables import PLAIN, STYLES

    where = confinement()
    if not where.safe and not options.unconfined:
        raise NotConfined(
            f"Student code can't be confined here: {where.why}. Add --unconfined to go on without running "
            "any; computed answers are then left to you."
        )
    if not where.safe:
        print(f"No student code is run: {where.why}. Computed answers are left to you.", file=sys.stderr)
    check_places(options.folder, options.out, filter(None, (options.roster, options.changes)))
    school = load_school(options.workbooks, options.only or handed_out(options.roster))
    roll = None if options.roster is None else read_roll(options.roster, school, options.seed)
    with _progress() as progress, _cluster(options.dask) as executor:
        graded = grade_folder(
            options.folder,
            options.out,
            school,
            roll=roll,
            seed=options.seed,
            changes=options.changes,
            style=STYLES.get(options.spreadsheet, PLAIN),
            executor=executor,
            workers=options.workers,
            progress=progress,
        )
    _report(graded, options.out)
    if any(exercise.noted for book in school.books for exercise in book.exercises):
        print("These pages tell. Keep them until the class has taken the second form of the test.")
    return 0


def _report(graded: Any, out: Path) -> None:
    states = Counter(mark.state for student in graded.students for mark in student.marks)
    states.pop("missing", None)
    counts = ", ".join(f"{number} {state}" for state, number in states.most_common()) or "nothing to mark"
    print(f"{many(graded.files, 'file')}, {many(len(graded.students), 'student')}: {counts}.")
    for stray in graded.strays[:STRAYS_SHOWN]:
        print(f"left aside: {stray}")
    if (more := len(graded.strays) - STRAYS_SHOWN) > 0:
        print(f"left aside: {more} more, listed in {out / 'left-aside.csv'}")
    if graded.strange:
        print("Most hand-ins have other numbers than were handed out; check --seed, or give manifest.csv.")
    if graded.decided:
        earlier = f", {graded.kept} given earlier" if graded.kept else ""
        what = f"Your decisions that count: {graded.decided}{earlier}"
        print(f"{what}; they stay in {out / 'decisions.csv'} until you withdraw them.")
    waiting = sum(mark.state == "teacher" and not mark.change for s in graded.students for mark in s.marks)
    if waiting:
        what = f"{many(waiting, 'answer')} {'waits' if waiting == 1 else 'wait'} for you"
        print(f"{what}; the remarks in {out / 'marks.csv'} say which and why.")
    places = f"Marks are in {out / 'marks.csv'}, pages in {out / 'pages'}"
    print(f"{places}, the class picture in {out / 'class.html'}.")


@contextmanager
def _progress() -> Iterator[Any]:
    """Yield a function that shows progress on a terminal, and does nothing elsewhere."""
    if not sys.stderr.isatty():
        yield lambda *_: None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bars:
        known: dict[str, Any] = {}

        def show(what: str, done: int, total: int) -> None:
            if what not in known:
                known[what] = bars.add_task(what, total=total)
            bars.update(known[what], completed=done, total=total)

        yield show


@contextmanager
def _cluster(address: str | None) -> Iterator[Any]:
    """Yield a Dask cluster's executor, or None."""
    if address is None:
        yield None
        return
    try:
        from distributed import Client
    except ImportError:
        raise LessonError("Dask is not installed; run: pip install 'lessonkit[district]'.") from None
    try:
        client = Client(address, timeout=DASK_WAIT_S)
    except (OSError, ValueError, TimeoutError) as error:
        raise LessonError(f"There is no Dask scheduler at {address}: {error}.") from None
    with client:
        yield client.get_executor()
