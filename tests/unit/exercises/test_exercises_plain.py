"""Plain data: what passes, what is refused, and that nothing changes on the way.

Judges from outside: JSON as RFC 8259 describes it (no NaN, keys are text), Unicode's surrogate range D800 to
DFFF, which no valid text holds (RFC 3629, section 3), and Python's own `ast.literal_eval` for literals.
"""

from __future__ import annotations

import ast
import json
import math
import sys
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lessonkit.bench.bench import Bench
from lessonkit.exercises.plain import MAX_ENCODED, NotPlain, decode, encode, literal, plain

TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=40)
SCALARS = (
    st.none()
    | st.booleans()
    | st.integers(-(2**200), 2**200)
    | st.floats(allow_nan=False)
    | TEXTS
    | st.just(...)
)
KEYS = st.booleans() | st.integers(-99, 99) | st.floats(allow_nan=False) | TEXTS
VALUES = st.recursive(
    SCALARS,
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.lists(inner, max_size=4).map(tuple)
        | st.dictionaries(KEYS, inner, max_size=4)
        | st.sets(KEYS, max_size=4)
    ),
    max_leaves=12,
)


def same(one: Any, other: Any) -> bool:
    """Tell whether two values are equal in type as well, all the way down."""
    if type(one) is not type(other):
        return False
    if type(one) in (list, tuple):
        return len(one) == len(other) and all(map(same, one, other))
    if type(one) is dict:
        return same(list(one), list(other)) and same(list(one.values()), list(other.values()))
    if type(one) is float:
        return math.copysign(1, one) == math.copysign(1, other) and one == other
    return bool(one == other)


@given(VALUES)
def test_value_comes_back_from_the_wire_as_it_was(value: Any) -> None:
    """Types, keys that are numbers, and the sign of zero survive."""
    assert same(decode(encode(value)), value)


@given(VALUES)
def test_wire_is_one_line_of_strict_json(value: Any) -> None:
    """The wire is ASCII JSON by RFC 8259: no NaN, no Infinity, no line break."""

    def refuse(name: str) -> None:
        raise AssertionError(name)

    line = encode(value)
    json.loads(line, parse_constant=refuse)
    assert line.isascii()
    assert "\n" not in line


@given(VALUES)
def test_literal_is_python_for_the_value(value: Any) -> None:
    """Python's own parser reads the literal back; it is one line of ASCII."""
    text = literal(value)
    assert text.isascii()
    assert "\n" not in text
    if "float(" not in text and "set()" not in text:
        assert same(ast.literal_eval(text), value)


def test_what_json_has_no_sign_for_is_carried_by_a_tag() -> None:
    """Not-a-number and the infinities cross too; the judge refuses them with a sentence."""
    for value in (math.inf, -math.inf):
        assert decode(encode(value)) == value
    assert math.isnan(decode(encode(math.nan)))
    assert literal([math.nan, -math.inf]) == "[float('nan'), float('-inf')]"


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (np.float64(1.5), 1.5),
        (np.int8(3), 3),
        (np.bool_(True), True),
        (np.array([[1, 2], [3, 4]]), [[1, 2], [3, 4]]),
        (np.array(2.5), 2.5),
        (np.str_("C"), "C"),
        (frozenset({1}), {1}),
        (range(2), [0, 1]),
    ],
)
def test_library_numbers_become_builtin_ones(value: object, expected: object) -> None:
    """numpy's numbers and arrays are turned into exact builtin types."""
    assert same(plain(value), expected)


class Lying(str):
    """A text that equals everything."""

    __slots__ = ()

    def __eq__(self, other: object) -> bool:
        return True

    __hash__ = str.__hash__


class FalseNumpy:
    """An object that says it is numpy's."""

    __module__ = "numpy"

    class dtype:
        """As numpy calls it."""

        kind = "f"

    def tolist(self) -> object:
        return Lying("x")


OWN_LIST: list[Any] = []
OWN_LIST.append(OWN_LIST)
ALIASES: list[Any] = ["x"]
for _ in range(30):
    ALIASES = [ALIASES, ALIASES]


@pytest.mark.parametrize(
    "value",
    [
        Lying("x"),
        FalseNumpy(),
        OWN_LIST,
        ALIASES,
        10**100,
        "\ud800",
        "x" * 3000,
        [0] * 3000,
        b"bytes",
        1j,
        object(),
        len,
        np.datetime64("2020-01-01", "ns"),
        np.longdouble(1) if np.longdouble is not np.float64 else object(),
        type("Sub", (int,), {})(3),
        {frozenset({(1, 2)}): ["a"] * 5000},
    ],
    ids=lambda value: type(value).__name__,
)
def test_anything_else_is_refused(value: object) -> None:
    """Subclasses, impostors, self-reference and what is out of bounds are named and refused."""
    with pytest.raises(NotPlain):
        encode(value)


def test_many_texts_within_each_bound_are_refused_as_a_whole() -> None:
    """Forty times forty texts of a thousand letters pass every bound but the last."""
    with pytest.raises(NotPlain, match="too long"):
        encode([["x" * 1000] * 40] * 40)


@pytest.mark.parametrize(
    "line",
    [
        *("", "[1]", '{"z": 1}', '{"l": 5}', '{"d": [[1]]}', '{"l": [1], "t": [2]}', '{"f": "1.5"}', "{}"),
        *('{"d": [[{"l": []}, 1]]}', "9" * 5000, '{"l":[' * 3000, "1" * (MAX_ENCODED + 1), '"\\ud800"'),
    ],
    ids=lambda line: line[:20],
)
def test_damaged_line_is_refused(line: str) -> None:
    """A line that no honest sender writes is refused, never half believed."""
    with pytest.raises(NotPlain):
        decode(line)


@pytest.mark.parametrize("line", ['{"l":[' * 3000, "[" * 31, '{"d": [[' * 20 + "]]}" * 20])
def test_deep_line_is_refused_before_it_is_read(line: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A line nested too deep never reaches the JSON reader, which a small stack would not survive."""
    monkeypatch.setattr(json, "loads", lambda text: pytest.fail("it was read"))
    with pytest.raises(NotPlain, match="damaged"):
        decode(line)


def test_brackets_within_a_text_count_for_nothing() -> None:
    """A text may hold any number of brackets and quotation marks."""
    text = '["' * 200 + "\\" + '{\\"' * 100
    assert decode(encode([text])) == [text]


def test_room_needs_nothing_but_the_standard_library() -> None:
    """The room travels alone into the confined process, so it imports nothing of ours."""
    import lessonkit.exercises.plain as room

    with open(room.__file__, encoding="utf-8") as file:  # noqa: PTH123
        tree = ast.parse(file.read())
    names = {item.name for node in ast.walk(tree) if isinstance(node, ast.Import) for item in node.names}
    names |= {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert names <= set(sys.stdlib_module_names)


def test_a_reading_of_the_bench_is_its_number() -> None:
    """What `bench.state.volts[...]` gives may be an answer; a class that only pretends to be one may not."""
    volts = Bench("full-cable").state.volts["air:R"]
    assert type(plain(volts)) is float
    assert decode(encode([volts])) == [float(volts)]

    class Reading:
        __module__ = "lessonkit.bench.reading"

        def __float__(self) -> float:
            return 24.0

    with pytest.raises(NotPlain):
        plain(Reading())
