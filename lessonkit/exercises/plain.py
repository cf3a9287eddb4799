"""Plain data: what an answer may be, and how it crosses a border.

An answer is plain when it is built from numbers, text, true or false, nothing, and lists, tuples, sets and
mappings of these: values that mean the same to every reader and can do nothing by themselves. `plain` makes a
value plain or says why it can't be; `encode` and `decode` carry it through JSON without losing what JSON
alone would lose (a tuple, a mapping with numbers as keys, a not-a-number); `literal` writes it as Python.

    JSON                  means
    null true 3 2.5 "a"   itself
    {"l": [...]}          list; "t" a tuple, "s" a set
    {"d": [[k, v]...]}    mapping
    {"f": "nan"}          a float that JSON has no sign for; also "inf" and "-inf"
    {"e": 0}              `...`, an answer still to be given

Only the exact builtin types pass, so no value arrives with a behaviour of its own. numpy's numbers and
arrays, a bench's readings, fractions, decimals and ranges are turned into them. Bounds hold on depth, count,
digits and length, and on the whole. This room imports nothing from lessonkit, because its source travels
alone into the confined process in which a student's own code runs (`lessonkit.grading.reading.confine`).
"""

from __future__ import annotations

import json
import math
import re
import sys
from typing import Any

__all__ = ["MAX_ENCODED", "NotPlain", "decode", "kind", "literal", "plain", "encode"]

MAX_DEPTH = 8
MAX_ITEMS = 2000
MAX_BITS = 256
MAX_TEXT = 2000
MAX_ENCODED = 100_000
"""Characters that one answer may need when it is encoded."""
MAX_NESTING = 3 * (MAX_DEPTH + 2)
"""Brackets within brackets of an encoded answer: a mapping takes three for each of its depths."""

_KINDS: dict[type, str] = {
    bool: "true or false",
    int: "a whole number",
    float: "a number",
    str: "a text",
    list: "a list",
    tuple: "a list",
    set: "a set",
    dict: "a table",
    type(None): "nothing",
    type(...): "nothing yet",
}


class NotPlain(ValueError):
    """A value that is no plain data; its text is a sentence about it."""


class _Count:
    """How many items one value has used up, over all its depths."""

    def __init__(self) -> None:
        self.items = 0

    def one(self) -> None:
        self.items += 1
        self.room_for(0)

    def room_for(self, number: int) -> None:
        """Look before a list is walked, however long it is."""
        if self.items + number > MAX_ITEMS:
            raise NotPlain(f"The answer holds more than {MAX_ITEMS} items.")


def kind(value: object) -> str:
    """Say in words what a plain value is.

    >>> kind("24 V")
    'a text'
    """
    return _KINDS.get(type(value), "something else")


def plain(value: object) -> Any:
    """Return the same value in exact builtin types.

    Raises `NotPlain` for anything else, for a list that holds itself, and beyond the bounds.

    >>> plain(range(3))
    [0, 1, 2]
    """
    return _plain(value, 0, _Count())


def _plain(value: object, depth: int, count: _Count) -> Any:
    count.one()
    if depth > MAX_DEPTH:
        raise NotPlain(f"The answer is nested more than {MAX_DEPTH} deep.")
    exact = type(value)
    if value is None or value is ... or exact is bool or exact is float:
        return value
    if exact is int:
        if value.bit_length() > MAX_BITS:  # type: ignore[attr-defined]
            raise NotPlain("The answer is a number with more than 75 digits.")
        return value
    if exact is str:
        return _text(value)  # type: ignore[arg-type]
    if exact is list or exact is tuple or exact is set or exact is frozenset:
        count.room_for(len(value))  # type: ignore[arg-type]
        items = [_plain(item, depth + 1, count) for item in value]  # type: ignore[attr-defined]
        made: type = set if exact is frozenset else exact
        return _gather(made, items)
    if exact is dict:
        count.room_for(len(value))  # type: ignore[arg-type]
        pairs = [(_plain(k, depth + 1, count), _plain(v, depth + 1, count)) for k, v in value.items()]  # type: ignore[attr-defined]
        return _gather(dict, pairs)
    if exact is range:
        count.room_for(len(value))  # type: ignore[arg-type]
        return list(value)  # type: ignore[call-overload]
    return _plain(_from_library(value), depth, count)


def _text(value: str) -> str:
    if len(value) > MAX_TEXT:
        raise NotPlain(f"The answer holds a text of more than {MAX_TEXT} characters.")
    if any(0xD800 <= ord(sign) <= 0xDFFF for sign in value):
        raise NotPlain("The answer holds a text that is not valid Unicode.")
    return value


def _gather(made: type, items: list[Any]) -> Any:
    try:
        return made(items)
    except TypeError:
        raise NotPlain("The answer has a list or table where only a number or a text can stand.") from None


def _from_library(value: object) -> Any:
    """Turn a number of numpy, fractions or decimal into a builtin one."""
    exact = type(value)
    # `type.__dict__` through mro would be more than is needed: whatever a false library's object returns here
    # has to be an exact builtin in the end, so pretending gains nothing.
    if exact.__module__ == "numpy" and exact.__name__ not in {"matrix", "longdouble", "clongdouble"}:
        letter = getattr(getattr(value, "dtype", None), "kind", "")
        if letter in tuple("biufU"):
            if getattr(value, "size", 1) > MAX_ITEMS:
                raise NotPlain(f"The answer holds more than {MAX_ITEMS} items.")
            found = value.tolist()  # type: ignore[attr-defined]
            if type(found) in _KINDS:
                return found
    # What is read off a bench is a float with its unit beside it; the unit stays behind.
    if (exact.__module__, exact.__name__) == ("lessonkit.bench.reading", "Reading") and issubclass(
        exact, float
    ):
        return float.__float__(value)  # type: ignore[arg-type]
    for module, name in (("fractions", "Fraction"), ("decimal", "Decimal")):
        if module in sys.modules and exact is getattr(sys.modules[module], name, None):
            try:
                return float(value)  # type: ignore[arg-type]
            except (OverflowError, ValueError):
                raise NotPlain("The answer is a number that is out of all bounds.") from None
    name = exact.__name__ if type(exact.__name__) is str and exact.__name__.isidentifier() else "object"
    raise NotPlain(f"The answer is a Python {ascii(name[:40])[1:-1]}, not plain data.")


def encode(value: object) -> str:
    """Return the value as one line of JSON.

    Raises `NotPlain` when it is no plain data or longer than `MAX_ENCODED`.

    >>> encode((1, {2.5: "a"}))
    '{"t": [1, {"d": [[2.5, "a"]]}]}'
    """
    text = json.dumps(_tagged(plain(value)))
    if len(text) > MAX_ENCODED:
        raise NotPlain("The answer is too long.")
    return text


def _tagged(value: Any) -> Any:
    exact = type(value)
    if exact is list or exact is tuple:
        return {"l" if exact is list else "t": [_tagged(item) for item in value]}
    if exact is set:  # in one order, so that the same answer is always the same line
        return {"s": sorted((_tagged(item) for item in value), key=json.dumps)}
    if exact is dict:
        return {"d": [[_tagged(key), _tagged(item)] for key, item in value.items()]}
    if value is ...:
        return {"e": 0}
    if exact is float and not math.isfinite(value):
        return {"f": repr(value)}
    return value


def decode(text: str) -> Any:
    """Return the value that a line of JSON stands for.

    Trusts nothing about the line: whatever comes out has passed `plain`. Raises `NotPlain`.
    """
    if len(text) > MAX_ENCODED:
        raise NotPlain("The answer is too long.")
    if _nesting(text) > MAX_NESTING:
        raise NotPlain("The answer arrived damaged.")
    try:
        return plain(_untagged(json.loads(text)))
    except (ValueError, TypeError, RecursionError) as error:
        raise error if isinstance(error, NotPlain) else NotPlain("The answer arrived damaged.") from None


def _nesting(text: str) -> int:
    """Return how deep the brackets of a line of JSON go.

    Counted before the line is read: a reader goes as deep as the line does, and where the stack is small, as
    in a browser's page, that ends the whole interpreter instead of raising an error.
    """
    deepest = depth = 0
    for sign in re.sub(r'"(?:[^"\\]|\\.)*"', "", text):
        if sign in "[{":
            depth += 1
            deepest = max(deepest, depth)
        elif sign in "]}":
            depth -= 1
    return deepest


def _untagged(value: Any) -> Any:
    if isinstance(value, list):
        raise NotPlain("The answer arrived damaged.")
    if not isinstance(value, dict):
        return value
    ((tag, body),) = value.items()
    if tag in ("l", "t", "s"):
        return {"l": list, "t": tuple, "s": set}[tag]([_untagged(item) for item in body])
    if tag == "d":
        return {_untagged(key): _untagged(item) for key, item in body}
    if tag == "e":
        return ...
    if tag == "f" and body in ("nan", "inf", "-inf"):
        return float(body)
    raise NotPlain("The answer arrived damaged.")


def literal(value: object) -> str:
    """Write a plain value as Python source, on one line, in ASCII.

    A cell with `x = <literal>` gives the value back, whatever the text in it holds.

    >>> literal({"a": (1, float("nan"), ...)})
    "{'a': (1, float('nan'), ...)}"
    """
    return _literal(plain(value))


def _literal(value: Any) -> str:
    exact = type(value)
    if exact is list:
        return "[" + ", ".join(map(_literal, value)) + "]"
    if exact is tuple:
        return "(" + ", ".join(map(_literal, value)) + ("," if len(value) == 1 else "") + ")"
    if exact is set:
        return "{" + ", ".join(sorted(map(_literal, value))) + "}" if value else "set()"
    if exact is dict:
        return "{" + ", ".join(f"{_literal(key)}: {_literal(item)}" for key, item in value.items()) + "}"
    if value is ...:
        return "..."
    if exact is float and not math.isfinite(value):
        return f"float({str(value)!r})"
    return ascii(value)
