"""One run of nbval over notebooks of the school's own, with its marks written down.

`python -m lessonkit.grading.judging.nbval_run REPORT TIMEOUT_S NOTEBOOK...` is pytest with nbval in its lax
mode, kept apart from every setting of the folder, the user and the machine. A recorder of our own writes one
line of JSON for each check cell, and for each that says questions, as soon as nbval has dealt with it: which
submission and exercise, whether it passed, what it printed, and if it failed, how. Marks are taken from these
lines and never from an exit status, which says 0 when a cell was skipped and 1 when one student's answer is
wrong.
"""

from __future__ import annotations

import contextlib
import json
import os
import queue
import shutil
import sys
import threading
import time
from collections.abc import Generator
from pathlib import Path
from typing import Any

import pytest

from lessonkit.grading.judging.report import MARK, MOST, NO_ROOM

__all__ = ["Recorder", "main"]

VERDICT_MOST = 4000

# What `ipykernel_launcher` does, less a debugger, which takes a fifth of a kernel's start. None in this table
# makes its import fail, which the kernel takes as "not installed".
_KERNEL = (
    "import sys; sys.modules['debugpy'] = None; "
    "from ipykernel import kernelapp; kernelapp.launch_new_instance()"
)


class Recorder:
    """A pytest plugin that writes down what nbval found."""

    def __init__(self, report: Path) -> None:
        self._report = report.open("w", encoding="ascii")

    @pytest.hookimpl(hookwrapper=True)
    def pytest_runtest_makereport(self, item: Any, call: Any) -> Generator[None, Any, None]:
        """Write a line for a check cell that was run, or could not be."""
        report = (yield).get_result()
        cell = getattr(item, "cell", None)
        if cell is None or not (report.when == "call" or (report.when == "setup" and report.failed)):
            return
        mark = cell.metadata.get(MARK)
        if report.passed and not (mark and mark["exercise"]):
            return  # a cell that only prepares is written down when it fails
        line = {
            "submission": mark["submission"] if mark else None,
            "exercise": mark["exercise"] if mark else None,
            "passed": report.passed,
            "how": "" if report.passed else _how(call.excinfo),
            "text": _text(item.test_outputs, MOST.get(mark["exercise"], VERDICT_MOST) if mark else 0),
        }
        try:
            self._report.write(json.dumps(line) + "\n")
            self._report.flush()
        except OSError:
            _end(NO_ROOM)

    def pytest_unconfigure(self) -> None:
        """Close the report."""
        self._report.close()


_KERNELS: list[Any] = []


def _end(status: int) -> None:
    """End the kernels and this process, at once."""
    for kernel in list(_KERNELS):
        with contextlib.suppress(Exception):
            kernel.km.provisioner.process.kill()
    os._exit(status)


def _watch_parent(folder: Path) -> None:
    """Clear up when the process that started this one is gone: its end of standard input closes then.

    The kernels are ended, the folder goes, and this process with it: killing the grader leaves nothing.
    """
    ours = os.dup(0)  # pytest puts another in the place of 0

    def wait() -> None:
        with contextlib.suppress(OSError):
            while os.read(ours, 1):
                pass
        shutil.rmtree(folder, ignore_errors=True)
        _end(1)

    threading.Thread(target=wait, daemon=True).start()


def _own_kernels() -> None:
    """Let nbval start kernels that import nothing from where they stand, and notice at once when one dies.

    Left alone it would take a kernel that the user's settings name, and wait out the time of a cell whose
    kernel is gone.
    """
    from ipykernel import kernelspec
    from nbval import kernel, plugin

    # For its log, which nobody reads, nbval would write out every message in full: a third of its time.
    kernel.pformat = lambda _: ""
    launch = [sys.executable, "-P", "-c", _KERNEL, "-f", "{connection_file}"]
    spec = {**kernelspec.get_kernel_dict(), "argv": [*launch, "--IPKernelApp.ignore_cwd=True"]}
    kernelspec.get_kernel_dict = lambda *_, **__: spec

    class Watched(plugin.RunningKernel):
        def __init__(self, *words: Any, **named: Any) -> None:
            super().__init__(*words, **named)
            _KERNELS.append(self)

        def await_reply(self, msg_id: str, timeout: float | None = None) -> None:
            deadline = time.monotonic() + (timeout or 1e9)
            while True:
                try:
                    super().await_reply(msg_id, timeout=0.5)
                    return
                except queue.Empty:
                    if not self.is_alive():
                        raise RuntimeError("The kernel has died.") from None
                    if time.monotonic() > deadline:
                        raise

    plugin.RunningKernel = Watched


def _how(trouble: Any) -> str:
    """Return how a cell failed: it said something else, it failed, took too long, or its kernel was gone."""
    said = str(trouble.value) if trouble is not None else ""
    if "outputs differ" in said:
        return "differs"
    if "caused an exception" in said:
        return "failed"
    return "timeout" if "Timeout" in said else "dead"


def _text(outputs: Any, most: int) -> str:
    streams = [item.get("text", "") for item in outputs or [] if item.get("output_type") == "stream"]
    return "".join(streams)[:most]


def main(report: str, timeout_s: str, notebooks: list[str]) -> int:
    """Run the notebooks and return pytest's exit status, which means nothing here."""
    # Checking a notebook against nbformat's schema loads a grammar for web addresses, 0.9 s of a start of 2
    # s; no notebook has one. None in this table makes the import fail, which jsonschema takes as "not
    # installed".
    sys.modules["rfc3987_syntax"] = None  # type: ignore[assignment]
    folder = Path(report).parent
    _watch_parent(folder)
    _own_kernels()
    arguments = [
        *notebooks,
        *("-p", "nbval.plugin", "-p", "no:cacheprovider", "-p", "no:warnings"),
        *("-c", str(folder / "judge.ini"), "--rootdir", str(folder), "--noconftest"),
        *("--nbval-lax", "--nbval-current-env", f"--nbval-cell-timeout={timeout_s}"),
        # Without this, every cell after one that took too long counts as expected to fail.
        "--runxfail",
        *("-q", "--tb=no", "--no-header", "--no-summary", "--color=no"),
    ]
    return int(pytest.main(arguments, plugins=[Recorder(Path(report))]))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1], sys.argv[2], sys.argv[3:]))
