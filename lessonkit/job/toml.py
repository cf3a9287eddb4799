"""Jobs from TOML and back.

The file mirrors the dataclasses of `job`: `[supply]`, `[equipment]` with its coils, `[runs.thermostat]`,
`[runs.outdoor]`, each with its `link`, and the electronics.  Everything has a default but the name.  Every
mistake in a file is named, all in one go: the file, the key, what is wrong and what is allowed.  Unknown
keys are refused, since a misspelt key that is quietly passed over is the hardest fault of all to find.
"""

from __future__ import annotations

import dataclasses
import difflib
import tomllib
import types
import typing
from importlib import resources
from pathlib import Path
from typing import Any

import tomli_w

from lessonkit.errors import BadParameter
from lessonkit.job.model import BadJob, Job

#: Keys that a file groups in a table of their own, and the fields of `Job` that they fill.
_RUNS = {"thermostat": "thermostat_run", "outdoor": "outdoor_run"}


def demo_names() -> tuple[str, ...]:
    """Return the names of the demo jobs, the simplest first."""
    order = ("full-cable", "earth-return", "wire-return", "two-run")
    found = {
        Path(entry.name).stem
        for entry in resources.files("lessonkit").joinpath("job", "demos").iterdir()
        if entry.name.endswith(".toml")
    }
    return tuple(name for name in order if name in found) + tuple(sorted(found - set(order)))


def demo_job(name: str) -> Job:
    """Return one of the demo jobs.

    Raises `BadParameter` for a name that is none.
    """
    if name not in demo_names():
        raise BadParameter("demo job", name, f"one of {', '.join(demo_names())}")
    text = resources.files("lessonkit").joinpath("job", "demos", f"{name}.toml").read_text(encoding="utf-8")
    return job_from_toml(text, f"{name}.toml")


def load_job(source: str | Path) -> Job:
    """Return the job in a TOML file, or the demo job of that name.

    Raises `BadJob`, which names the file and every mistake in it.
    """
    if str(source) in demo_names():
        return demo_job(str(source))
    path = Path(source)
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        hint = f"give the path of a job file or a demo job ({', '.join(demo_names())})"
        raise BadJob((f"there is no such file; {hint}",), str(source)) from None
    except UnicodeDecodeError:
        raise BadJob(("the file is not UTF-8 text; save it as UTF-8",), str(source)) from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise BadJob((f"the file can't be read ({why})",), str(source)) from None
    return job_from_toml(text, path.name)


def job_from_toml(text: str, where: str = "job") -> Job:
    """Return the job that a TOML text describes; `where` names it in errors."""
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadJob((f"this is not TOML: {error}",), where) from None
    except RecursionError:
        raise BadJob(("this is nested too deeply for a job",), where) from None
    except ValueError:  # Python reads no whole number of thousands of digits
        raise BadJob(("a number in it has more digits than any part of a job can need",), where) from None
    mistakes: list[str] = []
    runs = table.pop("runs", {})
    for name in _RUNS.values():
        if name in table:
            mistakes.append(_unknown(name, ["runs"], ""))
            del table[name]
    if isinstance(runs, dict):
        for name, run in runs.items():
            if name in _RUNS:
                table[_RUNS[name]] = run
            else:
                mistakes.append(_unknown(name, list(_RUNS), "runs."))
    else:
        mistakes.append("runs must be a table with thermostat and outdoor")
    if "name" not in table:
        mistakes.append("name is missing: give the job a short name")
    values = _read_fields(Job, table, "", mistakes)
    if mistakes:
        raise BadJob(tuple(mistakes), where)
    try:
        return Job(**values)
    except BadJob as error:
        raise BadJob(error.mistakes, where) from None


def job_to_toml(job: Job) -> str:
    """Return the job as TOML, every value said; reading it back gives an equal job."""
    table = _to_table(job)
    table["runs"] = {name: table.pop(field) for name, field in _RUNS.items()}
    return tomli_w.dumps(table)


def _to_table(value: Any) -> dict[str, Any]:
    table: dict[str, Any] = {}
    for field in dataclasses.fields(value):
        item = getattr(value, field.name)
        if item is not None:
            key = field.metadata.get("key", field.name)
            table[key] = (
                _to_table(item)
                if dataclasses.is_dataclass(item)
                else list(item)
                if isinstance(item, tuple)
                else item
            )
    return table


def _read(kind: Any, value: Any, key: str, mistakes: list[str]) -> Any:
    """Return a value of the wanted kind, or note what is wrong with it."""
    if typing.get_origin(kind) is types.UnionType:  # `Supply | None`: a file can only say the first
        kind = typing.get_args(kind)[0]
    if isinstance(kind, type) and dataclasses.is_dataclass(kind):
        if not isinstance(value, dict):
            mistakes.append(f"{key} must be a table")
            return None
        before = len(mistakes)
        values = _read_fields(kind, value, f"{key}.", mistakes)
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


def _read_fields(kind: type, table: dict[str, Any], prefix: str, mistakes: list[str]) -> dict[str, Any]:
    """Return the fields of a dataclass that a table gives; every key that is no field is a mistake."""
    hints = typing.get_type_hints(kind)
    fields = {field.metadata.get("key", field.name): field.name for field in dataclasses.fields(kind)}
    values = {}
    for key, value in table.items():
        if key in fields:
            values[fields[key]] = _read(hints[fields[key]], value, _shown(f"{prefix}{key}"), mistakes)
        else:
            mistakes.append(_unknown(key, list(fields), prefix))
    return values


def _unknown(key: str, known: list[str], prefix: str) -> str:
    near = difflib.get_close_matches(key, known, 1)
    spelled = ["runs" if name in _RUNS.values() else name for name in known]
    hint = f"did you mean {near[0]}?" if near else f"known here: {', '.join(dict.fromkeys(spelled))}"
    return f"{prefix}{key} is not a key of a job ({hint})"


def _shown(key: str) -> str:
    """Return a key as the file spells it."""
    for name, field in _RUNS.items():
        key = key.replace(field, f"runs.{name}")
    return key
