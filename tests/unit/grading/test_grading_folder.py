"""The folder that grading is started in, and what it leaves: nothing of a student's runs, nothing stays.

A hand-in folder here holds a file and a package for every module that anything imports, each of which would
leave a note if it ran.
"""

from __future__ import annotations

import errno
import importlib.metadata
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent / "school"))
import orchard

from lessonkit.grading.places import BadFolder, check_places
from lessonkit.grading.run import grade_folder
from lessonkit.grading.school import load_school
from lessonkit.grading.tables import STYLES


@pytest.fixture(scope="module")
def klass(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Make a class of two, one of whom computes an answer; the second file is not right."""
    root = tmp_path_factory.mktemp("class")
    with orchard.on_path():
        orchard.make_school(root / "school")
        (root / "in").mkdir()
        computed = orchard.changed(
            orchard.answered("orchard_a", 0), "answer-91-1", "answer_91_1 = [n for n in (1, 2)]"
        )
        for name, sheet in (("Ann", orchard.answered("orchard_a", 0)), ("Ben", computed)):
            (root / "in" / f"91_pump {name}.ipynb").write_bytes(orchard.to_bytes(sheet))
        yield root


def grade(klass: Path, folder: str, out: Path, *words: str, cwd: Path, **extra: str) -> list[str]:
    """Run the command as its script does, and return its lines; the folder it stands in is no module path."""
    command = [sys.executable, "-P", "-m", "lessonkit", "grade", folder, "--out", str(out)]
    done = subprocess.run(
        [*command, "--workbooks", str(klass / "school"), *words, "--unconfined"],
        cwd=cwd,
        env={**os.environ, **extra},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()


def set_traps(folder: Path, note: Path) -> None:
    """Put a file, or a package, of the name of every module that anything imports into a folder."""
    installed = {name for name in importlib.metadata.packages_distributions() if name.isidentifier()}
    known = {name.partition(".")[0] for name in sys.modules} | {"sitecustomize", "usercustomize", "conftest"}
    source = f"open({str(note)!r}, 'a').write(__name__ + ' ')\n"
    for number, name in enumerate(sorted(installed | known | set(sys.stdlib_module_names))):
        if name == "__main__" or not name.isidentifier():
            continue
        if number % 2 or name == "lessonkit":
            (folder / name).mkdir(exist_ok=True)
            (folder / name / "__init__.py").write_text(source, encoding="utf-8")
        else:
            (folder / f"{name}.py").write_text(source, encoding="utf-8")
    for name in ("ipython_config.py", "ipython_kernel_config.py", "jupyter_config.py"):
        (folder / name).write_text(source, encoding="utf-8")
    (folder / "pytest.ini").write_text("[pytest]\naddopts = --deselect\n", encoding="utf-8")
    for name in ("bwrap", "setpriv"):
        (folder / name).write_text(f"#!/bin/sh\necho {name} >> '{note}'\n", encoding="utf-8")
        (folder / name).chmod(0o755)


def test_no_module_of_a_student_s_runs(klass: Path, tmp_path: Path) -> None:
    """Started in a folder full of traps, grading runs none of them, and the marks are the same."""
    clean, trapped, note = tmp_path / "clean", tmp_path / "trapped", tmp_path / "note.txt"
    grade(klass, str(klass / "in"), clean, cwd=tmp_path)
    hand_ins = tmp_path / "in"
    hand_ins.mkdir()
    for path in (klass / "in").iterdir():
        (hand_ins / path.name).write_bytes(path.read_bytes())
    set_traps(hand_ins, note)
    paths = os.pathsep.join(["", ".", os.environ.get("PATH", "")])
    grade(klass, ".", trapped, cwd=hand_ins, PATH=paths)
    assert not note.exists(), note.read_text("utf-8")
    assert (trapped / "marks.csv").read_bytes() == (clean / "marks.csv").read_bytes()


def test_python_that_looks_among_hand_ins_is_refused(klass: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where Python's own path leads into the hand-ins, the run is refused in one sentence."""
    monkeypatch.syspath_prepend(str(klass / "in"))
    with pytest.raises(BadFolder, match="among the hand-ins"):
        check_places(klass / "in", klass / "out")


def test_hand_out_s_folder_is_no_place_for_marks(klass: Path, tmp_path: Path) -> None:
    """A folder with a hand-out's manifest is refused before anything is written to it."""
    (tmp_path / "manifest.csv").write_text("student,workbook,file,variant\n", encoding="utf-8")
    with pytest.raises(BadFolder, match="of a hand-out"):
        check_places(klass / "in", tmp_path)
    with pytest.raises(BadFolder, match="lies in"):
        check_places(klass / "in", klass / "in" / "marks")


def test_class_among_python_s_own_files_is_refused(klass: Path) -> None:
    """A class that lies where the box shows Python's files is refused, and the folder is named."""
    libraries = Path(os.__file__).parent / "class"
    with pytest.raises(BadFolder, match="student's code may read"):
        check_places(klass / "in", klass / "out", [libraries / "roster.csv"])


def test_full_disk_names_the_path_and_leaves_old_tables_whole(
    klass: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When there is no room for the new tables, the old ones stay as they were."""
    school = load_school(klass / "school")
    grade_folder(klass / "in", tmp_path, school)
    before = {path: path.read_bytes() for path in tmp_path.glob("*.csv")}

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("lessonkit.files.os.fsync", full)
    with pytest.raises(OSError, match=r"\.csv") as caught:
        grade_folder(klass / "in", tmp_path, school, style=STYLES["semicolon"])
    assert caught.value.errno == errno.ENOSPC
    assert {path: path.read_bytes() for path in tmp_path.glob("*.csv")} == before
    assert not list(tmp_path.rglob("*.part"))


@pytest.mark.skipif(sys.platform == "win32", reason="there a process is ended in another way")
def test_killed_grader_leaves_no_judge_behind(klass: Path, tmp_path: Path) -> None:
    """Killed while nbval runs, grading leaves no process, and nothing in the temporary folder."""
    room = tmp_path / "tmp"
    room.mkdir()
    command = [sys.executable, "-P", "-m", "lessonkit", "grade", str(klass / "in")]
    command += ["--out", str(tmp_path / "out"), "--workbooks", str(klass / "school"), "--unconfined"]
    with subprocess.Popen(command, env={**os.environ, "TMPDIR": str(room)}, stdout=subprocess.DEVNULL) as run:
        while not list(room.glob("judge-*/home/*")) and run.poll() is None:
            time.sleep(0.05)
        run.send_signal(signal.SIGKILL)
    for _ in range(600):
        if not list(room.iterdir()) and not _processes_with(str(room)):
            break
        time.sleep(0.1)
    assert list(room.iterdir()) == []
    assert _processes_with(str(room)) == []


def _processes_with(words: str) -> list[str]:
    """Return the command lines that mention some words, on a system that shows them in /proc."""
    found = []
    for path in Path("/proc").glob("[0-9]*/cmdline"):
        try:
            line = path.read_bytes().replace(b"\0", b" ").decode("utf-8", "replace")
        except OSError:
            continue
        found += [line] if words in line else []
    return found
