"""A TOML file read into dataclasses, every mistake in it named.

The fields of a dataclass are the keys of a table; a field that is itself a dataclass is a table inside it.
Every mistake in a file is collected, so that its reader mends all of them in one go: the key, what is wrong
and what is allowed.  Unknown keys are refused, since a misspelt key that is quietly passed over is the
hardest fault of all to find.  Jobs and houses are read this way; what a file means is not known here.
"""

from __future__ import annotations

import dataclasses
import difflib
import tomllib
import types
import typing
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from lessonkit.errors import BadParameter

__all__ = ["parse_toml", "read_fields", "read_text", "unknown_key"]

_NOTHING: Mapping[str, str] = types.MappingProxyType({})


def read_text(path: Path, hint: str, mistakes: list[str]) -> str | None:
    """Return the text of a file, or note why it can't be read; `hint` says what to give instead."""
    try:
        return path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        mistakes.append(f"there is no such file; {hint}")
    except UnicodeDecodeError:
        mistakes.append("the file is not UTF-8 text; save it as UTF-8")
    except (OSError, ValueError) as error:
        mistakes.append(f"the file can't be read ({getattr(error, 'strerror', None) or error})")
    return None


def parse_toml(text: str, what: str, mistakes: list[str]) -> dict[str, Any] | None:
    """Return the table in a TOML text, or note why it is none; `what` is what it should describe, "a job"."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        mistakes.append(f"this is not TOML: {error}")
    except RecursionError:
        mistakes.append(f"this is nested too deeply for {what}")
    except ValueError:  # Python reads no whole number of thousands of digits
        mistakes.append(f"a number in it has more digits than any part of {what} can need")
    return None


def read_fields(
    kind: type,
    table: Mapping[str, Any],
    prefix: str,
    mistakes: list[str],
    what: str = "a job",
    spelled: Mapping[str, str] = _NOTHING,
) -> dict[str, Any]:
    """Return the fields of a dataclass that a table gives; every key that is no field is a mistake.

    `prefix` is the table's own key with a dot, `what` is what the file describes; `spelled` maps fields to
    the keys under which the file has them, where those differ.
    """
    hints = typing.get_type_hints(kind)
    fields = {field.metadata.get("key", field.name): field.name for field in dataclasses.fields(kind)}
    values = {}
    for key, value in table.items():
        if key in fields:
            shown = spelled.get(key, key) if not prefix else key
            values[fields[key]] = _read(hints[fields[key]], value, f"{prefix}{shown}", mistakes, what)
        else:
            known = [spelled.get(name, name).partition(".")[0] for name in fields]
            mistakes.append(unknown_key(key, known, prefix, what))
    return values


def unknown_key(key: str, known: Sequence[str], prefix: str, what: str) -> str:
    """Return the sentence about a key that nobody knows, with the nearest one that is known."""
    near = difflib.get_close_matches(key, known, 1)
    hint = f"did you mean {near[0]}?" if near else f"known here: {', '.join(dict.fromkeys(known))}"
    return f"{prefix}{key} is not a key of {what} ({hint})"


def _read(kind: Any, value: Any, key: str, mistakes: list[str], what: str) -> Any:
    """Return a value of the wanted kind, or note what is wrong with it."""
    if typing.get_origin(kind) is types.UnionType:  # `Supply | None`: a file can only say the first
        kind = typing.get_args(kind)[0]
    if isinstance(kind, type) and dataclasses.is_dataclass(kind):
        return _read_table(kind, value, key, mistakes, what)
    if kind == tuple[float, ...]:
        if isinstance(value, list) and all(
            isinstance(x, int | float) and not isinstance(x, bool) for x in value
        ):
            try:
                return tuple(float(number) for number in value)
            except OverflowError:
                digits = max(len(str(abs(number))) for number in value if isinstance(number, int))
                mistakes.append(f"{key} has a number of {digits} digits, but no part can have that")
                return None
        mistakes.append(f"{key} must be a list of numbers")
        return None
    if typing.get_origin(kind) is tuple:
        if isinstance(value, list) and all(isinstance(item, str) for item in value):
            return tuple(value)
        mistakes.append(f"{key} must be a list of names in quotes")
        return None
    wanted = {float: "a number", int: "a whole number", str: "text in quotes", bool: "true or false"}[kind]
    if kind is float and isinstance(value, int) and not isinstance(value, bool):
        try:
            value = float(value)
        except OverflowError:
            mistakes.append(f"{key} has {len(str(value))} digits, but must be a number that a part can have")
            return None
    if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
        mistakes.append(f"{key} is {value!r}, but must be {wanted}")
        return None
    return value


def _read_table(kind: type, value: Any, key: str, mistakes: list[str], what: str) -> Any:
    """Return a dataclass from its table, or note what is wrong with it."""
    if not isinstance(value, dict):
        mistakes.append(f"{key} must be a table")
        return None
    before = len(mistakes)
    values = read_fields(kind, value, f"{key}.", mistakes, what)
    if len(mistakes) > before:
        return None
    try:
        return kind(**values)
    except BadParameter as error:
        mistakes.append(f"{key}.{error}")
    except TypeError:
        needed = [
            f.name
            for f in dataclasses.fields(kind)
            if f.default is dataclasses.MISSING and f.name not in values
        ]
        mistakes.append(f"{key} lacks {', '.join(needed)}")
    return None
