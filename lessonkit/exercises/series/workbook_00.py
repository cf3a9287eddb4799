"""Exercises of workbook 00: read a meter between two points, and name what still responds.

They are warm-ups: one answer is a number, the other a small table of words. The second shows at once what the
bench is for: a signal conductor breaks, and some equipment stops, some does not, and not at once.
"""

from __future__ import annotations

import random

from lessonkit.bench.bench import Bench
from lessonkit.bench.meter import Meter
from lessonkit.exercises.compare import ChoiceSet, Number, Table
from lessonkit.exercises.core import Exercise, Givens, Several, WrongModel
from lessonkit.exercises.trials import (
    EQUIPMENT,
    call_terminals_at,
    responds,
    settled,
)
from lessonkit.job.naming import fault_sentence

TITLE = "Start here"

_CALLS = ("cool-1", "cool-2", "heat-1", "heat-2", "heat-aux")
_SECONDS = 20.0

# 0.1 A reading ---------------------------------------------------------------------------------------------

#: Ohms of the splice: enough to show, and never so many that a coil lets go or a board starves.
_SPLICES_OHM = {
    "full-cable": (0.6, 0.9, 1.2, 1.5, 1.8, 2.2, 2.6, 3.0, 3.5, 4.0, 4.5, 5.0),
    "wire-return": (0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2),
}
TOLERANCE_V = 0.05


def _reading_variant(rng: random.Random) -> Givens:
    job = rng.choice(("full-cable", "wire-return"))
    call = rng.choice(_CALLS)
    terminal = rng.choice(["R", *call_terminals_at(settled(job, call), "out")])
    return {"job": job, "call": call, "terminal": terminal, "splice_ohm": rng.choice(_SPLICES_OHM[job])}


def _splice(givens: Givens) -> str:
    return f"outdoor.C=resistance:{givens['splice_ohm']:g}"


def _reading_question(givens: Givens) -> str:
    return (
        f"In the job `{givens['job']}`, a poor splice of {givens['splice_ohm']:g} ohm sits in the conductor "
        f"C of the outdoor run (`{_splice(givens)}`). The thermostat asks for `{givens['call']}`, and 20 "
        f"seconds go by. How many volts are there from **{givens['terminal']}** to **C**, both at the "
        f"outdoor unit?\n\nRead `meter.volts(...)`. Answer in volts (RMS), within {TOLERANCE_V:g} V."
    )


def _measured(givens: Givens, red: str, black: str, **other: object) -> float:
    """Return what a meter shows on a fresh bench, with the splice and the call of the question."""
    at = {"call": givens["call"], "faults": (_splice(givens),), "seconds": _SECONDS, **other}
    bench = Bench(givens["job"], faults=at["faults"], call=at["call"])
    bench.pass_time(at["seconds"])
    return Meter(bench).volts(red, black).value


def _reading(givens: Givens, **other: object) -> float:
    return _measured(givens, f"out:{givens['terminal']}", "out:C", **other)


def _other_letters(givens: Givens) -> Several:
    live = call_terminals_at(settled(givens["job"], givens["call"], (_splice(givens),)), "out")
    return Several(
        _measured(givens, f"out:{letter}", "out:C") for letter in ("R", *live) if letter != givens["terminal"]
    )


def _at_the_air_handler(givens: Givens) -> float | None:
    letter = givens["terminal"]
    there = letter in call_terminals_at(settled(givens["job"], givens["call"]), "air")
    return _measured(givens, f"air:{letter}", "air:C") if letter == "R" or there else None


def _probe_indoors(givens: Givens) -> tuple[float, ...]:
    """Return what is read with one probe at the air handler, or with both."""
    reads = (_measured(givens, f"out:{givens['terminal']}", "air:C"), _at_the_air_handler(givens))
    return tuple(volts for volts in reads if volts is not None)


def _without_splice(givens: Givens) -> float:
    return _reading(givens, faults=())


def _close(one_v: float, other_v: float) -> bool:
    """Tell whether an answer between two readings could come from either."""
    return abs(one_v - other_v) <= 2 * TOLERANCE_V


def _splice_not_in_it(givens: Givens) -> Several | None:
    """Return readings that a probe indoors and a bench without its splice both lead to."""
    sound_v = _without_splice(givens)
    alike = [volts for volts in _probe_indoors(givens) if _close(volts, sound_v)]
    return Several([sound_v, *alike]) if alike else None


READING = Exercise(
    id="0.1",
    title="A reading",
    points=1,
    variant=_reading_variant,
    question=_reading_question,
    solve=_reading,
    compare=Number(rel=0.0, absolute=TOLERANCE_V, unit="V"),
    wrong_models=(
        WrongModel(
            "nominal",
            "24 V is the name of the circuit, not its reading. Hold the meter to the bench, and read.",
            lambda givens: 24.0,
        ),
        WrongModel(
            "peak",
            "That is the peak of the wave. Control voltages are given in RMS, which is the peak "
            "divided by 1.414.",
            lambda givens: round(_reading(givens) * 2**0.5, 2),
        ),
        # Volts cannot tell these slips apart where the splice takes about what the other conductor takes.
        WrongModel(
            "splice-not-in-it",
            "The splice is not in that reading. Either a probe is at the air handler: write `out:` twice. "
            "Or the bench has no fault: give it `faults=[...]`.",
            _splice_not_in_it,
        ),
        WrongModel(
            "probe-indoors",
            "A probe of yours is at the air handler. Both belong at the outdoor unit: write `out:` twice.",
            lambda givens: Several(_probe_indoors(givens)),
        ),
        WrongModel(
            "no-splice",
            "That is the job without its splice. Give the fault to the bench: `faults=[...]`.",
            _without_splice,
        ),
        WrongModel(
            "no-call",
            "That is before the call. Set the call, let 20 seconds go by, and read then.",
            lambda givens: _reading(givens, call="off"),
        ),
        WrongModel(
            "other-letter",
            "That is another letter at the outdoor unit. Look at the letter asked for.",
            _other_letters,
        ),
    ),
    nudge="Make the bench with the fault, set the call, let 20 seconds go by, and only then read.",
)

# 0.2 What still responds -----------------------------------------------------------------------------------

_ON_SIG = tuple(("wire-return", ("outdoor.SIG=open",), (call,)) for call in _CALLS)
_ON_A_WIRE = (
    ("full-cable", ("outdoor.Y2=open",), ("cool-2",)),
    ("full-cable", ("outdoor.Y2=open",), ("heat-2",)),
    ("full-cable", ("outdoor.Y2=open",), ("heat-aux",)),
    ("full-cable", ("outdoor.Y1=open",), ("cool-1", "cool-2")),
    ("wire-return", ("outdoor.R=open", "outdoor.C=open"), ("cool-1", "cool-2", "heat-1", "heat-2")),
    ("wire-return", ("outdoor.R=open", "outdoor.C=open"), ("heat-aux",)),
)
#: Cases of one job: what breaks, under which calls. No two of them have one answer.
CASES = _ON_SIG + _ON_A_WIRE

#: Seconds that the question lets the job run before it breaks, and the later of the two looks.
SOUND_FOR_S = 20.0
LATER_S = 60


def _break_variant(rng: random.Random) -> Givens:
    job, faults, calls = rng.choice(CASES)
    soon_s = rng.choice((3, 4, 5, 6, 7))
    return {"job": job, "call": rng.choice(calls), "fault": rng.choice(faults), "soon_s": soon_s}


def _looks(givens: Givens) -> tuple[str, str]:
    return f"after {givens['soon_s']} s", f"after {LATER_S} s"


def _break_question(givens: Givens) -> str:
    soon, later = _looks(givens)
    return (
        f"The job `{givens['job']}` has run on `{givens['call']}` for {SOUND_FOR_S:g} seconds. Then "
        f"{fault_sentence(givens['fault'])} (`{givens['fault']}`). Which equipment responds **{soon}**, and "
        f"which **{later}**?\n\n"
        f"Answer each with a list of some of these, or `[]`: {', '.join(EQUIPMENT)}. "
        "The reversing valve responds when its solenoid is energised."
    )


def _tried(givens: Givens, seconds: float, *faults: str) -> list[str]:
    """Return what responds some seconds after faults strike a job that has run well for 20 s."""
    broken = faults or (givens["fault"],)
    return responds(settled(givens["job"], givens["call"], broken, seconds, before_s=SOUND_FOR_S))


def _sound(givens: Givens) -> list[str]:
    return responds(settled(givens["job"], givens["call"], (), SOUND_FOR_S))


def _rows(givens: Givens, soon: list[str], later: list[str]) -> dict[str, list[str]]:
    return dict(zip(_looks(givens), (soon, later), strict=True))


def _seen(givens: Givens) -> dict[str, list[str]]:
    return _rows(givens, _tried(givens, givens["soon_s"]), _tried(givens, LATER_S))


def _is_signal(givens: Givens) -> bool:
    return ".SIG=" in str(givens["fault"])


def _holds_anyway(givens: Givens) -> dict[str, list[str]] | None:
    return None if _is_signal(givens) else _rows(givens, _sound(givens), _tried(givens, LATER_S))


def _all_stop(givens: Givens) -> Several:
    return Several((_rows(givens, _tried(givens, givens["soon_s"]), []), _rows(givens, [], [])))


def _compressor_stops(givens: Givens) -> dict[str, list[str]] | None:
    """Let a lost second stage stop the whole compressor, and its fan."""
    if "Y2" not in givens["fault"]:
        return None
    rest = [name for name in _tried(givens, LATER_S) if name not in ("compressor stage 1", "outdoor fan")]
    return _rows(givens, rest, rest)


STILL_RESPONDS = Exercise(
    id="0.2",
    title="What still responds",
    points=1,
    variant=_break_variant,
    question=_break_question,
    solve=_seen,
    compare=lambda givens: Table(_looks(givens), ChoiceSet(EQUIPMENT)),
    wrong_models=(
        WrongModel(
            "no-watchdog",
            "The relay board hears nothing any more. After 10 seconds of silence its watchdog lets "
            "every output go.",
            lambda givens: _rows(givens, *2 * [_tried(givens, givens["soon_s"])]),
        ),
        WrongModel(
            "at-once",
            "The relay board holds what it heard last until its watchdog, 10 seconds, has run out. "
            "Look at the first time again.",
            lambda givens: _rows(givens, *2 * [_tried(givens, LATER_S)]) if _is_signal(givens) else None,
        ),
        WrongModel(
            "holds-anyway",
            "Nothing holds a call on a plain wire: without its volts a coil lets go at once. Only a relay "
            "board that listens to SIG waits.",
            _holds_anyway,
        ),
        WrongModel(
            "nothing-changes",
            "That is the job before anything broke. Ask which call goes through the broken conductor.",
            lambda givens: _rows(givens, _sound(givens), _sound(givens)),
        ),
        WrongModel(
            "everything",
            "Not everything is fed through that conductor, or not yet. Ask for each piece of equipment: "
            "how does its call get there?",
            _all_stop,
        ),
        WrongModel(
            "compressor-stops",
            "Y2 asks for the second stage alone. What Y1 asks for goes on.",
            _compressor_stops,
        ),
        WrongModel(
            "rows-swapped",
            "You have the two times in the wrong rows. First the board still holds, then it lets go.",
            lambda givens: _rows(givens, _tried(givens, LATER_S), _tried(givens, givens["soon_s"])),
        ),
    ),
    nudge="Make a bench for it, let it run for 20 seconds, break the conductor, and look at both times.",
)

EXERCISES = (READING, STILL_RESPONDS)
