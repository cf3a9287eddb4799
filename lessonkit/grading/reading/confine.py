"""A confined process for a student's own code: several layers, each enough against most things.

    bwrap      no network, no other process in sight, an almost empty file system that can't be written;
               of lessonkit the bench is there to compute with, and neither exercises nor grading
    setpriv    where grading runs as root: the user `nobody`, who may start no process
    limits     memory, processor time, open files, no file with content, no child, no core (`inside.py`)
    wall clock the parent ends the process, and everything in it, when the time is up
    border     what comes back is plain data or nothing, and the parent checks it again

One process serves one submission: what a student's code does to it, it does to that student's answers alone.
Where this machine has no bwrap, or may not use it (macOS and Windows have nothing like it), `confinement`
says so, and no student code is run at all: answers that need it go to the teacher.
"""

from __future__ import annotations

import functools
import json
import os
import shutil
import sys
import sysconfig
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import lessonkit
from lessonkit.exercises import plain as border
from lessonkit.grading.children import Talk
from lessonkit.grading.reading import inside
from lessonkit.grading.reading.slices import Plan

__all__ = ["Confinement", "compute_answers", "confinement"]

WALL_S = 40.0
CAP = 400_000


@dataclass(frozen=True)
class Confinement:
    """How well this machine can confine a process.

    `layers` are the commands put in front of Python, empty when it can't; `why` says what is missing.
    """

    layers: tuple[str, ...] = ()
    why: str = ""

    @property
    def safe(self) -> bool:
        """Tell whether a student's code may be run at all."""
        return bool(self.layers)


@functools.cache
def confinement() -> Confinement:
    """Find out, once, how this machine can confine a process, by doing it."""
    if sys.platform != "linux":
        return Confinement(why=f"{sys.platform} has no way to confine a process that lessonkit can use")
    bwrap = shutil.which("bwrap")
    if bwrap is None:
        return Confinement(why="bubblewrap is not installed (on Debian and Ubuntu: apt install bubblewrap)")
    plain_box = (bwrap, "--unshare-all", "--cap-drop", "ALL", *_box())
    tried = [plain_box]
    setpriv = shutil.which("setpriv")
    if os.geteuid() == 0 and setpriv is not None:
        nobody = (
            setpriv,
            "--reuid=65534",
            "--regid=65534",
            "--clear-groups",
            "--inh-caps=-all",
            "--no-new-privs",
        )
        # Where nobody may not read this Python (it lies in root's own folder, say), root makes the box and
        # turns into nobody inside it, where the folders on the way are new ones.
        spaces = ("--unshare-pid", "--unshare-net", "--unshare-ipc", "--unshare-uts", "--unshare-cgroup-try")
        turning = ("--cap-drop", "ALL", "--cap-add", "CAP_SETUID", "--cap-add", "CAP_SETGID")
        tried = [(*nobody, *plain_box), (bwrap, *spaces, *turning, *_box(), *nobody), plain_box]
    for layers in tried:
        if _works(layers):
            return Confinement(layers)
    return Confinement(why="bubblewrap is installed but may not make namespaces on this machine")


def _python_folders() -> list[str]:
    """Return what Python needs to start and to import the libraries that a workbook uses."""
    folders = [
        sys.base_prefix,
        sys.prefix,
        *(sysconfig.get_paths()[name] for name in ("stdlib", "purelib", "platlib")),
    ]
    return list(dict.fromkeys(str(Path(folder).resolve()) for folder in folders))


def _box() -> list[str]:
    """Return bwrap's arguments: what is in the box."""
    package = Path(lessonkit.__file__).resolve().parent
    words = ["--die-with-parent", "--new-session", "--clearenv"]
    folders: list[str] = ["/usr", "/lib", "/lib64", *_python_folders()]
    # The folders on the way are made anew, open to all: in the box, root's own folder holds a Python and no
    # more.
    above = dict.fromkeys(
        str(way)
        for name in [*folders, str(package), "/box/inside.py"]
        for way in reversed(Path(name).parents)
    )
    for way in list(above)[1:]:
        words += ["--perms", "0755", "--dir", way]
    for folder in folders:
        words += ["--ro-bind-try", folder, folder]
    words += ["--ro-bind", str(package), str(package)]
    for room in ("exercises", "grading"):
        words += ["--tmpfs", str(package / room)]
    words += ["--dev", "/dev", "--perms", "1777", "--tmpfs", "/tmp", "--chdir", "/tmp"]
    words += ["--ro-bind", str(Path(inside.__file__).resolve()), "/box/inside.py"]
    words += ["--ro-bind", str(Path(border.__file__).resolve()), "/box/plain.py"]
    settings = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "MPLBACKEND": "Agg", "HOME": "/tmp"}
    for name, value in {**settings, "MPLCONFIGDIR": "/tmp", "LC_ALL": "C.UTF-8"}.items():
        words += ["--setenv", name, value]
    return [*words, "--remount-ro", "/"]


def _works(layers: tuple[str, ...]) -> bool:
    """Tell whether a harmless computed answer comes out of the box."""
    plan = Plan(((0, "x = sum(n * n for n in range(4))"),), (("probe", "x", 0),))
    return _run(layers, plan, "probe", 0, {}).get("probe", {}).get("wire") == "14"


def _python() -> list[str]:
    return [sys.executable, "-I", "-S", "-B", "/box/inside.py"]


def _run(
    layers: tuple[str, ...], plan: Plan, book: str, variant: int, givens: dict[str, str]
) -> dict[str, dict[str, Any]]:
    """Run a plan in the box and return the lines that came back, by exercise; some may be missing."""
    package = Path(lessonkit.__file__).resolve().parent
    job = {
        "book": book,
        "variant": variant,
        "givens": givens,
        "cells": plan.cells,
        "fetch": plan.fetch,
        "plain": "/box/plain.py",
        "path": [sysconfig.get_paths()["purelib"], sysconfig.get_paths()["platlib"], str(package.parent)],
        "limits": inside.LIMITS,
    }
    wanted = {exercise for exercise, _, _ in plan.fetch}
    lines: dict[str, dict[str, Any]] = {}
    # bwrap itself is started with nothing in its environment: the box can read that of its first process.
    with Talk([*layers, *_python()], [json.dumps(job).encode()], env={}, cap=CAP) as talk:
        for _ in plan.fetch:
            line = talk.line(WALL_S)
            if line is None:
                break
            try:
                said = json.loads(line)
                if said["exercise"] in wanted:
                    lines.setdefault(said["exercise"], said)
            except (ValueError, KeyError, TypeError, RecursionError):
                break
    return lines


def compute_answers(
    where: Confinement, plan: Plan, book: str, variant: int, givens: dict[str, str]
) -> dict[str, tuple[str, str]]:
    """Return each computed answer of one submission: (state, wire or reason) by exercise.

    States are "given" with a wire, "unanswered", and "broken" with a reason. An answer lost because another
    one's cell brought the process down is tried once more, alone.
    """
    lines = _run(where.layers, plan, book, variant, givens)
    answers = {}
    for exercise, _, _ in plan.fetch:
        line = lines.get(exercise)
        if line is None and len(plan.fetch) > 1:
            line = _run(where.layers, plan.only(exercise), book, variant, givens).get(exercise)
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
