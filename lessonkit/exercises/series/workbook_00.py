"""Exercises of workbook 00: read a number off the bench, and name what responds.

They are warm-ups: one answer is a number, the other a list of words. The second shows at once what the bench
is for: a signal conductor breaks, and some equipment stops, some does not, and not at once.
"""

from __future__ import annotations

import random

from lessonkit.exercises.compare import ChoiceSet, Number
from lessonkit.exercises.core import Exercise, Givens, WrongModel
from lessonkit.exercises.trials import EQUIPMENT, call_terminals_at, fault_in_words, responds, settled
from lessonkit.job.calls import PLACE_WORDS

TITLE = "Start here"

_CALLS = ("cool-1", "cool-2", "heat-1", "heat-2", "heat-aux")

# 0.1 A reading ---------------------------------------------------------------------------------------------


def _reading_variant(rng: random.Random) -> Givens:
    job = rng.choice(("full-cable", "earth-return", "wire-return", "two-run"))
    call = rng.choice(_CALLS)
    place = rng.choice(("stat", "out"))
    terminal = rng.choice(call_terminals_at(settled(job, call), place))
    return {"job": job, "call": call, "place": place, "terminal": terminal}


def _reading_question(givens: Givens) -> str:
    place, terminal = givens["place"], givens["terminal"]
    return (
        f"Bring the job `{givens['job']}` to life, let the thermostat ask for `{givens['call']}`, and let 20 "
        f"seconds pass. How many volts (RMS) are there between **{terminal}** at the {PLACE_WORDS[place]} "
        f"and **C** at the air handler?\n\n"
        f'Read `bench.state.volts["{place}:{terminal}"]`. Answer in volts, with two decimals.'
    )


def _reading(givens: Givens) -> float:
    return settled(givens["job"], givens["call"]).volts[f"{givens['place']}:{givens['terminal']}"]


def _reading_elsewhere(givens: Givens) -> float | None:
    volts = settled(givens["job"], givens["call"]).volts
    return volts.get(f"air:{givens['terminal']}")


def _reading_own_common(givens: Givens) -> float:
    place, state = givens["place"], settled(givens["job"], givens["call"])
    return state.between(f"{place}:{givens['terminal']}", f"{place}:C")


READING = Exercise(
    id="0.1",
    title="A reading",
    points=1,
    variant=_reading_variant,
    question=_reading_question,
    solve=_reading,
    compare=Number(rel=0.0, absolute=0.02, unit="V"),
    wrong_models=(
        WrongModel(
            "nominal",
            "24 V is the name of the circuit, not its reading: a lightly loaded transformer gives "
            "more. Read the bench.",
            lambda givens: 24.0,
        ),
        WrongModel(
            "peak",
            "That is the peak of the wave. Control voltages are given in RMS, which is the peak "
            "divided by 1.414.",
            lambda givens: round(_reading(givens) * 2**0.5, 2),
        ),
        WrongModel(
            "air-handler",
            "That is the same letter at the air handler. A terminal is a place and a letter: look "
            "at the place asked for.",
            _reading_elsewhere,
        ),
        WrongModel(
            "own-common",
            "That is against C at the same place. This question, like all volts on the bench, is "
            "against C at the air handler.",
            _reading_own_common,
        ),
    ),
    nudge="Set the call first, let the seconds pass, and only then read; the volts change with what runs.",
)

# 0.2 What still responds -----------------------------------------------------------------------------------

_SIGNALS = (
    ("earth-return", "outdoor.SIG=open"),
    ("wire-return", "outdoor.SIG=open"),
    ("two-run", "outdoor.SIG=open"),
    ("two-run", "thermostat.SIG=open"),
)


#: Seconds that the question lets the job run before it breaks.
SOUND_FOR_S = 20.0


def _break_variant(rng: random.Random) -> Givens:
    job, fault = rng.choice(_SIGNALS)
    return {"job": job, "call": rng.choice(_CALLS), "fault": fault, "seconds": rng.choice((4, 5, 45, 60, 90))}


def _break_question(givens: Givens) -> str:
    return (
        f"The job `{givens['job']}` has run on `{givens['call']}` for {SOUND_FOR_S:g} seconds. Then "
        f"{fault_in_words(givens['fault'])} (`{givens['fault']}`). Which equipment responds "
        f"**{givens['seconds']} seconds later**?\n\n"
        f"Answer with a list of some of these, or `[]`: {', '.join(EQUIPMENT)}. "
        "The reversing valve responds when its solenoid is energised."
    )


def _tried(givens: Givens, **other: object) -> list[str]:
    """Return what responds some seconds after a fault strikes a job that has run well for 20 s."""
    at = {**givens, **other}
    return responds(settled(at["job"], at["call"], (at["fault"],), at["seconds"], before_s=SOUND_FOR_S))


def _other_run(givens: Givens) -> list[str] | None:
    if givens["job"] != "two-run":
        return None
    run = "thermostat" if givens["fault"].startswith("outdoor") else "outdoor"
    return _tried(givens, fault=f"{run}.SIG=open", seconds=60)


STILL_RESPONDS = Exercise(
    id="0.2",
    title="What still responds",
    points=1,
    variant=_break_variant,
    question=_break_question,
    solve=_tried,
    compare=ChoiceSet(EQUIPMENT),
    wrong_models=(
        WrongModel(
            "no-watchdog",
            "The relay board hears nothing any more. After 10 seconds of silence its watchdog lets "
            "every output go.",
            lambda givens: _tried(givens, seconds=0),
        ),
        WrongModel(
            "at-once",
            "The relay board holds what it heard last until its watchdog, 10 seconds, has run out. "
            "Look at the time again.",
            lambda givens: _tried(givens, seconds=60),
        ),
        WrongModel(
            "everything",
            "Not everything hangs on that conductor, or not yet. Ask for each piece of equipment: "
            "how does its call get there?",
            lambda givens: [],
        ),
        WrongModel(
            "other-run",
            "That is what the other run's signal conductor would do. See which run is broken, and "
            "what lies behind it.",
            _other_run,
        ),
    ),
)

EXERCISES = (READING, STILL_RESPONDS)
