"""A whole class with everything a class hands in, graded once; then what the files say, and graded again.

Each odd file stands in `school/orchard.py` beside the verdict that an honest marker would give it.
"""

from __future__ import annotations

import csv
import os
import re
import shutil
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import pytest

sys.path.insert(0, str(Path(__file__).parent / "school"))
import orchard

from lessonkit.exercises import open_workbook
from lessonkit.exercises.core import modelled
from lessonkit.grading import run
from lessonkit.grading.marking.marks import Student
from lessonkit.grading.reading.confine import confinement
from lessonkit.grading.roster import Roll, assign, slug
from lessonkit.grading.run import Graded, grade_folder
from lessonkit.grading.school import School, load_school

OTHERS = ["Ärlig, Björn", "Wrong model", "Absent", "A link", "A folder", "Other's file", "Wrong workbook"]
OTHERS += ["Renamed by the platform", "Two copies", "=1+1", "Own folder"]
NAMES = [*orchard.ODD, *orchard.UNREADABLE, *OTHERS]
NEEDS_BOX = {"computed-by-code", "loop-in-answer", "gigabyte-of-output"}


@dataclass
class Class:
    """The class after grading."""

    school: School
    roll: Roll
    handed_in: Path
    out: Path
    graded: Graded
    by_name: dict[str, Student]

    def states(self, name: str, book: str = "orchard_a") -> dict[str, str]:
        """Return what is not right of a student's workbook."""
        marks = self.by_name[name].marks
        return {mark.exercise: mark.state for mark in marks if mark.book == book and mark.state != "right"}

    def remarks(self, name: str) -> str:
        """Return what the teacher is told about a student."""
        return "; ".join(self.by_name[name].remarks)


def hand_in(folder: Path, roll: Roll) -> None:
    """Write the hand-ins of the class."""

    def variant(name: str) -> int:
        place = roll.of(name, "orchard_a")
        assert place is not None
        return place.variant

    def path(name: str) -> Path:
        return folder / f"91_pump_{slug(name)}.ipynb"

    for name, (make, *_) in {**orchard.ODD, **orchard.UNREADABLE}.items():
        path(name).write_bytes(make(variant(name)))

    def right(name: str) -> bytes:
        return orchard.to_bytes(orchard.answered("orchard_a", variant(name)))

    path("Ärlig, Björn").write_bytes(right("Ärlig, Björn"))
    workbook = open_workbook("orchard_a", variant("Wrong model"))
    one_way = modelled(workbook.exercise("91.1"), workbook.givens("91.1"))["one-way"]
    notebook = orchard.answered("orchard_a", workbook.variant, {"91.1": one_way})
    path("Wrong model").write_bytes(orchard.to_bytes(notebook))
    path("A link").symlink_to(path("honest"))
    path("A folder").mkdir()
    path("Other's file").write_bytes(right("Ärlig, Björn"))
    place = roll.of("Wrong workbook", "orchard_b")
    assert place is not None
    path("Wrong workbook").write_bytes(orchard.to_bytes(orchard.answered("orchard_b", place.variant)))
    wrapped = folder / "x_4711_assignsubmission" / "Renamed (B) 91_pump_renamed-by-the-platform (1).ipynb"
    wrapped.parent.mkdir()
    wrapped.write_bytes(right("Renamed by the platform"))
    path("Two copies").write_bytes(right("Two copies"))
    second = path("Two copies").with_name("91_pump_two-copies (2).ipynb")
    second.write_bytes(orchard.to_bytes(orchard.answered("orchard_a", variant("Two copies"), {"91.2": 0.1})))
    (folder / "91_pump_1-1.ipynb").write_bytes(right("=1+1"))
    own = folder / "own-folder" / "my \u202ework  %s $(x).ipynb"
    own.parent.mkdir()
    own.write_bytes(right("Own folder"))
    (folder / "stranger.ipynb").write_bytes(orchard.to_bytes(orchard.answered("orchard_a", 5)))
    # What a whole folder may bring along, none of which may reach the judge.
    (folder / "conftest.py").write_text("raise SystemExit('student code in the judge')")
    (folder / "lessonkit.py").write_text("raise SystemExit('student code in the judge')")
    (folder / "ipykernel.py").write_text("raise SystemExit('student code in the judge')")
    (folder / "pytest.ini").write_text("[pytest]\naddopts = --deselect x\n")
    (folder / "README.txt").write_text("please be kind")


@pytest.fixture(autouse=True, scope="module")
def _one_edition() -> Iterator[None]:
    """Hold the edition still: somebody may be working on lessonkit while these tests run."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(run, "fingerprint_of", lambda school: "edition")
        yield


@pytest.fixture(scope="module")
def klass(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Class]:
    """Return the class, graded once for all tests here."""
    root = tmp_path_factory.mktemp("class")
    with orchard.on_path():
        school = load_school(orchard.make_school(root / "school"))
        roll = assign(school, NAMES, "2026")
        handed_in = root / "handed in"
        handed_in.mkdir()
        hand_in(handed_in, roll)
        orchard.OUTSIDE.unlink(missing_ok=True)
        graded = grade_folder(handed_in, root / "out", school, roll=roll, seed="2026")
        by_name = {student.name: student for student in graded.students}
        yield Class(school, roll, handed_in, root / "out", graded, by_name)


@pytest.mark.parametrize("name", orchard.ODD)
def test_odd_file_gets_the_verdict_of_an_honest_marker(klass: Class, name: str) -> None:
    """Every mark is as planted: what is spoilt is lost, and nothing else."""
    _, states, told = orchard.ODD[name]
    if name in NEEDS_BOX and not confinement().safe:
        states = {"91.1": "teacher"}
    found = klass.states(name)
    if not confinement().safe and found == {"91.1": "teacher"}:
        pytest.skip("this machine can't confine, and the answer waits for the teacher")
    assert found == states
    assert told in klass.remarks(name)


@pytest.mark.parametrize("name", orchard.UNREADABLE)
def test_unreadable_file_is_named_and_worth_nothing(klass: Class, name: str) -> None:
    """A file that can't be read says why, for the student and for the teacher."""
    why = orchard.UNREADABLE[name][1]
    assert set(klass.states(name).values()) == {"unreadable"}
    assert why in klass.remarks(name)
    assert klass.by_name[name].points == 0
    assert why in klass.by_name[name].marks[0].said


@pytest.mark.parametrize(
    ("name", "book", "state", "told"),
    [
        ("Absent", "orchard_a", "missing", ""),
        ("A folder", "orchard_a", "missing", ""),
        ("A link", "orchard_a", "unreadable", "link to another file"),
        ("Other's file", "orchard_a", "teacher", "handed out to Ärlig, Björn"),
        ("Wrong workbook", "orchard_a", "missing", "holds workbook orchard_b"),
        ("Wrong workbook", "orchard_b", "right", "holds workbook orchard_b"),
        ("Ärlig, Björn", "orchard_a", "right", ""),
        ("Renamed by the platform", "orchard_a", "right", ""),
        ("Two copies", "orchard_a", "teacher", "differ in 91.2"),
        ("=1+1", "orchard_a", "right", ""),
        ("Own folder", "orchard_a", "right", ""),
    ],
)
def test_hand_in_reaches_its_student(klass: Class, name: str, book: str, state: str, told: str) -> None:
    """Links, others' files, other workbooks, wrapped names and copies end where a marker would put them."""
    found = {mark.state for mark in klass.by_name[name].marks if mark.book == book}
    assert found == {state}
    assert told in klass.remarks(name)


def test_nobody_is_told_another_student_s_name(klass: Class) -> None:
    """Whose numbers a file has is for the teacher; the student's page does not say."""
    page = (klass.out / "pages" / "other-s-file.html").read_text(encoding="utf-8")
    assert "Björn" not in page
    assert "not those that were handed out under this name" in page


def test_file_of_nobody_is_left_aside(klass: Class) -> None:
    """A stranger's file is listed with the reason, and changes no mark."""
    stranger, *others = klass.graded.strays
    assert stranger == "stranger.ipynb: neither its name nor its numbers are in the roster"
    assert others == [
        f"{name}: its name does not end in .ipynb, so it was not read"
        for name in ("README.txt", "conftest.py", "ipykernel.py", "lessonkit.py", "pytest.ini")
    ]
    assert "stranger.ipynb" in (klass.out / "left-aside.csv").read_text(encoding="utf-8")


def test_nothing_was_written_outside(klass: Class) -> None:
    """The file that one answer tried to write does not exist."""
    assert not orchard.OUTSIDE.exists()


def test_marks_csv_is_a_row_a_student_and_a_column_an_exercise(klass: Class) -> None:
    """The table has everybody in roster order, points as planted, and no formula for a spreadsheet."""
    with (klass.out / "marks.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    exercises = [exercise.id for book in klass.school.books for exercise in book.exercises]
    assert list(rows[0]) == ["student", *exercises, "points", "of", "remarks"]
    assert [row["student"].removeprefix("'") for row in rows] == NAMES
    by = {row["student"]: row for row in rows}
    assert "'=1+1" in by
    assert (by["honest"]["91.1"], by["honest"]["91.5"], by["honest"]["92.1"]) == ("2", "3", "")
    assert (by["honest"]["points"], by["honest"]["of"]) == ("12", "14")
    assert (by["Wrong model"]["91.1"], by["Wrong model"]["points"]) == ("0", "10")
    assert (by["Other's file"]["91.1"], by["Other's file"]["points"]) == ("", "0")


def test_junit_counts_what_it_holds(klass: Class) -> None:
    """The XML says the same as the marks, in a form that other programs read."""
    root = ElementTree.parse(klass.out / "junit.xml").getroot()
    suites = {suite.attrib["name"]: suite for suite in root.iter("testsuite")}
    assert set(suites) == {"91_pump", "92_gate"}
    for suite in suites.values():
        assert int(suite.attrib["tests"]) == len(suite.findall("testcase"))
        for kind, tag in (("failures", "failure"), ("errors", "error"), ("skipped", "skipped")):
            assert int(suite.attrib[kind]) == len(suite.findall(f"testcase/{tag}"))
    case = next(c for c in suites["91_pump"].iter("testcase") if c.attrib["classname"] == "Wrong model")
    failure = case.find("failure")
    assert failure is not None
    assert failure.attrib["message"] == "not yet: The current goes there and comes back."


class _Outline(HTMLParser):
    """What a screen reader goes by: language, title, headings, tables with captions and heads."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.given: list[dict[str, str | None]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.given.append(dict(attrs))


@pytest.mark.parametrize("page", ["pages/wrong-model.html", "pages/honest.html", "class.html"])
def test_page_can_be_read_aloud(klass: Class, page: str) -> None:
    """Pages have a language, one first heading, and tables with captions and scoped heads.

    Success criteria 1.3.1, 2.4.2 and 3.1.1 of WCAG 2.2.
    """
    outline = _Outline()
    outline.feed((klass.out / page).read_text(encoding="utf-8"))
    assert outline.given[outline.tags.index("html")] == {"lang": "en"}
    assert outline.tags.count("h1") == 1
    assert "title" in outline.tags
    assert outline.tags.count("table") == outline.tags.count("caption") > 0
    heads = [given for tag, given in zip(outline.tags, outline.given, strict=True) if tag == "th"]
    assert all(given.get("scope") in ("col", "row") for given in heads)


def test_page_shows_verdict_hint_and_answer_escaped(klass: Class) -> None:
    """The page says what was met in words, and nothing a student wrote becomes markup."""
    page = (klass.out / "pages" / "wrong-model.html").read_text(encoding="utf-8")
    assert "not yet" in page
    assert "The current goes there and comes back." in page
    assert "<script" not in "".join(
        p.read_text(encoding="utf-8") for p in (klass.out / "pages").glob("*.html")
    )
    assert "prove dead" in page


def test_class_picture_counts_misunderstandings_and_names_nobody(klass: Class) -> None:
    """The picture shows how many met which misunderstanding; no student's name is in it."""
    page = (klass.out / "class.html").read_text(encoding="utf-8")
    row = re.search(r'<th scope="row">91\.1</th><td>one-way</td><td class="number">(\d+)</td>', page)
    assert row is not None
    assert row[1] == "1"
    assert "Björn" not in page
    picture = ElementTree.fromstring((klass.out / "class.svg").read_text(encoding="utf-8"))
    space = {"svg": "http://www.w3.org/2000/svg"}
    words = picture.findtext("svg:desc", namespaces=space) or ""
    assert "1 of them one-way" in words


@pytest.mark.confined  # without a box, what is computed is tried again at every run
def test_grading_again_reads_and_judges_nothing(klass: Class, monkeypatch: pytest.MonkeyPatch) -> None:
    """A second run does no work and leaves every file as it was, to the byte and the time."""
    before = {
        path: (path.read_bytes(), path.stat().st_mtime_ns) for path in klass.out.rglob("*") if path.is_file()
    }
    monkeypatch.setattr(run, "judge_batch", lambda *_: pytest.fail("judged again"))
    monkeypatch.setattr(run, "read_batch", lambda *_: pytest.fail("read again"))
    again = grade_folder(klass.handed_in, klass.out, klass.school, roll=klass.roll, seed="2026")
    assert again == klass.graded
    after = {
        path: (path.read_bytes(), path.stat().st_mtime_ns) for path in klass.out.rglob("*") if path.is_file()
    }
    assert after == before


@pytest.mark.confined  # without a box, what is computed is tried again at every run
def test_only_a_changed_file_is_read_and_judged_again(klass: Class, tmp_path: Path) -> None:
    """One new hand-in costs one reading and one judging, and changes that student alone."""
    folder, out = tmp_path / "handed in", tmp_path / "out"
    shutil.copytree(klass.handed_in, folder, symlinks=True)
    shutil.copytree(klass.out, out)
    place = klass.roll.of("Absent", "orchard_b")
    assert place is not None
    (folder / Path(place.file).name).write_bytes(
        orchard.to_bytes(orchard.answered("orchard_b", place.variant, {"92.2": "pull"}))
    )
    counted: list[int] = []
    real_read, real_judge = run.read_batch, run.judge_batch

    def read(folder: str, files: list[bytes], only: tuple[str, ...]) -> object:
        counted.append(len(files))
        return real_read(folder, files, only)

    def judge(folder: str, batch: tuple[object, ...]) -> object:
        counted.append(len(batch))
        return real_judge(folder, batch)  # type: ignore[arg-type]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(run, "read_batch", read)
        patch.setattr(run, "judge_batch", judge)
        again = grade_folder(folder, out, klass.school, roll=klass.roll, seed="2026")
    assert counted == [1, 1]
    changed = {
        one.name for one, other in zip(again.students, klass.graded.students, strict=True) if one != other
    }
    assert changed == {"Absent"}


def test_no_part_of_a_file_is_left(klass: Class) -> None:
    """No temporary name is left in the folder of marks."""
    assert not [name for _, _, names in os.walk(klass.out) for name in names if name.endswith(".part")]
