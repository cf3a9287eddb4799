"""The exercises of workbook 09, cold days: a balance point, a day of starts and stops, frost taken off.

This room holds the three that are worked out for a machine alone; `workbook_09_money` has those about prices
and about what stands in print, `workbook_09_lockouts` those about lockouts, on a bench and through a year.
"""

from __future__ import annotations

import random
from collections.abc import Callable

from lessonkit.exercises.compare import Number, Record
from lessonkit.exercises.core import Exercise, Givens, WrongModel
from lessonkit.exercises.series.workbook_09_lockouts import DESIGN, DIAGNOSIS, MOMENTS
from lessonkit.exercises.series.workbook_09_money import CHANGEOVER, PRINTED
from lessonkit.studies.balance import thermal_balance_c
from lessonkit.studies.customary import c_to_f
from lessonkit.studies.frost import defrost_derating
from lessonkit.studies.house import Load
from lessonkit.studies.ratings import CYCLING_LOSS, H3_C, Rating, part_load_factor

TITLE = "Cold days"


# 9.1: a balance point -------------------------------------------------------------------------------------


def _balance_variant(rng: random.Random) -> Givens:
    while True:
        h1_w = rng.randrange(8000, 14001, 200)
        h3_w = round(h1_w * rng.uniform(0.5, 0.68), -2)
        givens: Givens = {
            "ua_w_per_k": rng.randrange(200, 501, 10),
            "no_load_c": rng.randrange(32, 38) / 2,
            "h1_w": h1_w,
            "h3_w": int(h3_w),
            "h2_w": int(round(0.9 * (h3_w + 0.6 * (h1_w - h3_w)), -1)),
        }
        # Well inside the frost region, where the two lines differ, and not at zero.
        if -7.0 < _balance_c(givens) < 1.4 and abs(_balance_c(givens)) > 0.3 and _dry_c(givens) is not None:
            return givens


def _load(givens: Givens, no_load_c: float) -> Load:
    """Return the load of a house that needs nothing from `no_load_c` on."""
    return Load(ua_w_per_k=float(givens["ua_w_per_k"]), indoor_c=no_load_c)


def _rating(givens: Givens) -> Rating:
    # Power plays no part in a balance point.
    return Rating(givens["h1_w"], 1000.0, givens["h3_w"], 900.0, capacity_h2_w=givens["h2_w"])


def _balance_c(givens: Givens) -> float:
    return thermal_balance_c(_load(givens, givens["no_load_c"]), _rating(givens))


def _dry_c(givens: Givens) -> float | None:
    """Return where the line without frost meets the load, where that can be told from the right answer."""
    dry_c = thermal_balance_c(_load(givens, givens["no_load_c"]), _rating(givens), frost=False)
    return dry_c if abs(dry_c - _balance_c(givens)) > 0.5 else None


def _balance_question(givens: Givens) -> str:
    return (
        f"A house loses {givens['ua_w_per_k']} W for each kelvin. At {givens['no_load_c']:g} °C outdoors and "
        "above it needs no heat, thanks to people, lamps and sun; the room is kept at 21 °C. Its heat pump "
        f"gives {givens['h1_w']} W at 8.3 °C (47 °F), {givens['h2_w']} W at 1.7 °C (35 °F) with frost, and "
        f"{givens['h3_w']} W at -8.3 °C (17 °F). Where is the balance point, in degrees Celsius?"
    )


def _meets_c(watts: Callable[[Givens], float], slope: Callable[[Givens], float]) -> Callable[[Givens], float]:
    """Return a model: where a line through H3 with these watts and this slope meets the load."""

    def wrong(givens: Givens) -> float:
        ua, no_load_c = float(givens["ua_w_per_k"]), float(givens["no_load_c"])
        return (ua * no_load_c - watts(givens) + slope(givens) * H3_C) / (ua + slope(givens))

    return wrong


def _frost_slope(givens: Givens) -> float:
    return float(givens["h2_w"] - givens["h3_w"]) / 10.0


BALANCE = Exercise(
    id="9.1",
    title="A balance point",
    points=2,
    variant=_balance_variant,
    question=_balance_question,
    solve=_balance_c,
    compare=Number(rel=0.0, absolute=0.15, unit="°C"),
    wrong_models=(
        WrongModel(
            "no frost",
            "That is the line of a dry coil. In this air there is frost: use the two points that hold for "
            "it.",
            _dry_c,
        ),
        WrongModel(
            "load up to the room",
            "You let the load end at the room's temperature. People, lamps and sun carry the last degrees.",
            lambda givens: thermal_balance_c(_load(givens, 21.0), _rating(givens)),
        ),
        WrongModel(
            "the same heat in all air",
            "You took one rating as if it held in all air. What the machine gives falls with the outdoor "
            "air.",
            _meets_c(lambda givens: givens["h1_w"], lambda givens: 0.0),
        ),
        WrongModel(
            "the coldest rating in all air",
            "You took the coldest rating as if it held in all air. Between two ratings there is a line.",
            _meets_c(lambda givens: givens["h3_w"], lambda givens: 0.0),
        ),
        WrongModel(
            "slope turned round",
            "The heat that the machine gives rises when the air gets warmer. Look at the sign of its slope.",
            _meets_c(lambda givens: givens["h3_w"], lambda givens: -_frost_slope(givens)),
        ),
        WrongModel(
            "counted from 0 °C",
            "Your line starts with the coldest rating at 0 °C. At which temperature does that rating hold?",
            lambda givens: (
                (givens["ua_w_per_k"] * givens["no_load_c"] - givens["h3_w"])
                / (givens["ua_w_per_k"] + _frost_slope(givens))
            ),
        ),
        WrongModel(
            "in Fahrenheit",
            "That is in degrees Fahrenheit. The question asks for Celsius.",
            lambda givens: c_to_f(_balance_c(givens)),
        ),
        WrongModel(
            "sign",
            "The size is right. Is it above or below freezing?",
            lambda givens: -_balance_c(givens),
        ),
    ),
    nudge="Who is ahead at 0 °C, and by how many watts? What does each kelvin change in both lines together?",
)


# 9.3: a day of starts and stops ---------------------------------------------------------------------------


def _cycling_variant(rng: random.Random) -> Givens:
    capacity_w = rng.randrange(7000, 12001, 100)
    return {
        "capacity_w": capacity_w,
        "power_w": int(round(capacity_w / rng.uniform(3.0, 4.2), -1)),
        "load_w": int(round(capacity_w * rng.uniform(0.2, 0.7), -1)),
        "air_c": rng.randrange(4, 13),
    }


def _cycling_question(givens: Givens) -> str:
    return (
        f"All day it is {givens['air_c']} °C outdoors, and a house needs {givens['load_w']} W. When its heat "
        f"pump runs through, it gives {givens['capacity_w']} W and draws {givens['power_w']} W. It has one "
        "stage, so it starts and stops. With X for the share of the time in which it runs, its starts cost "
        "the factor 1 - 0.25 x (1 - X) of its efficiency. How many kilowatt-hours of electricity does it "
        "draw in the 24 hours?"
    )


def _share(givens: Givens) -> float:
    return float(givens["load_w"] / givens["capacity_w"])


def _day_kwh(givens: Givens, factor: float) -> float:
    return _share(givens) * float(givens["power_w"]) / factor * 24.0 / 1000.0


CYCLING = Exercise(
    id="9.3",
    title="A day of starts and stops",
    points=2,
    variant=_cycling_variant,
    question=_cycling_question,
    solve=lambda givens: _day_kwh(givens, float(part_load_factor(_share(givens)))),
    compare=Number(rel=0.02, unit="kWh"),
    wrong_models=(
        WrongModel(
            "starts cost nothing",
            "That is a machine which loses nothing when it starts. Use the factor in the question.",
            lambda givens: _day_kwh(givens, 1.0),
        ),
        WrongModel(
            "runs all day",
            "That is a machine which runs all day. This house needs less than it gives.",
            lambda givens: givens["power_w"] * 24.0 / 1000.0,
        ),
        WrongModel(
            "factor multiplied",
            "Starts make the day dearer, not cheaper. Efficiency is heat for electricity: which way goes "
            "the factor?",
            lambda givens: _day_kwh(givens, 1.0 / float(part_load_factor(_share(givens)))),
        ),
        WrongModel(
            "a quarter in any case",
            "A quarter is lost by a machine that hardly runs. The more it runs, the less it loses.",
            lambda givens: _day_kwh(givens, 1.0 - CYCLING_LOSS),
        ),
        WrongModel(
            "X for 1 - X",
            "You took the share of the time in which it runs. The loss goes with the time in which it "
            "stands.",
            lambda givens: _day_kwh(givens, 1.0 - CYCLING_LOSS * _share(givens)),
        ),
        WrongModel(
            "one hour",
            "That is what one hour takes. The question asks for the whole day.",
            lambda givens: _day_kwh(givens, float(part_load_factor(_share(givens)))) / 24.0,
        ),
        WrongModel(
            "the heat",
            "That is the heat which the house gets. What does the machine draw for it?",
            lambda givens: givens["load_w"] * 24.0 / 1000.0,
        ),
    ),
    nudge="First X, then the factor, then the mean power, then the hours.",
)


# 9.4: what frost and defrost leave ------------------------------------------------------------------------


def _frost_variant(rng: random.Random) -> Givens:
    return {"capacity_w": rng.randrange(6000, 10001, 100), "dw": rng.randrange(30, 181, 5) / 1e5}


def _frost_question(givens: Givens) -> str:
    return (
        f"In air of 0 °C a dry coil would let a heat pump give {givens['capacity_w']} W. But each kilogram "
        f"of this air leaves dw = {givens['dw']:g} kg of water on the coil. With a board that goes by "
        "demand, a share f = 1 / (1 + 0.01446 / dw) of the time is defrost, and the mean heat is 0.875 x "
        "(1 - f) of that of the dry coil. With a board that goes by the clock it is 0.909 - 107.33 x dw of "
        "it, the time in defrost included. How many watts are left with each board? (What a defrost takes "
        "out of the house is not counted.)"
    )


def _left_w(givens: Givens, kind: str) -> float:
    return float(givens["capacity_w"] * defrost_derating(kind, 0.0, givens["dw"]).capacity)


def _left(givens: Givens) -> dict[str, float]:
    return {"demand_w": _left_w(givens, "demand"), "clock_w": _left_w(givens, "timed")}


def _with(field: str, watts: Callable[[Givens], float]) -> Callable[[Givens], dict[str, float]]:
    return lambda givens: {**_left(givens), field: watts(givens)}


def _time_in_defrost(givens: Givens) -> float:
    return float(1.0 / (1.0 + 0.01446 / givens["dw"]))


FROST = Exercise(
    id="9.4",
    title="What frost leaves",
    points=2,
    variant=_frost_variant,
    question=_frost_question,
    solve=_left,
    compare=Record((("demand_w", Number(rel=0.01, unit="W")), ("clock_w", Number(rel=0.01, unit="W")))),
    wrong_models=(
        WrongModel(
            "time in defrost forgotten",
            "On demand: the factor of the frost is there. In part of the time it gives no heat at all.",
            _with("demand_w", lambda givens: 0.875 * givens["capacity_w"]),
        ),
        WrongModel(
            "f for 1 - f",
            "On demand: f is the share of the time in defrost. The heat comes in the rest of the time.",
            _with("demand_w", lambda givens: 0.875 * _time_in_defrost(givens) * givens["capacity_w"]),
        ),
        WrongModel(
            "the coil stays dry",
            "On demand: you took off the time in defrost alone. Between defrosts the frost takes heat, too.",
            _with("demand_w", lambda givens: (1 - _time_in_defrost(givens)) * givens["capacity_w"]),
        ),
        WrongModel(
            "frost helps",
            "By the clock: more water means more frost, and that leaves less heat. Look at the sign.",
            _with("clock_w", lambda givens: (0.909 + 107.33 * givens["dw"]) * givens["capacity_w"]),
        ),
        WrongModel(
            "dry air",
            "By the clock: you left out the frost, which takes its part on top of the clock's own minutes.",
            _with("clock_w", lambda givens: 0.909 * givens["capacity_w"]),
        ),
        WrongModel(
            "minutes twice",
            "By the clock: you took the minutes in defrost off once more. The formula has them in it.",
            _with("clock_w", lambda givens: _left_w(givens, "timed") * (1.0 - 3.5 / 60.0)),
        ),
        WrongModel(
            "boards swapped",
            "You gave each board the number of the other one.",
            lambda givens: {"demand_w": _left(givens)["clock_w"], "clock_w": _left(givens)["demand_w"]},
        ),
    ),
    nudge="One board at a time: first the factor, as a number below 1, then the watts.",
)

EXERCISES: tuple[Exercise, ...] = (
    BALANCE,
    CHANGEOVER,
    CYCLING,
    FROST,
    MOMENTS,
    DIAGNOSIS,
    PRINTED,
    DESIGN,
)
