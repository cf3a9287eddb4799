"""Talking to a child process that can't be trusted to answer, to stop, or to be brief.

`Talk` feeds a child its input and hands back its lines one at a time, each with its own deadline and all
with a common cap on size. Whatever happens, the child and everything it started are gone afterwards. Threads
carry the two pipes, which works alike on Windows, macOS and Linux.
"""

from __future__ import annotations

import contextlib
import os
import queue
import signal
import subprocess
import sys
import threading
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from types import TracebackType

__all__ = ["Talk", "own_environment"]


def own_environment(**more: str) -> dict[str, str]:
    """Return the environment for a child that imports lessonkit as this process does."""
    package = str(Path(__file__).resolve().parents[2])
    paths = [package, *filter(None, os.environ.get("PYTHONPATH", "").split(os.pathsep))]
    # A warning is printed once in a process: the first student would have it, the others not.
    quiet = {"PYTHONWARNINGS": "ignore", "PYTHONHASHSEED": "0", "PYTHONUTF8": "1"}
    quiet |= {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    return {**os.environ, **quiet, "PYTHONPATH": os.pathsep.join(paths), **more}


class Talk:
    """A child process, its input already on the way; use it in a `with`.

    `cap` is the number of bytes of output after which the child counts as broken.
    """

    def __init__(
        self, command: Sequence[str], feed: Iterable[bytes], *, env: Mapping[str, str], cap: int
    ) -> None:
        self._process = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=dict(env),
            start_new_session=sys.platform != "win32",
        )
        self._lines: queue.Queue[bytes | None] = queue.Queue()
        self._cap = cap
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
                if size > self._cap:
                    break
                *whole, left = (left + piece).split(b"\n")
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
