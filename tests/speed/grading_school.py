"""A school of 300 with one file in eight damaged or hostile, graded twice, once killed at ten random moments.

    python tests/speed/grading_school.py [--students 300] [--kills 10]

Two workbooks of an invented school, so that every mark is known beforehand: honest files are right but for a
planted misunderstanding and a planted blank, and every fourth file of the first workbook is one of those in
`tests/unit/grading/school/orchard.py` that a class hands in besides honest work. Five in a row bring the
reader down, and among the hand-ins lie modules of every name there is, which would leave a note if they ran.
The second run starts in the folder of the hand-ins. Last, the same class is refused where nothing can be
confined. The status is 0 when every mark is as planted, both times, and nothing is left behind.
"""

from __future__ import annotations

import argparse
import csv
import os
import random
import subprocess
import sys
import tempfile
import time
from importlib.metadata import packages_distributions
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "unit" / "grading" / "school"))
import orchard

from lessonkit.exercises import open_workbook
from lessonkit.exercises.core import modelled
from lessonkit.grading.reading.confine import confinement
from lessonkit.grading.roster import Place, assign
from lessonkit.grading.school import load_school

Marks = dict[tuple[str, str], str]

KILLERS = range(11, 16)
MOMENTS = random.Random(10)


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
    files = {**orchard.COSTLY, **orchard.ODD}
    names = [*files, *orchard.UNREADABLE]
    name = names[number % len(names)]
    ids = list(orchard.right(place.book, place.variant))
    if name in orchard.UNREADABLE:
        return (
            name,
            orchard.UNREADABLE[name][0](place.variant),
            dict.fromkeys(((place.student, exercise) for exercise in ids), "unreadable"),
        )
    make, states, _ = files[name]
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
        if place.book == "orchard_a" and student in KILLERS:
            data = orchard.killer(place.variant)
            marks = {(place.student, item): "unreadable" for item in orchard.ALL}
            count += 1
        elif place.book == "orchard_a" and student % 4 == 0:
            _, data, marks = odd(place, student // 4)
            count += 1
        else:
            data, marks = honest(place, number)
        (folder / "in" / Path(place.file).name).write_bytes(data)
        planted |= marks
    return planted, count


def command(folder: Path, out: Path, hand_ins: str = "") -> list[str]:
    """Return the command that a marker types; `lessonkit` is Python without the folder it stands in."""
    words = ["grade", hand_ins or str(folder / "in"), "--roster", str(folder / "roster.csv"), "--seed", "300"]
    paths = ["--out", str(out), "--workbooks", str(folder / "school")]
    return [sys.executable, "-P", "-m", "lessonkit", *words, *paths]


def set_traps(folder: Path, note: Path) -> None:
    """Lay modules of every name among the hand-ins, each of which writes a note when it runs."""
    for name in sorted({*sys.stdlib_module_names, *packages_distributions(), *sys.modules}):
        if name.isidentifier() and name != "__main__":
            source = f"open({str(note)!r}, 'a').write(__name__ + ' ')\n"
            (folder / f"{name}.py").write_text(source, encoding="utf-8")


def killed(folder: Path, out: Path, within_s: float, environment: dict[str, str]) -> list[str]:
    """Start a run among the hand-ins, kill it at a random moment, and return what is to be seen."""
    process = subprocess.Popen(
        command(folder, out, "."), cwd=folder / "in", env=environment, stdout=subprocess.DEVNULL
    )
    time.sleep(MOMENTS.uniform(0.2, within_s))
    process.kill()
    done = process.wait() == 0
    return [] if done or not out.exists() else [path.name for path in out.iterdir() if path.name != ".work"]


def left_behind(room: Path) -> list[str]:
    """Return what a killed run leaves in its temporary folder once its judge has had a moment to notice."""
    for _ in range(100):
        if not any(room.iterdir()):
            break
        time.sleep(0.1)
    return [path.name for path in room.iterdir()]


def refused(folder: Path) -> bool:
    """Tell whether a machine without bubblewrap refuses the class in one sentence."""
    done = subprocess.run(
        command(folder, folder / "none"), env={**os.environ, "PATH": ""}, capture_output=True, text=True
    )
    print(f"without bubblewrap: status {done.returncode}, {done.stderr.strip()}")
    return done.returncode == 2 and done.stderr.count("\n") == 1 and not (folder / "none").exists()


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
    parser.add_argument("--kills", type=int, default=10)
    options = parser.parse_args()
    if not confinement().safe:
        print(f"This machine can't confine student code: {confinement().why}.")
        return 2
    with orchard.on_path(), tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        planted, count = write_school(folder, options.students)
        files = len(list((folder / "in").iterdir()))
        print(f"{options.students} students, {files} files, {count} of them damaged or hostile")

        note, room, out = folder / "note.txt", folder / "tmp", folder / "two"
        set_traps(folder / "in", note)
        room.mkdir()
        environment = {**os.environ, "TMPDIR": str(room)}

        start = time.perf_counter()
        subprocess.run(command(folder, folder / "one"), check=True)
        whole_s = time.perf_counter() - start
        good = report("in one go", whole_s, marks_in(folder / "one"), planted)

        start = time.perf_counter()
        moments = [killed(folder, out, whole_s / 5, environment) for _ in range(options.kills)]
        visible = sorted({name for names in moments for name in names})
        left = left_behind(room)
        seen = f"to be seen {visible or 'nothing'}, left behind {left or 'nothing'}"
        print(f"killed {options.kills} times: {seen}")
        subprocess.run(command(folder, out, "."), cwd=folder / "in", env=environment, check=True)
        good &= report("taken up among the hand-ins", time.perf_counter() - start, marks_in(out), planted)
        names = ("marks.csv", "verdicts.csv", "junit.xml", "class.html", "class.svg")
        same = all((folder / "one" / name).read_bytes() == (out / name).read_bytes() for name in names)
        print(f"both runs wrote the same: {same}; modules of students' that ran: {note.exists()}")
        good &= same and not left and not visible and not note.exists() and refused(folder)
    print("all as planted" if good else "NOT as planted")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
