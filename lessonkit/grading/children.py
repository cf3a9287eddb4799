"""Child processes of grading: started away from the students' files, and never trusted to answer or to stop.

Every Python that grading starts is started as `python_command` says: it looks for modules where this process
does, and never in the folder that it happens to stand in, or in one that was named for it as `.`. Files that
students hand in may be called `json.py`; what stands in a folder must never run because grading was started
there. `Talk` feeds a child its input and hands back its lines one at a time, each with its own deadline and
bound. Whatever happens, the child and everything it started are gone afterwards. Threads carry the two
pipes, which works alike on Windows, macOS and Linux.
"""

from __future__ import annotations

import contextlib
import os
import queue
import shutil
import signal
import site
import subprocess
import sys
import sysconfig
import threading
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from types import TracebackType

__all__ = ["NEUTRAL", "Talk", "die_with_parent", "find_program", "own_environment", "python_command"]

PACKAGE = Path(__file__).resolve().parents[1]

NEUTRAL = os.sep if os.name == "posix" else str(PACKAGE)
"""The folder that children start in: no student's file gets there."""

# What Python takes from its environment that only says where it was installed.
_KEPT = {"PYTHONHOME", "PYTHONUSERBASE", "PYTHONNOUSERSITE", "PYTHONPYCACHEPREFIX", "PYTHONDONTWRITEBYTECODE"}
# A warning is printed once in a process: the first student would have it, the others not.
_SET = {"PYTHONWARNINGS": "ignore", "PYTHONHASHSEED": "0", "PYTHONUTF8": "1", "PYTHONSAFEPATH": "1"}
_ONE_THREAD = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}


def python_command(room: str, *words: str) -> list[str]:
    """Return the command that runs a room of lessonkit as a program; start it with `own_environment`."""
    return [sys.executable, "-P", "-m", room, *words]


def own_environment(**more: str) -> dict[str, str]:
    """Return the environment for a child that imports lessonkit as this process does.

    Folders that are named in relation to the one that a process stands in are left out, of Python's path and
    of the path to programs.
    """
    given = {name: text for name, text in os.environ.items() if name[:6] != "PYTHON" or name in _KEPT}
    given["PATH"] = os.pathsep.join(_absolute(os.environ.get("PATH", "").split(os.pathsep)))
    paths = [str(PACKAGE.parent), *_added_paths()]
    return {**given, **_SET, **_ONE_THREAD, "PYTHONPATH": os.pathsep.join(dict.fromkeys(paths)), **more}


def _absolute(folders: Iterable[str]) -> list[str]:
    return [folder for folder in folders if Path(folder).is_absolute()]


def _added_paths() -> list[str]:
    """Return where this process looks for modules beside Python's own folders and the one it stands in."""
    own = {sysconfig.get_paths()[name] for name in ("stdlib", "platstdlib", "purelib", "platlib")}
    own.add(site.getusersitepackages())
    here = os.getcwd()  # noqa: PTH109  as Python itself writes it into its path
    inside = tuple(f"{folder}{os.sep}" for folder in own)
    added = [folder for folder in _absolute(sys.path) if folder not in own and folder != here]
    return [folder for folder in added if not folder.startswith(inside)]


def find_program(name: str) -> str | None:
    """Return the path of a program, looked for in absolute folders only."""
    return shutil.which(name, path=os.pathsep.join(_absolute(os.environ.get("PATH", "").split(os.pathsep))))


def die_with_parent() -> None:
    """Ask Linux to end this process when the one that started it is gone; elsewhere do nothing.

    Elsewhere a child notices that its pipes are broken, the next time it reads or writes one.
    """
    if sys.platform == "linux":
        import ctypes

        before = os.getppid()
        ctypes.CDLL(None).prctl(1, signal.SIGKILL)  # PR_SET_PDEATHSIG
        if os.getppid() != before:
            os._exit(1)


class Talk:
    """A child process, its input already on the way; use it in a `with`.

    `line_cap` is the number of bytes after which a line counts as broken, and the child with it; `cap` the
    number for all its output. `keep` are descriptors that the child takes over.
    """

    def __init__(
        self,
        command: Sequence[str],
        feed: Iterable[bytes],
        *,
        env: Mapping[str, str],
        line_cap: int,
        cap: float = float("inf"),
        keep: Sequence[int] = (),
    ) -> None:
        self._process = subprocess.Popen(
            command,
            cwd=NEUTRAL,
            pass_fds=keep,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=dict(env),
            start_new_session=sys.platform != "win32",
        )
        self._lines: queue.Queue[bytes | None] = queue.Queue()
        self._cap, self._line_cap = cap, line_cap
        # Each thread closes its own pipe, and nobody else does: a descriptor closed under a thread that is
        # about to read it may by then be another child's, whose lines would end up here.
        self._threads = [threading.Thread(target=self._write, args=(feed,), daemon=True)]
        self._threads.append(threading.Thread(target=self._read, daemon=True))
        for thread in self._threads:
            thread.start()

    def _write(self, feed: Iterable[bytes]) -> None:
        pipe = self._process.stdin
        with contextlib.suppress(OSError, ValueError):  # the child has gone; its lines will tell
            for piece in feed:
                pipe.write(piece)  # type: ignore[union-attr]
                pipe.flush()  # type: ignore[union-attr]
        with contextlib.suppress(OSError, ValueError):
            pipe.close()  # type: ignore[union-attr]

    def _read(self) -> None:
        pipe, left, size = self._process.stdout, b"", 0
        with contextlib.suppress(OSError, ValueError):
            while piece := os.read(pipe.fileno(), 65_536):  # type: ignore[union-attr]
                size += len(piece)
                *whole, left = (left + piece).split(b"\n")
                if size > self._cap or max(map(len, [*whole, left])) > self._line_cap:
                    break
                for line in whole:
                    self._lines.put(line)
        self._lines.put(None)
        with contextlib.suppress(OSError):
            pipe.close()  # type: ignore[union-attr]

    def line(self, within_s: float) -> bytes | None:
        """Return the next line, or None when the child has ended, fallen silent, or said too much."""
        try:
            return self._lines.get(timeout=within_s)
        except queue.Empty:
            return None

    def __enter__(self) -> Talk:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, where: TracebackType | None
    ) -> None:
        with contextlib.suppress(OSError):
            if sys.platform == "win32":
                self._process.kill()
            else:
                os.killpg(self._process.pid, signal.SIGKILL)  # its own session, so its own group
        self._process.wait()
        for thread in self._threads:  # both pipes are broken now, unless a grandchild got away with one
            thread.join(timeout=5)
