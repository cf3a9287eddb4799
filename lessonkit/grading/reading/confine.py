"""A confined process for a student's own code: several layers, each enough against most things.

    bwrap      no network, no other process in sight, and a file system that can't be written, with nothing in
               it but Python, its libraries and the bench: no exercises, no grading, no file of the class
    filter     no new process, namespace, file, link or shared memory (`calls.py`)
    setpriv    where grading runs as root: the user `nobody`, who may start no process
    limits     memory, processor time, open files, no file with content, no child, no core (`inside.py`)
    wall clock the parent ends the process, and everything in it, when the submission's time is up
    border     what comes back is plain data or nothing, and the parent checks it again

One process serves one submission: what a student's code does to it, it does to that student's answers alone.
Where this machine has no bwrap, or may not use it (macOS and Windows have nothing like it), `confinement`
says so, and no student code is run at all: answers that need it go to the teacher.
"""

from __future__ import annotations

import contextlib
import functools
import json
import os
import sys
import sysconfig
import time
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import lessonkit
from lessonkit.exercises import plain as border
from lessonkit.grading.children import Talk, find_program
from lessonkit.grading.reading import inside
from lessonkit.grading.reading.calls import call_filter
from lessonkit.grading.reading.slices import Plan

__all__ = ["BUDGET_S", "Confinement", "compute_answers", "confinement", "open_folder_above"]

BUDGET_S = 40.0
"""Seconds on the clock for all computed answers of a submission, whatever is tried again."""

START_S = 20.0
CAP = 400_000
_FILTER = "{filter}"  # the place of the filter's descriptor in a command


@dataclass(frozen=True)
class Confinement:
    """How well this machine can confine a process.

    `layers` are the commands put in front of Python, empty when it can't; `why` says what is missing.
    `filter` is the kernel's filter of calls, empty where there is none.
    """

    layers: tuple[str, ...] = ()
    why: str = ""
    filter: bytes = b""

    @property
    def safe(self) -> bool:
        """Tell whether a student's code may be run at all."""
        return bool(self.layers)


@functools.cache
def confinement() -> Confinement:
    """Find out, once, how this machine can confine a process, by doing it."""
    if sys.platform != "linux":
        return Confinement(why=f"{sys.platform} has no way to confine a process that lessonkit can use")
    bwrap = find_program("bwrap")
    if bwrap is None:
        return Confinement(why="bubblewrap is not installed (on Debian and Ubuntu: apt install bubblewrap)")
    program = call_filter()
    box = (*_box(), *(("--seccomp", _FILTER) if program else ()))
    plain_box = (bwrap, "--unshare-all", "--cap-drop", "ALL", *box)
    # Newer ones can forbid namespaces in the box as well.
    tried = [(bwrap, "--unshare-user", "--disable-userns", *plain_box[1:]), plain_box]
    setpriv = find_program("setpriv")
    if os.geteuid() == 0 and setpriv is not None:
        who = ("--reuid=65534", "--regid=65534", "--clear-groups")
        nobody = (setpriv, *who, "--inh-caps=-all", "--no-new-privs")
        # Where nobody may not read this Python (it lies in root's own folder, say), root makes the box and
        # turns into nobody inside it, where the folders on the way are new ones.
        spaces = ("--unshare-pid", "--unshare-net", "--unshare-ipc", "--unshare-uts", "--unshare-cgroup-try")
        turning = ("--cap-drop", "ALL", "--cap-add", "CAP_SETUID", "--cap-add", "CAP_SETGID")
        inner = (bwrap, *spaces, *turning, "--ro-bind", setpriv, setpriv, *box, *nobody)
        tried = [*((*nobody, *layers) for layers in tried), inner, *tried]
    for layers in tried:
        found = Confinement(layers, filter=program)
        if _works(found):
            return found
    return Confinement(why="bubblewrap is installed but can't make a box on this machine")


def _python() -> str:
    """Return this Python's own program: one of an environment is a link that leads to it."""
    return os.path.realpath(sys.executable)


def _libraries() -> list[str]:
    """Return the folders that hold installed packages, and nothing else."""
    own = [sysconfig.get_paths()[name] for name in ("purelib", "platlib")]
    kinds = ("site-packages", "dist-packages")
    found = [*own, *(folder for folder in sys.path if Path(folder).name in kinds and Path(folder).is_dir())]
    return list(dict.fromkeys(str(Path(folder).resolve()) for folder in found))


def _shown() -> list[str]:
    """Return what is shown in the box: what Python needs to start and to import what a workbook uses.

    Piece by piece, and never the whole of an environment's folder, which may be a class's as well.
    """
    own = [sysconfig.get_paths()[name] for name in ("stdlib", "platstdlib")]
    base = [f"{sys.base_prefix}/lib", f"{sys.base_prefix}/lib64"]
    pieces = ["/usr/lib", "/usr/lib64", "/usr/share/zoneinfo", *base, *own]
    there = [str(Path(piece).resolve()) for piece in pieces if Path(piece).exists()]
    return list(dict.fromkeys([*there, *_libraries(), _python(), str(_package())]))


def _package() -> Path:
    return Path(lessonkit.__file__).resolve().parent


def open_folder_above(paths: Iterable[Path]) -> tuple[Path, Path] | None:
    """Return the first of these paths that a student's code could read, and the folder that shows it."""
    for path in paths:
        for folder in map(Path, _shown()):
            if folder in (path.resolve(), *path.resolve().parents):
                return path, folder
    return None


def _rooms_of_lessons() -> list[str]:
    """Return the rooms of the exercises' floor that lessons use themselves: no exercise, and no judge."""
    floor = "lessonkit.exercises."
    used = [room for room in lessonkit._ROOMS if room.startswith(floor) and room not in _silent_rooms()]
    return sorted(room.removeprefix(floor) for room in used)


def _silent_rooms() -> list[str]:
    """Return the rooms that only show something in a page: panels, and the start page."""
    shows = ("lessonkit.panels.", "lessonkit.exercises.start_page")
    return [room for room in lessonkit._ROOMS if room.startswith(shows)]


def _box() -> list[str]:
    """Return bwrap's arguments: what is in the box."""
    package = _package()
    words = ["--die-with-parent", "--new-session", "--clearenv"]
    # First, so that what lies under the system's temporary folder can be shown in it.
    words += ["--dev", "/dev", "--perms", "1777", "--tmpfs", "/tmp"]
    shown = _shown()
    # The folders on the way are made anew, open to all: in the box, root's own folder holds a Python and no
    # more.
    above = dict.fromkeys(
        str(way) for name in [*shown, "/box/inside.py"] for way in reversed(Path(name).parents)
    )
    for way in list(above)[1:]:
        if way not in ("/tmp", "/dev"):
            words += ["--perms", "0755", "--dir", way]
    for name in sorted(shown):  # those above come before those in them
        words += ["--ro-bind", name, name]
    for name in ("/lib", "/lib64"):
        words += ["--ro-bind-try", name, name]
    for room in ("exercises", "grading"):
        words += ["--tmpfs", str(package / room)]
    for room in _rooms_of_lessons():
        path = str(package / "exercises" / f"{room}.py")
        words += ["--ro-bind", path, path]
    for room in ("exercises", "grading"):
        words += ["--remount-ro", str(package / room)]
    words += ["--ro-bind", str(Path(inside.__file__).resolve()), "/box/inside.py"]
    words += ["--ro-bind", str(Path(border.__file__).resolve()), "/box/plain.py"]
    settings = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "MPLBACKEND": "Agg", "HOME": "/tmp"}
    for name, value in {**settings, "MPLCONFIGDIR": "/tmp", "LC_ALL": "C.UTF-8"}.items():
        words += ["--setenv", name, value]
    return [*words, "--chdir", "/tmp", "--remount-ro", "/dev", "--remount-ro", "/"]


def _works(where: Confinement) -> bool:
    """Tell whether a harmless computed answer comes out of the box."""
    plan = Plan(((0, "x = sum(n * n for n in range(4))"),), (("probe", "x", 0),))
    said = _run(where, plan, "probe", 0, {}, START_S)
    return said.get("probe", {}).get("wire") == "14"


def _run(
    where: Confinement, plan: Plan, book: str, variant: int, givens: dict[str, str], within_s: float
) -> dict[str, dict[str, Any]]:
    """Run a plan in the box and return the lines that came back, by exercise; some may be missing."""
    ends = time.monotonic() + within_s
    job = {
        "book": book,
        "variant": variant,
        "givens": givens,
        "cells": plan.cells,
        "fetch": plan.fetch,
        "plain": "/box/plain.py",
        "package": str(_package()),
        "silent": _silent_rooms(),
        "path": [*_libraries(), str(_package().parent)],
        "limits": inside.LIMITS,
    }
    wanted = {exercise for exercise, _, _ in plan.fetch}
    lines: dict[str, dict[str, Any]] = {}
    # bwrap itself is started with nothing in its environment: the box can read that of its first process.
    feed = [json.dumps(job).encode()]
    with _filter_pipe(where.filter) as pipe:
        layers = [str(pipe[0]) if word == _FILTER else word for word in where.layers]
        command = [*layers, _python(), "-I", "-S", "-B", "/box/inside.py"]
        with Talk(command, feed, env={}, line_cap=CAP, cap=CAP, keep=pipe) as talk:
            for _ in plan.fetch:
                line = talk.line(max(ends - time.monotonic(), 0.0))
                if line is None:
                    break
                try:
                    said = json.loads(line)
                    if said["exercise"] in wanted:
                        lines.setdefault(said["exercise"], said)
                except (ValueError, KeyError, TypeError, RecursionError):
                    break
    return lines


@contextlib.contextmanager
def _filter_pipe(program: bytes) -> Any:
    """Yield the descriptors that a box inherits: a pipe that the filter waits in, or none."""
    if not program:
        yield ()
        return
    read, write = os.pipe()
    try:
        os.write(write, program)  # a few kilobytes, which a pipe holds
        os.close(write)
        yield (read,)
    finally:
        os.close(read)


def compute_answers(
    where: Confinement,
    plan: Plan,
    book: str,
    variant: int,
    givens: dict[str, str],
    budget_s: float = BUDGET_S,
) -> dict[str, tuple[str, str]]:
    """Return each computed answer of one submission: (state, wire or reason) by exercise.

    States are "given" with a wire, "unanswered", and "broken" with a reason. An answer lost because another
    one's cell brought the process down is tried once more, alone; `budget_s` is the time for all of it.
    """
    ends = time.monotonic() + budget_s
    lines = _run(where, plan, book, variant, givens, budget_s)
    answers = {}
    for exercise, _, _ in plan.fetch:
        line, left_s = lines.get(exercise), ends - time.monotonic()
        if line is None and len(plan.fetch) > 1 and left_s > 0:
            line = _run(where, plan.only(exercise), book, variant, givens, left_s).get(exercise)
        answers[exercise] = _believed(line)
    return answers


def _believed(line: dict[str, Any] | None) -> tuple[str, str]:
    """Return what a line says, after checking it as if the student had written it; it may be so."""
    if line is None:
        return "broken", "the cells it needs did not come to an end, or used too much time or memory"
    trouble = line.get("trouble")
    trouble = f"a cell it needs did not end well: {trouble[:80]}" if type(trouble) is str and trouble else ""
    wire, refused = line.get("wire"), line.get("refused")
    if type(wire) is str:
        try:
            value = border.decode(wire)
        except border.NotPlain as why:
            return "broken", str(why)
        if value is ... or value is None:
            return ("broken", trouble) if trouble else ("unanswered", "")
        return "given", border.encode(value)
    if type(refused) is str:
        return "broken", refused[:200]
    return "broken", trouble or "no cell assigns it"
