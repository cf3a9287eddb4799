"""Reading answers without running anything: what is worked out, what is left, what is flagged.

The judge from outside is Python itself: whatever the evaluator works out must be what Python gives, and it
may leave an answer to the confined process, but never work it out differently.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent / "school"))
import orchard

from lessonkit.exercises.plain import NotPlain, decode
from lessonkit.grading.reading.answers import Findings, find_answers
from lessonkit.grading.reading.evaluate import Fails, NeedsBox, evaluate
from lessonkit.grading.reading.intake import StudentCell
from lessonkit.grading.school import School, load_school


@pytest.fixture(scope="module")
def school(tmp_path_factory: pytest.TempPathFactory) -> Iterator[School]:
    """Return the invented school."""
    with orchard.on_path():
        yield load_school(orchard.make_school(tmp_path_factory.mktemp("school")))


@pytest.fixture
def read(school: School) -> Callable[..., Findings]:
    """Return a function that reads code cells as a hand-in of the first workbook."""

    def reading(*sources: str) -> Findings:
        cells = [StudentCell(True, source) for source in sources]
        return find_answers(cells, school.books[0], lambda exercise: {"length_m": 50, "ohm_per_m": 0.021})

    return reading


def worked_out(source: str) -> Any:
    """Return what the evaluator makes of an expression."""
    return evaluate(ast.parse(source, mode="eval").body, {})


@pytest.mark.parametrize(
    "source",
    [
        *("24.5", "-3", "'earth'", "[1, 2.5, 'a']", "(1,)", "{'a': [True, None], 2: {}}", "{1, 2}", "..."),
        *("2 * 30 * 0.021", "24**2 / 31", "7 // 2 % 3", "1 << 4 | 3 & 2 ^ 1", "~5", "not 0", "+2", "2**-1"),
        *("1 < 2 < 3", "2 in [1, 2]", "3 if 1 > 2 else 4", "0 or 5", "1 and 0", "[1, 2][1]", "{'a': 5}['a']"),
        *("round(2.345, 2)", "round(2.5)", "abs(-1)", "max(1, 3)", "sum([1, 2, 3]) / 3", "sorted([3, 1])"),
        *("len('abc')", "'ab' * 2", "[0] * 3", "list(range(3))", "float('2.5')", "int(3.9)", "dict()"),
    ],
)
def test_plain_arithmetic_is_what_python_says(source: str) -> None:
    """Each rule of the evaluator gives Python's own value and type."""
    expected = eval(source)  # noqa: S307  the judge
    found = worked_out(source)
    assert (type(found), found) == (type(expected), expected)


NUMBERS = st.integers(-99, 99).map(str) | st.floats(-1e3, 1e3).map(repr)
EXPRESSIONS = st.recursive(
    NUMBERS,
    lambda inner: st.tuples(
        inner, st.sampled_from(["+", "-", "*", "/", "//", "%", "**", "<", "=="]), inner
    ).map(lambda parts: f"({parts[0]} {parts[1]} {parts[2]})"),
    max_leaves=6,
)


@given(EXPRESSIONS)
def test_any_arithmetic_is_pythons_value_or_none_at_all(source: str) -> None:
    """For random arithmetic the evaluator agrees with Python, or declines."""
    try:
        found = worked_out(source)
    except (NeedsBox, Fails, NotPlain):
        return
    expected = eval(source)  # noqa: S307  the judge
    assert (type(found), repr(found)) == (type(expected), repr(expected))


@pytest.mark.parametrize(
    "source",
    [
        *("9**9**9", "2**10**9", "(-3)**10**8", "1 << 10**9", "10**70 * 10**70", "1" * 4400),
        *("0x" + "f" * 15000, "'x' * 10**9", "10**9 * [0]", "('x' * 2000) * 2", "'%1000000000d' % 1"),
        *("round(5, -10**9)", "round(5, 10**9)", "int('9' * 80 * 20)", "range(10**9)", "sum(range(10**8))"),
        *("[[[[[[[[[[0]]]]]]]]]]", "(" * 90 + "9" + ")" * 90 + " ** 10 ** 9", "-" * 900 + "9**9**9"),
        *("max([])", "1 / 0", "[][0]", "{}['a']", "1 + 'a'", "int('x')", "float(10**400)", "{[]: 1}"),
        *("__import__('os')", "open('x')", "().__class__", "[x for x in 'ab']", "lambda: 0", "f'{1}'", "x"),
        *("print(1)", "(y := 3)", "b'x'", "1j", "math.pi", "*[1]", "'a'.upper()", "(-8) ** 0.5"),
    ],
    ids=lambda source: source[:24],
)
def test_attack_on_the_evaluator_ends_at_once(source: str) -> None:
    """Bombs, errors and everything without a rule end in a refusal; any of these might run for minutes."""
    with pytest.raises((NeedsBox, Fails, NotPlain, SyntaxError, ValueError, RecursionError, MemoryError)):
        worked_out(source)


def test_doubling_over_cells_is_bounded(read: Callable[..., Findings]) -> None:
    """A list that doubles forty times over is never made here: the box may try, within its limits."""
    doubling = "x = [1]\n" + "x = [x, x]\n" * 40 + "answer_91_1 = x"
    assert read(doubling).found["91.1"].state == "computed"


def value_of(reading: Findings, exercise: str = "91.1") -> Any:
    """Return a given answer."""
    found = reading.found[exercise]
    assert found.state == "given", found
    return decode(found.wire)


@pytest.mark.parametrize(
    ("cells", "value"),
    [
        (("answer_91_1 = 3",), 3),
        (("a = 2", "b = a * 5", "answer_91_1 = a + b"), 12),
        (("answer_91_1 = 1", "answer_91_1 = 2"), 2),
        (("answer_91_1 = 1\nanswer_91_1 += 4",), 5),
        (("answer_91_1 = answer_91_2 = 6",), 6),
        (("x, answer_91_1 = 1, 7",), 7),
        (("answer_91_1: float = 8.0",), 8.0),
        (("if 1 < 2:\n    answer_91_1 = 9\nelse:\n    answer_91_1 = 0",), 9),
        (("import math\nanswer_91_1 = math.sqrt(16)",), 4.0),
        (("from math import sqrt as s\nanswer_91_1 = s(9)",), 3.0),
        (
            ('workbook = lk.open_workbook("orchard_a")', "answer_91_1 = workbook.givens('91.1')['length_m']"),
            50,
        ),
        (("%matplotlib inline\nanswer_91_1 = 4\n!ls",), 4),
        (("%%time\nanswer_91_1 = 4",), 4),
        (("answer_91_1 = 4", 'workbook.check("91.1", answer_91_1)', "answer_91_1 = 5"), 4),
        (('workbook.check("91.1", answer_91_1)', "answer_91_1 = 5"), 5),
        (('workbook.check("91.1", 6.5)',), 6.5),
        (("answer_91_1 = ...", 'workbook.check("91.1", 6.5)'), 6.5),
        (("answer_91_1 = 3", "answer_91_1 = 1 / 0"), 3),
        (("answer_91_1 = 3", "answer_91_1 = = 4"), 3),
        (("x = 5\nprint(x)\nanswer_91_1 = x",), 5),
        (("'''\nanswer_91_1 = 99\n'''\nanswer_91_1 = 1",), 1),
    ],
)
def test_answer_is_what_a_marker_reads(
    read: Callable[..., Findings], cells: tuple[str, ...], value: Any
) -> None:
    """Plain answers are read in document order, at their check, as Run All would give them."""
    assert value_of(read(*cells)) == value


@pytest.mark.parametrize(
    "cells",
    [
        ("answer_91_1 = [n for n in range(3)]",),
        ("x = [1]", "x.append(2)", "answer_91_1 = x"),
        ("x = [1]\ny = x", "y.append(2)", "answer_91_1 = x"),
        ("x = {}\nx['a'] = 1\nanswer_91_1 = x",),
        ("x = [1]\nx += [2]\nanswer_91_1 = x",),
        ("def f():\n    global x\n    x = 5", "x = 1", "f()", "answer_91_1 = x"),
        ("x = 1", "exec('x = 2')", "answer_91_1 = x"),
        ("x = 1", "globals()['x'] = 2", "answer_91_1 = x"),
        ("abs = len", "answer_91_1 = abs(-3)"),
        ("import numpy as math\nanswer_91_1 = math.sqrt(4)",),
        ("answer_91_1 = 1", "for answer_91_1 in range(3):\n    pass"),
        ("answer_91_1 = 1", "with open('x') as answer_91_1:\n    pass"),
        ("answer_91_1 = 1", "del answer_91_1"),
        ("from os import *\nanswer_91_1 = sep",),
        ("class X: pass\nanswer_91_1 = X()",),
        ("def answer_91_1(): pass",),
        ("if unknown:\n    answer_91_1 = 1",),
        ("try:\n    answer_91_1 = 1\nexcept Exception:\n    answer_91_1 = 2",),
    ],
)
def test_answer_that_needs_running_is_left_to_the_box(
    read: Callable[..., Findings], cells: tuple[str, ...]
) -> None:
    """Where a statement could change a name unseen, no value is claimed."""
    assert read(*cells).found["91.1"].state == "computed"


@pytest.mark.parametrize(
    ("cells", "state", "reason"),
    [
        ((), "unanswered", "no cell assigns it"),
        (("answer_91_1 = ...",), "unanswered", "still to be given"),
        (("answer_91_1 = None",), "unanswered", ""),
        (("answer_91_1 = 1 / 0",), "broken", "ZeroDivisionError"),
        (("answer_91_1 = 2 *",), "broken", "no valid Python"),
        (("answer_91_1 = 10**99",), "broken", "75 digits"),
        (("from math import sqrt\nanswer_91_1 = sqrt",), "broken", "function"),
        (("answer_91_1 = " + "(" * 5000,), "broken", "no valid Python"),
    ],
)
def test_answer_that_is_none_is_named(
    read: Callable[..., Findings], cells: tuple[str, ...], state: str, reason: str
) -> None:
    """What has no value says why."""
    found = read("x = 1", *cells).found["91.1"]
    assert found.state == state
    assert reason in found.reason


def test_answer_above_its_blank_cell_is_flagged(read: Callable[..., Findings]) -> None:
    """Run from the top, the blank takes the answer back; nbval says so too, and the teacher is told."""
    found = read("answer_91_1 = 5", "answer_91_1 = ...", 'workbook.check("91.1", answer_91_1)').found["91.1"]
    assert found.state == "unanswered"
    assert "takes it back" in found.flags[0]


def test_slice_takes_what_an_answer_depends_on_and_no_more(read: Callable[..., Findings]) -> None:
    """A computed answer brings the cells it needs, and no loop that has nothing to do with it."""
    plan = read(
        "import os",
        "n = 2",
        "while True:\n    pass",
        "n = n + os.getpid()",
        "answer_91_1 = [n for _ in 'ab']",
        "n = 0",
    ).plan
    assert plan is not None
    assert [place for place, _ in plan.cells] == [0, 1, 3, 4]
