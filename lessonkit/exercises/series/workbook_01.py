"""Exercises of workbook 01, 1.1 to 1.3: what a call asks for, and how to read one back.

The misreadings of a call are small functions of a job and a call, `MISREADINGS`, and serve the single call of
1.1 as well as every row of the mode table of 1.2. What the equipment makes of a call is the room
`workbook_01_equipment`, and a fault read from the calls `workbook_01_faults`.
"""

from __future__ import annotations

import random
from collections.abc import Callable

from lessonkit.exercises.compare import Choice, ChoiceSet, Table
from lessonkit.exercises.core import Exercise, Givens, WrongModel
from lessonkit.exercises.series.workbook_01_equipment import DEFROST, ONE_FAULT, WAIT
from lessonkit.exercises.series.workbook_01_faults import WHICH_FAULT
from lessonkit.exercises.trials import JOBS, any_job, call_terminals_at, in_order, settled, site
from lessonkit.job.calls import CALL_TERMINALS, CALLS
from lessonkit.job.toml import demo_job

TITLE = "Calls"

_ASKING = tuple(call for call in CALLS if call != "off")
_LETTERS = ChoiceSet(("R", "C", *CALL_TERMINALS))


# Reading and misreading a call ------------------------------------------------------------------------------


def asked(job: str, call: str) -> list[str]:
    """Return the call terminals that the thermostat energises, as the bench shows them."""
    return call_terminals_at(settled(job, call), "stat")


def _reversed(job: str, call: str) -> list[str]:
    return call_terminals_at(settled(job, call, ("stat.valve=reversed",)), "stat")


def _other_letter(job: str, call: str) -> list[str]:
    """Use the letter of the other valve type, as a table for the other type would say."""
    other = JOBS["B" if demo_job(job).equipment.valve == "O" else "O"][0]
    return asked(other, call)


def _without(*letters: str) -> Callable[[str, str], list[str]]:
    return lambda job, call: [letter for letter in asked(job, call) if letter not in letters]


def _supply_counted(job: str, call: str) -> list[str]:
    return ["R", "C", *asked(job, call)]


def _hot_counted(job: str, call: str) -> list[str]:
    return ["R", *asked(job, call)]


def _y2_instead(job: str, call: str) -> list[str]:
    live = asked(job, call)
    return [letter for letter in live if letter != "Y1"] if "Y2" in live else live


def _heat_adds_up(job: str, call: str) -> list[str]:
    """Let emergency heat come on top of the compressor."""
    return in_order([*asked(job, "heat-aux"), "E"]) if call == "emergency" else asked(job, call)


def _aux_alone(job: str, call: str) -> list[str]:
    """Let auxiliary heat take the compressor's place."""
    return ["G", "W1"] if call == "heat-aux" else asked(job, call)


def _aux_as_stage(job: str, call: str) -> list[str]:
    """Take auxiliary heat for the second stage of heating."""
    if call != "heat-2":
        return asked(job, call)
    return in_order([*asked(job, "heat-1"), "W1"])


#: Name, hint, and what the misunderstanding makes of one call.
MISREADINGS: tuple[tuple[str, str, Callable[[str, str], list[str]]], ...] = (
    (
        "valve-reversed",
        "The valve is the wrong way round. An O valve is energised to cool, a B valve to heat, and "
        "at rest each does the other thing.",
        _reversed,
    ),
    (
        "other-letter",
        "That is the table of the other valve type. A unit has O or B, never both: see which one "
        "this unit has.",
        _other_letter,
    ),
    (
        "no-blower",
        "The blower is missing: whenever a call heats or cools, air has to move over the indoor "
        "coil, so G is energised too.",
        _without("G"),
    ),
    (
        "supply-counted",
        "R and C are the supply. R is hot and C is the way back whether or not anything is called; "
        "neither is a call.",
        _supply_counted,
    ),
    (
        "hot-counted",
        "R is hot all the time, so it asks for nothing. A call joins other terminals to R.",
        _hot_counted,
    ),
    (
        "y2-instead-of-y1",
        "Y2 comes on top of Y1, never in its place: Y1 runs the compressor, and Y2 gives that same "
        "compressor its second stage.",
        _y2_instead,
    ),
    (
        "stage-forgotten",
        "That is the first stage alone. The second stage needs its own terminal besides.",
        _without("Y2"),
    ),
    (
        "emergency-on-top",
        "Emergency heat takes the place of the heat pump: somebody chooses it because the "
        "compressor should rest.",
        _heat_adds_up,
    ),
    (
        "auxiliary-alone",
        "Auxiliary heat helps the heat pump, which keeps running beside it. Heat without the "
        "compressor is emergency.",
        _aux_alone,
    ),
    (
        "auxiliary-as-stage-2",
        "W1 is auxiliary heat. This compressor has two stages of its own, so the second stage of "
        "heating is called on Y2.",
        _aux_as_stage,
    ),
)

# 1.1 One call ----------------------------------------------------------------------------------------------


def _one_call_question(givens: Givens) -> str:
    return (
        f"{site(givens['job'])} The thermostat asks for `{givens['call']}`. Which **call "
        f"terminals** does it energise?\n\n"
        'Answer with a list of letters, such as `["Y1", "W1"]`.'
    )


def _for_one_call(misread: Callable[[str, str], list[str]]) -> Callable[[Givens], list[str]]:
    return lambda givens: misread(givens["job"], givens["call"])


ONE_CALL = Exercise(
    id="1.1",
    title="One call",
    points=1,
    variant=lambda rng: {"job": any_job(rng), "call": rng.choice(_ASKING)},
    question=_one_call_question,
    solve=_for_one_call(asked),
    compare=_LETTERS,
    wrong_models=tuple(WrongModel(name, hint, _for_one_call(read)) for name, hint, read in MISREADINGS),
)

# 1.2 The mode table ----------------------------------------------------------------------------------------


def _table_variant(rng: random.Random) -> Givens:
    calls = {
        rng.choice(("cool-1", "cool-2")),
        rng.choice(("heat-1", "heat-2")),
        rng.choice(("heat-aux", "emergency")),
    }
    calls.add(rng.choice([call for call in CALLS if call not in calls]))
    return {"job": any_job(rng), "calls": sorted(calls, key=CALLS.index)}


def _table_question(givens: Givens) -> str:
    rows = ", ".join(f"`{call}`" for call in givens["calls"])
    return (
        f"{site(givens['job'])} Fill in the mode table for {rows}: to each call the list of the "
        f"call terminals that the "
        "thermostat energises.\n\nA list may be empty: `[]`."
    )


def _for_table(misread: Callable[[str, str], list[str]]) -> Callable[[Givens], dict[str, list[str]]]:
    return lambda givens: {call: misread(givens["job"], call) for call in givens["calls"]}


MODE_TABLE = Exercise(
    id="1.2",
    title="The mode table",
    points=2,
    variant=_table_variant,
    question=_table_question,
    solve=_for_table(asked),
    compare=lambda givens: Table(tuple(givens["calls"]), _LETTERS),
    wrong_models=tuple(WrongModel(name, hint, _for_table(read)) for name, hint, read in MISREADINGS),
)

# 1.3 Reading a call back -----------------------------------------------------------------------------------


def _readings(givens: Givens) -> dict[str, float]:
    job = demo_job(givens["job"])
    state = settled(givens["job"], givens["call"])
    return {terminal: state.volts[f"air:{terminal}"] for terminal in job.call_terminals}


def _read_question(givens: Givens) -> str:
    readings = _readings(givens)
    head = f"| {' | '.join(readings)} |\n|{' --- |' * len(readings)}\n"
    row = f"| {' | '.join(f'{volts:.1f}' for volts in readings.values())} |"
    return (
        f"{site(givens['job'])} You can't see the thermostat. At the **air handler** you measure "
        f"from each terminal to C, in "
        f'volts (RMS):\n\n{head}{row}\n\nWhich call is it? Answer with its name, such as `"fan"`.'
    )


def _named(job: str, live: frozenset[str], read: Callable[[str, str], list[str]] = asked) -> str | None:
    """Return the call that energises exactly these terminals, or None."""
    return next((call for call in CALLS if frozenset(read(job, call)) == live), None)


def _measured(givens: Givens) -> frozenset[str]:
    return frozenset(call_terminals_at(settled(givens["job"], givens["call"]), "air"))


def _named_when(change: Callable[[frozenset[str], str], frozenset[str]]) -> Callable[[Givens], str | None]:
    def compute(givens: Givens) -> str | None:
        valve = demo_job(givens["job"]).equipment.valve
        return _named(givens["job"], change(_measured(givens), valve))

    return compute


def _compressor_added(live: frozenset[str], valve: str) -> frozenset[str]:
    if "E" not in live:
        return live
    return live - {"E"} | {"Y1", "Y2"} | ({"B"} if valve == "B" else set())


def _taken_for_emergency(live: frozenset[str], valve: str) -> frozenset[str]:
    return frozenset({"G", "W1", "E"}) if "W1" in live and "E" not in live else live


READ_BACK = Exercise(
    id="1.3",
    title="Reading a call back",
    points=1,
    variant=lambda rng: {"job": any_job(rng), "call": rng.choice(CALLS)},
    question=_read_question,
    solve=lambda givens: _named(givens["job"], _measured(givens)),
    compare=Choice(CALLS),
    wrong_models=(
        WrongModel(
            "valve-reversed",
            "Heating and cooling are the wrong way round. An O valve is energised to cool, a B "
            "valve to heat.",
            lambda givens: _named(givens["job"], _measured(givens), _reversed),
        ),
        WrongModel(
            "stage-overlooked",
            "Look at Y2: it is live as well, so this is not the first stage alone.",
            _named_when(lambda live, valve: live - {"Y2"}),
        ),
        WrongModel(
            "auxiliary-overlooked",
            "Look at W1: it is live, so more than the compressor is asked to heat.",
            _named_when(lambda live, valve: live - {"W1"}),
        ),
        WrongModel(
            "auxiliary-as-emergency",
            "W1 alone is no emergency: E is dead and the compressor is called. Auxiliary heat helps "
            "the heat pump.",
            _named_when(_taken_for_emergency),
        ),
        WrongModel(
            "emergency-as-auxiliary",
            "E is live and Y1 is dead: the compressor rests. Auxiliary heat would leave it running.",
            _named_when(_compressor_added),
        ),
        WrongModel(
            "only-the-blower",
            "G comes with every call that heats or cools. The other live terminals say which one it is.",
            _named_when(lambda live, valve: live & {"G"}),
        ),
    ),
)

EXERCISES = (ONE_CALL, MODE_TABLE, READ_BACK, WAIT, DEFROST, ONE_FAULT, WHICH_FAULT)
