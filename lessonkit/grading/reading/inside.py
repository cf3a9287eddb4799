"""What runs inside the confined process: a student's cells, and nothing else of ours.

This file and `plain.py` are the only rooms of grading that the process can see. It takes one job on standard
input, gives itself limits that it can't take back, runs the cells, and writes one line for each answer as
soon as that answer is known, so that what comes later can't spoil it. The student's code may do to this
process what it likes: the worst it can write is a wrong answer of its own. The parent believes no line
(`lessonkit.grading.reading.confine`).

The workbook that the cells open here knows the givens and no verdict: the rooms of the exercises are not
mounted.
"""

from __future__ import annotations

import builtins
import importlib.util
import json
import os
import signal
import sys
import types
from typing import Any

# A cell's own time is the processor's, so that a busy machine takes nothing from an honest student; the
# clock on the wall is for a cell that sleeps.
LIMITS = {"memory": 1 << 30, "cpu_s": 8, "files": 64, "cell_cpu_s": 4, "cell_wall_s": 20}


class _TooLong(BaseException):
    """The cell has used up its time."""


def limit_self(memory: int, cpu_s: int, files: int) -> None:
    """Lower this process's limits for good: memory, time, files, children."""
    import resource

    for kind, most in (
        (resource.RLIMIT_AS, memory),
        (resource.RLIMIT_CPU, cpu_s),
        (resource.RLIMIT_FSIZE, 0),
        (resource.RLIMIT_NOFILE, files),
        (resource.RLIMIT_NPROC, 0),
        (resource.RLIMIT_CORE, 0),
    ):
        resource.setrlimit(kind, (most, most))


def _load_plain(path: str) -> Any:
    spec = importlib.util.spec_from_file_location("plain", path)
    if spec is None or spec.loader is None:
        raise RuntimeError("no plain.py beside inside.py")
    room = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(room)
    return room


class _Silent:
    """What stands in for a panel: it takes whatever is done to it, and nothing happens."""

    def __init__(self, *_: Any, **__: Any) -> None: ...

    def __getattr__(self, name: str) -> Any:
        if name.startswith("__"):  # so that copying and comparing go their usual ways
            raise AttributeError(name)
        return self

    def __call__(self, *_: Any, **__: Any) -> Any:
        return self

    def __setattr__(self, *_: Any) -> None: ...

    def __getitem__(self, _: Any) -> Any:
        return self

    def __setitem__(self, *_: Any) -> None: ...

    def __enter__(self) -> Any:
        return self

    def __exit__(self, *_: Any) -> None: ...

    def __iter__(self) -> Any:
        return iter(())


class _Workbook(_Silent):
    """A workbook that knows its questions' numbers and no more."""

    def __init__(self, book: str, variant: int, givens: dict[str, Any]) -> None:
        vars(self).update(id=book, title=book, variant=variant, _givens=givens)

    def givens(self, exercise: str) -> Any:
        return dict(vars(self)["_givens"][exercise])


def _stand_in(job: dict[str, Any], givens: dict[str, Any]) -> None:
    """Put rooms in place of those that judge, and of those that need a browser.

    Of the exercises' floor only the rooms that lessons use are there. Pictures of the bench are drawn as
    ever; a panel is silent.
    """
    workbook = _Workbook(job["book"], job["variant"], givens)
    exercises: Any = types.ModuleType("lessonkit.exercises")
    exercises.open_workbook = lambda *_, **__: workbook
    exercises.__path__ = [f"{job['package']}/exercises"]
    sys.modules[exercises.__name__] = exercises

    def panel(name: str) -> Any:
        if name.startswith("__"):
            raise AttributeError(name)
        return _Silent

    for name in ["lessonkit.panels", *job["silent"]]:
        room = sys.modules[name] = types.ModuleType(name)
        room.__getattr__ = panel  # type: ignore[method-assign]
    builtins.display = _Silent()  # type: ignore[attr-defined]


def _run_cell(source: str, names: dict[str, Any], limits: dict[str, int]) -> str:
    """Run one cell and return the name of the error that ended it, or ""."""
    signal.setitimer(signal.ITIMER_PROF, limits["cell_cpu_s"])
    signal.setitimer(signal.ITIMER_REAL, limits["cell_wall_s"])
    try:
        exec(compile(source, "cell", "exec"), names)  # noqa: S102  what this process is for
    except _TooLong:
        return "it took too long"
    except BaseException as error:  # the student may raise anything, SystemExit too
        known = type(error) if type(error) in vars(builtins).values() else Exception
        return f"it ended with {known.__name__}"
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.setitimer(signal.ITIMER_REAL, 0)
    return ""


def _too_long(*_: Any) -> None:
    raise _TooLong


def main() -> None:
    """Run the job on standard input."""
    # The answers leave by a descriptor of their own; what the student prints goes nowhere.
    out = os.fdopen(os.dup(1), "w", encoding="ascii")
    nowhere = os.open(os.devnull, os.O_RDWR)
    os.dup2(nowhere, 1)
    os.dup2(nowhere, 2)
    job = json.loads(sys.stdin.read())
    os.dup2(nowhere, 0)
    plain = _load_plain(job["plain"])
    givens = {name: plain.decode(wire) for name, wire in job["givens"].items()}
    sys.path[:] = [*sys.path, *job["path"]]
    sys.argv = ["cell"]
    limits = job["limits"]
    for timer in (signal.SIGALRM, signal.SIGPROF):
        signal.signal(timer, _too_long)
    limit_self(limits["memory"], limits["cpu_s"], limits["files"])
    _stand_in(job, givens)

    names: dict[str, Any] = {"__name__": "__main__", "__builtins__": builtins}
    cells, troubles = list(job["cells"]), {}
    for exercise, name, place in job["fetch"]:
        while cells and cells[0][0] <= place:
            index, source = cells.pop(0)
            troubles[index] = _run_cell(source, names, limits)
        line = {"exercise": exercise, "trouble": next((said for said in troubles.values() if said), "")}
        try:
            if name in names:
                line["wire"] = plain.encode(names[name])
        except plain.NotPlain as why:
            line["refused"] = str(why)
        except BaseException:  # a value that fights back while it is looked at
            line["refused"] = "The answer is not plain data."
        out.write(json.dumps(line) + "\n")
        out.flush()
    out.flush()
    os._exit(0)  # nothing of the student's, such as an exit hook, runs after this


if __name__ == "__main__":
    main()
