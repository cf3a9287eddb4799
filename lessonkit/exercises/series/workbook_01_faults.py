"""Exercise 1.7 of workbook 01: a fault read from the calls.

The bench answers four calls. Four faults stand to choose from, and their answers differ in at least one row:
who looks at one row alone finds more than one that fits, and gets the hint for that.
"""

from __future__ import annotations

import random
from collections.abc import Callable

from lessonkit.exercises.compare import Choice
from lessonkit.exercises.core import Exercise, Givens, Several, WrongModel
from lessonkit.exercises.trials import any_job, settled, site
from lessonkit.job.naming import fault_sentence

# 1.7 Which fault -------------------------------------------------------------------------------------------

_SHOWN = ("fan", "cool-2", "heat-1", "heat-aux")

_CANDIDATES = {
    "full-cable": (
        "stat.valve=reversed",
        "thermostat.Y1=short:Y2",
        "thermostat.Y2=short:G",
        "thermostat.G=short:O",
        "thermostat.O=short:W1",
        "thermostat.W1=short:R",
        "thermostat.W1=open",
        "thermostat.G=open",
        "outdoor.Y1=open",
        "outdoor.Y2=open",
        "outdoor.O=open",
        "out.contactor=stuck-closed",
    ),
    "earth-return": (
        "stat.valve=reversed",
        "thermostat.Y1=short:Y2",
        "thermostat.Y2=short:G",
        "thermostat.G=short:O",
        "thermostat.O=short:W1",
        "thermostat.W1=open",
        "thermostat.G=open",
        "out.relay-Y1=stuck-open",
        "out.relay-Y2=stuck-closed",
        "out.relay-Y2=stuck-open",
        "out.relay-O=stuck-closed",
        "out.relay-O=stuck-open",
        "out.contactor=stuck-closed",
    ),
    "wire-return": (
        "stat.valve=reversed",
        "thermostat.Y1=short:Y2",
        "thermostat.Y2=short:G",
        "thermostat.G=short:B",
        "thermostat.B=short:W1",
        "thermostat.W1=open",
        "thermostat.G=open",
        "out.relay-Y1=stuck-open",
        "out.relay-Y2=stuck-closed",
        "out.relay-Y2=stuck-open",
        "out.relay-B=stuck-closed",
        "out.relay-B=stuck-open",
        "out.contactor=stuck-closed",
    ),
    "two-run": (
        "stat.valve=reversed",
        "air.relay-W1=stuck-closed",
        "air.relay-W1=stuck-open",
        "air.relay-G=stuck-open",
        "air.relay-Y1=stuck-closed",
        "air.relay-Y2=stuck-closed",
        "out.relay-Y2=stuck-open",
        "out.relay-O=stuck-closed",
        "out.relay-O=stuck-open",
        "out.relay-Y1=stuck-open",
        "out.contactor=stuck-closed",
    ),
}


def _answers(job: str, fault: str) -> tuple[str, ...]:
    """Return what the house gets in each of the calls shown."""
    return tuple(settled(job, call, (fault,)).delivering for call in _SHOWN)


def _which_variant(rng: random.Random) -> Givens:
    job = any_job(rng)
    shuffled = rng.sample(_CANDIDATES[job], len(_CANDIDATES[job]))
    options: dict[tuple[str, ...], str] = {}
    for fault in shuffled:
        options.setdefault(_answers(job, fault), fault)
        if len(options) == 4:
            break
    faults = list(options.values())
    return {"job": job, "fault": faults[0], "options": sorted(faults)}


def _which_question(givens: Givens) -> str:
    rows = zip(_SHOWN, _answers(givens["job"], givens["fault"]), strict=True)
    table = "\n".join(f"| `{call}` | {words} |" for call, words in rows)
    options = "\n".join(f"* `{fault}`: {fault_sentence(fault)}" for fault in givens["options"])
    return (
        f"{site(givens['job'])} One thing is broken. You try four calls:\n\n| call | the house gets "
        f"|\n| --- | --- |\n{table}\n\n"
        f"Which fault explains **all four rows**?\n\n{options}\n\nAnswer with the fault as it is "
        f"spelled here, as a text."
    )


def _explains(rows: slice) -> Callable[[Givens], Several]:
    """Return the other faults that explain some rows, for who looks at no more than these."""

    def compute(givens: Givens) -> Several:
        seen = _answers(givens["job"], givens["fault"])
        others = [fault for fault in givens["options"] if fault != givens["fault"]]
        return Several(fault for fault in others if _answers(givens["job"], fault)[rows] == seen[rows])

    return compute


def _opposite(givens: Givens) -> str | None:
    """Return the fault of the same part that is the other way round, if it is among the options."""
    part, _, kind = givens["fault"].partition("=")
    swapped = {
        "stuck-open": "stuck-closed",
        "stuck-closed": "stuck-open",
        "open": "short:R",
        "short:R": "open",
    }
    other = f"{part}={swapped.get(kind, '')}"
    return other if other in givens["options"] else None


WHICH_FAULT = Exercise(
    id="1.7",
    title="Which fault",
    points=2,
    variant=_which_variant,
    question=_which_question,
    solve=lambda givens: givens["fault"],
    compare=lambda givens: Choice(tuple(givens["options"])),
    wrong_models=(
        WrongModel(
            "opposite",
            "It is that part, but it fails in the other way: one that never closes is missed when called, "
            "one that never opens is there uncalled.",
            _opposite,
        ),
        WrongModel(
            "only-cooling",
            "That fault explains the fan and the cooling row. Hold it against both heating rows as well.",
            _explains(slice(0, 2)),
        ),
        WrongModel(
            "only-heating",
            "That fault explains both heating rows. Hold it against the fan and the cooling row as well.",
            _explains(slice(2, 4)),
        ),
        WrongModel(
            "only-cool-2",
            "That fault explains the cooling row and no more. A fault has to explain every row, the "
            "sound ones too.",
            _explains(slice(1, 2)),
        ),
        WrongModel(
            "only-the-quiet-row",
            "That fault explains the fan row, which many faults leave alone. Look for a row in "
            "which it would show.",
            _explains(slice(0, 1)),
        ),
        WrongModel(
            "only-one-heating-row",
            "That fault explains a row that heats. Hold it against the other rows as well.",
            lambda givens: Several((*_explains(slice(2, 3))(givens), *_explains(slice(3, 4))(givens))),
        ),
        WrongModel(
            "no-row",
            "That fault would change every row that you see here. Put it to a bench, and compare row by row.",
            lambda givens: Several(fault for fault in givens["options"] if fault != givens["fault"]),
        ),
    ),
)
