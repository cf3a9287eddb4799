"""A survey: what is in the wall, and what has to be connected.

    title = "Old tannery, flat 3"
    [supply]        rated_va, open_v, fuse_a, second_possible
    [equipment]     stages, valve, heat, outdoor_thermostat, defrost_request
    [thermostat]    needs_common
    [ground]        bonded (true, false or "unknown"), ohm
    [[runs]]        name ("thermostat" or "outdoor"), length_m and gauge_awg if known
    [[runs.conductors]]   label, continuous (true, false or "unknown"), loop_ohm, insulation_mohm

`loop_ohm` is what an ohmmeter reads at one end with this conductor and a good one joined at the other, less
the good one's share: the resistance of this conductor there and back, so half of it is the conductor's own.
What is missing is inferred where copper allows it, and said: length from ohms and gauge, gauge from ohms and
length.  A reading is not a promise: a conductor is **sound** if it is continuous, its insulation holds and
its ohms are near those of its fellows; **unproven** where something was not measured; **bad** otherwise.

Limits: insulation of 0.5 megohm at 250 V DC (BS 7671, SELV and PELV circuits); ohms of more than 120 % of
what the length gives, or of the run's median, are a reject (a guide specification's sentence; common
practice).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from importlib import resources
from pathlib import Path
from statistics import median
from typing import Any, TypeAlias

from lessonkit.copper.wire import resistance_per_m
from lessonkit.errors import BadParameter, LessonError, require, shown
from lessonkit.job.calls import check_valve
from lessonkit.job.fields import parse_toml, read_text, unknown_key
from lessonkit.job.model import RUN_ENDS
from lessonkit.job.supply import Supply

#: Insulation below this is bad (megohms at 250 V DC).
LEAST_MOHM = 0.5
#: Ohms above this share of what is expected are bad.
MOST_OHMS = 1.2
GAUGES = tuple(range(12, 27))


class BadSurvey(LessonError, ValueError):
    """A survey that can't be used; `mistakes` lists every one found, each with the key it is under."""

    def __init__(self, mistakes: tuple[str, ...], where: str = "survey") -> None:
        self.mistakes, self.where = mistakes, where
        super().__init__(f"{where}: " + "; ".join(mistake.rstrip(".") for mistake in mistakes) + ".")


@dataclass(frozen=True)
class WallConductor:
    """One conductor of a run as it was found; None is "unknown" or not measured."""

    label: str
    continuous: bool | None = None
    loop_ohm: float | None = None
    insulation_mohm: float | None = None

    @property
    def ohm(self) -> float | None:
        """Return the conductor's own ohms from end to end: half the loop."""
        return None if self.loop_ohm is None else self.loop_ohm / 2


@dataclass(frozen=True)
class WallRun:
    """One cable in the wall."""

    name: str
    conductors: tuple[WallConductor, ...]
    length_m: float | None = None
    gauge_awg: int | None = None

    def expected_ohm(self) -> float | None:
        """Return the ohms of one conductor by length and gauge, or else the median of what was measured."""
        if self.length_m is not None and self.gauge_awg is not None:
            return resistance_per_m(self.gauge_awg, 20.0) * self.length_m
        measured = [c.ohm for c in self.conductors if c.ohm is not None and c.continuous is not False]
        return median(measured) if measured else None

    def verdict(self, conductor: WallConductor) -> tuple[str, str]:
        """Return "sound", "unproven" or "bad" for a conductor, and why."""
        if conductor.continuous is False:
            return "bad", "it is not continuous"
        low = conductor.insulation_mohm
        if low is not None and low < LEAST_MOHM:
            return "bad", f"its insulation is {low:g} Mohm, below {LEAST_MOHM:g}"
        expected, ohm = self.expected_ohm(), conductor.ohm
        if ohm is not None and expected is not None and ohm > MOST_OHMS * expected + 0.05:
            return "bad", f"it has {ohm:.2f} ohm, where about {expected:.2f} is expected"
        missing = [
            words
            for words, known in (
                ("continuity", conductor.continuous is not None),
                ("ohms", ohm is not None),
                ("insulation", low is not None),
            )
            if not known
        ]
        if missing:
            return "unproven", f"not measured: {', '.join(missing)}"
        return "sound", ""

    def inferred(self) -> tuple[float, int, tuple[str, ...]]:
        """Return length (m) and gauge (AWG) to reckon with, and what of it was inferred, in words."""
        ohm = self.expected_ohm()
        if self.length_m is not None and self.gauge_awg is not None:
            return self.length_m, self.gauge_awg, ()
        if self.length_m is not None:
            if ohm is None:
                return self.length_m, 18, (f"{self.name}: gauge not known, 18 AWG assumed",)
            gauge = min(GAUGES, key=lambda awg: abs(resistance_per_m(awg, 20.0) * _length(self) - ohm))
            return self.length_m, gauge, (f"{self.name}: gauge inferred from ohms and length, {gauge} AWG",)
        gauge = self.gauge_awg or 18
        told = () if self.gauge_awg else (f"{self.name}: gauge not known, 18 AWG assumed",)
        if ohm is None:
            return 30.0, gauge, (*told, f"{self.name}: length not known, 30 m assumed")
        length = min(ohm / resistance_per_m(gauge, 20.0), 500.0)
        return length, gauge, (*told, f"{self.name}: length inferred from ohms, {length:.0f} m")


def _length(run: WallRun) -> float:
    assert run.length_m is not None
    return run.length_m


@dataclass(frozen=True)
class Survey:
    """A whole site as it was found, and what has to be connected.

    `bonded` says whether equipment ground outdoors is bonded (None: unknown), `ground_ohm` what was measured
    of it; `second_possible` whether a second transformer has room and power outdoors.
    """

    title: str
    runs: tuple[WallRun, ...]
    rated_va: float = 40.0
    open_v: float = 27.6
    fuse_a: float = 3.0
    second_possible: bool = False
    stages: int = 2
    valve: str = "O"
    heat: str = "electric"
    outdoor_thermostat: bool = False
    defrost_request: bool = True
    needs_common: bool = True
    bonded: bool | None = None
    ground_ohm: float | None = None

    def run(self, name: str) -> WallRun:
        """Return the run of that name."""
        return next(run for run in self.runs if run.name == name)

    def verdict(self, run: str, label: str) -> str:
        """Return "sound", "unproven" or "bad" for the conductor of that label."""
        wall = self.run(run)
        known = [c.label for c in wall.conductors]
        require(label in known, "label", label, f"one of {', '.join(known)}")
        return wall.verdict(wall.conductors[known.index(label)])[0]

    def with_conductor(self, run: str, label: str, **found: Any) -> Survey:
        """Return the survey with what was found of one conductor; a label that is not there yet is added.

        `found` are keys of a conductor as in a file: `continuous`, `loop_ohm`, `insulation_mohm`. Raises
        `BadSurvey`.
        """
        require(run in RUN_ENDS, "run", run, f"one of {', '.join(RUN_ENDS)}")
        mistakes: list[str] = []
        values = _checked(found, _CONDUCTOR_KEYS, f"{run} {label}: ", mistakes)
        if "continuous" in values:
            values["continuous"] = _known(values["continuous"], f"{run} {label}: continuous", mistakes)
        wall = self.run(run)
        known = label in [c.label for c in wall.conductors]
        there = wall.conductors if known else (*wall.conductors, WallConductor(label))
        changed = replace(
            wall, conductors=tuple(replace(c, **values) if c.label == label else c for c in there)
        )
        return self._checked_with(mistakes, runs=tuple(changed if r.name == run else r for r in self.runs))

    def with_ground(self, **found: Any) -> Survey:
        """Return the survey with what was found of equipment ground: `bonded`, `ohm`. Raises `BadSurvey`."""
        mistakes: list[str] = []
        values = _checked(found, _KEYS["ground"], "ground.", mistakes)
        if "bonded" in values:
            values["bonded"] = _known(values["bonded"], "ground.bonded", mistakes)
        if "ohm" in values:
            values["ground_ohm"] = values.pop("ohm")
        return self._checked_with(mistakes, **values)

    def _checked_with(self, mistakes: list[str], **changes: Any) -> Survey:
        if mistakes:
            raise BadSurvey(tuple(mistakes), self.title)
        return checked_survey(replace(self, **changes))


#: Table -> key -> (kinds, what it has to be).
_NUMBER, _WHOLE, _TRUTH, _TEXT = (int, float), (int,), (bool,), (str,)
_Keys: TypeAlias = Mapping[str, tuple[tuple[type, ...], str]]
_KEYS: Mapping[str, _Keys] = {
    "supply": {
        "rated_va": (_NUMBER, "a number of VA"),
        "open_v": (_NUMBER, "a number of volts"),
        "fuse_a": (_NUMBER, "a number of amperes"),
        "second_possible": (_TRUTH, "true or false"),
    },
    "equipment": {
        "stages": (_WHOLE, "1 or 2"),
        "valve": (_TEXT, "O, B or none"),
        "heat": (_TEXT, "electric or fossil"),
        "outdoor_thermostat": (_TRUTH, "true or false"),
        "defrost_request": (_TRUTH, "true or false"),
    },
    "thermostat": {"needs_common": (_TRUTH, "true or false")},
    "ground": {
        "bonded": ((bool, str), 'true, false or "unknown"'),
        "ohm": (_NUMBER, "a number of ohms"),
    },
}
_RUN_KEYS: _Keys = {
    "name": (_TEXT, "thermostat or outdoor"),
    "length_m": (_NUMBER, "a number of metres"),
    "gauge_awg": (_WHOLE, "a whole number from 12 to 26"),
    "conductors": ((list,), "a list of tables"),
}
_CONDUCTOR_KEYS: _Keys = {
    "label": (_TEXT, "text in quotes: what is written at its end"),
    "continuous": ((bool, str), 'true, false or "unknown"'),
    "loop_ohm": (_NUMBER, "a number of ohms, there and back"),
    "insulation_mohm": (_NUMBER, "a number of megohms"),
}


def survey_names() -> tuple[str, ...]:
    """Return the names of the example surveys."""
    folder = resources.files("lessonkit").joinpath("studies", "surveys")
    return tuple(sorted(Path(file.name).stem for file in folder.iterdir() if file.name.endswith(".toml")))


def load_survey(source: str | Path) -> Survey:
    """Return the survey in a TOML file, or the example of that name.

    Raises `BadSurvey`, which names the file and every mistake in it.
    """
    names = survey_names()
    if str(source) in names:
        folder = resources.files("lessonkit").joinpath("studies", "surveys")
        return survey_from_toml(folder.joinpath(f"{source}.toml").read_text("utf-8"), f"{source}.toml")
    mistakes: list[str] = []
    hint = f"give the path of a survey file or an example ({', '.join(names)})"
    text = read_text(Path(source), hint, mistakes)
    if text is None:
        raise BadSurvey(tuple(mistakes), str(source))
    return survey_from_toml(text, Path(source).name)


def survey_from_toml(text: str, where: str = "survey") -> Survey:
    """Return the survey that a TOML text describes; `where` names it in errors."""
    mistakes: list[str] = []
    table = parse_toml(text, "a survey", mistakes)
    if table is None:
        raise BadSurvey(tuple(mistakes), where)
    values: dict[str, Any] = {"title": table.pop("title", "")}
    if not isinstance(values["title"], str) or not values["title"].strip():
        mistakes.append("title is missing: say which site this is")
    for name, keys in _KEYS.items():
        found = _checked(table.pop(name, {}), keys, f"{name}.", mistakes)
        values |= {{"ohm": "ground_ohm"}.get(key, key): value for key, value in found.items()}
    if "bonded" in values:
        values["bonded"] = _known(values["bonded"], "ground.bonded", mistakes)
    values["runs"] = _runs(table.pop("runs", None), mistakes)
    mistakes += [unknown_key(key, ["title", "runs", *_KEYS], "", "a survey") for key in table]
    if not mistakes:
        mistakes += _senseless(values)
    if mistakes:
        raise BadSurvey(tuple(mistakes), where)
    return Survey(**values)


def checked_survey(survey: Survey) -> Survey:
    """Return a survey that was put together by hand, after the checks that a file's values pass.

    Raises `BadSurvey` for values that no site can have.
    """
    mistakes = _senseless(vars(survey))
    if mistakes:
        raise BadSurvey(tuple(mistakes), survey.title)
    return survey


def _checked(table: Any, keys: _Keys, prefix: str, mistakes: list[str]) -> dict[str, Any]:
    if not isinstance(table, dict):
        mistakes.append(f"{prefix.rstrip('.')} must be a table")
        return {}
    found = {}
    for key, value in table.items():
        if key not in keys:
            mistakes.append(unknown_key(key, list(keys), prefix, "a survey"))
            continue
        kinds, wanted = keys[key]
        if not isinstance(value, kinds) or (isinstance(value, bool) and bool not in kinds):
            mistakes.append(f"{prefix}{key} is {shown(value)}, but must be {wanted}")
        elif isinstance(value, int | float) and not _is_finite(value):
            mistakes.append(f"{prefix}{key} is {shown(value)}, but must be {wanted} that has an end")
        else:
            found[key] = value
    return found


def _is_finite(value: float) -> bool:
    try:
        return math.isfinite(value)
    except OverflowError:  # a whole number of hundreds of digits
        return False


def _known(value: Any, key: str, mistakes: list[str]) -> bool | None:
    if isinstance(value, str):
        if value != "unknown":
            mistakes.append(f'{key} is {value!r}, but must be true, false or "unknown"')
        return None
    return bool(value)


def _runs(listed: Any, mistakes: list[str]) -> tuple[WallRun, ...]:
    if not isinstance(listed, list) or not listed:
        mistakes.append("runs is missing: give [[runs]] tables for thermostat and outdoor")
        return ()
    found = []
    for k, table in enumerate(listed, 1):
        prefix = f"runs[{k}]."
        values = _checked(table, _RUN_KEYS, prefix, mistakes)
        conductors = []
        for n, inner in enumerate(values.pop("conductors", []), 1):
            one = _checked(inner, _CONDUCTOR_KEYS, f"{prefix}conductors[{n}].", mistakes)
            if "continuous" in one:
                one["continuous"] = _known(one["continuous"], f"{prefix}conductors[{n}].continuous", mistakes)
            if not one.get("label"):
                mistakes.append(f"{prefix}conductors[{n}].label is missing: say what is written at its end")
                continue
            conductors.append(WallConductor(**one))
        if "name" not in values:
            mistakes.append(f"{prefix}name is missing: thermostat or outdoor")
            continue
        found.append(WallRun(conductors=tuple(conductors), **values))
    names = [run.name for run in found]
    for name in RUN_ENDS:
        if names.count(name) != 1 and not mistakes:
            mistakes.append(f"runs has {names.count(name)} tables named {name}, but must have one")
    for name in names:
        if name not in RUN_ENDS:
            mistakes.append(f"runs.name is {name!r}, but must be thermostat or outdoor")
    return tuple(found)


def _senseless(values: dict[str, Any]) -> list[str]:
    """Return what no site can have, each with its key."""
    wrong = []

    def check(key: str, test: Any) -> None:
        try:
            test()
        except BadParameter as error:
            wrong.append(f"{key}: {error}")

    if "valve" in values:
        check("equipment", lambda: check_valve(values["valve"]))
    if "stages" in values:
        stages = values["stages"]
        check("equipment", lambda: require(stages in (1, 2), "stages", stages, "1 or 2"))
    if "heat" in values:
        heat = values["heat"]
        check(
            "equipment", lambda: require(heat in ("electric", "fossil"), "heat", heat, "electric or fossil")
        )
    supply = {key: values[key] for key in ("rated_va", "open_v", "fuse_a") if key in values}
    check("supply", lambda: Supply(**supply))
    for run in values["runs"]:
        labels = [c.label for c in run.conductors]
        twice = sorted({label for label in labels if labels.count(label) > 1})
        if twice:
            wrong.append(f"runs.{run.name}: label {twice[0]!r} is there twice; write a number behind it")
        for number, key in ((run.length_m, "length_m"),):
            if number is not None and not 0.001 <= number <= 500:
                wrong.append(f"runs.{run.name}.{key} is {number:g}, but must be from 0.001 to 500 m")
        if run.gauge_awg is not None and run.gauge_awg not in GAUGES:
            wrong.append(f"runs.{run.name}.gauge_awg is {shown(run.gauge_awg)}, but must be from 12 to 26")
        for c in run.conductors:
            for value, key in ((c.loop_ohm, "loop_ohm"), (c.insulation_mohm, "insulation_mohm")):
                if value is not None and not 0.001 <= value <= 1e6:
                    must = "must be above 0: from 0.001 to 1000000"
                    wrong.append(f"runs.{run.name} {c.label}: {key} is {value:g}, but {must}")
    ground = values.get("ground_ohm")
    if ground is not None and not 0.0001 <= ground <= 1e4:
        wrong.append(f"ground.ohm is {ground:g}, but must be from 0.0001 to 10000 ohm")
    return wrong
