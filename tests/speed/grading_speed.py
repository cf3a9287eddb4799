"""How fast a class is graded, held against nbval over the same answered files.

    python tests/speed/grading_speed.py --students 30 150

For each class size the same files (every workbook there is, some answers wrong) are marked twice: by nbval,
as anyone would run it over the files, and by `lessonkit grade`, cold. Both sets of marks are compared one by
one. Printed are the wall-clock times, their ratio, the cost of one more student, and the largest process.
nbval over 150 students takes a quarter of an hour for three workbooks; `--reuse FOLDER` keeps the files and
nbval's result for another go.
"""

from __future__ import annotations

import argparse
import csv
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from xml.etree import ElementTree

from lessonkit.exercises import notebooks, open_workbook
from lessonkit.exercises.core import modelled
from lessonkit.grading.handout.copies import notebook_for
from lessonkit.grading.roster import Place, assign
from lessonkit.grading.school import School, load_school

Marks = dict[tuple[str, str], bool]


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


def by_nbval(folder: Path, school: School, names: list[str]) -> tuple[float, Marks]:
    """Run nbval over the files and return its time and its marks."""
    kept = folder / "nbval.json"
    if kept.exists():
        seconds, found = json.loads(kept.read_text())
        return seconds, {(name, exercise): passed for name, exercise, passed in found}
    places = {Path(place.file).stem: place for place in assign(school, names, "speed").places}
    report = folder / "nbval.xml"
    words = ["-m", "pytest", "-q", "--tb=no", "--nbval-lax", "--nbval-current-env", "-p", "no:cacheprovider"]
    start = time.perf_counter()
    subprocess.run(
        [
            sys.executable,
            *words,
            f"--junit-xml={report}",
            "--rootdir",
            str(folder / "in"),
            str(folder / "in"),
        ],
        stdout=subprocess.DEVNULL,
        check=False,
        env={**os.environ, "PYTHONWARNINGS": "ignore"},
    )
    seconds = time.perf_counter() - start
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
    kept.write_text(json.dumps([seconds, [[*key, passed] for key, passed in marks.items()]]))
    return seconds, marks


def by_lessonkit(folder: Path, workers: int) -> tuple[float, Marks, int]:
    """Grade the files from cold and return the time, the marks, and the largest process in MB."""
    with tempfile.TemporaryDirectory() as out:
        words = ["grade", str(folder / "in"), "--roster", str(folder / "roster.csv"), "--seed", "speed"]
        words += ["--out", out, "--workers", str(workers), "--unconfined"]
        code = (
            "import sys, resource as r; from lessonkit.__main__ import main; status = main(sys.argv[1:]);"
            "print(max(r.getrusage(who).ru_maxrss for who in (r.RUSAGE_SELF, r.RUSAGE_CHILDREN)));"
            "sys.exit(status)"
        )
        start = time.perf_counter()
        done = subprocess.run(
            [sys.executable, "-c", code, *words], capture_output=True, text=True, check=True
        )
        seconds = time.perf_counter() - start
        with (Path(out) / "verdicts.csv").open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
    marks = {(row["student"], row["exercise"]): row["verdict"] == "right" for row in rows}
    return seconds, marks, int(done.stdout.split()[-1]) // 1024


def main() -> int:
    """Measure and print; the status says whether all marks agree."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--students", type=int, nargs="+", default=[30])
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 2)
    parser.add_argument("--reuse", type=Path, help="a folder to keep the files and nbval's result in")
    options = parser.parse_args()
    school = load_school()
    answers = sum(len(book.exercises) for book in school.books)
    print(f"{len(school.books)} workbooks, {answers} answers a student, {options.workers} workers")
    known: list[tuple[int, float]] = []
    agree = True
    with tempfile.TemporaryDirectory() as temporary:
        for students in options.students:
            folder = (options.reuse or Path(temporary)) / str(students)
            names = write_class(folder, school, students)
            ours, marks, megabytes = by_lessonkit(folder, options.workers)
            theirs, expected = by_nbval(folder, school, names)
            same = marks == expected
            agree &= same
            wrong = sum(not passed for passed in expected.values())
            print(
                f"{students} students: nbval {theirs:.1f} s, lessonkit {ours:.1f} s, "
                f"{theirs / ours:.1f} times faster; {len(expected)} marks, {wrong} not right, "
                f"{'all equal' if same else 'NOT EQUAL'}; largest process {megabytes} MB"
            )
            known.append((students, ours))
    if len(known) > 1:
        (few, fast), (many, slow) = known[0], known[-1]
        print(f"one more student costs {1000 * (slow - fast) / (many - few):.0f} ms")
    return 0 if agree else 1


if __name__ == "__main__":
    sys.exit(main())
