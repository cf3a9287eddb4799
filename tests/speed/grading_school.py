"""A school of 300 with one file in ten damaged or hostile, graded twice, once with a kill in the middle.

    python tests/speed/grading_school.py [--students 300]

Two workbooks of an invented school, so that every mark is known beforehand: honest files are right but for a
planted misunderstanding and a planted blank, and every fifth file of the first workbook is one of those in
`tests/unit/school/ orchard.py` that a class hands in besides honest work. The status is 0 when every mark is
as planted, both times.
"""

from __future__ import annotations

import argparse
import csv
import os
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "unit" / "grading" / "school"))
import orchard

from lessonkit.exercises import open_workbook
from lessonkit.exercises.core import modelled
from lessonkit.grading.reading.confine import confinement
from lessonkit.grading.roster import Place, assign
from lessonkit.grading.school import load_school

Marks = dict[tuple[str, str], str]


def honest(place: Place, number: int) -> tuple[bytes, Marks]:
    """Return an honest file with a misunderstanding and a blank, and what it is worth."""
    workbook = open_workbook(place.book, place.variant)
    ids = [exercise.id for exercise in workbook.exercises]
    marks = {(place.student, exercise): "right" for exercise in ids}
    changes: dict[str, object] = {}
    exercise = workbook.exercises[number % len(ids)]
    models = modelled(exercise, workbook.givens(exercise.id))
    if number % 3 == 0 and models:
        changes[exercise.id] = list(models.values())[number % len(models)]
        marks[place.student, exercise.id] = "not yet"
    if number % 4 == 0:
        blank = ids[(number + 1) % len(ids)]
        changes[blank] = ...
        marks[place.student, blank] = "unanswered"
    return orchard.to_bytes(orchard.answered(place.book, place.variant, changes)), marks


def odd(place: Place, number: int) -> tuple[str, bytes, Marks]:
    """Return a damaged or hostile file, and what an honest marker would give it."""
    names = [*orchard.ODD, *orchard.UNREADABLE]
    name = names[number % len(names)]
    ids = list(orchard.right(place.book, place.variant))
    if name in orchard.UNREADABLE:
        return (
            name,
            orchard.UNREADABLE[name][0](place.variant),
            dict.fromkeys(((place.student, exercise) for exercise in ids), "unreadable"),
        )
    make, states, _ = orchard.ODD[name]
    return name, make(place.variant), {(place.student, item): states.get(item, "right") for item in ids}


def write_school(folder: Path, students: int) -> tuple[Marks, int]:
    """Write workbooks, roster and hand-ins; return what was planted, and how many are odd."""
    school = load_school(orchard.make_school(folder / "school"))
    names = [f"Student {number:03}" for number in range(students)]
    (folder / "roster.csv").write_text("name\n" + "\n".join(names) + "\n")
    (folder / "in").mkdir()
    planted: Marks = {}
    count = 0
    for number, place in enumerate(assign(school, names, "300").places):
        student = names.index(place.student)
        if place.book == "orchard_a" and student % 5 == 0:
            _, data, marks = odd(place, student // 5)
            count += 1
        else:
            data, marks = honest(place, number)
        (folder / "in" / Path(place.file).name).write_bytes(data)
        planted |= marks
    return planted, count


def command(folder: Path, out: Path) -> list[str]:
    """Return the command that a marker types."""
    words = ["grade", str(folder / "in"), "--roster", str(folder / "roster.csv"), "--seed", "300"]
    return [
        sys.executable,
        "-m",
        "lessonkit",
        *words,
        "--out",
        str(out),
        "--workbooks",
        str(folder / "school"),
    ]


def marks_in(out: Path) -> Marks:
    """Return the verdicts that were written."""
    with (out / "verdicts.csv").open(encoding="utf-8", newline="") as file:
        return {(row["student"], row["exercise"]): row["verdict"] for row in csv.DictReader(file)}


def report(what: str, seconds: float, found: Marks, planted: Marks) -> bool:
    """Print how a run went, and the first marks that are not as planted."""
    wrong = {
        key: (found.get(key), expected) for key, expected in planted.items() if found.get(key) != expected
    }
    print(f"{what}: {seconds:.1f} s, {len(planted)} marks, {len(wrong)} not as planted")
    for key, (got, expected) in list(wrong.items())[:10]:
        print(f"  {key[0]}, {key[1]}: {got}, planted {expected}")
    return not wrong and set(found) == set(planted)


def main() -> int:
    """Grade the school twice."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--students", type=int, default=300)
    options = parser.parse_args()
    if not confinement().safe:
        print(f"This machine can't confine student code: {confinement().why}.")
        return 2
    with orchard.on_path(), tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        planted, count = write_school(folder, options.students)
        files = len(list((folder / "in").iterdir()))
        print(f"{options.students} students, {files} files, {count} of them damaged or hostile")

        start = time.perf_counter()
        subprocess.run(command(folder, folder / "one"), check=True)
        good = report("in one go", time.perf_counter() - start, marks_in(folder / "one"), planted)

        start = time.perf_counter()
        out = folder / "two"
        process = subprocess.Popen(command(folder, out), start_new_session=True, stdout=subprocess.DEVNULL)
        while process.poll() is None and len(list(out.rglob("judged/*/*.json"))) < options.students // 3:
            time.sleep(0.05)
        os.killpg(process.pid, signal.SIGKILL)
        killed = process.wait() == -signal.SIGKILL
        visible = [path.name for path in out.iterdir() if path.name != ".work"]
        after = time.perf_counter() - start
        print(f"killed after {after:.1f} s: {killed}; files to be seen: {visible or 'none'}")
        subprocess.run(command(folder, out), check=True)
        good &= report("cut off and taken up", time.perf_counter() - start, marks_in(out), planted)
        names = ("marks.csv", "verdicts.csv", "junit.xml", "class.html", "class.svg")
        same = all((folder / "one" / name).read_bytes() == (out / name).read_bytes() for name in names)
        print(f"both runs wrote the same: {same}")
    return 0 if good and same and killed and not visible else 1


if __name__ == "__main__":
    sys.exit(main())
