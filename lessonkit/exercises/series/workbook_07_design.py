"""Exercise 7.8 of workbook 07: a way back is designed, and the bench judges it.

There is no one right answer. A rule builds the job that the answer describes, runs it under its heaviest
calls, and asks what a careful person would: does it work, does every coil keep a margin, and does nothing
flow on the equipment ground?
"""

from __future__ import annotations

import random
from functools import cache, lru_cache
from typing import Any

from lessonkit.bench.bench import Bench
from lessonkit.copper.wire import resistance_per_m
from lessonkit.exercises.compare import Choice, Record
from lessonkit.exercises.core import Exercise, Givens, WrongModel
from lessonkit.job.model import Job
from lessonkit.job.supply import Supply
from lessonkit.job.toml import demo_job

WIRE, GROUND, COMMON, ISOLATED = "wire", "earth", "second, common", "second, isolated"
_WAYS = (WIRE, GROUND, COMMON, ISOLATED)
_USES = ("R", "C", "SIG", "none")
#: The order in a cable of eight (two makers' sheets); colours bind nobody to a use.
_JACKETS = ("white", "red", "green", "blue", "yellow", "brown", "orange", "black")
#: What each way back needs, a conductor for each.
_NEEDS = {WIRE: ("R", "SIG", "C"), GROUND: ("R", "SIG"), COMMON: ("SIG", "C"), ISOLATED: ("SIG", "C")}

_CALLS = ("cool-2", "heat-aux")
THERE_S = 20.0
#: A design keeps this many volts above the pick-up of its contactor.
_SPARE_V = 2.0


def _design_variant(rng: random.Random) -> Givens:
    sound = rng.choice((2, 3, 3))
    broken = rng.sample(range(len(_JACKETS)), len(_JACKETS) - sound)
    gauge_awg = rng.choice((18, 20, 22))
    short_m, long_m = {
        18: ((25, 30, 40, 50), (110, 120, 140)),
        20: ((15, 20, 25, 30), (75, 85, 95)),
        22: ((10, 14, 18), (50, 60, 70)),
    }[gauge_awg]
    return {
        "broken": tuple(sorted(_JACKETS[k] for k in broken)),
        "gauge_awg": gauge_awg,
        "length_m": rng.choice(short_m if sound > 2 and rng.random() < 0.6 else long_m),
        "listed": rng.random() < 0.4,
    }


def _design_question(givens: Givens) -> str:
    ohm = givens["length_m"] * resistance_per_m(givens["gauge_awg"])
    sound = ", ".join(jacket for jacket in _JACKETS if jacket not in givens["broken"])
    listed = "are listed for joining their outputs" if givens["listed"] else "are not listed for joining"
    return (
        f"An old cable of eight runs {givens['length_m']} m to an outdoor unit; its sound conductors are "
        f"{sound}, of {ohm:.2f} ohm each ({givens['gauge_awg']} AWG). The others are broken. The outdoor "
        "unit has line voltage of its own, so a second transformer can go there. The two transformers at "
        f"hand {listed}. The maker of the control says nothing about equipment ground, so nothing may flow "
        "there. Choose a way back and a use for each conductor, so that `cool-2` and `heat-aux` work and "
        f"the contactor keeps {_SPARE_V:g} V above the 18 V at which it pulls in. Ways back: `{WIRE}`, "
        f"`{GROUND}`, `{COMMON}` (a second transformer, commons joined), `{ISOLATED}` (a second transformer "
        "and an isolated receiver). Uses: `R`, `C`, `SIG`, `none`. More than one answer can be right."
    )


def _form(givens: Givens) -> Record:
    return Record((("way back", Choice(_WAYS)), *((jacket, Choice(_USES)) for jacket in _JACKETS)))


def _designed(givens: Givens, answer: dict[str, Any]) -> Job:
    """Return the job that an answer describes; each conductor is there once, and none is broken."""
    way, spares, names = answer["way back"], 0, []
    for jacket in _JACKETS:
        use, broken = answer[jacket], jacket in givens["broken"]
        if use != "none":
            names.append(use)
            continue
        spares += 1
        names.append(f"{'bad' if broken else 'spare'}-{spares}")
    second = way in (COMMON, ISOLATED)
    listed = bool(givens["listed"])
    job = demo_job("earth-return").with_supply(rated_va=75.0, interconnection_listed=listed)
    return job.with_run(
        "outdoor",
        conductors=tuple(names),
        length_m=float(givens["length_m"]),
        gauge_awg=givens["gauge_awg"],
        return_by="second-transformer" if second else way,
        receiver="isolated" if way == ISOLATED else "common",
        far_supply=Supply(rated_va=75.0, interconnection_listed=listed) if second else None,
    )


def _uses(answer: dict[str, Any]) -> list[str]:
    return sorted(answer[jacket] for jacket in _JACKETS if answer[jacket] != "none")


def judged(givens: Givens, answer: dict[str, Any]) -> str | None:
    """Return None for a design that works and keeps the rules, else a hint."""
    way = answer["way back"]
    if way == GROUND:
        return "The current would come home over the equipment ground, and nobody has allowed that here."
    if any(answer[jacket] != "none" for jacket in givens["broken"]):
        return "One of the conductors that you use is broken. Look again at which ones are sound."
    if way in (COMMON, ISOLATED) and "R" in _uses(answer):
        return "With a transformer at each place, no conductor may join the two hot sides."
    if _uses(answer) != sorted(_NEEDS[way]):
        return "Ask what this way back needs, one conductor each: power out, signal, and what comes home."
    if way == COMMON and not givens["listed"]:
        return "Only sources that are listed for it may have their outputs joined."
    return _tried(_designed(givens, answer))


@cache
def _wanted(call: str) -> str:
    """Return what a sound site delivers under a call."""
    return Bench("earth-return", call=call).advance(THERE_S).delivering


@lru_cache(maxsize=256)
def _tried(job: Job) -> str | None:
    """Run a job through its heaviest calls, and return what is wrong with it."""
    for call in _CALLS:
        wanted = _wanted(call)
        state = Bench(job, call=call).advance(THERE_S)
        if state.earth_a > 1e-3:
            return "Something flows on the equipment ground. Follow the current home."
        if state.delivering != wanted or state.chatter:
            between_v = state.between("out:C", "air:C")
            return (
                f"On the bench `{call}` does not hold: {between_v:.1f} V lie between the two commons. What "
                "in this cable is too long or too thin for its current?"
            )
        if state.coils["out:contactor"].volts < job.coil("contactor").pickup_v + _SPARE_V:
            return "It works, and leaves the contactor too few volts to spare."
    return None


def _filled(givens: Givens, way: str) -> dict[str, Any]:
    """Return a design with what a way back needs on the first sound conductors."""
    sound = [jacket for jacket in _JACKETS if jacket not in givens["broken"]]
    uses = dict(zip(sound, _NEEDS[way], strict=False))
    return {"way back": way, **{jacket: uses.get(jacket, "none") for jacket in _JACKETS}}


def _design(givens: Givens) -> dict[str, Any]:
    """Return one design that works: by wire if it does, else with a second transformer."""
    fits = len(_JACKETS) - len(givens["broken"]) >= len(_NEEDS[WIRE])
    by_wire = _filled(givens, WIRE)
    return by_wire if fits and judged(givens, by_wire) is None else _filled(givens, ISOLATED)


def _thin_wire(givens: Givens) -> dict[str, Any] | None:
    if len(_JACKETS) - len(givens["broken"]) < len(_NEEDS[WIRE]):
        return None
    return _filled(givens, WIRE)


def _hot_to_hot(givens: Givens) -> dict[str, Any] | None:
    sound = [jacket for jacket in _JACKETS if jacket not in givens["broken"]]
    if len(sound) < 3:
        return None
    return {**_filled(givens, ISOLATED), sound[2]: "R"}


DESIGN = Exercise(
    id="7.8",
    title="Choose a way back",
    points=4,
    variant=_design_variant,
    question=_design_question,
    solve=_design,
    compare=_form,
    rule=judged,
    wrong_models=(
        WrongModel(
            "over the equipment ground",
            "That puts the current on the equipment ground. Who decides that, and what does the maker say?",
            lambda givens: _filled(givens, GROUND),
        ),
        WrongModel(
            "unlisted sources joined",
            "Look at what the two transformers are listed for. There is a form that joins nothing.",
            lambda givens: _filled(givens, COMMON),
        ),
        WrongModel(
            "too thin for its current",
            "Amperes times the ohms of one conductor: how far apart does that bring the two commons?",
            _thin_wire,
        ),
        WrongModel(
            "hot to hot",
            "Two hot sides must stay apart. Which of your conductors would join them here?",
            _hot_to_hot,
        ),
        WrongModel(
            "a broken conductor",
            "Check each conductor that you use against the list of sound ones.",
            lambda givens: {
                "way back": ISOLATED,
                **dict.fromkeys(_JACKETS, "none"),
                givens["broken"][0]: "SIG",
                next(jacket for jacket in _JACKETS if jacket not in givens["broken"]): "C",
            },
        ),
    ),
)
