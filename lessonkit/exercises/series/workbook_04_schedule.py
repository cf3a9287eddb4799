"""Exercise 4.7 of workbook 04: which conductor serves which terminal, and what is added.

Many schedules are right. A bench runs each answer under every call that the family must have, and beside a
conductor for each terminal; what is missing, too much or the wrong way round is said in a sentence.
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from functools import lru_cache

from lessonkit.bench.bench import Bench
from lessonkit.exercises.compare import Choice, Record
from lessonkit.exercises.core import Exercise, Givens, WrongModel
from lessonkit.job.toml import demo_job

#: A job in which every terminal of the thermostat has a conductor: what all else is held against.
WHOLE = "full-cable"

# 4.7: a schedule for what there is -----------------------------------------------------------------------

_JACKETS = ("red", "white", "green", "blue", "yellow", "brown", "grey", "black")
_ADDED: Mapping[str, tuple[str, ...]] = {
    "nothing": (),
    "jumper Y1-G": ("jumper air:Y1 air:G",),
    "relay Y1-G": ("relay air:Y1 air:R air:G",),
    "jumper Y1-Y2": ("jumper air:Y1 air:Y2",),
}
FREE = "free"
#: Sound conductors, and the calls under which the house has to get what a full cable gives.
_WISHES: tuple[tuple[int, tuple[str, ...]], ...] = (
    (4, ("cool-1", "heat-1")),
    (5, ("cool-1", "heat-1", "heat-aux")),
    (6, ("cool-1", "heat-1", "heat-2", "cool-2")),
    (6, ("cool-1", "heat-1", "fan", "heat-aux")),
    (7, ("cool-1", "cool-2", "heat-1", "heat-2", "fan", "heat-aux")),
)
_WISH_WORDS = {
    "cool-1": "cold, first stage",
    "cool-2": "cold, second stage",
    "heat-1": "heat, first stage",
    "heat-2": "heat, second stage",
    "fan": "the fan alone",
    "heat-aux": "electric heat beside the heat pump",
}


def _schedule_variant(rng: random.Random) -> Givens:
    number, calls = rng.choice(_WISHES)
    return {"jackets": tuple(rng.sample(_JACKETS, number)), "calls": calls, "valve": rng.choice("OB")}


def _schedule_question(givens: Givens) -> str:
    wishes = "; ".join(f"{_WISH_WORDS[call]} (`{call}`)" for call in givens["calls"])
    return (
        f"A two-stage heat pump with a **{givens['valve']}** valve, electric heat and a terminal E. Its "
        f"thermostat lives "
        f"on R and C. {len(givens['jackets'])} sound conductors reach the air handler: "
        f"{', '.join(givens['jackets'])}. "
        f"The family must have, with air: {wishes}. Nothing may run that was not called, also in `off`. The "
        f"second "
        "stage must not run in a call for the first. Which conductor serves which terminal, and what do you "
        "add at the "
        f"air handler: {', '.join(f'`{name}`' for name in _ADDED)}? A conductor may stay `{FREE}`. The "
        f"maker allows all "
        "of these here. Many answers are right; the bench tries yours."
    )


def _schedule_form(givens: Givens) -> Record:
    options = ("R", "C", "Y1", "Y2", "G", givens["valve"], "W1", "E", FREE)
    rows = tuple((jacket, Choice(options)) for jacket in givens["jackets"])
    return Record((*rows, ("added", Choice(tuple(_ADDED)))))


@lru_cache(maxsize=512)
def _tried(valve: str, terminals: frozenset[str] | None, added: str, call: str) -> Mapping[str, str]:
    """Return what responds; `terminals` None is a conductor for each, valves written as O."""
    job = demo_job(WHOLE)
    if terminals is not None:
        conductors = tuple(n for n in job.thermostat_run.conductors if n in terminals)
        job = job.with_run("thermostat", conductors=conductors)
    bench = Bench(job.with_equipment(valve=valve))
    bench.set_hands(_ADDED[added])
    bench.set_call(call)
    return bench.advance(20.0).responding


def _judge_schedule(givens: Givens, answer: Mapping[str, str]) -> str | None:
    """Return the hint for a schedule, or None where the house gets all that is wished for."""
    used = [answer[jacket] for jacket in givens["jackets"] if answer[jacket] != FREE]
    if len(set(used)) < len(used):
        return "Two conductors are on one terminal. You can't spare that."
    if not {"R", "C"} <= set(used):
        return "What does the thermostat live on? It needs two conductors for itself before it can call."
    terminals = frozenset("O" if terminal == givens["valve"] else terminal for terminal in used)
    # Electric heat comes with the second stage; who does not ask for that stage can do without it.
    spared = set() if {"cool-2", "heat-2"} & set(givens["calls"]) else {"compressor stage 2"}
    # The fan may be called whether or not the family asked for it: then nothing but the blower may run.
    for call in dict.fromkeys(("off", "fan", *givens["calls"])):
        got = _tried(givens["valve"], terminals, answer["added"], call)
        whole = _tried(givens["valve"], None, "nothing", call)
        on, called = ({name for name, words in state.items() if words != "off"} for state in (got, whole))
        if "compressor stage 1" in on and "blower" not in on:
            return f"Under `{call}` the compressor runs, and no air moves."
        if "compressor stage 1" in on and ("reversing valve" in on) != ("reversing valve" in called):
            return f"Under `{call}` the valve stands the wrong way."
        if on - called:
            return f"Under `{call}` something runs that was not called. What did you join?"
        if call in givens["calls"] and called - on - spared:
            return f"Under `{call}` something that the family must have stays off."
    return None


def _right_schedule(givens: Givens) -> dict[str, str]:
    calls = set(givens["calls"])
    terminals = ["R", "C", "Y1", str(givens["valve"])]
    terminals += ["Y2"] if calls & {"cool-2", "heat-2"} else []
    terminals += ["W1"] if "heat-aux" in calls else []
    terminals += ["G"] if "fan" in calls else []
    return _on_jackets(givens, terminals, "nothing" if "fan" in calls else "relay Y1-G")


def _on_jackets(givens: Givens, terminals: list[str], added: str) -> dict[str, str]:
    filled = [*terminals, *([FREE] * len(givens["jackets"]))]
    return dict(zip(givens["jackets"], filled, strict=False)) | {"added": added}


def _with_blower_for_valve(givens: Givens) -> dict[str, str] | None:
    right = _right_schedule(givens)
    if "G" in right.values():
        return None
    terminals = ["G" if right[jacket] == givens["valve"] else right[jacket] for jacket in givens["jackets"]]
    return _on_jackets(givens, terminals, "nothing")


SCHEDULE = Exercise(
    id="4.7",
    title="A schedule for what there is",
    points=4,
    variant=_schedule_variant,
    question=_schedule_question,
    solve=_right_schedule,
    compare=_schedule_form,
    wrong_models=(
        WrongModel(
            "no air",
            "Your calls arrive, and the compressor runs. Who tells the blower?",
            lambda givens: _right_schedule(givens) | {"added": "nothing"},
        ),
        WrongModel(
            "blower instead of valve",
            "The air moves now, and the valve rests in one place. Which of the calls comes out as the other?",
            _with_blower_for_valve,
        ),
        WrongModel(
            "jumper beside a conductor",
            "G has its own conductor, and the jumper joins it to Y1. What does the fan alone do then?",
            lambda givens: _right_schedule(givens) | {"added": "jumper Y1-G"},
        ),
        WrongModel(
            "both stages at once",
            "With Y1 and Y2 joined there is no first stage any more.",
            lambda givens: _right_schedule(givens) | {"added": "jumper Y1-Y2"},
        ),
    ),
    rule=_judge_schedule,
)
