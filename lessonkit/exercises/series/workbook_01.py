"""Exercises of workbook 01, 1.1 to 1.3: what a call asks for, and how to read one back.

The misreadings of a call are small functions of a job and a call, `MISREADINGS`, and serve the change of
1.1 as well as every row of the mode table of 1.2. What the equipment makes of a call is the room
`workbook_01_equipment`, and a fault read from the calls `workbook_01_faults`.
"""

from __future__ import annotations

import random
from collections.abc import Callable

from lessonkit.exercises.compare import Choice, ChoiceSet, ListOf, Record, Table
from lessonkit.exercises.core import Exercise, Givens, Several, WrongModel
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
        "coil. Which letter asks for that?",
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
        "The second stage comes on top of the first, never in its place: it is the same compressor, "
        "which the first letter starts.",
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
        "compressor has to rest.",
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

# 1.1 From one call to the next ----------------------------------------------------------------------------


def _change_variant(rng: random.Random) -> Givens:
    before, call = rng.sample(CALLS, 2)
    return {"job": any_job(rng), "before": before, "call": call}


def _change_question(givens: Givens) -> str:
    return (
        f"{site(givens['job'])} The thermostat goes from `{givens['before']}` to `{givens['call']}`. Which "
        "**call terminals** does it join to R that were not joined before, and which does it let go?\n\n"
        'Answer each with a list of letters, such as `["Y1", "W1"]`, or `[]` for none.'
    )


def _change(before: list[str], after: list[str]) -> dict[str, list[str]]:
    return {
        "joins": [letter for letter in after if letter not in before],
        "lets_go": [letter for letter in before if letter not in after],
    }


def _for_a_change(misread: Callable[[str, str], list[str]]) -> Callable[[Givens], dict[str, list[str]]]:
    return lambda givens: _change(
        misread(givens["job"], givens["before"]), misread(givens["job"], givens["call"])
    )


def _swapped(givens: Givens) -> dict[str, list[str]]:
    return _change(asked(givens["job"], givens["call"]), asked(givens["job"], givens["before"]))


def _whole_calls(givens: Givens) -> Several:
    before, after = asked(givens["job"], givens["before"]), asked(givens["job"], givens["call"])
    right = _change(before, after)
    return Several(({"joins": after, "lets_go": before}, {**right, "joins": after}))


ONE_CALL = Exercise(
    id="1.1",
    title="From one call to the next",
    points=1,
    variant=_change_variant,
    question=_change_question,
    solve=_for_a_change(asked),
    compare=Record((("joins", _LETTERS), ("lets_go", _LETTERS))),
    wrong_models=(
        WrongModel(
            "swapped",
            "You have the two lists in each other's place: what comes now, and what was there before?",
            _swapped,
        ),
        WrongModel(
            "whole-calls",
            "Some letters are in both calls. The thermostat does not touch those: write what changes.",
            _whole_calls,
        ),
        # R and C are there before and after, so who counts them gives the same answer.
        *(
            WrongModel(name, hint, _for_a_change(read))
            for name, hint, read in MISREADINGS
            if name not in ("supply-counted", "hot-counted")
        ),
    ),
    nudge="Write down the letters of both calls, one list under the other, and compare.",
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


def _in_table(misread: Callable[[str, str], list[str]]) -> Callable[[Givens], Several]:
    """Return a model that misreads every row, or only one of them."""

    def compute(givens: Givens) -> Several:
        right, wrong = _for_table(asked)(givens), _for_table(misread)(givens)
        return Several([wrong, *({**right, call: wrong[call]} for call in right)])

    return compute


MODE_TABLE = Exercise(
    id="1.2",
    title="The mode table",
    points=2,
    variant=_table_variant,
    question=_table_question,
    solve=_for_table(asked),
    compare=lambda givens: Table(tuple(givens["calls"]), _LETTERS),
    wrong_models=tuple(WrongModel(name, hint, _in_table(read)) for name, hint, read in MISREADINGS),
    nudge="Ask five things of each call: does air move, does the compressor run, on which stage, how does "
    "the valve stand, and is there more heat? Each has its letter.",
)

# 1.3 Reading calls back ------------------------------------------------------------------------------------


def _readings(job: str, call: str) -> dict[str, float]:
    state = settled(job, call)
    return {terminal: state.volts[f"air:{terminal}"] for terminal in demo_job(job).call_terminals}


def _read_question(givens: Givens) -> str:
    rows = [_readings(givens["job"], call) for call in givens["calls"]]
    head = f"| | {' | '.join(rows[0])} |\n|{' --- |' * (1 + len(rows[0]))}\n"
    table = "\n".join(
        f"| {time} | {' | '.join(f'{volts:.1f}' for volts in row.values())} |"
        for time, row in zip(("morning", "evening"), rows, strict=True)
    )
    return (
        f"{site(givens['job'])} You can't see the thermostat. At the **air handler** you measure "
        f"from each terminal to C, in volts (RMS), once in the morning and once in the evening:\n\n"
        f"{head}{table}\n\nWhich two calls are these? Answer with a list of their names, the morning first, "
        'such as `["fan", "off"]`.'
    )


def _named(job: str, live: frozenset[str], read: Callable[[str, str], list[str]] = asked) -> str | None:
    """Return the call that energises exactly these terminals, or None."""
    return next((call for call in CALLS if frozenset(read(job, call)) == live), None)


def _measured(job: str, call: str) -> frozenset[str]:
    return frozenset(call_terminals_at(settled(job, call), "air"))


def _taken_for(taken: Callable[[str, frozenset[str]], str | None]) -> Callable[[Givens], Several]:
    """Return a model that misreads the one row, the other, or both."""

    def compute(givens: Givens) -> Several:
        job, right = givens["job"], list(givens["calls"])
        wrong = [taken(job, _measured(job, call)) or call for call in right]
        return Several(([wrong[0], right[1]], [right[0], wrong[1]], wrong))

    return compute


def _without_letter(*letters: str) -> Callable[[str, frozenset[str]], str | None]:
    return lambda job, live: _named(job, live - set(letters))


def _compressor_added(job: str, live: frozenset[str]) -> str | None:
    if "E" not in live:
        return None
    valve = {"B"} if demo_job(job).equipment.valve == "B" else set()
    return _named(job, live - {"E"} | {"Y1", "Y2"} | valve)


def _taken_for_emergency(job: str, live: frozenset[str]) -> str | None:
    return _named(job, frozenset({"G", "W1", "E"})) if "W1" in live and "E" not in live else None


def _always(name: str) -> Callable[[str, frozenset[str]], str | None]:
    return lambda job, live: name


READ_BACK = Exercise(
    id="1.3",
    title="Reading calls back",
    points=1,
    variant=lambda rng: {"job": any_job(rng), "calls": tuple(rng.sample(CALLS, 2))},
    question=_read_question,
    solve=lambda givens: [_named(givens["job"], _measured(givens["job"], call)) for call in givens["calls"]],
    compare=ListOf(Choice(CALLS), 2),
    wrong_models=(
        WrongModel(
            "rows-swapped",
            "The calls are right, and in each other's place: the morning comes first.",
            lambda givens: list(givens["calls"][::-1]),
        ),
        WrongModel(
            "valve-reversed",
            "Heating and cooling have changed places. An O valve is energised to cool, a B valve to heat.",
            _taken_for(lambda job, live: _named(job, live, _reversed)),
        ),
        WrongModel(
            "stage-overlooked",
            "Look at Y2: it is live as well, so this is not the first stage alone.",
            _taken_for(_without_letter("Y2")),
        ),
        WrongModel(
            "auxiliary-overlooked",
            "Look at W1: it is live, so more than the compressor is asked to heat.",
            _taken_for(_without_letter("W1")),
        ),
        WrongModel(
            "auxiliary-as-emergency",
            "W1 alone is no emergency: E is dead and the compressor is called. Auxiliary heat helps "
            "the heat pump.",
            _taken_for(_taken_for_emergency),
        ),
        WrongModel(
            "emergency-as-auxiliary",
            "E is live and Y1 is dead: the compressor rests. Auxiliary heat would leave it running.",
            _taken_for(_compressor_added),
        ),
        WrongModel(
            "only-the-blower",
            "G comes with every call that heats or cools. The other live terminals say which one it is.",
            _taken_for(lambda job, live: _named(job, live & {"G"})),
        ),
        WrongModel(
            "nothing-called",
            "A terminal with some 26 V is live, so something is called. Less than a volt is not live.",
            _taken_for(_always("off")),
        ),
    ),
    nudge="In each row write down the letters with some 26 V, and no others. Then find the call in your mode "
    "table that energises just these.",
)

EXERCISES = (ONE_CALL, MODE_TABLE, READ_BACK, WAIT, DEFROST, ONE_FAULT, WHICH_FAULT)
