"""How fast a class is graded, held against nbval over the same answered files.

    python tests/speed/grading_speed.py --students 30
    python tests/speed/grading_speed.py --students 150 --nbval-sample 0.1

For each class size the same files (every workbook there is, some answers wrong) are marked twice: by nbval,
as anyone would run it over the files, and by `lessonkit grade`, cold. Both sets of marks are compared one by
one. Printed are the times by the clock and in the processor, their ratios, the cost of one more student, and
the largest process. On a machine that has other work, too, the ratio in the processor says more: nbval runs
one notebook after the other, and `grade` works beside itself on every core.

nbval takes some eight seconds a notebook, so 150 students with fourteen workbooks take it over four hours.
With `--nbval-sample` it judges a part of the files, the same part of each workbook's, drawn at random; its
time is scaled up to all files, and said to be scaled; marks are compared on the sample. `grade` marks every
file all the same.

Last, every tenth student's workbook 01 is made damaged or hostile (cut off in the middle, answers that sleep,
a loop without an end, a cell that takes more time to read than a notebook may), and the class is graded
again: what that costs is printed, too.

`--books 00 01` takes those workbooks alone, and `--reuse FOLDER` keeps the files and nbval's result for
another go; without it, answered files are made anew, which takes as long as grading them twice.
"""

from __future__ import annotations

import argparse
import csv
import json
import math
import os
import random
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from xml.etree import ElementTree

from lessonkit.exercises import notebooks, open_workbook
from lessonkit.exercises.core import modelled
from lessonkit.grading.handout.copies import notebook_for
from lessonkit.grading.reading.confine import confinement
from lessonkit.grading.roster import Place, assign
from lessonkit.grading.school import Book, School, load_school

Marks = dict[tuple[str, str], bool]


@dataclass(frozen=True)
class Cost:
    """What a run took: seconds by the clock, and seconds of processor time of all its processes."""

    clock_s: float
    processor_s: float

    def scaled(self, times: float) -> Cost:
        """Return what so many times as much would take."""
        return Cost(self.clock_s * times, self.processor_s * times)

    def __str__(self) -> str:
        """Say both."""
        return f"{self.clock_s:.1f} s ({self.processor_s:.1f} s in the processor)"


@contextmanager
def costing() -> Iterator[Callable[[], Cost]]:
    """Give a function that says, at any time, what has been spent since the block began."""
    began, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)

    def so_far() -> Cost:
        now = resource.getrusage(resource.RUSAGE_CHILDREN)
        processor_s = now.ru_utime + now.ru_stime - before.ru_utime - before.ru_stime
        return Cost(time.perf_counter() - began, processor_s)

    yield so_far


def answered(school: School, place: Place, number: int) -> dict[str, object]:
    """Return a student's notebook; each has one known misunderstanding and one blank in some workbooks."""
    notebook = notebooks.with_verdicts(notebooks.solved(notebook_for(school, place)))
    workbook = open_workbook(place.book, place.variant)
    exercise = workbook.exercises[number % len(workbook.exercises)]
    models = modelled(exercise, workbook.givens(exercise.id))
    if models:
        notebook = notebooks.with_model(notebook, exercise.id, list(models)[number % len(models)])
    return notebook


def write_class(folder: Path, school: School, students: int) -> list[str]:
    """Write the answered files of a class and its roster; return the students."""
    names = [f"Student {number:03}" for number in range(students)]
    (folder / "in").mkdir(parents=True, exist_ok=True)
    (folder / "roster.csv").write_text("name\n" + "\n".join(names) + "\n")
    for number, place in enumerate(assign(school, names, "speed").places):
        path = folder / "in" / Path(place.file).name
        if not path.exists():
            notebooks.write_notebook(path, answered(school, place, number))
    return names


def with_code_in_answers(path: Path, code: str) -> bytes:
    """Return a notebook with this code before every answer, which makes each of them one to be computed."""
    notebook = notebooks.read_notebook(path)
    for cell in notebook["cells"]:
        source = notebooks.source_of(cell)
        if source.startswith("answer_"):
            name, _, value = source.partition("=")
            cell["source"] = [f"{code}\n{name}= [{value}][0]"]
    return json.dumps(notebook).encode()


HOSTILE: tuple[Callable[[Path], bytes], ...] = (
    lambda path: path.read_bytes()[: path.stat().st_size // 2],
    lambda path: with_code_in_answers(path, "__import__('time').sleep(60)"),
    lambda path: with_code_in_answers(path, "while True: pass"),
    lambda path: with_code_in_answers(path, "x=1;" * 200_000),
)


def make_hostile(folder: Path, school: School, names: list[str]) -> tuple[Path, int]:
    """Return a copy of the class with a damaged or hostile workbook 01 of every tenth, and how many."""
    worse = folder / "hostile"
    shutil.rmtree(worse, ignore_errors=True)
    shutil.copytree(folder / "in", worse / "in")
    shutil.copy(folder / "roster.csv", worse)
    book = school.books[min(1, len(school.books) - 1)].id
    places = [place for place in assign(school, names, "speed").places if place.book == book][::10]
    for number, place in enumerate(places):
        path = worse / "in" / Path(place.file).name
        path.write_bytes(HOSTILE[number % len(HOSTILE)](path))
    return worse, len(places)


def sample(folder: Path, school: School, part: float) -> list[Path]:
    """Return a part of the files, the same part of each workbook's, drawn at random and always alike."""
    rng = random.Random(2024)
    chosen: list[Path] = []
    for book in school.books:
        files = sorted((folder / "in").glob(f"{book.stem}_*.ipynb"))
        chosen += rng.sample(files, math.ceil(part * len(files)))
    return sorted(chosen)


def by_nbval(
    folder: Path, school: School, names: list[str], files: list[Path], part: float
) -> tuple[Cost, Marks]:
    """Run nbval over some files and return its time and its marks."""
    kept = folder / f"nbval-{part:g}.json"
    if kept.exists():
        cost, found = json.loads(kept.read_text())
        return Cost(*cost), {(name, exercise): passed for name, exercise, passed in found}
    places = {Path(place.file).stem: place for place in assign(school, names, "speed").places}
    report = folder / "nbval.xml"
    words = ["-m", "pytest", "-q", "--tb=no", "--nbval-lax", "--nbval-current-env", "-p", "no:cacheprovider"]
    with costing() as so_far:
        subprocess.run(
            [
                sys.executable,
                *words,
                f"--junit-xml={report}",
                "--rootdir",
                str(folder / "in"),
                *map(str, files),
            ],
            stdout=subprocess.DEVNULL,
            check=False,
            env={**os.environ, "PYTHONWARNINGS": "ignore"},
        )
        cost = so_far()
    marks: Marks = {}
    code: dict[str, list[str]] = {}
    for case in ElementTree.parse(report).getroot().iter("testcase"):
        stem = case.attrib["classname"].removesuffix(".ipynb").rsplit(".", 1)[-1]
        if stem not in code:
            cells = notebooks.read_notebook(folder / "in" / f"{stem}.ipynb")["cells"]
            code[stem] = [notebooks.source_of(cell) for cell in cells if cell["cell_type"] == "code"]
        source = code[stem][int(case.attrib["name"].split()[1])]
        if source.startswith(notebooks.CHECK_MARKER) and 'workbook.check("' in source:
            exercise = source.split('workbook.check("')[1].split('"')[0]
            passed = case.find("failure") is None and case.find("error") is None
            marks[places[stem].student, exercise] = passed
    kept.write_text(
        json.dumps([[cost.clock_s, cost.processor_s], [[*key, passed] for key, passed in marks.items()]])
    )
    return cost, marks


def book_of(school: School, path: Path) -> Book:
    """Return the workbook of a file."""
    return next(book for book in school.books if path.name.startswith(f"{book.stem}_"))


def by_lessonkit(folder: Path, workers: int) -> tuple[Cost, Marks, int]:
    """Grade the files from cold and return the cost, the marks, and the largest process in MB."""
    with tempfile.TemporaryDirectory() as out:
        words = ["grade", str(folder / "in"), "--roster", str(folder / "roster.csv"), "--seed", "speed"]
        words += ["--out", out, "--workers", str(workers)]
        words += [] if confinement().safe else ["--unconfined"]
        code = (
            "import sys, resource as r; from lessonkit.__main__ import main; status = main(sys.argv[1:]);"
            "print(max(r.getrusage(who).ru_maxrss for who in (r.RUSAGE_SELF, r.RUSAGE_CHILDREN)));"
            "sys.exit(status)"
        )
        with costing() as so_far:
            done = subprocess.run(
                [sys.executable, "-c", code, *words], capture_output=True, text=True, check=True
            )
            cost = so_far()
        with (Path(out) / "verdicts.csv").open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
    marks = {(row["student"], row["exercise"]): row["verdict"] == "right" for row in rows}
    return cost, marks, int(done.stdout.split()[-1]) // 1024


def main() -> int:
    """Measure and print; the status says whether all marks agree."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--students", type=int, nargs="+", default=[30])
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 2)
    parser.add_argument("--reuse", type=Path, help="a folder to keep the files and nbval's result in")
    parser.add_argument(
        "--books", nargs="+", help="the numbers of the workbooks to take, all of them if not given"
    )
    parser.add_argument(
        "--nbval-sample", type=float, default=1.0, help="the part of the files that nbval judges, such as 0.1"
    )
    options = parser.parse_args()
    if not 0.0 < options.nbval_sample <= 1.0:
        parser.error("--nbval-sample is a part of the files, above 0 and at most 1")
    school = load_school()
    if options.books:
        books = tuple(book for book in school.books if book.stem[:2] in options.books)
        school = replace(school, books=books)
    answers = sum(len(book.exercises) for book in school.books)
    print(f"{len(school.books)} workbooks, {answers} answers a student, {options.workers} workers")
    known: list[tuple[int, float]] = []
    agree = True
    with tempfile.TemporaryDirectory() as temporary:
        for students in options.students:
            folder = (options.reuse or Path(temporary)) / str(students)
            names = write_class(folder, school, students)
            ours, marks, megabytes = by_lessonkit(folder, options.workers)
            chosen = sample(folder, school, options.nbval_sample)
            spent, expected = by_nbval(folder, school, names, chosen, options.nbval_sample)
            files = len(names) * len(school.books)
            theirs = spent.scaled(files / len(chosen))
            if len(chosen) < files:
                print(
                    f"{students} students: nbval judged {len(chosen)} of {files} files, drawn at random: "
                    f"{spent}; below, its times are these times {files / len(chosen):.2f}"
                )
            same = {key: marks.get(key) for key in expected} == expected
            same &= len(expected) == sum(len(book_of(school, path).exercises) for path in chosen)
            agree &= same
            wrong = sum(not passed for passed in expected.values())
            print(
                f"{students} students: nbval {theirs}, lessonkit {ours}, "
                f"{theirs.clock_s / ours.clock_s:.1f} times faster by the clock, "
                f"{theirs.processor_s / ours.processor_s:.1f} times in the processor; "
                f"{len(expected)} marks, {wrong} not right, {'all equal' if same else 'NOT EQUAL'}; "
                f"largest process {megabytes} MB",
                flush=True,
            )
            known.append((students, ours.clock_s))
            if confinement().safe:
                copy, hostile = make_hostile(folder, school, names)
                worse, _, _ = by_lessonkit(copy, options.workers)
                more = Cost(worse.clock_s - ours.clock_s, worse.processor_s - ours.processor_s)
                print(
                    f"the same with {hostile} hostile files: {worse}; the hostile ones cost {more} more",
                    flush=True,
                )
    if len(known) > 1:
        (few, fast), (many, slow) = known[0], known[-1]
        print(f"one more student costs {1000 * (slow - fast) / (many - few):.0f} ms")
    return 0 if agree else 1


if __name__ == "__main__":
    sys.exit(main())
