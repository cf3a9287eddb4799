"""The run as a whole: simple folders, cut off and taken up, other executors, changes, bad input."""

from __future__ import annotations

import csv
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent / "school"))
import orchard

from lessonkit.commands import grade as command
from lessonkit.errors import LessonError
from lessonkit.exercises import notebooks
from lessonkit.exercises.core import variant_number
from lessonkit.grading import run
from lessonkit.grading.judging.judge import Judged
from lessonkit.grading.reading.confine import Confinement
from lessonkit.grading.roster import slug
from lessonkit.grading.run import BadFolder, Graded, grade_folder
from lessonkit.grading.school import School, fingerprint_of, load_school
from lessonkit.grading.store import Store
from lessonkit.grading.tables import BadTable

Run = Callable[..., "subprocess.CompletedProcess[str]"]


@pytest.fixture(scope="module")
def school(tmp_path_factory: pytest.TempPathFactory) -> Iterator[School]:
    """Return the invented school."""
    with orchard.on_path():
        yield load_school(orchard.make_school(tmp_path_factory.mktemp("school")))


@pytest.fixture(autouse=True, scope="module")
def _one_edition() -> Iterator[None]:
    """Hold the edition still: somebody may be working on lessonkit while these tests run."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(run, "fingerprint_of", lambda school: "edition")
        yield


def write(folder: Path, files: dict[str, tuple[str, int, dict[str, Any]]]) -> Path:
    """Write answered notebooks: path -> workbook, variant, wrong answers."""
    for name, (book, variant, changes) in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        notebooks.write_notebook(folder / name, orchard.answered(book, variant, changes))
    return folder


def points(graded: Graded) -> dict[str, float]:
    """Return everybody's points."""
    return {student.name: student.points for student in graded.students}


def test_folder_alone_is_enough(school: School, tmp_path: Path) -> None:
    """Without a roster the files' names are the students, in each of the usual layouts."""
    own = variant_number("7", "cleo")
    folder = write(
        tmp_path / "in",
        {
            "anna.ipynb": ("orchard_a", 0, {}),
            "91_pump_bo.ipynb": ("orchard_a", 0, {"91.5": {"fill": "open", "drain": "open", "off": "open"}}),
            "cleo/91_pump.ipynb": ("orchard_a", own, {}),
            "cleo/92_gate.ipynb": ("orchard_b", own, {"92.2": "pull"}),
            "dora_92_gate-Copy1.ipynb": ("orchard_b", 0, {}),
            "evening/91_pump_emil.ipynb": ("orchard_b", 4, {}),
            "evening/91_pump_fay.ipynb": ("orchard_b", 4, {}),
            "gus/91_pump.ipynb": ("orchard_a", own, {}),
            ".ipynb_checkpoints/anna.ipynb": ("orchard_a", 0, {"91.1": 0}),
        },
    )
    graded = grade_folder(folder, tmp_path / "out", school)
    assert points(graded) == {
        "anna": 12,
        "bo": 9,
        "cleo": 13,
        "dora": 2,
        "evening/emil": 2,
        "evening/fay": 2,
        "gus": 12,
    }
    remarks = {student.name: "; ".join(student.remarks) for student in graded.students}
    assert remarks["anna"] == ""
    assert "same numbers as gus" in remarks["cleo"]
    assert "same numbers as evening/fay" in remarks["evening/emil"]


def test_own_copies_at_home_are_one_page(school: School, tmp_path: Path) -> None:
    """Who grades the own folder of workbooks, as `lessonkit lab` fills it, gets all marks on one page."""
    files = {"91_pump.ipynb": ("orchard_a", 0, {}), "92_gate.ipynb": ("orchard_b", 0, {"92.2": "pull"})}
    graded = grade_folder(write(tmp_path / "in", files), tmp_path / "out", school)  # type: ignore[arg-type]
    assert points(graded) == {"these workbooks": 13}


def test_numbers_that_the_seed_did_not_give_are_held(school: School, tmp_path: Path) -> None:
    """With a class seed only the own numbers are marked: no self-study ones, no other's, no other seed's."""
    own = {name: variant_number("7", name) for name in ("cleo", "gus", "fay")}
    folder = write(
        tmp_path / "in",
        {
            "cleo.ipynb": ("orchard_a", own["cleo"], {}),
            "evening/92_gate_fay.ipynb": ("orchard_b", own["fay"], {}),
            "evening/92_gate_ida.ipynb": ("orchard_b", variant_number("7", "ida", 3), {}),
            "anna.ipynb": ("orchard_a", 0, {}),
            "gus.ipynb": ("orchard_a", own["cleo"], {}),
            "hal.ipynb": ("orchard_a", variant_number("8", "hal"), {}),
        },
    )
    graded = grade_folder(folder, tmp_path / "out", school, seed="7")
    assert points(graded) == {"anna": 0, "cleo": 12, "evening/fay": 2, "evening/ida": 2, "gus": 0, "hal": 0}
    remarks = {student.name: "; ".join(student.remarks) for student in graded.students}
    assert "its numbers are the self-study ones" in remarks["anna"]
    assert "its numbers are those of cleo" in remarks["gus"]
    assert "its numbers are not those of seed 7" in remarks["hal"]
    states = {
        mark.state for one in graded.students if one.name in ("anna", "gus", "hal") for mark in one.marks
    }
    assert states == {"teacher", "missing"}


def test_class_with_own_numbers_is_held_to_them_without_a_seed(school: School, tmp_path: Path) -> None:
    """Where nearly everybody has other numbers, two who share them wait, and so do the self-study ones."""
    numbers = {"ann": 11, "bo": 12, "cy": 13, "di": 14, "ed": 14, "flo": 0, "gil": 15, "hal": 16}
    files = {f"{name}.ipynb": ("orchard_a", variant, {}) for name, variant in numbers.items()}
    graded = grade_folder(write(tmp_path / "in", files), tmp_path / "out", school)  # type: ignore[arg-type]
    assert {name for name, got in points(graded).items() if got == 0} == {"di", "ed", "flo"}


@pytest.fixture(scope="module")
def small(school: School, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with six hand-ins, some wrong."""
    files = {
        f"s{n}.ipynb": ("orchard_a" if n % 2 else "orchard_b", 0, {"91.1": n} if n == 3 else {})
        for n in range(6)
    }
    return write(tmp_path_factory.mktemp("small"), files)  # type: ignore[arg-type]


def table(out: Path) -> bytes:
    """Return the table of marks."""
    return (out / "marks.csv").read_bytes()


@pytest.fixture(scope="module")
def whole(school: School, small: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of marks of the small class, graded in one go."""
    out = tmp_path_factory.mktemp("whole")
    grade_folder(small, out, school)
    return out


@pytest.fixture(scope="module")
def marks(whole: Path) -> bytes:
    """Return the table of marks of the small class."""
    return table(whole)


@pytest.fixture
def out(whole: Path, tmp_path: Path) -> Path:
    """Return a copy of the folder of marks, with all that is remembered."""
    return Path(shutil.copytree(whole, tmp_path / "out"))


class _Inline(Executor):
    """An executor that works at once, and stops after so many batches."""

    def __init__(self, most: int) -> None:
        self.most = most

    def submit(self, work: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Do it now, or stop as a kill would."""
        if self.most == 0:
            raise KeyboardInterrupt
        self.most -= 1
        future: Future[Any] = Future()
        future.set_result(work(*args, **kwargs))
        return future


@pytest.mark.parametrize("most", [0, 1, 2])
def test_run_that_was_cut_off_is_taken_up(
    school: School, small: Path, marks: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, most: int
) -> None:
    """Stopped after any batch, no marks are there; started again, it does the rest and gives the same."""
    monkeypatch.setattr(run, "FILES_A_BATCH", 3)
    out = tmp_path / "out"
    with pytest.raises(KeyboardInterrupt):
        grade_folder(small, out, school, executor=_Inline(most), workers=1)
    assert not (out / "marks.csv").exists()
    grade_folder(small, out, school, executor=_Inline(99), workers=1)
    assert table(out) == marks


@pytest.mark.skipif(sys.platform == "win32", reason="there is no SIGKILL on Windows")
def test_process_that_was_killed_is_taken_up(
    small: Path, marks: bytes, school: School, tmp_path: Path
) -> None:
    """Killed outright in the middle, the run leaves no half-written file, and its next go gives the same."""
    out = tmp_path / "out"
    words = [sys.executable, "-m", "lessonkit", "grade", str(small), "--out", str(out)]
    words += ["--workbooks", str(school.folder), "--workers", "1", "--unconfined"]
    process = subprocess.Popen(
        words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True
    )
    while not list(out.rglob("*.json")) and process.poll() is None:
        time.sleep(0.01)
    os.killpg(process.pid, signal.SIGKILL)
    process.wait()
    assert not (out / "marks.csv").exists()
    subprocess.run(words, stdout=subprocess.DEVNULL, check=True)
    assert table(out) == marks


def test_processes_give_the_same_marks(school: School, small: Path, marks: bytes, tmp_path: Path) -> None:
    """Any executor of concurrent.futures may carry the work."""
    import multiprocessing

    with ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("spawn")) as executor:
        grade_folder(small, tmp_path / "out", school, executor=executor)
    assert table(tmp_path / "out") == marks


def test_dask_cluster_gives_the_same_marks(school: School, small: Path, marks: bytes, tmp_path: Path) -> None:
    """A real local cluster with two workers does the same work."""
    distributed = pytest.importorskip("distributed")
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, dashboard_address=None, local_directory=str(tmp_path / "dask")
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        grade_folder(small, tmp_path / "out", school, executor=client.get_executor())
    assert table(tmp_path / "out") == marks


def test_spoilt_memory_is_read_again(school: School, small: Path, marks: bytes, out: Path) -> None:
    """A remembered file that a power cut emptied counts as unknown."""
    for number, path in enumerate(sorted((out / ".work").rglob("*.json"))):
        path.write_bytes([b"", b"{", b"[]"][number % 3])
    (out / "marks.csv").unlink()
    grade_folder(small, out, school)
    assert table(out) == marks


def test_what_was_left_to_the_teacher_is_tried_again(school: School, tmp_path: Path) -> None:
    """A fault of the judge or of the machine is not remembered: grading again asks again."""
    folder = write(tmp_path / "in", {"anna.ipynb": ("orchard_b", 0, {})})

    def faulty(_: str, batch: Any) -> dict[tuple[str, str], Judged]:
        return {(one.key, exercise): Judged("teacher", "no") for one in batch for exercise, _ in one.answers}

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(run, "judge_batch", faulty)
        graded = grade_folder(folder, tmp_path / "out", school)
    assert {mark.state for mark in graded.students[0].marks} == {"missing", "teacher"}
    assert points(grade_folder(folder, tmp_path / "out", school)) == {"anna": 2}


def test_another_edition_forgets_what_was_remembered(tmp_path: Path) -> None:
    """Verdicts of other workbooks or another lessonkit are never taken for today's."""
    old, new = Store(tmp_path, "old"), Store(tmp_path, "new")
    old.put("judged", "k", {"a": 1})
    assert new.get("judged", "k") is None
    new.put("judged", "k", {"a": 2})
    new.forget_others()
    assert old.get("judged", "k") is None
    assert new.get("judged", "k") == {"a": 2}


def test_a_file_that_may_not_be_opened_waits_for_the_teacher(
    school: School, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file closed to this machine costs its student nothing: its marks stay open, the rest is graded."""
    files = {f"91_pump_{name}.ipynb": ("orchard_a", 0, {}) for name in ("ann", "bo")}
    folder = write(tmp_path / "in", files)
    really = os.open

    def refuses(path: Any, *rest: Any, **more: Any) -> int:
        if str(path).endswith("bo.ipynb"):
            raise PermissionError(13, "Permission denied", str(path))
        return really(path, *rest, **more)

    monkeypatch.setattr("lessonkit.grading.reading.read.os.open", refuses)
    graded = grade_folder(folder, tmp_path / "out", school)
    states = {student.name: {mark.state for mark in student.marks} for student in graded.students}
    assert states["bo"] == {"teacher", "missing"}  # missing: the other workbook
    assert "right" in states["ann"]


def test_a_table_of_changes_that_is_not_there_is_said_first(
    school: School, small: Path, tmp_path: Path
) -> None:
    """A slip in the name of the table costs no grading."""
    said: list[object] = []
    with pytest.raises(LessonError, match="nowhere.csv"):
        grade_folder(
            small,
            tmp_path / "out",
            school,
            changes=tmp_path / "nowhere.csv",
            progress=lambda *a: said.append(a),
        )
    assert said == []


def test_edition_changes_with_a_workbook(school: School, tmp_path: Path) -> None:
    """A pristine workbook that was edited makes another edition; the same one makes the same."""
    folder = Path(shutil.copytree(school.folder, tmp_path / "school"))
    assert fingerprint_of(load_school(folder)) == fingerprint_of(load_school(folder))
    before = fingerprint_of(load_school(folder))
    notebook = orchard.changed(notebooks.read_notebook(folder / "92_gate.ipynb"), "title", "# Another title")
    notebooks.write_notebook(folder / "92_gate.ipynb", notebook)
    assert fingerprint_of(load_school(folder)) != before


def test_teacher_s_changes_are_applied_and_seen(
    school: School, small: Path, out: Path, tmp_path: Path
) -> None:
    """A change counts, and shows what was there before with its reason."""
    changes = tmp_path / "changes.csv"
    changes.write_text(
        "student,exercise,points,reason\ns3,91.1,1.5,right way <b>wrong</b> sum\ns1,91.2,0,copied\n"
    )
    graded = grade_folder(small, out, school, changes=changes)
    assert points(graded)["s3"] == 11.5
    assert points(graded)["s1"] == 11
    with (out / "marks.csv").open(encoding="utf-8", newline="") as file:
        row = {row["student"]: row for row in csv.DictReader(file)}["s3"]
    assert row["91.1"] == "1.5"
    assert "changed by the teacher: 91.1" in row["remarks"]
    page = (out / "pages" / "s3.html").read_text(encoding="utf-8")
    assert "Changed by the teacher" in page
    assert "right way &lt;b&gt;wrong&lt;/b&gt; sum" in page


def test_a_decision_stays_until_it_is_withdrawn(
    school: School, small: Path, out: Path, tmp_path: Path
) -> None:
    """Graded again without its table a decision still counts, and the run says so; one word takes it back."""
    changes = tmp_path / "changes.csv"
    head = "student,exercise,points,reason\n"
    changes.write_text(head + "s3,91.1,1.5,half\ns1,91.2,0,copied\n")
    first = grade_folder(small, out, school, changes=changes)
    assert (first.decided, first.kept) == (2, 0)
    again = grade_folder(small, out, school)
    assert (again.decided, again.kept) == (2, 2)
    assert points(again) == points(first)
    changes.write_text(head + "s3,91.1,withdrawn,\ns5,91.2,0.5,late\n")
    less = grade_folder(small, out, school, changes=changes)
    assert (less.decided, less.kept) == (2, 1)
    assert [points(less)[name] for name in ("s1", "s3", "s5")] == [11, 10, 11.5]
    kept = (out / "decisions.csv").read_text(encoding="utf-8").splitlines()
    assert kept == ["student,exercise,points,reason", "s1,91.2,0,copied", "s5,91.2,0.5,late"]
    (out / "decisions.csv").write_text("\n".join(kept[:2]))  # a row taken out by hand
    assert points(grade_folder(small, out, school))["s5"] == 12


def test_command_says_that_earlier_decisions_count(
    school: School, small: Path, out: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Who forgets the table is told that its decisions are still there."""
    from lessonkit.__main__ import main

    changes = tmp_path / "changes.csv"
    changes.write_text("student;exercise;points;reason\ns3;exercise 91,1;1,5;half\n")
    words = ["grade", str(small), "--out", str(out), "--workbooks", str(school.folder), "--unconfined"]
    assert main([*words, "--changes", str(changes)]) == 0
    assert "decisions that count: 1; they stay" in capsys.readouterr().out
    assert main([*words, "--spreadsheet", "semicolon"]) == 0
    assert "decisions that count: 1, 1 given earlier; they stay" in capsys.readouterr().out
    head, *rows = (out / "marks.csv").read_bytes().decode("utf-8-sig").splitlines()
    assert head.startswith("student;exercise 91.1;exercise 91.2;")
    assert next(row for row in rows if row.startswith("s3")).startswith("s3;1,5;1;1;")
    assert main(words) == 0  # the kept decisions, as the other style wrote them, are read again
    assert points(grade_folder(small, out, school))["s3"] == 11.5


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("nobody,91.1,1,why", "no student 'nobody'"),
        ("s3,99.9,1,why", "no exercise '99.9'"),
        ("s3,91.1,3,why", "from 0 to 2"),
        ("s3,91.1,-1,why", "from 0 to 2"),
        ("s3,91.1,nan,why", "from 0 to 2"),
        ("s3,91.1,all,why", "from 0 to 2"),
        ("s3,91.1,1,", "no reason"),
        ("s3,91.1,1,why\ns3,91.1,1,why", "line 3: s3 has a change"),
    ],
)
def test_bad_change_is_one_sentence(
    school: School,
    small: Path,
    tmp_path_factory: pytest.TempPathFactory,
    tmp_path: Path,
    line: str,
    said: str,
) -> None:
    """A change that can't be meant stops before any mark is written."""
    changes = tmp_path / "changes.csv"
    changes.write_text(f"student,exercise,points,reason\n{line}\n")
    with pytest.raises(BadTable, match=said):
        run.with_changes([], run.read_changes(changes, _students(school)))


def test_half_a_point_with_a_comma(school: School, tmp_path: Path) -> None:
    """A spreadsheet that parts columns by semicolons writes half a point as 0,5."""
    changes = tmp_path / "changes.csv"
    changes.write_text("student;exercise;points;reason\ns3;91.1;0,5;half of it\n")
    assert [one.points for one in run.read_changes(changes, _students(school))] == [0.5]


def _students(school: School) -> list[Any]:
    from lessonkit.grading.marking.marks import Mark, Student

    marks = tuple(
        Mark("orchard_a", item.id, "right", item.points, item.points) for item in school.books[0].exercises
    )
    return [Student("s3", marks)]


def test_wrong_seed_is_said_once(school: School, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """When most hand-ins have other numbers the report says so; with the right seed it doesn't."""
    from lessonkit.__main__ import main

    roster = tmp_path / "roster.csv"
    roster.write_text("name\nanna\nbo\n")
    write(
        tmp_path / "in",
        {
            f"91_pump_{name}.ipynb": ("orchard_a", variant_number("right", name), {})
            for name in ("anna", "bo")
        },
    )
    words = ["grade", str(tmp_path / "in"), "--roster", str(roster), "--workbooks", str(school.folder)]
    words.append("--unconfined")
    for seed in ("right", "wrong"):
        assert main([*words, "--seed", seed, "--out", str(tmp_path / seed)]) == 0
        assert ("check --seed" in capsys.readouterr().out) is (seed == "wrong")


def test_folder_that_cannot_be_opened_is_told(
    school: School, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder among the hand-ins that nobody may open is listed, and hides no other file."""
    write(tmp_path / "in", {f"{name}/91_pump.ipynb": ("orchard_a", 0, {}) for name in ("anna", "bo")})
    real = os.scandir

    def scandir(path: Any) -> Any:
        if (
            not isinstance(path, int) and Path(path).name == "bo"
        ):  # root may open everything, so a mode of 000 would not do
            raise PermissionError(13, "Permission denied", path)
        return real(path)

    monkeypatch.setattr(os, "scandir", scandir)
    graded = grade_folder(tmp_path / "in", tmp_path / "out", school)
    assert list(points(graded)) == ["anna"]
    assert graded.strays == ("bo: this folder can't be opened (Permission denied)",)


def test_folders_that_cannot_be_graded_are_named(school: School, tmp_path: Path) -> None:
    """No folder, no notebook, and marks among hand-ins are refused with a sentence."""
    (tmp_path / "in").mkdir()
    (tmp_path / "file").write_text("x")
    with pytest.raises(BadFolder, match="is no folder"):
        grade_folder(tmp_path / "nowhere", tmp_path / "out", school)
    with pytest.raises(BadFolder, match="no notebook"):
        grade_folder(tmp_path / "in", tmp_path / "out", school)
    with pytest.raises(BadFolder, match="lies in"):
        grade_folder(tmp_path / "in", tmp_path / "in" / "out", school)
    with pytest.raises(BadFolder, match="is a file"):
        grade_folder(tmp_path / "in", tmp_path / "file", school)


def test_command_grades_and_says_where(
    run_lessonkit: Run, private_env: dict[str, str], school: School, small: Path, tmp_path: Path
) -> None:
    """`lessonkit grade DIR --out DIR` is one line to type and two to read."""
    private_env["PYTHONPATH"] = str(Path(orchard.__file__).parent)
    paths = ("--workbooks", str(school.folder), "--out", str(tmp_path / "out"))
    done = run_lessonkit("grade", str(small), *paths, "--unconfined")
    assert (done.returncode, done.stderr.count("Traceback")) == (0, 0)
    assert done.stdout.startswith("6 files, 6 students: 29 right, 1 not yet.")
    assert (tmp_path / "out" / "marks.csv").exists()


@pytest.mark.parametrize(
    "words",
    [
        ("grade", "nowhere", "--out", "out"),
        ("grade", ".", "--out", "out", "--workbooks", "nowhere"),
        ("grade", ".", "--out", "out", "--roster", "nowhere.csv", "--seed", "1"),
        ("grade", ".", "--out", "out", "--workers", "0"),
        ("grade", ".", "--out", "out", "--seed", " "),
        ("hand-out", "--roster", "nowhere.csv", "--seed", "1", "--out", "out"),
    ],
)
def test_bad_command_is_one_sentence_and_status_2(
    words: tuple[str, ...],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What can't be meant is said on standard error, without a traceback."""
    from lessonkit.__main__ import main

    monkeypatch.chdir(tmp_path)
    assert main(words) == 2
    said = capsys.readouterr().err.strip()
    assert said
    assert "Traceback" not in said


def test_machine_that_cannot_confine_asks_first(
    school: School, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without confinement the run stops at the start, says why and how to go on; with the flag it goes on."""
    from lessonkit.__main__ import main
    from lessonkit.grading.reading import confine, read

    for room in (confine, read):
        monkeypatch.setattr(room, "confinement", lambda: Confinement(why="there is no box here"))
    folder = tmp_path / "in"
    folder.mkdir()
    made = orchard.answer_cell("answer_91_1 = [n for n in 'ab']")(0)
    notebooks.write_notebook(folder / "anna.ipynb", made)
    words = ["grade", str(folder), "--out", str(tmp_path / "out"), "--workbooks", str(school.folder)]
    assert main(words) == 2
    assert "there is no box here" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()
    assert main([*words, "--unconfined"]) == 0
    said = capsys.readouterr()
    assert "there is no box here" in said.err
    assert "1 answer waits for you" in said.out
    row = (tmp_path / "out" / "marks.csv").read_text(encoding="utf-8").splitlines()[1]
    assert row.startswith("anna,,1,1,1,3")


def test_progress_is_shown_on_a_terminal_only(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Piped, a run is silent on standard error."""
    with command._progress() as show:
        show("reading", 1, 2)
    assert capsys.readouterr().err == ""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    with command._progress() as show:
        show("reading", 1, 2)
        show("reading", 2, 2)
    assert "reading" in capsys.readouterr().err


def test_unreachable_cluster_is_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    """A scheduler that is not there is named."""
    pytest.importorskip("distributed")
    monkeypatch.setattr(command, "DASK_WAIT_S", 1)
    with (
        pytest.raises(LessonError, match=r"no Dask scheduler at tcp://127\.0\.0\.1:9"),
        command._cluster("tcp://127.0.0.1:9"),
    ):
        pass


@pytest.mark.skipif(sys.platform != "linux", reason="other systems don't let such names be")
def test_name_of_a_file_may_be_anything(school: School, tmp_path: Path) -> None:
    """Bytes that are no text, line breaks and terminal escapes in names are shown harmlessly everywhere."""
    folder = tmp_path / "in"
    folder.mkdir()
    data = orchard.to_bytes(orchard.answered("orchard_b", 0))
    names = [
        b"an\xffna.ipynb",
        b"an\xfena.ipynb",
        b"x\ny.ipynb",
        b"\x1b[31mred.ipynb",
        b"<b>.ipynb",
        b"-rf.ipynb",
    ]
    for name in names:
        Path(os.fsdecode(os.fsencode(folder) + b"/" + name)).write_bytes(data)
    graded = grade_folder(folder, tmp_path / "out", school)
    assert len(graded.students) == len(names)
    assert {student.points for student in graded.students} == {2}
    written = "".join(path.read_text(encoding="utf-8") for path in (tmp_path / "out").glob("[!.]*.*"))
    assert "\x1b" not in written
    assert "an\ufffdna" in written
    pages = "".join(path.read_text(encoding="utf-8") for path in (tmp_path / "out" / "pages").iterdir())
    assert "Marks of <bdi>&lt;b&gt;" in pages


def test_slugs_of_two_students_do_not_share_a_page(school: School, tmp_path: Path) -> None:
    """Names that look alike in a file's name get a page each."""
    folder = write(tmp_path / "in", {"A b.ipynb": ("orchard_b", 0, {}), "a-B.ipynb": ("orchard_b", 0, {})})
    assert slug("A b") == slug("a-B")
    grade_folder(folder, tmp_path / "out", school)
    assert sorted(path.name for path in (tmp_path / "out" / "pages").iterdir()) == ["a-b-2.html", "a-b.html"]
