"""Surveys that nobody can use: whatever a key holds, the answer is one sentence with that key."""

from __future__ import annotations

import json
import math
import tomllib
from copy import deepcopy
from importlib import resources
from typing import Any

import pytest

from lessonkit.studies.arrangements import arrangements
from lessonkit.studies.survey import BadSurvey, survey_from_toml

TEXT = (resources.files("lessonkit") / "studies" / "surveys" / "kiln-yard.toml").read_text("utf-8")
WHOLE = tomllib.loads(TEXT) | {"thermostat": {"needs_common": True}, "ground": {"bonded": True, "ohm": 0.1}}
KEYS: dict[str, tuple[str, ...]] = {
    "supply": ("rated_va", "open_v", "fuse_a", "second_possible"),
    "equipment": ("stages", "valve", "heat", "outdoor_thermostat", "defrost_request"),
    "thermostat": ("needs_common",),
    "ground": ("bonded", "ohm"),
    "runs": ("name", "length_m", "gauge_awg", "conductors"),
    "conductors": ("label", "continuous", "loop_ohm", "insulation_mohm"),
}
HOLDS = (
    True, "", "x", "unknown", -1, 0, -1.5, 2.5, 3, 1e6, 1e308, 1e-300, math.nan, math.inf, 10**400, [], {},
)  # fmt: skip
TABLES = [(table, key) for table, keys in KEYS.items() for key in keys]


def toml(value: Any) -> str:
    """Return a value as TOML has it on one line."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {toml(one)}" for key, one in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    return str(value) if isinstance(value, float | int) and not isinstance(value, bool) else json.dumps(value)


def with_held(table: str, key: str, value: object) -> str:
    """Return the example survey with one key that holds something else."""
    survey = deepcopy(WHOLE)
    at = survey["runs"][0]
    at = {"runs": at, "conductors": at["conductors"][0]}.get(table) or survey.setdefault(table, {})
    at[key] = value
    return "\n".join(f"{name} = {toml(one)}" for name, one in survey.items())


@pytest.mark.parametrize(("table", "key"), TABLES)
def test_no_value_of_a_key_breaks_the_reader(table: str, key: str) -> None:
    """Each odd value is read, or refused in one short line that names the key or its table."""
    for value in HOLDS:
        try:
            survey_from_toml(with_held(table, key, value))
        except BadSurvey as refused:
            said = str(refused)
            assert len(said) < 260, value
            assert "\n" not in said
            assert key in said or table in said, value


@pytest.mark.parametrize(
    ("table", "key", "value", "says"),
    [
        ("supply", "open_v", 20.0, "open_v"),
        ("supply", "rated_va", 1e6, "rated_va"),
        ("runs", "length_m", 10**400, "length_m is 1000.*must be a number of metres that has an end"),
        ("conductors", "loop_ohm", math.inf, "loop_ohm is inf, but must be a number of ohms"),
        ("ground", "ohm", 1e-9, "ground.ohm is 1e-09, but must be from 0.0001"),
    ],
)
def test_what_no_site_has_is_refused_where_it_is_read(table: str, key: str, value: object, says: str) -> None:
    """Numbers that would leave a job impossible are named, and not told as too few conductors."""
    with pytest.raises(BadSurvey, match=says):
        survey_from_toml(with_held(table, key, value))


@pytest.mark.parametrize(
    ("table", "key", "value"),
    [
        ("runs", "length_m", 0.001),
        ("runs", "length_m", 500),
        ("ground", "ohm", 0.0001),
        ("ground", "ohm", 1e4),
    ],
)
def test_the_ends_of_what_is_allowed_make_a_job(table: str, key: str, value: float) -> None:
    """Length and ground at the least and the most that are allowed still make arrangements."""
    assert arrangements(survey_from_toml(with_held(table, key, value)))
