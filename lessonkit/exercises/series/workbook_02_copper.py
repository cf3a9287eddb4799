"""Exercises 2.3 and 2.4 of workbook 02: volts that copper takes, and a bad splice ahead of a coil.

Both are small circuits that the bench's own solver solves; volts are RMS. In 2.4 the splice adds to the
coil's copper and not to its reactance, so the volts make a triangle.
"""

from __future__ import annotations

import math
import random
from typing import Any

from lessonkit.copper.elements import Branch, Resistance, Source, Winding
from lessonkit.copper.network import Network, solve
from lessonkit.copper.wire import FOOT_M, resistance_per_m
from lessonkit.exercises.compare import Choice, Number, Record
from lessonkit.exercises.core import Exercise, Givens, WrongModel
from lessonkit.job.parts import RATED_V, Coil

#: A supply so stiff that what a question calls "measured at the near end" stays what it says.
STIFF_OHM = 1e-6
SUPPLY_HZ = 60.0
SQRT_2 = math.sqrt(2.0)


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


def _amps_times_loop(givens: Givens, amps: float) -> float:
    return amps * 2 * _one_way_ohm(givens)


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
            "VA over these volts",
            "VA is marked at 24 V. With more volts a coil draws more amperes: find its impedance first.",
            lambda givens: _amps_times_loop(givens, float(givens["sealed_va"]) / float(givens["near_v"])),
        ),
        WrongModel(
            "what is left",
            "That is what is left for the coil. Asked is what the copper takes.",
            lambda givens: float(givens["near_v"]) - _copper_v(givens),
        ),
        WrongModel(
            "loop twice",
            "You counted the copper twice too often: two conductors, each as long as the run.",
            lambda givens: _copper_v(givens) * 2,
        ),
        WrongModel(
            "feet for metres",
            "The table gives ohms for 100 m, so take the length in metres, not in feet.",
            lambda givens: _copper_v(givens) / FOOT_M,
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
            "near_v": rng.choice((24.5, 25.0, 25.5, 26.0, 26.5, 27.0, 27.5)),
            "inrush_va": rng.choice((24.0, 26.0, 28.0, 30.0, 32.0)),
            "sealed_va": rng.choice((8.0, 9.0, 10.0)),
            "r_ohm": rng.choice((9.0, 10.0, 11.0)),
        }
        # Any volts from far too few to nearly all come equally often; the splice follows from them.
        z_ohm, across_v = RATED_V**2 / givens["inrush_va"], rng.uniform(10.0, 23.5)
        x_ohm = math.sqrt(z_ohm**2 - givens["r_ohm"] ** 2)
        whole_ohm = givens["near_v"] * z_ohm / across_v
        givens["splice_ohm"] = round(2 * (math.sqrt(whole_ohm**2 - x_ohm**2) - givens["r_ohm"])) / 2
        # Hand work is good to a few tenths of a volt: keep clear of the pick-up.
        if givens["splice_ohm"] > 2 and abs(_splice_v(givens) - _coil(givens).pickup_v) > 0.8:
            return givens


def _splice_question(givens: Givens) -> str:
    coil = _coil(givens)
    return (
        f"A splice of {givens['splice_ohm']:g} ohm sits in Y1. The supply ahead of it holds "
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


def _ohm(givens: Givens) -> float:
    return float(givens["splice_ohm"])


def _splice_amps(givens: Givens) -> float:
    return _splice_v(givens) / (RATED_V**2 / float(givens["inrush_va"]))


def _across_the_splice(givens: Givens) -> dict[str, Any]:
    return _splice_answer(givens, _splice_amps(givens) * _ohm(givens))


def _wrong_word(givens: Givens) -> dict[str, Any]:
    right = _splice_answer(givens, _splice_v(givens))
    return {**right, "contactor": HUMS if right["contactor"] == PULLS_IN else PULLS_IN}


SPLICE = Exercise(
    id="2.4",
    title="A bad splice and a coil",
    points=3,
    variant=_splice_variant,
    question=_splice_question,
    solve=lambda givens: _splice_answer(givens, _splice_v(givens)),
    compare=Record(
        (("coil_v", Number(rel=0.0, absolute=0.3, unit="V")), ("contactor", Choice((PULLS_IN, HUMS))))
    ),
    wrong_models=(
        WrongModel(
            "sealed too early",
            "You took the sealed VA. While the armature is open, the coil draws its inrush.",
            lambda givens: _splice_answer(givens, _splice_v(givens, sealed=True)),
        ),
        WrongModel(
            "plain sum of ohms",
            "The splice adds to the copper, not to Z: square root of (copper + splice) squared + X squared.",
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
        WrongModel(
            "what the splice takes",
            "Those are the volts across the splice. The coil is the other side of the triangle.",
            _across_the_splice,
        ),
        WrongModel(
            "subtracted in line",
            "The amperes are right. But volts of splice and coil do not add in line: see the triangle.",
            lambda givens: _splice_answer(
                givens, float(givens["near_v"]) - _splice_amps(givens) * _ohm(givens)
            ),
        ),
        WrongModel(
            "wrong word",
            "The volts are right. Compare them with its pick-up volts.",
            _wrong_word,
        ),
    ),
    nudge="Z = 24 x 24 / inrush VA, X = square root of Z squared - copper squared; then share out the volts.",
)
