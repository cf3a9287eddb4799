"""Jobs from TOML and back.

The file mirrors the dataclasses of `job`: `[supply]`, `[equipment]` with its coils, `[runs.thermostat]`,
`[runs.outdoor]`, each with its `link`, and the electronics.  Everything has a default but the name.  Every
mistake in a file is named, all in one go, by `fields`.  A run whose conductors are left out has those
that its equipment needs.
"""

from __future__ import annotations

import dataclasses
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

import tomli_w

from lessonkit.errors import BadParameter, require_text, shown
from lessonkit.job.calls import INDOOR_TERMINALS
from lessonkit.job.fields import parse_toml, read_fields, read_text, unknown_key
from lessonkit.job.kit import EQUIPMENT
from lessonkit.job.model import BadJob, Job, Run

#: Keys that a file groups in a table of their own, and the fields of `Job` that they fill.
_RUNS = {"thermostat": "thermostat_run", "outdoor": "outdoor_run"}


@cache
def demo_names() -> tuple[str, ...]:
    """Return the names of the demo jobs, the simplest first."""
    order = (
        "full-cable",
        "earth-return",
        "wire-return",
        "two-run",
        "old-cable",
        "four-wire",
        "dual-fuel",
        "second-transformer",
        "out-of-phase",
        "isolated-receiver",
    )
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
    return _demo(name)


@cache
def _demo(name: str) -> Job:
    """Read a demo job, once: a job is a value, and a lesson asks for the same few hundreds of times."""
    text = resources.files("lessonkit").joinpath("job", "demos", f"{name}.toml").read_text(encoding="utf-8")
    return job_from_toml(text, f"{name}.toml")


def load_job(source: str | Path) -> Job:
    """Return the job in a TOML file, or the demo job of that name.

    Raises `BadJob`, which names the file and every mistake in it.
    """
    hint = f"give the path of a job file or a demo job ({', '.join(demo_names())})"
    if not isinstance(source, str | Path):
        raise BadJob((f"this is no job; {hint}",), shown(source))
    if str(source) in demo_names():
        return demo_job(str(source))
    path = Path(source)
    mistakes: list[str] = []
    text = read_text(path, hint, mistakes)
    if text is None:
        raise BadJob(tuple(mistakes), " ".join(str(source).split()))
    return job_from_toml(text, path.name)


def job_from_toml(text: str, where: str = "job") -> Job:
    """Return the job that a TOML text describes; `where` names it in errors."""
    mistakes: list[str] = []
    table = parse_toml(require_text("the text of a job", text, "text in TOML"), "a job", mistakes)
    if table is None:
        raise BadJob(tuple(mistakes), where)
    runs = table.pop("runs", {})
    for name in _RUNS.values():
        if name in table:
            mistakes.append(unknown_key(name, ["runs"], "", "a job"))
            del table[name]
    if isinstance(runs, dict):
        for name, run in runs.items():
            if name in _RUNS:
                table[_RUNS[name]] = run
            else:
                mistakes.append(unknown_key(name, list(_RUNS), "runs.", "a job"))
    else:
        mistakes.append("runs must be a table with thermostat and outdoor")
    if "name" not in table:
        mistakes.append("name is missing: give the job a short name")
    values = read_fields(
        Job, table, "", mistakes, "a job", {field: f"runs.{name}" for name, field in _RUNS.items()}
    )
    if not mistakes:
        _lay_cables(values, runs, mistakes)
    if mistakes:
        raise BadJob(tuple(mistakes), where)
    try:
        return Job(**values)
    except BadJob as error:
        raise BadJob(error.mistakes, where) from None


def _lay_cables(values: dict[str, Any], runs: dict[str, Any], mistakes: list[str]) -> None:
    """Give each run whose conductors a file leaves out the usual ones for its equipment and its return.

    A direct run has a conductor for every terminal, a link has no more than it needs.
    """
    kit = values.get("equipment", EQUIPMENT)
    for name, field in _RUNS.items():
        run = values.get(field, Run())
        if "conductors" in runs.get(name, {}):
            continue
        outdoors = name == "outdoor"
        calls = [t for t in kit.call_terminals if not (outdoors and t in INDOOR_TERMINALS)]
        defrost = ["D"] if outdoors and kit.valve != "none" else []
        usual = ["R", "C", *calls, *defrost]
        if run.arrangement == "link":
            usual = {"wire": ["R", "SIG", "C"], "earth": ["R", "SIG"]}.get(run.return_by, ["SIG", "C"])
        try:
            values[field] = dataclasses.replace(run, conductors=tuple(usual))
        except BadParameter as error:  # ohms of conductors that were not named
            mistakes.append(f"runs.{name}.{error}")


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
