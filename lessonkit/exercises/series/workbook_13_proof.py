"""The capstone's exercises after the plan: a filled sheet, and a fault that is searched within a budget.

The sheet is filled in on a bench, on the line of the site, with its fault, and with one reading that was
written down wrong. The search is judged by what the readings taken leave over.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from itertools import combinations
from typing import Any

from lessonkit.exercises.acts import Acts, over_budget
from lessonkit.exercises.compare import Choice, ChoiceSet, Number, Record
from lessonkit.exercises.core import Exercise, Givens, WrongModel
from lessonkit.job.calls import CALLS, PLACES
from lessonkit.job.faults import as_faults
from lessonkit.job.model import Job
from lessonkit.studies.cases import Case, Rest, rest
from lessonkit.studies.dictionary import loaded_volts
from lessonkit.studies.prove import bands
from lessonkit.studies.sheet import Read, Step, shown
from lessonkit.studies.site_shows import SHOWN, act_of, first_untrue, has_live, search_shows
from lessonkit.studies.technician import Taken, Technician
from lessonkit.studies.unknown_site import (
    LABELS,
    SEARCH_MIN,
    SEARCH_READINGS,
    SOUND,
    SUSPECTS,
    complaint,
    draw_site,
    fault_text,
    is_there,
    search_cost,
    search_reading,
    suspects_of,
    wired,
)

#: How the crew wired the sheet's site: the first five sound conductors, in this order.
_CREW = ("R", "C", "R", "C", "SIG")
#: The steps of the short sheet; the first reading of volts is step 1.
_STEPS = tuple(range(1, 13))


def _as_wired(givens: Givens) -> Job:
    sound = [label for label, was in zip(LABELS, givens["states"], strict=True) if was == SOUND]
    return wired(givens, dict(zip(sound, _CREW, strict=True)))


#: Seconds after which a call has done all that it does here.
_WAIT_S = 15.0


@lru_cache(maxsize=64)
def _sound(job: Job) -> tuple[Taken, ...]:
    """Return the readings of the short sheet on the sound job."""
    to = Technician(job).hands(()).power(True)
    to.call("off", _WAIT_S).volts(("air:R", "air:C"), ("out:R", "out:C"))
    to.call("cool-2", _WAIT_S).volts(("stat:R", "stat:C"), ("air:R", "air:C"), ("out:R", "out:C"))
    to.look("blower", "compressor stage 1", "compressor stage 2", "reversing valve")
    to.call("heat-1", _WAIT_S).look("reversing valve")
    to.call("heat-aux", _WAIT_S).look("compressor stage 1", "auxiliary heat")
    return tuple(to.taken)


@lru_cache(maxsize=64)
def _sheet(
    job: Job, fault: str, line: float, slip_at: int, slip_v: float
) -> tuple[tuple[Step, ...], tuple[Read, ...]]:
    """Return the steps with their bands, and what was written down."""
    taken = _sound(job)
    steps = tuple(
        Step(k, one.part, one.call, one.do, one.act, one.red, one.black, one.unit, *band)
        for k, (one, band) in enumerate(zip(taken, bands(job, taken), strict=True), 1)
    )
    broken = as_faults((fault, f"air.transformer=weak:{line:g}"), job)
    calls = tuple(dict.fromkeys(step.call for step in steps))
    ends = dict(zip(calls, rest(job, [Case(call, broken) for call in calls]), strict=True))
    read = [_read(ends[step.call], step) for step in steps]
    read[slip_at - 1] = round(float(read[slip_at - 1]) + slip_v, 2)
    return steps, tuple(read)


def _read(end: Rest, step: Step) -> Read:
    """Return what a step reads at the end of a case."""
    if not step.is_number:
        return end.responding[step.act.removeprefix("look: ")]
    return round(float(loaded_volts(end.settled.solution, [(step.red, step.black)])[0]), 2)


def _filled(givens: Givens) -> tuple[tuple[Step, ...], tuple[Read, ...]]:
    fault = fault_text(givens["valve"], givens["fault"])
    return _sheet(_as_wired(givens), fault, givens["line"], givens["slip_at"], givens["slip_v"])


def _nominal(givens: Givens) -> float:
    return round(float(_sound(_as_wired(givens))[0].value), 2)


# 13.3: the sheet ------------------------------------------------------------------------------------------


def _sheet_question(givens: Givens) -> str:
    steps, read = _filled(givens)
    rows = []
    for step, value in zip(steps, read, strict=True):
        what = step.act.removeprefix("look: ") + (f" `{step.red}` to `{step.black}`" if step.red else "")
        low, high = shown(step.low, step.unit), shown(step.high, step.unit)
        band = f"{low} to {high} V" if step.is_number else low
        rows.append(f"| {step.number} | `{step.call}` | {what} | {band} | {shown(value, step.unit)} |")
    return (
        f"{givens['place']} is wired. A crew has filled in a short sheet. One reading was written "
        "down wrong, and "
        "something is wrong with the site besides:\n\n| step | call | what | band | written down |\n"
        "| --- | --- | --- | --- | --- |\n"
        + "\n".join(rows)
        + f"\n\nThe model says {_nominal(givens):.2f} V at step 1 for a nominal line voltage. "
        "What share of nominal is the line voltage here, in percent (`line_percent`)? Which steps are out of "
        "their band (`out`, a list of numbers)? Which of "
        "these is the one written down wrong (`written_wrong`)?"
    )


def _out(givens: Givens) -> list[int]:
    steps, read = _filled(givens)
    return [step.number for step, value in zip(steps, read, strict=True) if step.off_by(value) is not None]


def _proof(givens: Givens) -> dict[str, Any]:
    _, read = _filled(givens)
    percent = 100 * float(read[0]) / _nominal(givens)
    return {"line_percent": percent, "out": _out(givens), "written_wrong": givens["slip_at"]}


def _with(givens: Givens, **changes: Any) -> dict[str, Any]:
    return {**_proof(givens), **changes}


def _first_out(givens: Givens) -> int:
    return next(n for n in reversed(_out(givens)) if n != givens["slip_at"])


SHEET = Exercise(
    id="13.3",
    title="The sheet",
    points=3,
    variant=draw_site,
    drawn_as="13.1",
    question=_sheet_question,
    solve=_proof,
    compare=Record(
        (
            ("line_percent", Number(rel=0.0, absolute=0.15, unit="%")),
            ("out", ChoiceSet(_STEPS)),
            ("written_wrong", Choice(_STEPS)),
        )
    ),
    wrong_models=(
        WrongModel(
            "numbers alone",
            "Words have bands, too: a look that shows another word than the sheet's is out.",
            lambda givens: _with(givens, out=[givens["slip_at"]]),
        ),
        WrongModel(
            "words alone",
            "Go through the volts as well, one after the other, with both ends of the band.",
            lambda givens: _with(givens, out=[n for n in _out(givens) if n != givens["slip_at"]]),
        ),
        WrongModel(
            "the share turned over",
            "Share of nominal: what was read, divided by what the model says.",
            lambda givens: _with(givens, line_percent=1e4 / _proof(givens)["line_percent"]),
        ),
        WrongModel(
            "the fault taken for the slip of the pen",
            "A slip of the pen fits none of its neighbours. Which reading can't be true beside the "
            "one next to it?",
            lambda givens: _with(givens, written_wrong=_first_out(givens)),
        ),
    ),
    nudge="First the share, from step 1. Then every step against its band. Then: which one can't be true?",
)


# 13.4: the search -----------------------------------------------------------------------------------------

_POINTS = f"(?:{'|'.join(PLACES)}):(?:R|Y1|Y2|G|O|B|W1|E|CC|RV)"
_CALLS = "|".join(CALLS)


def _search_question(givens: Givens) -> str:
    heard = "; ".join(f"`{one}`" for one in complaint(givens["valve"], givens["fault"]))
    return (
        f"The wrong reading at {givens['place']} was read again, and it is sound. What is left is "
        "this, beside the "
        f"sound site: {heard}. It is one of these parts: "
        f"{', '.join(f'`{name}`' for name in SUSPECTS)}.\n\nYou have "
        f"{SEARCH_READINGS} readings and {SEARCH_MIN:g} minutes. "
        '`site.volts("cool-2", "air:Y2")` makes the call, '
        "walks there and reads volts to C of that place. You begin at the thermostat; the walk "
        "indoors takes 2 "
        "minutes, the walk from the air handler to the outdoor unit 3. A new call and a reading take half a "
        "minute each. Give the `part`, and as `searched` the readings with their volts, "
        "copied from what `site.searched` shows. The part counts when these readings show that only this one "
        "can be bad, and when one of them at least is live: a meter that shows nothing may be dead itself."
    )


def _search_rule(givens: Givens, answer: Mapping[str, Any]) -> str | None:
    """Return None where the part is right and the readings leave no other, else a hint."""
    if over := over_budget(search_cost(answer["searched"]), (SEARCH_READINGS, SEARCH_MIN)):
        return over
    if not all(is_there(givens, act_of(entry)) for entry in answer["searched"]):
        return "One of these points is no terminal of this site. Which letter has its valve?"
    if not has_live(givens, answer["searched"]):
        return (
            "None of these is a live reading of your own site. A meter that shows nothing may be dead: read "
            "also where volts must be, such as at R."
        )
    if untrue := first_untrue(givens, answer["searched"]):
        return f"The meter does not show {untrue!r} at your site. Copy what `site.searched` shows."
    left = search_shows(givens, answer["searched"])
    if answer["part"] not in suspects_of(givens):
        return "That part would give another complaint. Which looks would it change?"
    if answer["part"] not in left:
        return (
            "Your own readings speak against that part. Is it before or behind the place where the volts end?"
        )
    if len(left) > 1:
        return f"Your readings fit {len(left)} parts. Read where these differ."
    return None


@lru_cache(maxsize=64)
def _found(valve: str, fault: str) -> tuple[str, ...]:
    """Return the cheapest acts, fixed beforehand, after which one suspect alone is left; one is live."""
    site = {"valve": valve, "fault": fault, "line": 1.0}
    call = complaint(valve, fault)[0].partition(":")[0]
    terminal = _terminal(valve, fault)
    points = [
        f"{call} {place}:{letter}"
        for letter in (terminal, "R")
        for place in ("stat", "air", "out")
        if (place, letter) not in _INDOORS
    ]
    ways = [
        some
        for count in (1, 2)
        for some in combinations(points, count)
        if has_live(site, entries := _entries(site, some)) and search_shows(site, entries) == (fault,)
    ]
    return min(ways, key=lambda some: search_cost(some)[1])


def _entries(site: Givens, acts: tuple[str, ...]) -> list[str]:
    """Return acts with the volts that the meter shows."""
    return [f"{act} = {search_reading(site, act)}" for act in acts]


_INDOORS = frozenset({("out", "G"), ("out", "W1")})


def _terminal(valve: str, fault: str) -> str:
    """Return the terminal over which the complaint's equipment is called."""
    for words, terminal in (
        ("Y2", "Y2"),
        ("second stage", "Y2"),
        ("W1", "W1"),
        ("auxiliary", "W1"),
        ("valve", valve),
    ):
        if words in fault:
            return terminal
    return "G"


def _search(givens: Givens) -> dict[str, Any]:
    acts = _found(givens["valve"], givens["fault"])
    return {"part": givens["fault"], "searched": _entries(givens, acts)}


def _another(givens: Givens) -> dict[str, Any]:
    others = [name for name in suspects_of(givens) if name != givens["fault"]]
    return {**_search(givens), "part": others[0]}


def _unlike(givens: Givens) -> dict[str, Any]:
    others = [name for name in SUSPECTS if name not in suspects_of(givens)]
    return {**_search(givens), "part": others[0]}


SEARCH = Exercise(
    id="13.4",
    title="The fault",
    points=4,
    variant=draw_site,
    drawn_as="13.1",
    question=_search_question,
    solve=_search,
    compare=Record(
        (
            ("part", Choice(tuple(SUSPECTS))),
            ("searched", Acts(f"(?:{_CALLS}) {_POINTS} ?= ?{SHOWN}", "cool-2 air:Y2 = 26.70 V")),
        )
    ),
    rule=_search_rule,
    wrong_models=(
        WrongModel(
            "a guess",
            "That may be so, and nothing that you read proves it. Measure before you order a part.",
            lambda givens: {"part": givens["fault"], "searched": []},
        ),
        WrongModel(
            "the wrong side of where the volts end",
            "Volts before a conductor or a relay and none behind it: that part. Volts up to a coil that does "
            "nothing: the coil, or its way to C.",
            _another,
        ),
        WrongModel(
            "another complaint",
            "That part would be missed under other calls. Read the complaint again, word by word.",
            _unlike,
        ),
    ),
)

PROOF_EXERCISES: tuple[Exercise, ...] = (SHEET, SEARCH)
