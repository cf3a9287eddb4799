"""The exercises of workbook 02, the 24-volt circuit: the transformer and the VA budget.

This room holds the two about the supply, and the tuple of all. Copper and splice stand in
`workbook_02_copper`, what a fault does in `workbook_02_faults`. Every right answer comes out of the bench, or
out of a small circuit that the bench's own solver solves. Volts are RMS.
"""

from __future__ import annotations

import math
import random
from functools import lru_cache
from itertools import pairwise

from lessonkit.bench.bench import Bench
from lessonkit.copper.elements import Resistance, Source
from lessonkit.copper.network import Network, solve
from lessonkit.exercises.compare import Number
from lessonkit.exercises.core import Exercise, Givens, Several, WrongModel
from lessonkit.exercises.series.workbook_02_copper import COPPER, SPLICE
from lessonkit.exercises.series.workbook_02_faults import FAULT_EXERCISES
from lessonkit.job.parts import RATED_V, Transformer
from lessonkit.job.toml import demo_job

TITLE = "The 24-volt circuit"

SUPPLY_HZ = 60.0
SQRT_2 = math.sqrt(2.0)


# 2.1: a transformer under load ----------------------------------------------------------------------------


_OPEN_V = (26.4, 26.8, 27.2, 27.6, 28.0, 28.4, 28.8, 29.2, 29.6)


def _transformer_variant(rng: random.Random) -> Givens:
    """Draw what the meter will show first, so that it falls anywhere; the load follows from it."""
    va, shown_v = rng.choice((20, 40, 50, 60, 75, 100)), rng.uniform(24.6, 28.8)
    above = [
        volts for volts in (26.4, 26.8, 27.2, 27.6, 28.0, 28.4, 28.8, 29.2, 29.6) if volts > shown_v + 0.5
    ]
    open_v = rng.choice(above)
    behind_ohm = Transformer(RATED_V, float(va), open_v).r_ohm
    load_ohm = round(behind_ohm * shown_v / (open_v - shown_v), 1)
    return {"rated_va": va, "open_v": open_v, "load_ohm": load_ohm}


def _transformer_question(givens: Givens) -> str:
    return (
        f"A control transformer is marked 24 V, {givens['rated_va']} VA. With nothing on it, the meter "
        f"shows {givens['open_v']} V. A technician joins a test resistor of {givens['load_ohm']} ohm to "
        "its secondary. What does the meter show now, in volts?"
    )


def _transformer(givens: Givens) -> Transformer:
    return Transformer(RATED_V, float(givens["rated_va"]), float(givens["open_v"]))


def _loaded_v(givens: Givens) -> float:
    part = _transformer(givens)
    network = Network(
        (
            Source("secondary", "hot", "C", part.r_ohm, complex(part.open_v)),
            Resistance("load", "hot", "C", float(givens["load_ohm"])),
        ),
        "C",
    )
    return abs(solve(network, SUPPLY_HZ).v("hot"))


def _amps_at_rated(givens: Givens) -> float:
    return RATED_V / float(givens["load_ohm"])


def _sags_from_rated(givens: Givens) -> float:
    part = _transformer(givens)
    return RATED_V - _amps_at_rated(givens) * part.r_ohm


TRANSFORMER = Exercise(
    id="2.1",
    title="A transformer under load",
    points=2,
    variant=_transformer_variant,
    question=_transformer_question,
    solve=_loaded_v,
    compare=Number(rel=0.0, absolute=0.15, unit="V"),
    wrong_models=(
        WrongModel(
            "nameplate volts",
            "24 V is what it gives at its full rated VA. At a smaller load it gives more.",
            lambda givens: RATED_V,
        ),
        WrongModel(
            "no regulation",
            "That is its volts with nothing on it. The load's current costs volts in the winding.",
            lambda givens: float(givens["open_v"]),
        ),
        WrongModel(
            "sags from 24",
            "24 V is where it ends at full load, not where it starts. Start from the volts with no load.",
            _sags_from_rated,
        ),
        WrongModel(
            "amperes at 24 V",
            "Nearly: you took the amperes at 24 V. This load gets more: share the volts out by ohms.",
            lambda givens: float(givens["open_v"]) - _transformer(givens).r_ohm * _amps_at_rated(givens),
        ),
        WrongModel(
            "what it loses",
            "Those are the volts that the winding takes. What is left for the meter?",
            lambda givens: float(givens["open_v"]) - _loaded_v(givens),
        ),
        WrongModel(
            "peak volts",
            "That is the peak of the wave. A meter shows RMS, and so does every nameplate.",
            lambda givens: _loaded_v(givens) * SQRT_2,
        ),
    ),
    nudge="First the amperes at full load, then the ohms behind it; then share the volts out by ohms.",
)


# 2.2: the VA budget ---------------------------------------------------------------------------------------

_COIL_FIELDS = ("contactor", "reversing_valve", "unloader", "blower_relay", "sequencer", "emergency_relay")


def _budget_draw(rng: random.Random) -> Givens:
    return {
        "call": rng.choice(("cool-1", "heat-1", "emergency", "cool-2", "heat-2", "heat-aux")),
        "valve": rng.choice(("O", "B")),
        "contactor": (rng.choice((9.0, 10.0, 11.0, 12.0, 13.0)), rng.choice((28.0, 32.0, 36.0))),
        "reversing_valve": (rng.choice((6.0, 6.5, 7.0, 7.5, 8.0)), 10.0),
        "unloader": (rng.choice((5.0, 5.5, 6.5, 7.5)), 9.0),
        "blower_relay": (rng.choice((2.5, 3.0, 3.5, 4.0)), 5.0),
        "sequencer": (rng.choice((4.0, 4.5, 5.0)), 6.0),
        "emergency_relay": (rng.choice((2.0, 2.5, 3.0)), 5.0),
        "thermostat": rng.choice((1.0, 1.5, 2.0)),
        "defrost_board": rng.choice((2.0, 3.0, 3.5, 4.5)),
    }


def _budget_variant(rng: random.Random) -> Givens:
    """Draw nameplates until no two slips lead to one sum: then each can be told what went wrong."""
    while True:
        givens = _budget_draw(rng)
        sums = [(0, _budget(givens))]
        for number, model in enumerate(_BUDGET_MODELS, 1):
            led_to = model.compute(givens)
            values = led_to if isinstance(led_to, Several) else (led_to,)
            sums += [(number, value) for value in values if value is not None]
        sums.sort(key=lambda item: item[1])
        if all(b - a > 2.1 * BUDGET_TOLERANCE_VA for (i, a), (j, b) in pairwise(sums) if i != j):
            return givens


def _budget_question(givens: Givens) -> str:
    rows = "\n".join(
        f"| {name.replace('_', ' ')} | {givens[name][0]:g} | {givens[name][1]:g} |" for name in _COIL_FIELDS
    )
    return (
        f"A two-stage heat pump has an {givens['valve']} valve and a wire for every terminal. Its "
        f"nameplates, in VA at 24 V:\n\n| coil | sealed | inrush |\n| --- | --- | --- |\n{rows}\n\nThe "
        f"thermostat takes {givens['thermostat']:g} VA and the defrost board {givens['defrost_board']:g} "
        f"VA, all the time. How many VA does the call `{givens['call']}` ask for once everything has "
        "pulled in?"
    )


@lru_cache(maxsize=64)
def _energised(call: str, valve: str) -> tuple[str, ...]:
    """Return the names of the coils that the bench finds sealed under the call; sound nameplates all seal."""
    job = demo_job("full-cable").with_equipment(valve=valve).with_supply(rated_va=100.0)
    coils = Bench(job, call=call).advance(10).coils
    return tuple(name.partition(":")[2].replace("-", "_") for name, coil in coils.items() if coil.sealed)


def _coils_in(givens: Givens) -> list[str]:
    return list(_energised(str(givens["call"]), str(givens["valve"])))


def _boards_va(givens: Givens) -> float:
    return float(givens["thermostat"]) + float(givens["defrost_board"])


def _sealed_va(givens: Givens, names: list[str]) -> float:
    return sum(float(givens[name][0]) for name in names)


def _budget(givens: Givens) -> float:
    return _sealed_va(givens, _coils_in(givens)) + _boards_va(givens)


def _inrush_budget(givens: Givens) -> float:
    return sum(float(givens[name][1]) for name in _coils_in(givens)) + _boards_va(givens)


def _other_valve(givens: Givens) -> float | None:
    """Return the sum with the valve the wrong way round; without a compressor it rests either way."""
    valve_va = float(givens["reversing_valve"][0])
    if givens["call"] == "emergency":
        return _budget(givens) + valve_va
    return _budget(givens) + (-valve_va if "reversing_valve" in _coils_in(givens) else valve_va)


def _one_missing(givens: Givens) -> Several:
    live = [name for name in _coils_in(givens) if name != "reversing_valve"]
    return Several(_budget(givens) - float(givens[name][0]) for name in live)


def _one_too_many(givens: Givens) -> Several:
    extra = [name for name in _COIL_FIELDS if name not in (*_coils_in(givens), "reversing_valve")]
    return Several(_budget(givens) + float(givens[name][0]) for name in extra)


def _one_board(givens: Givens) -> Several:
    return Several(_budget(givens) - float(givens[board]) for board in ("thermostat", "defrost_board"))


BUDGET_TOLERANCE_VA = 0.2
_BUDGET_MODELS = (
    WrongModel(
        "every coil",
        "You added coils that this call leaves at rest. Add only those that it energises.",
        lambda givens: _sealed_va(givens, list(_COIL_FIELDS)) + _boards_va(givens),
    ),
    WrongModel(
        "inrush for sealed",
        "Inrush lasts only while the armature is open. Once it has pulled in, the sealed VA counts.",
        _inrush_budget,
    ),
    WrongModel(
        "valve reversed",
        "Look at the valve's letter: O is energised to cool, B to heat, and emergency lets either rest.",
        _other_valve,
    ),
    WrongModel(
        "one coil missing",
        "One coil is missing. Go through the terminals of the call one by one, and name the coil of each.",
        _one_missing,
    ),
    WrongModel(
        "one coil too many",
        "There is one coil too many. Which terminal of this call would energise it?",
        _one_too_many,
    ),
    WrongModel(
        "forgot the boards",
        "The coils are right. The thermostat and the defrost board take their VA all the time, too.",
        lambda givens: _sealed_va(givens, _coils_in(givens)),
    ),
    WrongModel(
        "forgot one board",
        "The coils are right. But two boards take VA all the time, and you added one.",
        _one_board,
    ),
    WrongModel(
        "amperes",
        "Those are amperes. VA is asked for, and the nameplates are in VA already: add them.",
        lambda givens: _budget(givens) / RATED_V,
    ),
)

BUDGET = Exercise(
    id="2.2",
    title="The VA budget",
    points=2,
    variant=_budget_variant,
    question=_budget_question,
    solve=_budget,
    compare=Number(rel=0.0, absolute=BUDGET_TOLERANCE_VA, unit="VA"),
    wrong_models=_BUDGET_MODELS,
    nudge="List the terminals of the call first, then the coil behind each, then the boards.",
)


EXERCISES: tuple[Exercise, ...] = (TRANSFORMER, BUDGET, COPPER, SPLICE, *FAULT_EXERCISES)
