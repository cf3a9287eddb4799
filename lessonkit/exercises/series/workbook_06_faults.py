"""The exercises of workbook 06 about a whole job: each broken conductor, and why frames get lost.

Both come out of the bench: how cases end at rest, and what frames find on the circuit under load.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache

from lessonkit.bench.signal_path import SignalPath
from lessonkit.exercises.compare import Choice, Number, Record, Table
from lessonkit.exercises.core import Answer, Exercise, Givens, Several, WrongModel
from lessonkit.job.faults import as_faults
from lessonkit.job.model import Job
from lessonkit.job.toml import demo_job
from lessonkit.studies.broken import OUTCOMES, break_each
from lessonkit.studies.cases import Case, if_held

__all__ = ["FAULT_EXERCISES"]


# 6.4: each conductor broken -------------------------------------------------------------------------------

_SITES = ("forge-office", "wire-return")
_CALLS = ("cool-1", "cool-2", "heat-1", "heat-2")
_ROWS = 5


@lru_cache(maxsize=16)
def _outcomes(site: str, call: str) -> dict[str, str]:
    return break_each(site, call).outcomes


def _broken_variant(rng: random.Random) -> Givens:
    while True:
        site, call = rng.choice(_SITES), rng.choice(_CALLS)
        outcomes = _outcomes(site, call)
        names = sorted(rng.sample(sorted(outcomes), _ROWS), key=list(outcomes).index)
        if len({outcomes[name] for name in names}) >= 4:
            return {"job": site, "call": call, "conductors": tuple(names)}


def _valve(givens: Givens) -> str:
    return demo_job(str(givens["job"])).equipment.valve


def _broken_question(givens: Givens) -> str:
    names = ", ".join(f"`{name}`" for name in givens["conductors"])
    return (
        f"A heat pump whose valve is marked **{_valve(givens)}** has a wire for each terminal to the "
        "thermostat, and a link of three conductors (R, SIG, C) to the outdoor unit. The call is "
        f"`{givens['call']}`. One of these conductors is broken, each time another one, and all the others "
        f"are whole: {names}. What does the house get, a minute later? `less of it` is the same mode, "
        "weaker; `air only` is the blower alone; `no air` is a compressor that runs without the blower."
    )


def _broken(givens: Givens) -> Answer:
    outcomes = _outcomes(str(givens["job"]), str(givens["call"]))
    return {name: outcomes[name] for name in givens["conductors"]}


def _says(name: str, hint: str, conductor: str, outcome: str) -> WrongModel:
    """Return the model of one row read wrongly; "valve" is the conductor of the valve's letter."""

    def compute(givens: Givens) -> Answer:
        where = conductor.replace("valve", _valve(givens))
        right = _broken(givens)
        return {**right, where: outcome} if where in right else None

    return WrongModel(name, hint, compute)


def _once(outcome: str) -> Callable[[Givens], Several]:
    """Return a model that says an outcome in one row where it is wrong, whichever row it is."""

    def wrong(givens: Givens) -> Several:
        right = _broken(givens)
        return Several({**right, name: outcome} for name, found in right.items() if found != outcome)

    return wrong


#: What to ask about each outcome, where no model above says what was thought.
_ONCE = (
    ("as before", "nothing would go through that conductor under this call. Does anything?"),
    ("less of it", "the first stage would still run. Follow Y1 and its current: do they get through?"),
    ("air only", "the blower would run, and nothing else. Ask for each of the two by itself."),
    ("nothing", "the blower would stop, too. Does its current go through that conductor?"),
    ("no air", "the compressor would run without the blower. Which conductor feeds the blower alone?"),
    (
        "the other mode",
        "the valve would stand the other way. Does this break let go of the valve, and only of it?",
    ),
)


EACH = Exercise(
    id="6.4",
    title="Each conductor broken",
    points=3,
    variant=_broken_variant,
    question=_broken_question,
    solve=_broken,
    compare=lambda givens: Table(tuple(givens["conductors"]), Choice(OUTCOMES)),
    wrong_models=(
        _says(
            "relays stay",
            "SIG: the relays do not stay as they were. What does the board do after a silence?",
            "outdoor.SIG",
            "as before",
        ),
        _says(
            "SIG stops the house",
            "SIG: the blower is called over the other run. What does it do?",
            "outdoor.SIG",
            "nothing",
        ),
        _says(
            "R outdoors stops the house",
            "R of the outdoor run feeds the outdoor unit alone. What is fed at the air handler?",
            "outdoor.R",
            "nothing",
        ),
        _says(
            "C outdoors stops the house",
            "C of the outdoor run is the way back of the outdoor unit alone. What runs indoors?",
            "outdoor.C",
            "nothing",
        ),
        _says(
            "C outdoors does not matter",
            "C of the outdoor run is the way back of its boards and coils. What can work without one?",
            "outdoor.C",
            "as before",
        ),
        _says(
            "the valve only helps",
            "The valve's conductor: at rest the valve does not stand still in between. Which mode is that?",
            "thermostat.valve",
            "less of it",
        ),
        _says(
            "the valve stops it",
            "The valve's conductor: does the compressor know where the valve stands?",
            "thermostat.valve",
            "air only",
        ),
        _says(
            "the valve does not matter",
            "The valve's conductor: is the valve energised under this call? Then it lets go.",
            "thermostat.valve",
            "as before",
        ),
        _says(
            "the valve reverses anyway",
            "The valve's conductor: this call leaves the valve at rest. What can a break change then?",
            "thermostat.valve",
            "the other mode",
        ),
        _says(
            "stage two alone",
            "Y1: without its first stage the compressor does not run at all.",
            "thermostat.Y1",
            "less of it",
        ),
        _says(
            "Y1 stops the house",
            "Y1: the blower has a conductor of its own.",
            "thermostat.Y1",
            "nothing",
        ),
        _says(
            "G stops all",
            "G: it calls the blower alone. What does the compressor do?",
            "thermostat.G",
            "nothing",
        ),
        _says(
            "G does not matter",
            "G: nothing else tells the blower to run under this call.",
            "thermostat.G",
            "as before",
        ),
        _says(
            "Y2 stops all",
            "Y2: the first stage has a conductor of its own.",
            "thermostat.Y2",
            "air only",
        ),
        _says(
            "Y2 does not matter",
            "Y2: does this call ask for the second stage?",
            "thermostat.Y2",
            "as before",
        ),
        _says(
            "Y2 always matters",
            "Y2: look at the call again. Does it ask for the second stage?",
            "thermostat.Y2",
            "less of it",
        ),
        *(WrongModel(f"{word}, once", f"`{word}` in one row: {hint}", _once(word)) for word, hint in _ONCE),
    ),
)


# 6.5: why frames get lost ---------------------------------------------------------------------------------

CAUSES = ("noise", "a poor common", "a clock that is off", "a splice in SIG")
_POLL_FRAMES = 64
#: A link whose frames get lost has this share of good ones at the most.
_LOSES = 0.95


def _cause_variant(rng: random.Random) -> Givens:
    cause = rng.choice(CAUSES)
    values = {
        CAUSES[0]: (2.6, 2.8, 3.0, 3.2),
        CAUSES[1]: (5.0, 6.0, 7.0, 8.0, 9.0),
        CAUSES[2]: (-0.08, -0.07, 0.06, 0.07, 0.08),
        CAUSES[3]: (2200.0, 2700.0, 3300.0, 3900.0, 4700.0),
    }[cause]
    while True:
        givens: Givens = {"cause": cause, "value": rng.choice(values), "length_m": rng.randint(4, 11) * 5}
        rest, load, _ = _found(givens)
        if min(rest.odds, load.odds) < _LOSES:
            return givens


@lru_cache(maxsize=256)
def _paths(cause: str, value: float, length_m: float) -> tuple[SignalPath, SignalPath, float]:
    """Return the way down at rest and under load, and the volts of noise."""
    job = _cause_job(cause, value, length_m)
    fault = {
        CAUSES[0]: [f"outdoor.SIG=noise:{value:g}"],
        CAUSES[1]: [f"outdoor.C=resistance:{value:g}"],
        CAUSES[3]: [f"outdoor.SIG=resistance:{value:g}"],
    }.get(cause, [])
    faults = as_faults(fault, job)
    held = if_held(job, [Case("off", faults), Case("cool-2", faults)])
    noise_v = math.hypot(job.outdoor_run.link.noise_v, value if cause == CAUSES[0] else 0.0)
    rest, load = (one.ways["outdoor", "down"] for one in held)
    return rest, load, noise_v


def _cause_job(cause: str, value: float, length_m: float) -> Job:
    job = demo_job("forge-office")
    link = replace(job.outdoor_run.link, clock_error=value if cause == CAUSES[2] else 0.0)
    # The frame of the earth bond is taken away, so that the common is the only way back.
    return job.with_run("outdoor", length_m=length_m, earth_ohm=1e6, link=link)


def _found(givens: Givens) -> tuple[SignalPath, SignalPath, float]:
    return _paths(str(givens["cause"]), float(givens["value"]), float(givens["length_m"]))


def _cause_question(givens: Givens) -> str:
    rest, load, noise_v = _found(givens)
    job = _cause_job(str(givens["cause"]), float(givens["value"]), float(givens["length_m"]))
    reply_us = 1e6 / job.outdoor_run.link.baud * (1.0 + job.outdoor_run.link.clock_error)
    rows = (
        (
            f"frames heard, of {_POLL_FRAMES}",
            *(f"{round(one.odds * _POLL_FRAMES)}" for one in (rest, load)),
        ),
        ("a mark, its mean", *(f"{one.high_v:.2f} V" for one in (rest, load))),
        ("a space, its mean", *(f"{one.low_v:.2f} V" for one in (rest, load))),
        ("a sine of 60 Hz on SIG, RMS", *(f"{one.hum_v:.2f} V" for one in (rest, load))),
        ("fuzz on the trace, RMS", *(f"{noise_v:.2f} V" for _ in range(2))),
        ("one bit of a frame", "833 us", "833 us"),
        ("one bit of a reply", *(f"{reply_us:.0f} us" for _ in range(2))),
    )
    lines = "\n".join(f"| {' | '.join(row)} |" for row in rows)
    return (
        "A link loses frames. A scope at the outdoor unit, with its common on C there, shows:\n\n"
        f"| what | no call | `cool-2`, all relays held |\n| --- | --- | --- |\n{lines}\n\n"
        "A mark is heard at 7.5 V or above. Under `cool-2`, by how many volts does the mark clear these "
        "7.5 V in the worst moment of the sine (`room_v`, negative where it does not)? And what is the cause "
        f"(`cause`)? One of {', '.join(CAUSES)}."
    )


def _room(givens: Givens, peak: float = math.sqrt(2.0)) -> float:
    _, load, _ = _found(givens)
    return load.high_v - peak * load.hum_v - demo_job("forge-office").outdoor_run.link.high_v


def _with_cause(givens: Givens, room_v: float, cause: str) -> Answer:
    return {"room_v": room_v, "cause": cause}


def _blames(cause: str) -> WrongModel:
    hints = {
        CAUSES[
            0
        ]: "Noise shows as fuzz, with or without a call. Is there more fuzz here than usual (0.05 V)?",
        CAUSES[1]: "A poor common shows as a sine that grows with the load's current. Compare the columns.",
        CAUSES[2]: "Two clocks that differ show in the length of a bit. Compare frame and reply.",
        CAUSES[3]: "A splice takes volts from the mark, with or without a call. A sound one has some 10 V.",
    }

    def compute(givens: Givens) -> Answer:
        return None if givens["cause"] == cause else _with_cause(givens, _room(givens), cause)

    return WrongModel(f"blames {cause}", hints[cause], compute)


WHY = Exercise(
    id="6.5",
    title="Why do frames get lost?",
    points=3,
    variant=_cause_variant,
    question=_cause_question,
    solve=lambda givens: _with_cause(givens, _room(givens), str(givens["cause"])),
    compare=Record((("room_v", Number(rel=0.0, absolute=0.1, unit="V")), ("cause", Choice(CAUSES)))),
    wrong_models=(
        *map(_blames, CAUSES),
        WrongModel(
            "RMS for peak",
            "The cause is right. The worst moment of a sine is its peak, and the table gives RMS.",
            lambda givens: _with_cause(givens, _room(givens, 1.0), str(givens["cause"])),
        ),
        WrongModel(
            "no sine",
            "The cause is right. The sine pulls the mark down and up: take its lowest moment.",
            lambda givens: _with_cause(givens, _room(givens, 0.0), str(givens["cause"])),
        ),
        WrongModel(
            "the best moment",
            "The cause is right. You added the sine to the mark: that is its best moment, not its worst.",
            lambda givens: _with_cause(givens, _room(givens, -math.sqrt(2.0)), str(givens["cause"])),
        ),
        WrongModel(
            "the other way round",
            "The cause is right. Is the mark above 7.5 V in its worst moment, or below? Look at the sign.",
            lambda givens: _with_cause(givens, -_room(givens), str(givens["cause"])),
        ),
        WrongModel(
            "without the threshold",
            "The cause is right. That is the mark in its worst moment. How far is it from 7.5 V?",
            lambda givens: _with_cause(givens, _room(givens) + 7.5, str(givens["cause"])),
        ),
    ),
)

FAULT_EXERCISES = (EACH, WHY)
