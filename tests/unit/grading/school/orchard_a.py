"""A workbook of an invented school: every form of answer, on numbers that need no bench.

The first exercises are worked examples that can be checked by hand: Ohm's law on a loop, and a fuse.
"""

from __future__ import annotations

import random
import time
from typing import Any

from lessonkit.exercises import (
    Choice,
    ChoiceSet,
    Count,
    Exercise,
    ListOf,
    Number,
    Table,
    WrongModel,
)

TITLE = "The orchard pump"

Givens = dict[str, Any]


def _run(rng: random.Random) -> Givens:
    return {"length_m": rng.randint(20, 200), "ohm_per_m": rng.choice([0.021, 0.033, 0.053])}


def _loop(givens: Givens) -> float:
    return 2 * givens["length_m"] * givens["ohm_per_m"]


def _loads(rng: random.Random) -> Givens:
    return {"va": rng.randint(10, 60), "volts": 24.0, "fuse_a": rng.choice([1, 2, 3])}


def _amps(givens: Givens) -> float:
    return givens["va"] / givens["volts"]


def _schedule_rule(givens: Givens, answer: dict[str, Any]) -> str | None:
    used = list(answer.values())
    if used.count("pump") != 1 or used.count("float") != 1:
        return "Each use takes exactly one conductor."
    if answer[givens["bad"]] != "spare":
        return "The broken conductor can't carry anything."
    return None


def _trouble(givens: Givens) -> int:
    """Return the count; the planted troubles below come from comparing, where a judge would meet them."""
    return int(givens["wires"])


class Touchy(Count):
    """A form whose judge has faults, met by the answers 666, 667 and 668 alone."""

    def same(self, right: int, answer: int) -> bool:
        """Fail, hang or die on purpose."""
        if answer == 666:
            raise RuntimeError("this judge has a fault")
        if answer == 667:
            time.sleep(600)
        if answer == 668:
            import os

            os._exit(3)
        return right == answer


EXERCISES = (
    Exercise(
        id="91.1",
        title="There and back",
        points=2,
        variant=_run,
        question=lambda g: (
            f"A run of {g['length_m']} m at {g['ohm_per_m']} ohm/m: how many ohms has the loop?"
        ),
        solve=_loop,
        compare=Number(rel=0.02, unit="ohm"),
        wrong_models=(
            WrongModel("one-way", "The current goes there and comes back.", lambda g: _loop(g) / 2),
            WrongModel("twice", "You counted the way back twice.", lambda g: _loop(g) * 2),
        ),
    ),
    Exercise(
        id="91.2",
        title="Amperes",
        points=1,
        variant=_loads,
        question=lambda g: f"{g['va']} VA at {g['volts']} V: how many amperes?",
        solve=_amps,
        compare=Number(rel=0.01, unit="A"),
        wrong_models=(
            WrongModel("peak", "That is with the peak of the volts.", lambda g: _amps(g) / 2**0.5),
        ),
    ),
    Exercise(
        id="91.3",
        title="The fuse",
        points=1,
        variant=_loads,
        question=lambda g: (
            f"{g['va']} VA at {g['volts']} V on a fuse of {g['fuse_a']} A: is it whole or blown?"
        ),
        solve=lambda g: "blown" if _amps(g) > g["fuse_a"] else "whole",
        compare=Choice(("whole", "blown")),
        wrong_models=(
            WrongModel(
                "reversed",
                "A fuse blows above its rating, not below.",
                lambda g: "whole" if _amps(g) > g["fuse_a"] else "blown",
            ),
        ),
    ),
    Exercise(
        id="91.4",
        title="Who is called",
        points=1,
        variant=lambda rng: {"call": rng.choice(["fill", "drain", "off"])},
        question=lambda g: f"Which terminals does the call {g['call']} close?",
        solve=lambda g: {"fill": {"P", "V"}, "drain": {"D"}, "off": set()}[g["call"]],
        compare=ChoiceSet(("P", "V", "D")),
    ),
    Exercise(
        id="91.5",
        title="Table of the pump",
        points=3,
        variant=lambda rng: {"reversed": rng.random() < 0.5},
        question=lambda g: f"Fill in the table; the valve is {'reversed' if g['reversed'] else 'as drawn'}.",
        solve=lambda g: {
            "fill": "closed" if g["reversed"] else "open",
            "drain": "open" if g["reversed"] else "closed",
            "off": "closed",
        },
        compare=Table(("fill", "drain", "off"), Choice(("open", "closed"))),
        wrong_models=(
            WrongModel(
                "valve",
                "You took the valve the other way round.",
                lambda g: {
                    "fill": "open" if g["reversed"] else "closed",
                    "drain": "closed" if g["reversed"] else "open",
                    "off": "closed",
                },
            ),
        ),
    ),
    Exercise(
        id="91.6",
        title="Bits",
        points=1,
        variant=lambda rng: {"value": rng.randrange(1, 16)},
        question=lambda g: f"Write {g['value']} in four bits, the lowest first.",
        solve=lambda g: [g["value"] >> place & 1 for place in range(4)],
        compare=ListOf(Count(), 4),
        wrong_models=(
            WrongModel(
                "order",
                "That is the highest bit first.",
                lambda g: [g["value"] >> place & 1 for place in (3, 2, 1, 0)],
            ),
        ),
    ),
    Exercise(
        id="91.7",
        title="A schedule",
        points=2,
        variant=lambda rng: {"bad": rng.choice(["north", "south", "east"])},
        question=lambda g: f"Conductor {g['bad']} is broken. Give pump and float a conductor each.",
        solve=lambda g: _one_schedule(g["bad"]),
        compare=Table(("north", "south", "east"), Choice(("pump", "float", "spare"))),
        rule=_schedule_rule,
    ),
    Exercise(
        id="91.8",
        title="Count",
        points=1,
        variant=lambda rng: {"wires": rng.randint(2, 9)},
        question=lambda g: f"A cable has {g['wires']} wires: how many are there?",
        solve=_trouble,
        compare=Touchy(),
    ),
)


def _one_schedule(bad: str) -> dict[str, str]:
    good = [name for name in ("north", "south", "east") if name != bad]
    return {bad: "spare", good[0]: "pump", good[1]: "float"}
