"""The exercises of workbook 04, too few conductors: count, what is lost, jumper and relay, and a schedule.

This room holds the three about conductors and what may share them; the three about half-wave steering stand
in `workbook_04_half_wave`, the schedule in `workbook_04_schedule`. What the house gets is asked of a bench.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any

from lessonkit.bench.bench import Bench
from lessonkit.exercises.compare import Choice, ChoiceSet, Count, Record, Table
from lessonkit.exercises.core import Exercise, Givens, WrongModel
from lessonkit.exercises.series.workbook_04_half_wave import HALF_WAVE_EXERCISES
from lessonkit.exercises.series.workbook_04_schedule import SCHEDULE
from lessonkit.exercises.slips import row_slips
from lessonkit.exercises.trials import settled
from lessonkit.job.model import Job
from lessonkit.job.toml import demo_job

TITLE = "Too few conductors"

#: A job in which every terminal of the thermostat has a conductor: what all else is held against.
WHOLE = "full-cable"


# 4.1: count ----------------------------------------------------------------------------------------------

TERMINALS = ("R", "C", "Y1", "Y2", "G", "O", "B", "W1", "W2", "E")


def _count_variant(rng: random.Random) -> Givens:
    emergency_by = rng.choice(("E", "E", "W1"))
    return {
        "valve": rng.choice("OB"),
        "stages": rng.choice((1, 2)),
        "heat_stages": rng.choice((1, 2)),
        "emergency_by": emergency_by,
        "power": rng.choice(("common", "common", "battery")),
        "sound": rng.randrange(3, 6),
        "bad": rng.randrange(1, 3),
    }


def _count_question(givens: Givens) -> str:
    steps = {1: "one stage", 2: "two stages"}
    living = {"common": "lives on R and C", "battery": "lives on a battery and has no use for C"}
    emergency = {"E": "has a terminal of its own for emergency heat", "W1": "asks for emergency heat by W1"}
    return (
        f"A heat pump is to go on an old cable. It has an **{givens['valve']}** valve, its compressor has "
        f"{steps[givens['stages']]}, its electric heat {steps[givens['heat_stages']]}. It "
        f"{emergency[givens['emergency_by']]}. The thermostat {living[givens['power']]}. The cable has "
        f"{givens['sound'] + givens['bad']} conductors; {givens['bad']} did not pass when they were proved. "
        f"Which "
        f"terminals need a conductor between thermostat and air handler (`needed`, out of "
        f"{', '.join(TERMINALS)}), "
        "and how many conductors are missing (`missing`)?"
    )


def _count_job(givens: Givens) -> Job:
    # On a battery the cable may lack C; here only the terminals are asked for, so the run is left as it is.
    kit = {key: givens[key] for key in ("valve", "stages", "heat_stages", "emergency_by")}
    return demo_job(WHOLE).with_run("thermostat", conductors=("R", "C")).with_equipment(**kit)


def _needed(givens: Givens) -> set[str]:
    return {"R", *({"C"} if givens["power"] == "common" else ()), *_count_job(givens).call_terminals}


def _counted(givens: Givens, needed: set[str], there: int | None = None) -> dict[str, Any]:
    sound = int(givens["sound"]) if there is None else there
    listed = [terminal for terminal in TERMINALS if terminal in needed]
    return {"needed": listed, "missing": max(len(needed) - sound, 0)}


def _other_way_of(power: str, terminal: str) -> Callable[[Givens], dict[str, Any]]:
    def compute(givens: Givens) -> dict[str, Any]:
        needed = _needed(givens)
        changed = needed ^ {terminal} if givens["power"] == power else needed
        return _counted(givens, changed)

    return compute


COUNT = Exercise(
    id="4.1",
    title="Needed, and missing",
    points=2,
    variant=_count_variant,
    question=_count_question,
    solve=lambda givens: _counted(givens, _needed(givens)),
    compare=Record((("needed", ChoiceSet(TERMINALS)), ("missing", Count("conductors")))),
    wrong_models=(
        WrongModel(
            "bad ones counted",
            "The terminals are right. A conductor that did not pass is no conductor: count the sound ones "
            "only.",
            lambda givens: _counted(givens, _needed(givens), givens["sound"] + givens["bad"]),
        ),
        WrongModel(
            "no conductor for power",
            "You listed calls alone. What does the thermostat switch, and what does it live on itself?",
            lambda givens: _counted(givens, _needed(givens) - {"R", "C"}),
        ),
        WrongModel(
            "no common",
            "This thermostat lives on two conductors. Its current has to come back somewhere.",
            _other_way_of("common", "C"),
        ),
        WrongModel(
            "a common for a battery",
            "A thermostat on a battery needs nothing to come back on.",
            _other_way_of("battery", "C"),
        ),
        WrongModel(
            "both letters",
            "A valve has one letter. Which one does this unit have?",
            lambda givens: _counted(givens, _needed(givens) | {"O", "B"}),
        ),
        WrongModel(
            "no fan",
            "The blower has a terminal of its own in this count. Leaving it out comes later, and has a "
            "price.",
            lambda givens: _counted(givens, _needed(givens) - {"G"}),
        ),
        WrongModel(
            "every terminal there is",
            "Take only what this unit has: count its stages, and look how it asks for emergency heat.",
            lambda givens: _counted(givens, _needed(givens) | {"Y2", "W2", "E"}),
        ),
        WrongModel(
            "one stage of each",
            "Read the stages again: a second stage of anything needs a conductor of its own.",
            lambda givens: _counted(givens, _needed(givens) - {"Y2", "W2"}),
        ),
    ),
    nudge="R; C if it lives on it; one for each stage; the valve; G; and E if emergency heat has its own.",
)


# 4.2: what is lost --------------------------------------------------------------------------------------

AS_CALLED, LESS, NO_AIR, WRONG_WAY, NOTHING = LOST_WORDS = (
    "as called",
    "less",
    "no air",
    "wrong way",
    "nothing",
)
_CALLS = ("fan", "cool-1", "cool-2", "heat-1", "heat-2", "heat-aux", "emergency")
_ASKED = 5


def _lost_variant(rng: random.Random) -> Givens:
    main = rng.choice(("O", "G", "W1", "Y1", "G", "O"))
    other = rng.choice(("Y2", "E", ""))
    calls = sorted(rng.sample(_CALLS, _ASKED), key=_CALLS.index)
    return {"left_out": tuple(name for name in (main, other) if name), "calls": tuple(calls)}


def _lost_question(givens: Givens) -> str:
    names = " and ".join(givens["left_out"])
    asked = ", ".join(f"`{call}`" for call in givens["calls"])
    return (
        f"A two-stage heat pump has an O valve, electric heat and a terminal E. Its cable has too few "
        f"conductors, so "
        f"{names} of the thermostat stays without one. Nothing else is changed. (The electric heat brings "
        f"its own "
        f"blower.) What does the house get under {asked}? Write the worst that is true: `{NOTHING}`; "
        f"`{WRONG_WAY}` "
        f"(heat instead of cold); `{NO_AIR}` (the compressor runs, and no air moves); `{LESS}` (something "
        f"that was "
        f"called stays off); or `{AS_CALLED}`."
    )


@lru_cache(maxsize=128)
def _responding(left_out: tuple[str, ...], call: str) -> Mapping[str, str]:
    conductors = tuple(n for n in demo_job(WHOLE).thermostat_run.conductors if n not in left_out)
    bench = Bench(demo_job(WHOLE).with_run("thermostat", conductors=conductors), call=call)
    return bench.advance(20.0).responding


def _word(got: Mapping[str, str], whole: Mapping[str, str]) -> str:
    on = {name for name, words in got.items() if words != "off"}
    called = {name for name, words in whole.items() if words != "off"}
    if not on:
        return NOTHING
    compressor = "compressor stage 1" in on
    if compressor and ("reversing valve" in on) != ("reversing valve" in called):
        return WRONG_WAY
    if compressor and "blower" not in on:
        return NO_AIR
    return AS_CALLED if called <= on else LESS


def _lost_rows(givens: Givens, left_out: tuple[str, ...]) -> dict[str, str]:
    return {call: _word(_responding(left_out, call), _responding((), call)) for call in givens["calls"]}


def _in_rows(givens: Givens, change: Callable[[str, str], str]) -> dict[str, str]:
    return {call: change(call, word) for call, word in _lost_rows(givens, givens["left_out"]).items()}


LOST = Exercise(
    id="4.2",
    title="What is lost?",
    points=3,
    variant=_lost_variant,
    question=_lost_question,
    solve=lambda givens: _lost_rows(givens, givens["left_out"]),
    compare=lambda givens: Table(givens["calls"], Choice(LOST_WORDS)),
    wrong_models=(
        WrongModel(
            "only one is missing",
            "Two conductors are missing. Go through the calls once more for the second of them.",
            lambda givens: _lost_rows(givens, givens["left_out"][:1]),
        ),
        WrongModel(
            "a missing valve is only less",
            "This valve rests in one place and is pulled to the other. In which does it rest, and who "
            "called for what?",
            lambda givens: _in_rows(givens, lambda _, word: LESS if word == WRONG_WAY else word),
        ),
        WrongModel(
            "a missing blower is only less",
            "A compressor that runs while no air moves is more than something missing: it can be damaged.",
            lambda givens: _in_rows(givens, lambda _, word: LESS if word == NO_AIR else word),
        ),
        WrongModel(
            "electric heat without air",
            "Electric heat brings the blower by itself here, whatever the thermostat can say.",
            lambda givens: (
                _in_rows(givens, lambda call, word: NO_AIR if call in ("heat-aux", "emergency") else word)
                if "G" in givens["left_out"]
                else None
            ),
        ),
        WrongModel(
            "every call is hurt",
            "Which of these calls use what is missing? The others go on as before.",
            lambda givens: _in_rows(givens, lambda _, word: LESS if word == AS_CALLED else word),
        ),
        *row_slips(
            lambda givens: _lost_rows(givens, givens["left_out"]),
            _ASKED,
            {
                AS_CALLED: "this call uses a letter that has no conductor. Which one?",
                LESS: "is it only less? Ask about the valve, the air, and what is left to run at all.",
                NO_AIR: "does the compressor run there, and does nothing bring the blower?",
                WRONG_WAY: "in which way does the valve rest, and does this call need the other one?",
                NOTHING: "strike out what is missing. One letter of this call is still there.",
            },
        ),
    ),
    nudge="For each call write its terminals, strike out what is missing, and see what is left to respond.",
)


# 4.3: jumper or relay ------------------------------------------------------------------------------------

ALSO_MORE = "too much"
DEVICE_WORDS = (AS_CALLED, ALSO_MORE, WRONG_WAY)
#: What was added at the air handler: in words, and as work of hands.
_DEVICES: Mapping[str, tuple[str, str]] = {
    "jumper Y1-G": ("a jumper from Y1 to G", "jumper air:Y1 air:G"),
    "relay Y1-G": ("a relay, coil on Y1, contact from R to G", "relay air:Y1 air:R air:G"),
    "jumper Y1-Y2": ("a jumper from Y1 to Y2", "jumper air:Y1 air:Y2"),
    "relay Y2-Y1": ("a relay, coil on Y2, contact from R to Y1", "relay air:Y2 air:R air:Y1"),
    "jumper W1-G": ("a jumper from W1 to G", "jumper air:W1 air:G"),
    "relay W1-G": ("a relay, coil on W1, contact from R to G", "relay air:W1 air:R air:G"),
    "jumper Y1-O": ("a jumper from Y1 to O", "jumper air:Y1 air:O"),
    "relay O-Y1": ("a relay, coil on O, contact from R to Y1", "relay air:O air:R air:Y1"),
}
_ROWS = ("a", "b", "c", "d", "e", "f")


def _device_variant(rng: random.Random) -> Givens:
    pool = [(device, call) for device in _DEVICES for call in ("fan", "cool-1", "heat-1", "heat-aux")]
    while True:
        tests = tuple(rng.sample(pool, len(_ROWS)))
        words = {_with_device(*test) for test in tests}
        if words == set(DEVICE_WORDS) and any(device.startswith("relay") for device, _ in tests):
            return {"tests": tests}


def _device_question(givens: Givens) -> str:
    rows = [
        f"* `{row}`: {_DEVICES[device][0]}; then `{call}`"
        for row, (device, call) in zip(_ROWS, givens["tests"], strict=True)
    ]
    return (
        "A two-stage heat pump with an O valve has a conductor for every terminal, and all of them are on. "
        "At the air "
        "handler somebody has added one thing. The relay's coil goes to C, its contact closes while the "
        "coil is live. "
        "What does the house get?\n\n"
        + "\n".join(rows)
        + f"\n\nWrite `{AS_CALLED}`, `{ALSO_MORE}` (something runs that was not called), or `{WRONG_WAY}` "
        "(heat instead of cold, or cold instead of heat)."
    )


@lru_cache(maxsize=128)
def _with_device(device: str, call: str) -> str:
    bench = Bench(WHOLE)
    bench.set_hands([_DEVICES[device][1]])
    bench.set_call(call)
    got, whole = bench.advance(20.0).responding, settled(WHOLE, call).responding
    on, called = ({name for name, words in state.items() if words != "off"} for state in (got, whole))
    if "compressor stage 1" in called and ("reversing valve" in on) != ("reversing valve" in called):
        return WRONG_WAY
    return ALSO_MORE if on - called else AS_CALLED


def _device_rows(givens: Givens, seen: Callable[[str, str], str]) -> dict[str, str]:
    return {row: seen(*test) for row, test in zip(_ROWS, givens["tests"], strict=True)}


def _kinds_taken_for(kind: str, word: str) -> Callable[[Givens], dict[str, str]]:
    """Return a model that holds all devices of a kind for harmless, or for harmful."""
    return lambda givens: _device_rows(
        givens, lambda device, call: word if device.startswith(kind) else _with_device(device, call)
    )


def _valve_is_only_more(device: str, call: str) -> str:
    word = _with_device(device, call)
    return ALSO_MORE if word == WRONG_WAY else word


DEVICE = Exercise(
    id="4.3",
    title="A jumper, or a relay",
    points=3,
    variant=_device_variant,
    question=_device_question,
    solve=lambda givens: _device_rows(givens, _with_device),
    compare=Table(_ROWS, Choice(DEVICE_WORDS)),
    wrong_models=(
        WrongModel(
            "a jumper is harmless",
            "A jumper joins two calls both ways: whichever is live, the other is live, too.",
            _kinds_taken_for("jumper", AS_CALLED),
        ),
        WrongModel(
            "a relay is a jumper",
            "A relay works one way: its coil moves the contact, and nothing flows from the contact to the "
            "coil.",
            _kinds_taken_for("relay", ALSO_MORE),
        ),
        WrongModel(
            "a jumper always does harm",
            "A jumper does nothing where both of its calls come together anyway. Look at the call.",
            _kinds_taken_for("jumper", ALSO_MORE),
        ),
        WrongModel(
            "the valve is only one thing more",
            "If the valve moves while the compressor runs, the house does not get more. What does it get?",
            lambda givens: _device_rows(givens, _valve_is_only_more),
        ),
        *row_slips(
            lambda givens: _device_rows(givens, _with_device),
            len(_ROWS),
            {
                AS_CALLED: "something more becomes live there. Which letter does this call join to it?",
                ALSO_MORE: "is anything live that was not, and if so: is it more, or is it the valve?",
                WRONG_WAY: "does the compressor run there, and does the valve stand otherwise than called?",
            },
        ),
    ),
    nudge="Write the live terminals of the call, then add what the jumper or the relay makes live.",
)


EXERCISES: tuple[Exercise, ...] = (COUNT, LOST, DEVICE, *HALF_WAVE_EXERCISES, SCHEDULE)
