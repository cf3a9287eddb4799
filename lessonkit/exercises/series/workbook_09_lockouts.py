"""The exercises of workbook 09 about lockouts: at a moment on a bench, read from a year, and set well.

An outdoor thermostat opens contacts. What then runs is for the bench to say; what a setting costs in a year,
and where heat is missing, is for the season.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np

from lessonkit.bench.patient import PatientBench
from lessonkit.exercises.compare import Choice, Number, Record, Table
from lessonkit.exercises.core import Exercise, Givens, WrongModel
from lessonkit.exercises.slips import row_slips
from lessonkit.job.toml import demo_job
from lessonkit.studies.balance import thermal_balance_c
from lessonkit.studies.house import House, load_house
from lessonkit.studies.season import Season, season
from lessonkit.studies.weather import Weather, load_weather

# 9.5: what heats at this moment ---------------------------------------------------------------------------

PUMP, SECOND, BOTH, NEITHER = "heat pump", "auxiliary heat", "both", "neither"
_HEATS = (PUMP, SECOND, BOTH, NEITHER)
_ROWS = ("moment 1", "moment 2", "moment 3")


class Moment(NamedTuple):
    """A kind of moment: the call, where the air lies among the lockouts, and whether the pins are joined."""

    call: str
    air: str
    pins: bool = False


_MOMENTS = (
    Moment("heat-1", "cold"),
    Moment("heat-aux", "warm"),
    Moment("heat-aux", "between"),
    Moment("heat-aux", "cold"),
    Moment("emergency", "warm"),
    Moment("heat-1", "warm", pins=True),
)
_COLD_HEAT_1, _WARM_AUX, _BETWEEN, _, _WARM_EMERGENCY, _DEFROST = range(len(_MOMENTS))


def _moment_variant(rng: random.Random) -> Givens:
    while True:
        drawn = []
        for k in rng.sample(range(len(_MOMENTS)), 3):
            below_c = rng.randrange(-10, 0, 2)
            above_c = below_c + 4
            air_c = {"cold": below_c - 2, "between": below_c + 1, "warm": above_c + 2}[_MOMENTS[k].air]
            drawn.append((k, rng.choice(("electric", "fossil")), above_c, below_c, air_c))
        if len({_heated(*one) for one in drawn}) >= 2:
            return {"moments": tuple(drawn)}


@lru_cache(maxsize=512)
def _heated(k: int, heat: str, above_c: float, below_c: float, air_c: float) -> str:
    """Return what heats on a bench under such a moment."""
    moment = _MOMENTS[k]
    job = demo_job("full-cable").with_equipment(heat=heat)
    job = job.with_outdoor_thermostat(auxiliary_above_c=float(above_c), compressor_below_c=float(below_c))
    bench = PatientBench(job, call=moment.call, outdoor_c=float(air_c))
    bench.pass_time(900 if moment.pins else 120)
    if moment.pins:
        bench.force_defrost()
        bench.pass_time(60)
    runs = bench.responding
    pump, second = runs["compressor stage 1"] != "off", runs["auxiliary heat"] != "off"
    return {(True, True): BOTH, (True, False): PUMP, (False, True): SECOND}.get((pump, second), NEITHER)


def _moment_question(givens: Givens) -> str:
    rows = []
    for name, (k, heat, above_c, below_c, air_c) in zip(_ROWS, givens["moments"], strict=True):
        moment, what = _MOMENTS[k], "electric heat" if heat == "electric" else "a furnace"
        when = f"`{moment.call}`" + (", in the middle of a defrost" if moment.pins else "")
        rows.append(f"| {name} | {what} | above {above_c} °C | below {below_c} °C | {air_c} °C | {when} |")
    return (
        "Three sites, each with a heat pump and auxiliary heat. An outdoor thermostat locks out auxiliary "
        "heat above one temperature, and the compressor below another one:\n\n"
        "| | auxiliary heat | it is locked out | compressor locked out | outdoors | what is called |\n"
        "| --- | --- | --- | --- | --- | --- |\n"
        + "\n".join(rows)
        + "\n\nWhich machine runs: `heat pump`, `auxiliary heat`, `both` or `neither`? (In a defrost the "
        "heat pump counts as running.)"
    )


def _heating(givens: Givens) -> dict[str, str]:
    return {name: _heated(*one) for name, one in zip(_ROWS, givens["moments"], strict=True)}


def _instead(k: int, word: str, heat: str = "") -> Callable[[Givens], dict[str, str] | None]:
    """Return a model that says this word of one kind of moment (with one kind of auxiliary heat)."""

    def wrong(givens: Givens) -> dict[str, str] | None:
        for name, one in zip(_ROWS, givens["moments"], strict=True):
            if one[0] == k and heat in ("", one[1]):
                return {**_heating(givens), name: word}
        return None

    return wrong


MOMENTS = Exercise(
    id="9.5",
    title="What runs now",
    points=3,
    variant=_moment_variant,
    question=_moment_question,
    solve=_heating,
    compare=Table(_ROWS, Choice(_HEATS)),
    wrong_models=(
        WrongModel(
            "the other one comes by itself",
            "A lockout only opens a contact. Who has called for anything but the compressor under `heat-1`?",
            _instead(_COLD_HEAT_1, SECOND),
        ),
        WrongModel(
            "emergency is locked out",
            "A person has chosen emergency heat. By which way does E go: through the outdoor thermostat or "
            "past it?",
            _instead(_WARM_EMERGENCY, NEITHER),
        ),
        WrongModel(
            "emergency with the heat pump",
            "Emergency heat is there for a heat pump that is broken. Does it call Y1?",
            _instead(_WARM_EMERGENCY, BOTH),
        ),
        WrongModel(
            "defrost is locked out",
            "A defrost takes heat out of the house. Does its request D join before or behind the lockout?",
            _instead(_DEFROST, PUMP),
        ),
        WrongModel(
            "furnace beside the heat pump",
            "A furnace heats the coil of the heat pump from outside. What does the interlock do to Y1?",
            _instead(_BETWEEN, BOTH, "fossil"),
        ),
        WrongModel(
            "electric heat takes the place",
            "Electric heat stands behind the coil of the heat pump. Has anything opened Y1 in this air?",
            _instead(_BETWEEN, SECOND, "electric"),
        ),
        WrongModel(
            "auxiliary heat in any air",
            "`heat-aux` calls W1. Is the contact in the path of W1 closed in this air?",
            _instead(_WARM_AUX, BOTH),
        ),
        *row_slips(
            _heating,
            3,
            {
                PUMP: "is the contact in the path of Y1 closed in that air, and does the call ask for Y1?",
                SECOND: "which call or request asks for it there, and which contact is in its way?",
                BOTH: "may both run there? Look at each contact in that air, and at the kind of heat.",
                NEITHER: "follow each letter of the call to its contact. One way to heat has no open one.",
            },
        ),
    ),
    nudge="For each moment: which letters does the call make live, and which contact is in the way of each?",
)


# 9.6: a year, by outdoor air ------------------------------------------------------------------------------

COMPRESSOR, AUXILIARY, BAND, HALF, WEAK, NOTHING = (
    "compressor lockout too high",
    "auxiliary lockout too low",
    "a gap between the lockouts",
    "part of the electric heat is dead",
    "the heat pump gives too little",
    "nothing is wrong",
)
_CAUSES = (COMPRESSOR, AUXILIARY, BAND, HALF, WEAK, NOTHING)
_SITES = ("house A", "house B")
_EDGES_C = (-30, -12, -8, -4, 0, 4, 18)


def _year_variant(rng: random.Random) -> Givens:
    return {
        "houses": tuple(
            (cause, rng.randrange(280, 331, 5), rng.randrange(0, 5)) for cause in rng.sample(_CAUSES, 2)
        )
    }


@lru_cache(maxsize=4)
def _weather() -> Weather:
    return load_weather("cold-valley")


def _house(ua: float, h1_w: float = 10000.0, h3_w: float = 6000.0, backup_w: float = 12000.0) -> House:
    """Return a house with a machine of this size, and lockouts that lock nothing out."""
    base = load_house("quern-hill")
    pump = base.heat_pump.high
    rating = replace(
        pump,
        capacity_h1_w=h1_w,
        power_h1_w=pump.power_h1_w * h1_w / pump.capacity_h1_w,
        capacity_h3_w=h3_w,
        power_h3_w=pump.power_h3_w * h3_w / pump.capacity_h3_w,
    )
    return replace(
        base.with_lockouts(compressor_below_c=None, auxiliary_above_c=None),
        load=replace(base.load, ua_w_per_k=float(ua), gains_w=3.0 * ua),
        heat_pump=replace(base.heat_pump, high=rating),
        backup=replace(base.backup, capacity_w=backup_w),
    )


def _balance_c(house: House) -> float:
    return thermal_balance_c(house.load, house.heat_pump.high)


@lru_cache(maxsize=512)
def _lived(cause: str, ua: float, shift: int) -> tuple[tuple[float, float, float], ...]:
    """Return percent of the heat from heat pump and electric heat, and percent missing, in each band."""
    house = _house(ua)
    if cause == HALF:
        house = _house(ua, backup_w=4000.0)
    elif cause == WEAK:
        house = _house(ua, 6500.0 - 100.0 * shift, 3900.0 - 60.0 * shift)
    balance_c = _balance_c(_house(ua))
    house = house.with_lockouts(
        compressor_below_c={COMPRESSOR: shift - 2.0, BAND: shift - 2.0}.get(cause, -20.0),
        auxiliary_above_c={AUXILIARY: balance_c - 4.0 - shift / 2, BAND: shift - 6.0}.get(cause, 4.0),
    )
    hours, bands = season(house, _weather()).hours, []
    for low_c, high_c in pairwise(_EDGES_C):
        here = (hours.outdoor_c >= low_c) & (hours.outdoor_c < high_c) & hours.heating
        parts = [float(np.sum(watts[here])) for watts in (hours.heat_pump_w, hours.backup_w, hours.unmet_w)]
        pump, backup, unmet = (100.0 * part / sum(parts) for part in parts)
        bands.append((pump, backup, unmet))
    return tuple(bands)


def _year_question(givens: Givens) -> str:
    tables = []
    for name, one in zip(_SITES, givens["houses"], strict=True):
        words = [f"below {_EDGES_C[1]} °C", *(f"{low} to {high} °C" for low, high in pairwise(_EDGES_C[1:]))]
        rows = "\n".join(
            f"| {word} | {pump:.0f} | {backup:.0f} | {unmet:.0f} |"
            for word, (pump, backup, unmet) in zip(words, _lived(*one), strict=True)
        )
        tables.append(
            f"**H{name[1:]}**, balance point by the maker's sheet {_balance_c(_house(one[1])):.1f} °C:\n\n"
            f"| outdoors | heat pump, % | electric heat, % | missing, % |\n| --- | --- | --- | --- |\n{rows}"
        )
    options = ", ".join(f"`{cause}`" for cause in _CAUSES)
    return (
        "Two houses with a heat pump and 12 kW of electric heat were watched for a winter. Of the heat that "
        "each "
        "house needed, so much came from where:\n\n"
        + "\n\n".join(tables)
        + f"\n\nWhat is wrong at each: {options}?"
    )


def _causes(givens: Givens) -> dict[str, str]:
    return {name: one[0] for name, one in zip(_SITES, givens["houses"], strict=True)}


DIAGNOSIS = Exercise(
    id="9.6",
    title="Read a winter",
    points=3,
    variant=_year_variant,
    question=_year_question,
    solve=_causes,
    compare=Table(_SITES, Choice(_CAUSES)),
    wrong_models=row_slips(
        _causes,
        2,
        {
            COMPRESSOR: "it takes the heat pump away below one temperature, and electric heat does all.",
            AUXILIARY: "it leaves heat missing just below the balance point, and none in deep cold.",
            BAND: "it shows as a band with no heat from anywhere, and heat on both sides of it.",
            HALF: "with less electric heat the deep cold alone is short, and the more so the colder it is.",
            WEAK: "a weak one needs help well above its balance point, and still gives its part in the cold.",
            NOTHING: "then the heat pump does all above its balance point, and nothing is missing.",
        },
    ),
    nudge="For each cause, say in which air it takes heat away and in which it does not. Then look for the "
    "first row in which the house differs from a sound one.",
)


# 9.8: lockouts are set ------------------------------------------------------------------------------------


def _design_variant(rng: random.Random) -> Givens:
    while True:
        h1_w = rng.randrange(8000, 12001, 200)
        givens: Givens = {
            "ua": rng.randrange(220, 361, 10),
            "h1_w": h1_w,
            "h3_w": int(round(0.6 * h1_w, -2)),
            "least_c": -rng.randrange(9, 18),
        }
        if -6.5 < _balance_c(_designed(givens)) < 2.0:
            return givens


def _designed(givens: Givens) -> House:
    return _house(givens["ua"], givens["h1_w"], givens["h3_w"], 16000.0)


@lru_cache(maxsize=2048)
def _year(ua: int, h1_w: int, h3_w: int, above_c: float, below_c: float) -> Season:
    house = _house(ua, h1_w, h3_w, 16000.0)
    return season(house.with_lockouts(auxiliary_above_c=above_c, compressor_below_c=below_c), _weather())


def _set_to(givens: Givens, above_c: float, below_c: float) -> Season:
    return _year(givens["ua"], givens["h1_w"], givens["h3_w"], above_c, below_c)


def _limits(givens: Givens) -> tuple[int, int]:
    """Return the most that a year may cost, and the most hours of electric heat without need."""
    widest = _set_to(givens, round(_balance_c(_designed(givens)) + 2.0, 1), givens["least_c"] + 2.0)
    return math.ceil(widest.cost), widest.needless_hours


def _design_question(givens: Givens) -> str:
    most, hours = _limits(givens)
    frosted_w = _designed(givens).heat_pump.high.frosted[0]
    return (
        f"A house loses {givens['ua']} W for each kelvin, and needs no heat from 18 °C on. Its heat pump "
        f"gives {givens['h1_w']} W at 8.3 °C (47 °F), {frosted_w:.0f} W at 1.7 °C (35 °F) with frost, and "
        f"{givens['h3_w']} W at -8.3 °C (17 °F), and there are 16 kW of electric heat. Set both lockouts for "
        "a year in the cold valley. (1) No heat is missing. (2) The maker wants the compressor locked out in "
        f"air colder than {givens['least_c']} °C: set its lockout there or above. (3) The year costs at most "
        f"{most}. (4) In at most {hours} hours is auxiliary heat allowed while the heat pump is large enough "
        "alone. Give both temperatures in degrees Celsius. More than one answer is right; the check lives "
        "through the year and says what your settings lead to."
    )


def judged(givens: Givens, answer: dict[str, Any]) -> str | None:
    """Return None for lockouts that keep all four wishes through a year, else a hint."""
    above_c, below_c = float(answer["auxiliary_above_c"]), float(answer["compressor_below_c"])
    if not (-40 <= above_c <= 40 and -40 <= below_c <= 40):
        return "An outdoor thermostat has no such setting. The question asks for degrees Celsius."
    if below_c >= above_c:
        return "Between your two settings nothing may heat at all. Which of the two has to be the lower one?"
    if below_c < givens["least_c"]:
        return "Your setting lets the compressor run in air that its maker forbids. Look at wish 2."
    found, (most, hours) = _set_to(givens, round(above_c, 2), round(below_c, 2)), _limits(givens)
    if found.unmet_kwh > 1.0:
        return f"In the year {found.unmet_kwh:.0f} kWh are missing. Look at wish 1: where may nothing help?"
    if found.cost > most:
        return (
            f"The year costs {found.cost:.0f}: electric heat does the work of the heat pump. Look at wish 3."
        )
    if found.needless_hours > hours:
        return f"In {found.needless_hours} hours auxiliary heat may run without need. Look at wish 4."
    return None


def _design(givens: Givens) -> dict[str, float]:
    """Return lockouts that work: a kelvin above the balance point, and just above the maker's limit."""
    return {
        "auxiliary_above_c": round(_balance_c(_designed(givens)) + 1.0, 1),
        "compressor_below_c": givens["least_c"] + 0.5,
    }


def _changed(**make: Callable[[Givens], float]) -> Callable[[Givens], dict[str, float]]:
    return lambda givens: {**_design(givens), **{name: at(givens) for name, at in make.items()}}


DESIGN = Exercise(
    id="9.8",
    title="Two lockouts for a house",
    points=4,
    variant=_design_variant,
    question=_design_question,
    solve=_design,
    compare=Record(
        (
            ("auxiliary_above_c", Number(rel=0.0, absolute=0.05, unit="°C")),
            ("compressor_below_c", Number(rel=0.0, absolute=0.05, unit="°C")),
        )
    ),
    rule=judged,
    wrong_models=(
        WrongModel(
            "auxiliary heat below the balance point",
            "Some pages advise that. In the air between this lockout and the balance point, what makes up "
            "the rest?",
            _changed(auxiliary_above_c=lambda givens: round(_balance_c(_designed(givens)) - 2.0, 1)),
        ),
        WrongModel(
            "auxiliary heat as usual",
            "A usual setting is never wrong for the warmth, but this house can do with less. Look at wish 4.",
            _changed(auxiliary_above_c=lambda givens: 4.4),
        ),
        WrongModel(
            "compressor at the balance point",
            "Below the balance point the heat pump still gives most of the heat, and cheaply. Look at wish "
            "3.",
            _changed(compressor_below_c=lambda givens: round(_balance_c(_designed(givens)), 1)),
        ),
        WrongModel(
            "compressor in any cold",
            "That is cheap, and its maker forbids it. Look at wish 2.",
            _changed(compressor_below_c=lambda givens: givens["least_c"] - 4.0),
        ),
        WrongModel(
            "settings swapped",
            "The one is locked out above its setting, the other one below. Which is which?",
            lambda givens: {
                "auxiliary_above_c": _design(givens)["compressor_below_c"],
                "compressor_below_c": _design(givens)["auxiliary_above_c"],
            },
        ),
    ),
)
