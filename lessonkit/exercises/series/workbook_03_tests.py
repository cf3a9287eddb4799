"""The exercises of workbook 03 about tests and their order: what 250 V would destroy, which box comes next.

The bench is asked for every test whether it would refuse it; halving is judged step by step, since where two
boxes are nearest the middle, either is right.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from functools import lru_cache

from lessonkit.bench.bench import Bench
from lessonkit.bench.insulation import WouldDestroy
from lessonkit.bench.meter import Meter
from lessonkit.exercises.compare import Choice, Count, ListOf, Table
from lessonkit.exercises.core import Exercise, Givens, WrongModel
from lessonkit.exercises.slips import row_slips
from lessonkit.studies.cable import half_split

JOB = "net-loft"


# 3.5: what the insulation tester would destroy ------------------------------------------------------------

NOTHING, THERMOSTAT, DEFROST, BOTH = "nothing", "thermostat", "defrost board", "both"
_ROWS = ("a", "b", "c", "d", "e")
#: What was done, in words and as work of hands, and where the red probe is; {} is the conductor.
_TESTS: Mapping[str, tuple[str, tuple[str, ...], str]] = {
    "all on": ("all wires on", (), "air:{}"),
    "no thermostat": ("all wires on, the thermostat's plug pulled", ("unplug stat:thermostat",), "air:{}"),
    "no board": ("all wires on, the defrost board's plug pulled", ("unplug out:defrost-board",), "air:{}"),
    "no plugs": (
        "all wires on, both plugs pulled",
        ("unplug stat:thermostat", "unplug out:defrost-board"),
        "air:{}",
    ),
    "lifted here": ("{} lifted at the air handler only", ("lift air:outdoor.{}",), "air:outdoor.{}"),
    "lifted outdoors": ("{} lifted at the outdoor unit only", ("lift out:outdoor.{}",), "air:{}"),
    "lifted twice": (
        "{} lifted at both ends",
        ("lift air:outdoor.{}", "lift out:outdoor.{}"),
        "air:outdoor.{}",
    ),
}
#: A conductor that is lifted at one end leaves one board on it, if it reaches no coil on the way to C.
_LIFTED = {"lifted here": ("O", "D", "R"), "lifted outdoors": ("O", "Y2", "Y1")}


def _destroy_variant(rng: random.Random) -> Givens:
    kinds = rng.sample(sorted(_TESTS), len(_ROWS))
    return {"tests": tuple((kind, rng.choice(_LIFTED.get(kind, ("O", "Y1", "Y2", "R")))) for kind in kinds)}


def _destroy_question(givens: Givens) -> str:
    rows = [
        f"* `{row}`: {_TESTS[kind][0].format(name)}; 250 V from "
        f"{'the loose end of ' if 'outdoor' in _TESTS[kind][2] else ''}{name} to C"
        for row, (kind, name) in zip(_ROWS, givens["tests"], strict=True)
    ]
    return (
        "The net loft of the lesson is switched off and proved dead. The thermostat and the defrost board "
        "outdoors "
        "have electronics in them; coils and the transformer have none. At the air handler somebody wants "
        "to test "
        "the outdoor run with 250 V direct:\n\n"
        + "\n".join(rows)
        + f"\n\nWhat would each test destroy: `{NOTHING}`, `{THERMOSTAT}`, `{DEFROST}` or `{BOTH}`?"
    )


@lru_cache(maxsize=64)
def _destroyed(kind: str, name: str) -> str:
    """Return what the bench refuses a test for."""
    _, works, probe = _TESTS[kind]
    bench = Bench(JOB)
    bench.set_power(False)
    bench.set_hands([work.format(name) for work in works])
    try:
        Meter(bench).insulation(probe.format(name), "air:C")
    except WouldDestroy as error:
        lost = {part.partition(":")[2] for part in error.parts}
        return BOTH if len(lost) == 2 else DEFROST if "defrost-board" in lost else THERMOSTAT
    return NOTHING


def _destroy_rows(givens: Givens, seen: Callable[[str, str], str]) -> dict[str, str]:
    return {row: seen(*test) for row, test in zip(_ROWS, givens["tests"], strict=True)}


def _one_end_does(kind: str, name: str) -> str:
    return NOTHING if kind in _LIFTED else _destroyed(kind, name)


def _this_cable_only(kind: str, name: str) -> str:
    return {BOTH: DEFROST, THERMOSTAT: NOTHING}.get(_destroyed(kind, name), _destroyed(kind, name))


def _pulled_is_lost(kind: str, name: str) -> str:
    return {"no thermostat": THERMOSTAT, "no board": DEFROST}.get(kind, _destroyed(kind, name))


def _lifted_at_both_still_lost(kind: str, name: str) -> str:
    return BOTH if kind in ("lifted twice", "no plugs") else _destroyed(kind, name)


DESTROY = Exercise(
    id="3.5",
    title="What would 250 V destroy?",
    points=3,
    variant=_destroy_variant,
    question=_destroy_question,
    solve=lambda givens: _destroy_rows(givens, _destroyed),
    compare=Table(_ROWS, Choice((NOTHING, THERMOSTAT, DEFROST, BOTH))),
    wrong_models=(
        WrongModel(
            "one end is enough",
            "A conductor that is lifted at one end still ends on a board at the other. Follow it there.",
            lambda givens: _destroy_rows(givens, _one_end_does),
        ),
        WrongModel(
            "this cable only",
            "At the air handler the two cables meet on one terminal. Follow the test into the other cable, "
            "too.",
            lambda givens: _destroy_rows(givens, _this_cable_only),
        ),
        WrongModel(
            "the pulled one is lost",
            "A board whose plug is pulled is out of the circuit. Ask about the board that is still in.",
            lambda givens: _destroy_rows(givens, _pulled_is_lost),
        ),
        WrongModel(
            "nothing is ever safe",
            "With both ends lifted, or both plugs pulled, where could the test volts reach a board?",
            lambda givens: _destroy_rows(givens, _lifted_at_both_still_lost),
        ),
        WrongModel(
            "off is safe",
            "Off protects you from the supply. The tester brings 250 V of its own to all that is joined.",
            lambda givens: _destroy_rows(givens, lambda *_: NOTHING),
        ),
        *row_slips(
            lambda givens: _destroy_rows(givens, _destroyed),
            len(_ROWS),
            {
                NOTHING: "there is a way left from the probe to a board. Follow the conductor both ways.",
                THERMOSTAT: "is the thermostat still plugged in, and does this wire reach it? Is that all?",
                DEFROST: "is the defrost board still plugged in, and does this wire reach it? Is that all?",
                BOTH: "one of the two boards is out of reach, or both are. Which plug or wire is off?",
            },
        ),
    ),
    nudge="For each row walk from the red probe and from C along the copper: which board do both walks meet?",
)


# 3.6: which box next? -------------------------------------------------------------------------------------


def _boxes_variant(rng: random.Random) -> Givens:
    boxes = rng.randrange(9, 19)
    return {"boxes": boxes, "lost_after": rng.randrange(2, boxes)}


def _boxes_question(givens: Givens) -> str:
    return (
        f"A control cable goes through {givens['boxes']} junction boxes, `1` to `{givens['boxes']}`, to a "
        f"far "
        "barn. Y1 has 26 V where the cable begins, and nothing arrives in the barn. Every box takes ten "
        "minutes to "
        f"open and read. Let the bench answer for you: the volts are there up to box "
        f"{givens['lost_after']}, and "
        f"gone from box {givens['lost_after'] + 1} on (of course you don't know that as you begin). Halve "
        f"each time. "
        "Which boxes do you open, in order, until you know between which two it is lost? Write a list of "
        "numbers. "
        "(Where there are two boxes nearest the middle, take either.)"
    )


def _halving(givens: Givens) -> list[int]:
    points = [str(k) for k in range(int(givens["boxes"]) + 2)]
    return [int(read) for read in half_split(points, lambda point: int(point) <= givens["lost_after"]).read]


def _judge_halving(givens: Givens, answer: tuple[int, ...]) -> str | None:
    """Return the hint for a list of boxes, or None where each one halves what is left."""
    good, bad = 0, int(givens["boxes"]) + 1
    for place, box in enumerate(answer, 1):
        if bad - good == 1:
            return "You know already before the end of your list. Each box costs ten minutes."
        if not good < box < bad:
            return f"Place {place}: you know already what this box reads. Which half is still open?"
        if box not in ((good + bad) // 2, (good + bad + 1) // 2):
            return f"Place {place}: this box is not in the middle of what is left."
        good, bad = (box, bad) if box <= givens["lost_after"] else (good, box)
    return None if bad - good == 1 else "After your last box more than one piece of cable is left. Go on."


def _towards_the_wrong_side(givens: Givens) -> list[int]:
    points = [str(k) for k in range(int(givens["boxes"]) + 2)]
    return [int(read) for read in half_split(points, lambda point: int(point) > givens["lost_after"]).read]


BOXES = Exercise(
    id="3.6",
    title="Which box next?",
    points=2,
    variant=_boxes_variant,
    question=_boxes_question,
    solve=_halving,
    compare=ListOf(Count()),
    wrong_models=(
        WrongModel(
            "one after the other",
            "That finds it, and may cost every box. A box in the middle says at once which half is sound.",
            lambda givens: list(range(1, givens["lost_after"] + 2)),
        ),
        WrongModel(
            "from the far end",
            "From the barn one by one is as slow as from the other side. Begin in the middle.",
            lambda givens: list(range(givens["boxes"], givens["lost_after"] - 1, -1)),
        ),
        WrongModel(
            "the wrong half",
            "Volts in a box mean that the cable is sound up to there. On which side is the fault then?",
            _towards_the_wrong_side,
        ),
        WrongModel(
            "stops at the first gone",
            "The last box that you open is only one side of the fault. Is the other side known?",
            lambda givens: _halving(givens)[:-1],
        ),
    ),
    rule=_judge_halving,
)

TEST_EXERCISES: tuple[Exercise, ...] = (DESTROY, BOXES)
