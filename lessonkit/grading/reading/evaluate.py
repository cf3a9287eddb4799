"""Literals and plain arithmetic, worked out without executing anything.

Most answers are `24.5`, `"earth"`, `2 * 30 * 0.021` or a small table. `evaluate` works such an expression
out by walking its syntax tree, with names that are known so far, a few functions that can do no harm,
`math`, and the workbook's givens. Whatever it has no rule for raises `NeedsBox`: the answer then goes to a
confined process. What Python itself would refuse (dividing by zero, say) raises `Fails`.

Walking a tree is not safe by itself: `9**9**9` is plain arithmetic. So every operation has a bound that is
checked before it is carried out, and the whole runs in a child process with limits all the same.
"""

from __future__ import annotations

import ast
import math
import operator
from collections.abc import Callable, Mapping
from typing import Any

from lessonkit.exercises.plain import MAX_BITS, MAX_ITEMS, MAX_TEXT, NotPlain, plain

__all__ = ["UNKNOWN", "Fails", "NeedsBox", "Tool", "evaluate", "from_math", "is_container"]


class NeedsBox(Exception):
    """The expression is more than this room has rules for."""


class Fails(Exception):
    """Python would raise an error here; the text says which."""


class _Unknown:
    def __repr__(self) -> str:
        return "UNKNOWN"


UNKNOWN = _Unknown()
"""The value of a name that is assigned by something this room can't follow."""


class Tool:
    """A name that stands for something to call: `math`, one of its functions, or the workbook."""

    def __init__(self, name: str) -> None:
        self.name = name


_MATH: dict[str, Any] = {
    name: getattr(math, name)
    for name in [
        "pi",
        "e",
        "tau",
        "sqrt",
        "exp",
        "log",
        "log2",
        "log10",
        "sin",
        "cos",
        "tan",
        "asin",
        "acos",
        "atan",
        "atan2",
        "hypot",
        "radians",
        "degrees",
        "floor",
        "ceil",
        "trunc",
        "fabs",
        "isclose",
        "pow",
    ]
}
_BINARY: dict[type, Callable[[Any, Any], Any]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.FloorDiv: operator.floordiv,
    ast.Mod: operator.mod,
    ast.Pow: operator.pow,
    ast.LShift: operator.lshift,
    ast.RShift: operator.rshift,
    ast.BitAnd: operator.and_,
    ast.BitOr: operator.or_,
    ast.BitXor: operator.xor,
}
_UNARY: dict[type, Callable[[Any], Any]] = {
    ast.USub: operator.neg,
    ast.UAdd: operator.pos,
    ast.Not: operator.not_,
    ast.Invert: operator.invert,
}
_COMPARE: dict[type, Callable[[Any, Any], Any]] = {
    ast.Eq: operator.eq,
    ast.NotEq: operator.ne,
    ast.Lt: operator.lt,
    ast.LtE: operator.le,
    ast.Gt: operator.gt,
    ast.GtE: operator.ge,
    ast.In: lambda item, many: item in many,
    ast.NotIn: lambda item, many: item not in many,
}


def from_math(name: str) -> Any:
    """Return what `from math import name` gives: a number, a tool, or UNKNOWN."""
    found = _MATH.get(name, UNKNOWN)
    return Tool(f"math.{name}") if callable(found) else found


def is_container(value: object) -> bool:
    """Tell whether a value could be changed behind a name's back."""
    return type(value) in (list, dict, set, tuple)


def evaluate(
    node: ast.expr, names: Mapping[str, Any], givens: Callable[[str], dict[str, Any]] | None = None
) -> Any:
    """Return the value of an expression as plain data.

    `names` are the values known so far; `givens` returns an exercise's numbers. Raises `NeedsBox`, `Fails`,
    or `NotPlain` when the value itself, and not one on the way to it, is beyond the bounds of an answer.
    """
    try:
        value = _Walk(names, givens).value(node)
    except RecursionError:
        raise Fails("the expression is nested too deeply") from None
    if isinstance(value, Tool):
        raise NeedsBox
    return plain(value)


class _Walk:
    def __init__(self, names: Mapping[str, Any], givens: Callable[[str], dict[str, Any]] | None) -> None:
        self._names = names
        self._givens = givens
        self._depth = 0

    def value(self, node: ast.expr) -> Any:
        rule = getattr(self, f"_{type(node).__name__}", None)
        if rule is None:
            raise NeedsBox
        self._depth += 1
        try:
            return rule(node)
        except NotPlain:
            if self._depth > 1:  # on the way to an answer there may be more than an answer may be
                raise NeedsBox from None
            raise
        finally:
            self._depth -= 1

    def _doing(self, work: Callable[..., Any], *values: Any) -> Any:
        """Carry out one bounded step, turning Python's refusal into ours."""
        try:
            found = work(*values)
        except (ArithmeticError, ValueError, TypeError, LookupError) as error:
            raise Fails(f"{type(error).__name__}: {_said(error)}") from None
        if type(found) is complex:
            raise NeedsBox
        return plain(found) if is_container(found) or type(found) in (int, str) else found

    def _Constant(self, node: ast.Constant) -> Any:
        if type(node.value) in (complex, bytes):
            raise NeedsBox
        return plain(node.value)

    def _Name(self, node: ast.Name) -> Any:
        if node.id in self._names:
            value = self._names[node.id]
            if value is UNKNOWN or isinstance(value, NotPlain):
                raise NeedsBox
            return value
        if node.id in _FUNCTIONS:
            return Tool(node.id)
        raise NeedsBox

    def _items(self, nodes: list[ast.expr]) -> list[Any]:
        if len(nodes) > MAX_ITEMS:
            raise NotPlain(f"The answer holds more than {MAX_ITEMS} items.")
        found = [self.value(node) for node in nodes]
        if any(isinstance(item, Tool) for item in found):
            raise NeedsBox
        return found

    def _List(self, node: ast.List) -> Any:
        return plain(self._items(node.elts))

    def _Tuple(self, node: ast.Tuple) -> Any:
        return plain(tuple(self._items(node.elts)))

    def _Set(self, node: ast.Set) -> Any:
        return self._doing(set, self._items(node.elts))

    def _Dict(self, node: ast.Dict) -> Any:
        if None in node.keys:  # {**other}
            raise NeedsBox
        keys = self._items([key for key in node.keys if key is not None])
        values = self._items(node.values)
        return self._doing(lambda: dict(zip(keys, values, strict=True)))

    def _UnaryOp(self, node: ast.UnaryOp) -> Any:
        return self._doing(_UNARY[type(node.op)], self.value(node.operand))

    def _BoolOp(self, node: ast.BoolOp) -> Any:
        stops = isinstance(node.op, ast.Or)
        value: Any = None
        for part in node.values:
            value = self.value(part)
            if bool(value) is stops:
                break
        return value

    def _IfExp(self, node: ast.IfExp) -> Any:
        return self.value(node.body if self.value(node.test) else node.orelse)

    def _Compare(self, node: ast.Compare) -> Any:
        left = self.value(node.left)
        for kind, part in zip(node.ops, node.comparators, strict=True):
            right = self.value(part)
            if type(kind) not in _COMPARE:  # `is` asks about identity, which is no question of value
                raise NeedsBox
            if not self._doing(_COMPARE[type(kind)], left, right):
                return False
            left = right
        return True

    def _BinOp(self, node: ast.BinOp) -> Any:
        if type(node.op) not in _BINARY:
            raise NeedsBox
        left, right = self.value(node.left), self.value(node.right)
        if isinstance(left, Tool) or isinstance(right, Tool):
            raise NeedsBox
        _bound(type(node.op), left, right)
        return self._doing(_BINARY[type(node.op)], left, right)

    def _Subscript(self, node: ast.Subscript) -> Any:
        if isinstance(node.slice, ast.Slice):
            raise NeedsBox
        whole, index = self.value(node.value), self.value(node.slice)
        if isinstance(whole, Tool):
            raise NeedsBox
        return self._doing(operator.getitem, whole, index)

    def _Attribute(self, node: ast.Attribute) -> Any:
        whole = self.value(node.value)
        if isinstance(whole, Tool) and whole.name == "math" and node.attr in _MATH:
            return from_math(node.attr)
        if isinstance(whole, Tool) and whole.name == "workbook" and node.attr == "givens":
            return Tool("workbook.givens")
        raise NeedsBox

    def _Call(self, node: ast.Call) -> Any:
        tool = self.value(node.func)
        if not isinstance(tool, Tool) or node.keywords:
            raise NeedsBox
        given = self._items(node.args)
        if tool.name == "workbook.givens":
            if self._givens is None or len(given) != 1 or type(given[0]) is not str:
                raise NeedsBox
            return self._doing(self._givens, given[0])
        if tool.name.startswith("math."):
            return self._doing(_MATH[tool.name[5:]], *given)
        if tool.name in _FUNCTIONS:
            return self._doing(_FUNCTIONS[tool.name], *given)
        raise NeedsBox


def _said(error: BaseException) -> str:
    """Return Python's own words about an error, on one short line."""
    return " ".join(str(error).split())[:120]


def _bound(kind: type, left: Any, right: Any) -> None:
    """Refuse an operation whose result would be beyond the bounds, before doing it."""
    whole = type(left) in (int, bool) and type(right) in (int, bool)
    if kind is ast.Mod and type(left) is str:
        raise NeedsBox  # formatting: '%1000000000d' is a bomb of one character a digit
    if whole and kind is ast.Pow and abs(left) > 1 and abs(left).bit_length() * abs(right) > 4 * MAX_BITS:
        raise NotPlain("The answer is a number with more than 75 digits.")
    if whole and kind is ast.LShift and right > MAX_BITS:
        raise NotPlain("The answer is a number with more than 75 digits.")
    for many, times in ((left, right), (right, left)):
        sized = type(many) in (str, list, tuple)
        limit = MAX_TEXT if type(many) is str else MAX_ITEMS
        if kind is ast.Mult and sized and type(times) in (int, bool) and len(many) * max(times, 0) > limit:
            raise NotPlain("The answer is longer than can be read.")


def _round(number: float, digits: int | None = None) -> Any:
    if digits is not None and not (type(digits) is int and abs(digits) <= 100):
        raise ValueError("digits out of bounds")
    return round(number, digits)


def _whole(value: Any = 0) -> int:
    if type(value) is str and len(value) > 80:
        raise ValueError("text too long for a number")
    return int(value)


def _range(*ends: int) -> list[int]:
    found = range(*ends)
    if len(found) > MAX_ITEMS:
        raise NotPlain(f"The answer holds more than {MAX_ITEMS} items.")
    return list(found)


_FUNCTIONS: dict[str, Callable[..., Any]] = {
    "abs": abs,
    "bool": bool,
    "dict": dict,
    "float": float,
    "int": _whole,
    "len": len,
    "list": list,
    "max": max,
    "min": min,
    "range": _range,
    "round": _round,
    "set": set,
    "sorted": sorted,
    "sum": sum,
    "tuple": tuple,
}
