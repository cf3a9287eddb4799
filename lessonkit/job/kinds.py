"""The kind and the size of every value of a job, checked before anything is computed with it.

The fields of a job's dataclasses say what kind of value they take, and the names of its numbers end in their
unit. So one look at a dataclass finds what nobody can have meant: a word for a number, `True` for a count of
stages, NaN, and numbers beyond any part of a 24-volt control (`SIZES`), which would only drown the circuit's
equations. What a number means beside others, each dataclass checks for itself.
"""

from __future__ import annotations

import dataclasses
import math
import types
import typing
from collections.abc import Iterator, Mapping
from functools import cache
from numbers import Integral, Real
from types import MappingProxyType
from typing import Any

from lessonkit.errors import BadParameter

__all__ = ["SIZES", "check_kinds", "wrong_kinds"]

#: The least and the most that a number other than 0 may be, by its whole name or by the unit at its end, and
#: that unit in words. Wider than any data sheet by some decades.
SIZES: Mapping[str, tuple[float, float, str]] = MappingProxyType(
    {
        "baud": (10.0, 1e5, "bits a second"),
        "interval_s": (0.01, 1e5, "seconds"),
        "watchdog_s": (0.01, 1e6, "seconds"),
        "length_m": (0.001, 500.0, "metres"),
        "capacitance_pf_per_m": (0.0, 1e4, "picofarads a metre"),
        "insulation_mohm_km": (1e-6, 1e9, "megohm kilometres"),
        "noise_v": (0.0, 100.0, "volts"),
        "v": (1e-3, 1e3, "volts"),
        "va": (1e-3, 1e3, "volt-amperes"),
        "a": (1e-3, 1e3, "amperes"),
        "ohm": (1e-4, 1e9, "ohms"),
        "ohms": (1e-4, 1e9, "ohms"),
        "defrost_every_s": (1.0, 1e7, "seconds"),
        "defrost_limit_s": (1.0, 1e7, "seconds"),
        "s": (0.0, 1e7, "seconds"),
        "c": (0.0, 1e3, "degrees Celsius"),
        "at": (1e-2, 1e2, "times the rating"),
    }
)
_ANY = (0.0, 1e9, "")


def check_kinds(value: Any) -> None:
    """Refuse a dataclass one of whose fields has a value of the wrong kind, or of an impossible size.

    A number of another library becomes a plain one, so that it is written and compared like any other.
    Raises `BadParameter` for the first such field.
    """
    for error in wrong_kinds(value):
        raise error


def wrong_kinds(value: Any) -> Iterator[BadParameter]:
    """Yield an error for each field of a dataclass that has no value of its kind."""
    own: Any = type(value)
    for name, key, kind in _fields(own):
        given = getattr(value, name)
        low, high, _ = _size(key)
        if kind is float and type(given) is float and low <= given <= high:
            continue
        try:
            kept = _checked(key, given, kind)
        except BadParameter as error:
            yield error
        else:
            if kept is not given:
                object.__setattr__(value, name, kept)


@cache
def _fields(kind: type) -> tuple[tuple[str, str, Any], ...]:
    """Return of each field its name, the key under which a reader knows it, and its kind."""
    hints = typing.get_type_hints(kind)
    return tuple((f.name, f.metadata.get("key", f.name), hints[f.name]) for f in dataclasses.fields(kind))


@cache
def _size(key: str) -> tuple[float, float, str]:
    """Return the least and the most that the number under a key may be, and its unit."""
    return SIZES.get(key) or SIZES.get(key.rpartition("_")[2], _ANY)


def _checked(key: str, given: Any, kind: Any) -> Any:
    """Return a value of a kind as a plain one; raises `BadParameter`."""
    if typing.get_origin(kind) is types.UnionType:
        if given is None:
            return given
        kind = next(one for one in typing.get_args(kind) if one is not type(None))
    if kind is float:
        return _number(key, given)
    if kind is bool:
        return _of(key, given, isinstance(given, bool), "true or false")
    if kind is int:
        whole = isinstance(given, Integral) and not isinstance(given, bool)
        _of(key, given, whole and abs(int(given)) <= _ANY[1], "a whole number")
        return given if type(given) is int else int(given)
    if kind is str:
        return _of(key, given, isinstance(given, str), "text")
    if typing.get_origin(kind) is tuple:
        return _several(key, given, typing.get_args(kind)[0])
    return _of(key, given, isinstance(given, kind), f"made as {kind.__name__}(...)")


def _of(key: str, given: Any, fits: bool, allowed: str) -> Any:
    if not fits:
        raise BadParameter(key, given, allowed)
    return given


def _several(key: str, given: Any, kind: type) -> Any:
    words = "a list of numbers" if kind is float else "a list of names"
    _of(key, given, isinstance(given, tuple | list), words)
    _of(key, given, kind is float or all(isinstance(one, kind) for one in given), words)
    kept = tuple(_number(key, one) for one in given) if kind is float else tuple(given)
    plain = type(given) is tuple and all(
        type(one) is type(other) for one, other in zip(kept, given, strict=True)
    )
    return given if plain else kept


def _number(key: str, given: Any) -> Any:
    """Return a finite number that is 0 or within the sizes of its unit."""
    low, high, unit = _size(key)
    try:
        number = math.nan if isinstance(given, bool) or not isinstance(given, Real) else float(given)
    except OverflowError:
        number = math.inf
    if math.isnan(number):
        raise BadParameter(key, given, "a number")
    if number and not low <= abs(number) <= high:
        edge = f"at most {high:g}" if number > 0 else f"at least {-high:g}"
        raise BadParameter(key, given, f"{f'from {low:g} to {high:g}' if low else edge} {unit}".rstrip())
    return given if type(given) in (float, int) else number
