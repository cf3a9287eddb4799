"""The exercises of workbook 02, the 24-volt circuit: supply, budget, copper and splice.

This room holds the four that are about volts and amperes on a sound or nearly sound circuit; the four about
what a fault does stand in `workbook_02_faults`. Every right answer comes out of the bench, or out of a small
circuit that the bench's own solver solves. Volts are RMS.
"""

from __future__ import annotations

import math
import random
from typing import Any

from lessonkit.bench.bench import Bench
from lessonkit.copper.elements import Branch, Resistance, Source, Winding
from lessonkit.copper.network import Network, solve
from lessonkit.copper.wire import FOOT_M, resistance_per_m
from lessonkit.exercises.compare import Choice, Number, Record
from lessonkit.exercises.core import Exercise, Givens, WrongModel
from lessonkit.exercises.series.workbook_02_faults import FAULT_EXERCISES
from lessonkit.job.model import Job
from lessonkit.job.parts import RATED_V, Coil, Transformer
from lessonkit.job.toml import demo_job

TITLE = "The 24-volt circuit"

#: A supply so stiff that what a question calls "measured at the near end" stays what it says.
STIFF_OHM = 1e-6
SUPPLY_HZ = 60.0
SQRT_2 = math.sqrt(2.0)


# 2.1: a transformer under load ----------------------------------------------------------------------------


def _transformer_variant(rng: random.Random) -> Givens:
    va = rng.choice((20, 40, 50, 60, 75, 100))
    share = rng.choice((0.35, 0.4, 0.45, 0.5, 0.55, 0.6))
    full_ohm = RATED_V**2 / va
    return {
        "rated_va": va,
        "open_v": rng.choice((26.6, 27.0, 27.4, 27.6, 28.0, 28.4)),
        "load_ohm": round(full_ohm / share, 1),
    }


def _transformer_question(givens: Givens) -> str:
    return (
        f"A control transformer is marked 24 V, {givens['rated_va']} VA. With nothing on it, the meter "
        f"shows {givens['open_v']} V. A technician hangs a test resistor of {givens['load_ohm']} ohm on "
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


def _sags_from_rated(givens: Givens) -> float:
    part = _transformer(givens)
    return RATED_V - RATED_V / float(givens["load_ohm"]) * part.r_ohm


TRANSFORMER = Exercise(
    id="2.1",
    title="A transformer under load",
    points=2,
    variant=_transformer_variant,
    question=_transformer_question,
    solve=_loaded_v,
    compare=Number(rel=0.0, absolute=0.2, unit="V"),
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
            "peak volts",
            "That is the peak of the wave. A meter shows RMS, and so does every nameplate.",
            lambda givens: _loaded_v(givens) * SQRT_2,
        ),
    ),
    nudge="First the amperes at full load, then the ohms behind the secondary, then this load's amperes.",
)


# 2.2: the VA budget ---------------------------------------------------------------------------------------

_COIL_FIELDS = ("contactor", "reversing_valve", "unloader", "blower_relay", "sequencer", "emergency_relay")


def _budget_variant(rng: random.Random) -> Givens:
    return {
        "call": rng.choice(("cool-1", "heat-1", "emergency", "cool-2", "heat-2", "heat-aux")),
        "valve": rng.choice(("O", "B")),
        "contactor": (rng.choice((8.0, 9.0, 10.0, 11.0, 12.0)), rng.choice((26.0, 30.0, 34.0))),
        "reversing_valve": (rng.choice((5.0, 6.0, 7.0, 8.0)), 10.0),
        "unloader": (rng.choice((5.5, 6.5, 7.5)), 9.0),
        "blower_relay": (rng.choice((2.5, 3.0, 3.5)), 5.0),
        "sequencer": (rng.choice((4.0, 5.0)), 6.0),
        "emergency_relay": (rng.choice((2.5, 3.0)), 5.0),
        "thermostat": rng.choice((1.0, 1.5, 2.5)),
        "defrost_board": rng.choice((2.0, 3.0, 4.0)),
    }


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


def _budget_job(givens: Givens) -> Job:
    job = demo_job("full-cable").with_equipment(valve=str(givens["valve"])).with_supply(rated_va=100.0)
    for field in _COIL_FIELDS:
        sealed_va, inrush_va = map(float, givens[field])
        job = job.with_coil(field.replace("_", "-"), sealed_va=sealed_va, inrush_va=inrush_va)
    for name in ("thermostat", "defrost-board"):
        job = job.with_electronics(name, load_va=float(givens[name.replace("-", "_")]))
    return job


def _coils_in(givens: Givens) -> list[str]:
    """Return the names of the coils that the bench finds sealed under the call."""
    coils = Bench(_budget_job(givens), call=str(givens["call"])).advance(10).coils
    return [name.partition(":")[2].replace("-", "_") for name, coil in coils.items() if coil.sealed]


def _boards_va(givens: Givens) -> float:
    return float(givens["thermostat"]) + float(givens["defrost_board"])


def _sealed_va(givens: Givens, names: list[str]) -> float:
    return sum(float(givens[name][0]) for name in names)


def _budget(givens: Givens) -> float:
    return _sealed_va(givens, _coils_in(givens)) + _boards_va(givens)


def _inrush_budget(givens: Givens) -> float:
    return sum(float(givens[name][1]) for name in _coils_in(givens)) + _boards_va(givens)


def _other_valve(givens: Givens) -> float:
    valve_va = float(givens["reversing_valve"][0])
    return _budget(givens) + (-valve_va if "reversing_valve" in _coils_in(givens) else valve_va)


BUDGET = Exercise(
    id="2.2",
    title="The VA budget",
    points=2,
    variant=_budget_variant,
    question=_budget_question,
    solve=_budget,
    compare=Number(rel=0.0, absolute=0.3, unit="VA"),
    wrong_models=(
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
            "forgot the boards",
            "The coils are right. The thermostat and the defrost board take their VA all the time, too.",
            lambda givens: _sealed_va(givens, _coils_in(givens)),
        ),
        WrongModel(
            "valve reversed",
            "Look at the valve's letter: O is energised to cool, B to heat, and emergency lets either rest.",
            _other_valve,
        ),
    ),
    nudge="List the terminals of the call first, then the coil behind each, then the boards.",
)


# 2.3: volts lost in the copper ----------------------------------------------------------------------------


def _fed_coil(near_v: float, one_way_ohm: float, coil: Coil, sealed: bool) -> Network:
    """Return a coil at the far end of a pair: out along one conductor, back along the other."""
    branches: tuple[Branch, ...] = (
        Source("supply", "near", "C", STIFF_OHM, complex(near_v)),
        Resistance("out", "near", "far", one_way_ohm),
        Winding("coil", "far", "far C", coil.r_ohm, coil.l_henry(sealed, SUPPLY_HZ)),
        Resistance("back", "far C", "C", one_way_ohm),
    )
    return Network(branches, "C")


def _copper_variant(rng: random.Random) -> Givens:
    return {
        "near_v": rng.choice((26.8, 27.0, 27.2, 27.4)),
        "length_m": rng.choice((25, 30, 35, 40, 45, 50, 55, 60, 65, 70)),
        "gauge_awg": rng.choice((18, 20, 22)),
        "sealed_va": rng.choice((8.0, 9.0, 10.0, 11.0, 12.0)),
        "inrush_va": rng.choice((28.0, 30.0, 32.0, 34.0)),
        "r_ohm": rng.choice((8.0, 9.0, 10.0, 11.0)),
    }


def _copper_question(givens: Givens) -> str:
    per_100_m = 100.0 * resistance_per_m(givens["gauge_awg"])
    return (
        f"The outdoor run is {givens['length_m']} m long ({givens['length_m'] / FOOT_M:.0f} ft), "
        f"{givens['gauge_awg']} AWG: {per_100_m:.2f} ohm for each 100 m of conductor. At the air handler "
        f"the meter shows {givens['near_v']} V between Y1 and C. Outdoors only the contactor is on, "
        f"sealed: {givens['sealed_va']:g} VA at 24 V ({givens['inrush_va']:g} VA inrush, "
        f"{givens['r_ohm']:g} ohm on an ohmmeter). How many volts does the copper take, along Y1 and along "
        "C together?"
    )


def _coil(givens: Givens) -> Coil:
    return Coil(float(givens["inrush_va"]), float(givens["sealed_va"]), float(givens["r_ohm"]))


def _one_way_ohm(givens: Givens) -> float:
    return float(givens["length_m"]) * resistance_per_m(givens["gauge_awg"])


def _copper_v(givens: Givens, *, near_v: float | None = None, sealed: bool = True) -> float:
    volts = float(givens["near_v"]) if near_v is None else near_v
    one_way = _one_way_ohm(givens)
    solution = solve(_fed_coil(volts, one_way, _coil(givens), sealed), SUPPLY_HZ)
    return abs(solution.v("near", "far")) + abs(solution.v("far C"))


def _copper_as_ohmmeter(givens: Givens) -> float:
    loop = 2 * _one_way_ohm(givens)
    return float(givens["near_v"]) / (float(givens["r_ohm"]) + loop) * loop


COPPER = Exercise(
    id="2.3",
    title="Volts lost in the copper",
    points=3,
    variant=_copper_variant,
    question=_copper_question,
    solve=_copper_v,
    compare=Number(rel=0.05, unit="V"),
    wrong_models=(
        WrongModel(
            "one way",
            "The current goes out along Y1 and comes back along C. Count the copper of both.",
            lambda givens: _copper_v(givens) / 2,
        ),
        WrongModel(
            "rated volts",
            "The coil gets more than its rated 24 V here, so it draws more. Use the volts that are there.",
            lambda givens: _copper_v(givens, near_v=RATED_V),
        ),
        WrongModel(
            "ohms for impedance",
            "An ohmmeter sees the coil's copper only. The current is set by its impedance: 24 x 24 / VA.",
            _copper_as_ohmmeter,
        ),
        WrongModel(
            "inrush current",
            "The contactor has pulled in. Its current now is the sealed one.",
            lambda givens: _copper_v(givens, sealed=False),
        ),
        WrongModel(
            "peak volts",
            "That is the peak. Stay with RMS all the way: nameplates and meters do.",
            lambda givens: _copper_v(givens) * SQRT_2,
        ),
    ),
    nudge="The coil's impedance from its sealed VA, then its amperes, then the ohms of the loop.",
)


# 2.4: a bad splice ----------------------------------------------------------------------------------------

PULLS_IN, HUMS = "pulls in", "hums"


def _splice_variant(rng: random.Random) -> Givens:
    while True:
        givens: Givens = {
            "near_v": rng.choice((25.0, 25.5, 26.0, 26.5, 27.0)),
            "splice_ohm": rng.choice((8, 9, 10, 11, 12, 14, 15, 16, 18, 20, 22)),
            "inrush_va": rng.choice((24.0, 26.0, 28.0, 30.0, 32.0)),
            "sealed_va": rng.choice((8.0, 9.0, 10.0)),
            "r_ohm": rng.choice((9.0, 10.0, 11.0)),
        }
        # Hand work is good to a few tenths of a volt: keep clear of the pick-up.
        if abs(_splice_v(givens) - _coil(givens).pickup_v) > 0.8:
            return givens


def _splice_question(givens: Givens) -> str:
    coil = _coil(givens)
    return (
        f"A splice of {givens['splice_ohm']} ohm sits in Y1. The supply ahead of it holds "
        f"{givens['near_v']} V. The contactor: {coil.inrush_va:g} VA inrush, {coil.sealed_va:g} VA sealed, "
        f"{coil.r_ohm:g} ohm of copper, pulls in at {coil.pickup_v:g} V. The run is short, so leave out "
        "its own ohms. How many volts does the coil get while its armature is still open, and what does "
        f"the contactor do: `{PULLS_IN}` or `{HUMS}`?"
    )


def _splice_v(givens: Givens, sealed: bool = False) -> float:
    network = Network(
        (
            Source("supply", "near", "C", STIFF_OHM, complex(givens["near_v"])),
            Resistance("splice", "near", "coil", float(givens["splice_ohm"])),
            Winding("coil", "coil", "C", float(givens["r_ohm"]), _coil(givens).l_henry(sealed, SUPPLY_HZ)),
        ),
        "C",
    )
    return abs(solve(network, SUPPLY_HZ).v("coil"))


def _splice_answer(givens: Givens, coil_v: float) -> dict[str, Any]:
    pulls_in = _coil(givens).holds(coil_v, sealed=False)
    return {"coil_v": coil_v, "contactor": PULLS_IN if pulls_in else HUMS}


def _share(givens: Givens, coil_ohm: float) -> dict[str, Any]:
    """Return the answer of those who add plain ohms."""
    coil_v = float(givens["near_v"]) * coil_ohm / (coil_ohm + float(givens["splice_ohm"]))
    return _splice_answer(givens, coil_v)


SPLICE = Exercise(
    id="2.4",
    title="A bad splice and a coil",
    points=3,
    variant=_splice_variant,
    question=_splice_question,
    solve=lambda givens: _splice_answer(givens, _splice_v(givens)),
    compare=Record(
        (("coil_v", Number(rel=0.0, absolute=0.4, unit="V")), ("contactor", Choice((PULLS_IN, HUMS))))
    ),
    wrong_models=(
        WrongModel(
            "sealed too early",
            "You took the sealed VA. Before it pulls in, the coil draws its inrush, three times as much.",
            lambda givens: _splice_answer(givens, _splice_v(givens, sealed=True)),
        ),
        WrongModel(
            "plain sum of ohms",
            "The splice adds to the copper, not to Z: root of (copper + splice) squared + X squared.",
            lambda givens: _share(givens, RATED_V**2 / float(givens["inrush_va"])),
        ),
        WrongModel(
            "ohms for impedance",
            "You took what the ohmmeter reads for the whole coil. At 60 Hz its reactance counts, too.",
            lambda givens: _share(givens, float(givens["r_ohm"])),
        ),
        WrongModel(
            "no current",
            "Those are the volts with no current. The coil draws some, and the splice takes its volts.",
            lambda givens: _splice_answer(givens, float(givens["near_v"])),
        ),
    ),
    nudge="Z = 24 x 24 / inrush VA, X = root of Z squared - copper squared; then share out the volts.",
)

EXERCISES: tuple[Exercise, ...] = (TRANSFORMER, BUDGET, COPPER, SPLICE, *FAULT_EXERCISES)
