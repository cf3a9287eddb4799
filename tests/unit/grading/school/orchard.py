"""An invented school for the tests of grading: its pristine workbooks, and hand-ins of every kind.

`make_school` writes the pristine notebooks; `answered` fills one in for a student. `HOSTILE` and `DAMAGED`
list what a class can hand in besides honest work, each with the marks that an honest marker would give.
"""

from __future__ import annotations

import copy
import json
import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from lessonkit.exercises import load_exercises, notebooks
from lessonkit.exercises.core import givens_for, solution

BOOKS = {"orchard_a": "91_pump.ipynb", "orchard_b": "92_gate.ipynb"}

Notebook = dict[str, Any]


def pristine(book: str) -> Notebook:
    """Return a pristine notebook: title, setup, a bench-like cell, and the exercises."""
    title, exercises = load_exercises(book)
    cells = [
        notebooks.markdown_cell(f"# {title}\n", "title"),
        notebooks.code_cell(
            f'import lessonkit as lk\n\nworkbook = lk.open_workbook("{book}", variant=0)', "setup"
        ),
        notebooks.code_cell("drawn = list(range(3))\nprint(drawn)", "try-1"),
    ]
    for exercise in exercises:
        cells += notebooks.exercise_cells(exercise)
    return notebooks.new_notebook(cells)


def make_school(folder: Path) -> Path:
    """Write the pristine notebooks and return their folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for book, name in BOOKS.items():
        notebooks.write_notebook(folder / name, pristine(book))
    return folder


def right(book: str, variant: int) -> dict[str, Any]:
    """Return the right answers of a variant."""
    return {item.id: solution(item, givens_for(item, variant)) for item in load_exercises(book)[1]}


def answered(book: str, variant: int, answers: dict[str, Any] | None = None) -> Notebook:
    """Return a student's notebook: right, but for the answers given here."""
    notebook = notebooks.with_variant(pristine(book), variant)
    return notebooks.with_answers(notebook, right(book, variant) | (answers or {}))


def to_bytes(notebook: Notebook) -> bytes:
    """Return the file that Jupyter would write."""
    return (json.dumps(notebook, indent=1, ensure_ascii=False) + "\n").encode("utf-8")


def changed(notebook: Notebook, cell_id: str, source: str | None) -> Notebook:
    """Return the notebook with a cell's source replaced, or with the cell deleted."""
    notebook = copy.deepcopy(notebook)
    cells = notebook["cells"]
    place = next(index for index, cell in enumerate(cells) if cell["id"] == cell_id)
    if source is None:
        del cells[place]
    else:
        cells[place]["source"] = source.splitlines(keepends=True)
    return notebook


def with_code(notebook: Notebook, source: str, before: str) -> Notebook:
    """Return the notebook with a new code cell before the one of that id."""
    notebook = copy.deepcopy(notebook)
    place = next(index for index, cell in enumerate(notebook["cells"]) if cell["id"] == before)
    notebook["cells"].insert(place, notebooks.code_cell(source, f"own-{len(notebook['cells'])}"))
    return notebook


def answer_cell(source: str) -> Callable[[int], Notebook]:
    """Return a maker of notebooks that are right, but for the answer cell of 91.1."""
    return lambda variant: changed(answered("orchard_a", variant), "answer-91-1", source)


# What a class hands in besides honest work ----------------------------------------------------------------

OUTSIDE = Path(tempfile.gettempdir()) / "lessonkit-was-here"
"""What a hostile answer tries to write."""

Planted = dict[str, str]
"""Exercise -> state, for those that are not right."""

BROKEN = {"91.1": "unreadable"}


def _code(*lines: str) -> Callable[[int], bytes]:
    return lambda variant: to_bytes(answer_cell("\n".join(lines))(variant))


def _beside(cell: str) -> Callable[[Notebook, int], Notebook]:
    """Return a change that adds a cell of the student's own beside right answers."""
    return lambda notebook, _: with_code(notebook, cell, "answer-91-1")


def _edited(cell: str, source: str | None) -> Callable[[int], bytes]:
    return lambda variant: to_bytes(changed(answered("orchard_a", variant), cell, source))


def _notebook(change: Callable[[Notebook, int], Notebook | None]) -> Callable[[int], bytes]:
    def make(variant: int) -> bytes:
        notebook = copy.deepcopy(answered("orchard_a", variant))
        return to_bytes(change(notebook, variant) or notebook)

    return make


def _bytes(change: Callable[[bytes], bytes]) -> Callable[[int], bytes]:
    return lambda variant: change(to_bytes(answered("orchard_a", variant)))


def _place(notebook: Notebook, cell: str) -> int:
    return next(index for index, item in enumerate(notebook["cells"]) if item["id"] == cell)


def _value(variant: int) -> float:
    return float(right("orchard_a", variant)["91.1"])


def _moved(notebook: Notebook, _: int) -> None:
    notebook["cells"].reverse()
    notebook["cells"].insert(0, notebook["cells"].pop(_place(notebook, "setup")))


def _bare(notebook: Notebook, _: int) -> None:
    for number, cell in enumerate(notebook["cells"]):
        cell["metadata"], cell["id"] = {}, f"x{number}"


def _cleared(notebook: Notebook, _: int) -> None:
    for cell in notebook["cells"]:
        if cell["cell_type"] == "code":
            cell["outputs"], cell["execution_count"] = [], None


def _swapped(notebook: Notebook, _: int) -> None:
    one, two = (notebook["cells"][_place(notebook, name)] for name in ("answer-91-1", "answer-91-2"))
    one["metadata"], two["metadata"] = two["metadata"], one["metadata"]


def _renamed(notebook: Notebook, variant: int) -> Notebook:
    notebook = changed(notebook, "answer-91-1", f"my_ohms = {_value(variant)!r}")
    return changed(notebook, "check-91-1", '# NBVAL_CHECK_OUTPUT\nworkbook.check("91.1", my_ohms)')


def _labelled(notebook: Notebook, variant: int) -> Notebook:
    return changed(notebook, "answer-91-1", f"my_ohms = {_value(variant)!r}")


def _merged(notebook: Notebook, variant: int) -> Notebook:
    amps = right("orchard_a", variant)["91.2"]
    notebook = changed(notebook, "answer-91-1", f"answer_91_1 = {_value(variant)!r}\nanswer_91_2 = {amps!r}")
    return changed(notebook, "answer-91-2", None)


def _twice(above: bool) -> Callable[[Notebook, int], Notebook]:
    def make(notebook: Notebook, _: int) -> Notebook:
        return with_code(notebook, "answer_91_1 = 1e6", "answer-91-1" if above else "ask-91-2")

    return make


def _in_text(notebook: Notebook, variant: int) -> None:
    cell = notebook["cells"][_place(notebook, "answer-91-1")]
    cell["cell_type"] = "markdown"
    del cell["outputs"], cell["execution_count"]


def _format_3(notebook: Notebook, _: int) -> Notebook:
    for cell in notebook["cells"]:
        if cell["cell_type"] == "code":
            cell["input"], cell["language"] = cell.pop("source"), "python"
            cell["prompt_number"] = cell.pop("execution_count")
    return {"nbformat": 3, "nbformat_minor": 0, "metadata": {}, "worksheets": [{"cells": notebook["cells"]}]}


def _format_4_0(notebook: Notebook, _: int) -> None:
    notebook["nbformat_minor"] = 0
    for cell in notebook["cells"]:
        del cell["id"]


# name -> (file, states that are not right, what the teacher is told)
ODD: dict[str, tuple[Callable[[int], bytes], Planted, str]] = {
    # hostile or hapless code in an answer
    "loop": (_code("while True:", "    pass"), {"91.1": "unanswered"}, ""),
    "loop-in-answer": (_code("answer_91_1 = sum(1 for _ in iter(int, 1))"), BROKEN, ""),
    "loop-that-swallows": (
        _code(
            "while True:",
            "    try:",
            "        while True:",
            "            answer_91_1 = 1",
            "    except BaseException:",
            "        pass",
        ),
        BROKEN,
        "",
    ),
    "loop-beside": (_notebook(_beside("while True:\n    pass")), {}, ""),
    "power": (_code("answer_91_1 = 9**9**9"), BROKEN, ""),
    "recursion": (_code("def f(n):", "    return f(n + 1)", "answer_91_1 = f(0)"), BROKEN, ""),
    "many-processes": (_code("import os", "answer_91_1 = len([os.fork() for _ in range(99)])"), BROKEN, ""),
    "ten-gigabytes": (_code("x = bytearray(10**10)", "answer_91_1 = len(x)"), BROKEN, ""),
    "gigabyte-of-output": (
        _code("answer_91_1 = len([print('x' * 10**8) for _ in range(10)])"),
        {"91.1": "not yet"},
        "",
    ),
    "gigabyte-as-answer": (_code("answer_91_1 = str(1) * 10**9"), BROKEN, ""),
    "exit": (_code("import os", "answer_91_1 = os._exit(0)"), BROKEN, ""),
    "exit-beside": (_notebook(_beside("import os\nos._exit(0)")), {}, ""),
    "system-exit": (_code("raise SystemExit"), {"91.1": "unanswered"}, ""),
    "socket": (
        _code("import socket", "answer_91_1 = socket.create_connection(('127.0.0.1', 22), 1).fileno()"),
        BROKEN,
        "",
    ),
    "read-outside": (_code("answer_91_1 = len(open('/etc/passwd').read())"), BROKEN, ""),
    "write-outside": (
        _code("from pathlib import Path", f"answer_91_1 = Path({str(OUTSIDE)!r}).write_text('x' * 99)"),
        BROKEN,
        "",
    ),
    "read-the-judge": (
        _code("import lessonkit.exercises.core as core", "answer_91_1 = core.solution"),
        BROKEN,
        "",
    ),
    "nan": (_code("answer_91_1 = float('nan')"), BROKEN, ""),
    "infinite": (_code("answer_91_1 = 1e999"), BROKEN, ""),
    "huge-integer": (_code("answer_91_1 = 10**5000"), BROKEN, ""),
    "own-list": (_code("answer_91_1 = []", "answer_91_1.append(answer_91_1)"), BROKEN, ""),
    "hostile-repr": (
        _code(
            "class X:",
            "    def __repr__(self):",
            "        raise SystemExit",
            "    __float__ = __len__ = __repr__",
            "answer_91_1 = X()",
        ),
        BROKEN,
        "",
    ),
    "lying-text": (
        _code(
            "class S(str):",
            "    def __eq__(self, other):",
            "        return True",
            "    __hash__ = str.__hash__",
            "answer_91_1 = S('1')",
        ),
        BROKEN,
        "",
    ),
    "spoofed-verdict": (_code("answer_91_1 = '\\r91.1 right'"), BROKEN, ""),
    "syntax-error": (_code("answer_91_1 = 2 *"), BROKEN, ""),
    "division-by-zero": (_code("answer_91_1 = 1 / 0"), BROKEN, ""),
    # cells moved, changed, lost
    "honest": (_bytes(lambda data: data), {}, ""),
    "computed": (
        _code(
            "import math",
            "run = workbook.givens('91.1')",
            "answer_91_1 = 2 * run['length_m'] * run['ohm_per_m'] * math.cos(0)",
        ),
        {},
        "",
    ),
    "computed-by-code": (
        _code(
            "run = workbook.givens('91.1')",
            "answer_91_1 = 0",
            "for _ in range(2):",
            "    answer_91_1 += run['length_m'] * run['ohm_per_m']",
        ),
        {},
        "",
    ),
    "computed-as-lessons-teach": (
        _code(
            "lk.reveal(1, lk.try_calls('two-run', 'fan').terminals['fan'])",
            "lk.show_bench('two-run', 'cool-2')",
            "panel = lk.bench_panel('two-run')",
            "display(panel)",
            "run = workbook.givens('91.1')",
            "answer_91_1 = sum(run['ohm_per_m'] for _ in range(2 * run['length_m']))",
        ),
        {},
        "",
    ),
    "large-on-the-way": (
        _code(
            "run = workbook.givens('91.1')",
            "many = [run['ohm_per_m']] * 5000",
            "answer_91_1 = 2 * run['length_m'] * max(many) + 0 * 10**100",
        ),
        {},
        "",
    ),
    "long-line": (lambda v: _code(f"%timeit {'?x' * 150_000}\nanswer_91_1 = {_value(v)!r}")(v), {}, ""),
    "half-a-character": (
        _code(
            "import json, os",
            "said = json.dumps({'exercise': '91.1', 'refused': 'no \\ud800 \\x1b[2J\\u202e'})",
            "for number in range(3, 20):",
            "    try:",
            "        os.write(number, said.encode() + b'\\n')",
            "    except OSError:",
            "        pass",
            "answer_91_1 = len([n for n in said])",
        ),
        BROKEN,
        "",
    ),
    "links": (_code("import os", "answer_91_1 = len([os.symlink('a' * 4000, '/tmp/a')])"), BROKEN, ""),
    "magic": (lambda v: _code(f"%timeit 1\nanswer_91_1 = {_value(v)!r}")(v), {}, ""),
    "check-edited": (
        _edited("check-91-1", "# NBVAL_SKIP\nprint('91.1 right')"),
        {},
        "check cell is missing or changed",
    ),
    "check-deleted": (_edited("check-91-1", None), {}, "check cell is missing"),
    "answer-deleted": (_edited("answer-91-1", None), {"91.1": "unanswered"}, ""),
    "answer-blank": (_edited("answer-91-1", "answer_91_1 = ..."), {"91.1": "unanswered"}, ""),
    "reordered": (_notebook(_moved), {}, ""),
    "metadata-cleared": (_notebook(_bare), {}, ""),
    "outputs-cleared": (_notebook(_cleared), {}, ""),
    "labels-swapped": (_notebook(_swapped), {}, "another exercise's answer"),
    "renamed": (_notebook(_renamed), {}, "answer stands in the check cell"),
    "renamed-by-label": (_notebook(_labelled), {}, "renamed"),
    "merged": (_notebook(_merged), {}, ""),
    "twice-above": (_notebook(_twice(True)), {}, "more than once"),
    "twice-below": (_notebook(_twice(False)), {}, "more than once"),
    "in-a-text-cell": (_notebook(_in_text), {"91.1": "unanswered"}, "text cell"),
    "setup-deleted": (_edited("setup", None), {}, "opens the workbook"),
    # files of every kind
    "format-3": (_notebook(_format_3), {}, "format is 3"),
    "format-4.0": (_notebook(_format_4_0), {}, ""),
    "crlf": (_bytes(lambda data: data.replace(b"\n", b"\r\n")), {}, ""),
    "byte-order-mark": (_bytes(lambda data: b"\xef\xbb\xbf" + data), {}, "byte-order mark"),
    "utf-16": (_bytes(lambda data: data.decode().encode("utf-16")), {}, "UTF-16"),
    "not-utf-8": (_bytes(lambda data: data.replace(b'"# The', b'"# \xe9 The', 1)), {}, "not in UTF-8"),
}

UNREADABLE: dict[str, tuple[Callable[[int], bytes], str]] = {
    "empty": (lambda _: b"", "empty"),
    "not-json": (lambda _: b"answer_91_1 = 3", "not a notebook"),
    "web-page": (lambda _: b"<!doctype html><html></html>", "web page"),
    "truncated": (_bytes(lambda data: data[: len(data) // 2]), "breaks off"),
    "deeply-nested": (lambda _: b"[" * 200_000 + b"]" * 200_000, "nested"),
    "two-hundred-megabytes": (_bytes(lambda data: data + b" " * 200_000_000), "at most 20"),
    "list": (lambda _: b"[1, 2]", "not a notebook"),
    "no-cells": (lambda _: b"{}", "no cells"),
    "fat-inside": (lambda _: b'{"cells": [' + b"[]," * 6_000_000 + b"[]]}", "cells"),
}


def _sleeping(notebook: Notebook, _: int) -> None:
    """Let every answer sleep for a minute."""
    for cell in notebook["cells"]:
        if cell["id"].startswith("answer-"):
            name = cell["id"].replace("-", "_")
            cell["source"] = [f"import time\n{name} = [time.sleep(60) for _ in 'ab']"]


ALL = {f"91.{number}": "unreadable" for number in range(1, 9)}

COSTLY: dict[str, tuple[Callable[[int], bytes], Planted, str]] = {
    "every-answer-sleeps": (_notebook(_sleeping), ALL, ""),
    "shared-memory": (
        _code(
            "import ctypes",
            "c = ctypes.CDLL(None)",
            "kept = [c.shmget(0, 1 << 30, 0o1600) for _ in range(9)]",
            "answer_91_1 = [1][0 if max(kept) < 0 else 1]",
        ),
        {"91.1": "not yet"},
        "",
    ),
    "namespace": (
        _code("import ctypes", "answer_91_1 = [1][1 + ctypes.CDLL(None).unshare(0x10000000)]"),
        {"91.1": "not yet"},
        "",
    ),
}
"""What takes a minute, or a machine with libseccomp: for a school that is graded on request. Refused, the
last two give a number; allowed, they would give none."""


def killer(variant: int) -> bytes:
    """Return a file that takes more time or memory to read than a notebook may."""
    return to_bytes(answer_cell("x=1;" * 4_500_000)(variant))


@contextmanager
def on_path() -> Iterator[None]:
    """Let child processes, too, import the invented workbooks."""
    with pytest.MonkeyPatch.context() as patch:
        before = os.environ.get("PYTHONPATH", "")
        patch.setenv("PYTHONPATH", os.pathsep.join(filter(None, [str(Path(__file__).parent), before])))
        yield
