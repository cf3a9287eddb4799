"""The exercises of workbook 08 about moments on a bench: when it starts, what runs, what is wrong.

Each is lived through: calls that go and come back, a blink of the power, test pins that are joined. The right
answer is what the bench then does. `workbook_08` has the table of all of them.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from functools import lru_cache
from typing import NamedTuple

from lessonkit.bench.meter import Meter
from lessonkit.bench.patient import PatientBench
from lessonkit.exercises.compare import Choice, ChoiceSet, Number, Table
from lessonkit.exercises.core import Exercise, Givens, Several, WrongModel
from lessonkit.exercises.slips import row_slips
from lessonkit.job.model import Job
from lessonkit.job.toml import demo_job
from lessonkit.studies.defrosts import RUNS, running

#: Air in which a coil frosts, degrees Celsius.
AIR_C = 2.0


def _site(valve: str = "O") -> Job:
    """Return the site's wiring: a link with a wire to come back by."""
    return demo_job("wire-return").with_equipment(valve=valve)


# 8.5: when it starts again --------------------------------------------------------------------------------

#: A board needs this long to start, and a call this long to arrive: both lie within the tolerance.
_TOLERANCE_S = 6.0


def _start_variant(rng: random.Random) -> Givens:
    short_s = rng.choice((180, 240, 300))
    if rng.random() < 0.3:
        return {"short_s": short_s, "back_s": short_s + rng.randrange(30, 400, 10), "cut_s": 0, "off_s": 0}
    back_s = rng.randrange(15, 60, 5)
    cut_s = rng.randrange(back_s + 20, short_s - 20, 5)
    return {
        "short_s": short_s,
        "back_s": back_s,
        "cut_s": cut_s,
        "off_s": rng.choice((10, 15, 20, 25, 30, 40)),
    }


def _start_question(givens: Givens) -> str:
    cut = (
        f" At second {givens['cut_s']} the power fails at the whole site, for {givens['off_s']} s."
        if givens["off_s"]
        else ""
    )
    return (
        f"An outdoor board holds its compressor off for {givens['short_s']} s after each stop, and after "
        "it has "
        "lost its own supply. The compressor heats. At second 0 the call ends, and the compressor stops. At "
        f"second {givens['back_s']} the call comes back.{cut} At which second does the compressor start? "
        "(A few "
        "seconds for the link and for boards that start don't count.)"
    )


@lru_cache(maxsize=256)
def _starts_s(short_s: int, back_s: int, cut_s: int, off_s: int) -> float:
    bench = PatientBench(_site().with_equipment(short_cycle_s=float(short_s)), call="heat-1")
    bench.pass_time(600)
    bench.set_call("off")
    bench.pass_time(5)
    stopped_s = bench.log.of("out:contactor")[-1].time_s
    acts = [(float(back_s), "call")]
    if off_s:
        acts += [(float(cut_s), "cut"), (float(cut_s + off_s), "power")]
    for at_s, act in sorted(acts):
        bench.pass_time(stopped_s + at_s - bench.time_s)
        if act == "call":
            bench.set_call("heat-1")
        else:
            bench.set_power(act == "power")
    bench.pass_time(back_s + cut_s + off_s + short_s + 30)
    return bench.log.of("out:contactor")[-1].time_s - stopped_s


START = Exercise(
    id="8.5",
    title="When it starts again",
    points=2,
    variant=_start_variant,
    question=_start_question,
    solve=lambda givens: _starts_s(givens["short_s"], givens["back_s"], givens["cut_s"], givens["off_s"]),
    compare=Number(rel=0.0, absolute=_TOLERANCE_S, unit="s"),
    wrong_models=(
        WrongModel(
            "from the call",
            "The delay counts from the stop, not from the call that comes back.",
            lambda givens: float(givens["back_s"] + givens["short_s"]),
        ),
        WrongModel(
            "the board remembers",
            "A board without its supply forgets how long it has waited, and begins again.",
            lambda givens: float(givens["short_s"]) if givens["off_s"] else None,
        ),
        WrongModel(
            "the clock only stands still",
            "It doesn't go on where it was. After a loss of power the whole delay runs again.",
            lambda givens: float(givens["short_s"] + givens["off_s"]) if givens["off_s"] else None,
        ),
        WrongModel(
            "with the power",
            "The call is there again, and so is the power. What does the board do first?",
            lambda givens: float(givens["cut_s"] + givens["off_s"]) if givens["off_s"] else None,
        ),
        WrongModel(
            "at the end of the delay",
            "The delay is over by then, and nobody calls yet.",
            lambda givens: None if givens["off_s"] else float(givens["short_s"]),
        ),
        WrongModel(
            "with the call",
            "Has the delay run out when the call comes back?",
            lambda givens: float(givens["back_s"]) if givens["off_s"] else None,
        ),
    ),
    nudge="Draw a line with the seconds on it: the stop, the call, the loss of power, the board's delay.",
)


# 8.6: what runs at a moment -------------------------------------------------------------------------------


class Moment(NamedTuple):
    """A moment to ask about: words, call, faults, whether pins were joined, and the call after."""

    words: str
    call: str
    faults: tuple[str, ...] = ()
    pins: bool = False
    then: str = ""


_MOMENTS = (
    Moment("`heat-1` runs, and nothing else happens", "heat-1"),
    Moment("`heat-1`, in the middle of a defrost", "heat-1", pins=True),
    Moment("`heat-2`, in the middle of a defrost", "heat-2", pins=True),
    Moment(
        "a defrost under `heat-1`; the contact that asks for heat never closes",
        "heat-1",
        ("air.relay-D=stuck-open",),
        True,
    ),
    Moment("the test pins are joined, and nothing is called", "off", pins=True),
    Moment("the test pins are joined under `cool-1`", "cool-1", pins=True),
    Moment("the call ended in the middle of a defrost", "heat-1", pins=True, then="off"),
    Moment("a defrost under `heat-1`, and the call turns to `cool-1`", "heat-1", pins=True, then="cool-1"),
    Moment("`heat-aux`, in the middle of a defrost", "heat-aux", pins=True),
)
#: Seconds: into a call, with the pins joined, after the last change of the call.
_INTO_S, _PINS_S, _THEN_S = 900.0, 40.0, 15.0
_ROWS = ("moment 1", "moment 2", "moment 3")


def _moment_variant(rng: random.Random) -> Givens:
    while True:
        drawn = [(k, rng.choice("OB")) for k in rng.sample(range(len(_MOMENTS)), 3)]
        found = [tuple(_at(k, valve)) for k, valve in drawn]
        if any(_MOMENTS[k].pins for k, _ in drawn) and len(set(found)) == 3:
            return {"moments": tuple(drawn)}


@lru_cache(maxsize=64)
def _at(k: int, valve: str) -> tuple[str, ...]:
    """Return what runs at a moment with this valve."""
    moment = _MOMENTS[k]
    bench = PatientBench(_site(valve), faults=moment.faults, outdoor_c=AIR_C, call=moment.call)
    bench.pass_time(_INTO_S)
    if moment.pins:
        bench.force_defrost()
        bench.pass_time(_PINS_S)
    if moment.then:
        bench.set_call(moment.then)
        bench.pass_time(_THEN_S)
    return tuple(running(bench.state))


def _moment_question(givens: Givens) -> str:
    rows = "\n".join(
        f"| {name} | {valve} | {_MOMENTS[k].words} |"
        for name, (k, valve) in zip(_ROWS, givens["moments"], strict=True)
    )
    options = ", ".join(f"`{name}`" for name in RUNS)
    return (
        f"It is {AIR_C:g} °C outdoors. Three outdoor units, each with a link:\n\n| | valve | what happens "
        "|\n| --- | "
        f"--- | --- |\n{rows}\n\nWhich of these run, or are energised, at that moment: {options}? Give a "
        "list for "
        "each, or `[]`."
    )


def _runs(givens: Givens) -> dict[str, list[str]]:
    return {name: list(_at(k, valve)) for name, (k, valve) in zip(_ROWS, givens["moments"], strict=True)}


def _changed(what: str, here: tuple[int, ...], put: bool) -> Callable[[Givens], dict[str, list[str]]]:
    """Return a model that adds or leaves out one thing at some of the moments."""

    def wrong(givens: Givens) -> dict[str, list[str]]:
        found = _runs(givens)
        for name, (k, _) in zip(_ROWS, givens["moments"], strict=True):
            if k in here:
                names = set(found[name]) | {what} if put else set(found[name]) - {what}
                found[name] = [one for one in RUNS if one in names]
        return found

    return wrong


def _turned_valve(givens: Givens) -> dict[str, list[str]]:
    found = _runs(givens)
    for name, (k, _) in zip(_ROWS, givens["moments"], strict=True):
        if found[name] and k != 0:
            names = set(found[name]) ^ {"reversing valve"}
            found[name] = [one for one in RUNS if one in names]
    return found


def _always(givens: Givens) -> dict[str, list[str]]:
    """Return what somebody says for whom joined pins always start a defrost."""
    found = _runs(givens)
    for name, (k, valve) in zip(_ROWS, givens["moments"], strict=True):
        if k in (4, 5):
            found[name] = list(_at(1, valve))
    return found


#: What to ask about each thing, where it is wrong at one moment alone.
_SLIPS = {
    "compressor": "One moment is wrong about the compressor. Is there a call for it, or a defrost that "
    "keeps it on?",
    "outdoor fan": "One moment is wrong about the outdoor fan. It goes with the compressor, but for one "
    "case.",
    "reversing valve": "One moment is wrong about the valve. Which letter is it, and is this cooling or "
    "heating?",
    "auxiliary heat": "One moment is wrong about the heat. Who can ask for it: the thermostat over W1, or "
    "the board over D?",
    "blower": "One moment is wrong about the blower. Follow G: is there a call, and does a defrost stop it?",
}


def _slip(what: str) -> Callable[[Givens], Several]:
    """Return a model that has one thing too many, or one too few, at one of the moments."""

    def wrong(givens: Givens) -> Several:
        right = _runs(givens)
        return Several(
            {**right, name: [one for one in RUNS if (one in found) != (one == what)]}
            for name, found in right.items()
        )

    return wrong


MOMENT = Exercise(
    id="8.6",
    title="What runs at this moment",
    points=3,
    variant=_moment_variant,
    question=_moment_question,
    solve=_runs,
    compare=Table(_ROWS, ChoiceSet(RUNS)),
    wrong_models=(
        WrongModel(
            "the fan runs on",
            "In a defrost the coil has to get warm. What would the outdoor fan do to it?",
            _changed("outdoor fan", (1, 2, 3, 8), True),
        ),
        WrongModel(
            "no heat indoors",
            "A defrost takes its heat out of the house. What does the board ask for over D?",
            _changed("auxiliary heat", (1, 2, 8), False),
        ),
        WrongModel(
            "the pins always defrost",
            "The pins start a defrost only where there is a call for heat.",
            _always,
        ),
        WrongModel(
            "valve turned round",
            "A defrost is cooling, seen from outdoors. Which letter is energised for that, O or B?",
            _turned_valve,
        ),
        WrongModel(
            "heat without its contact",
            "Follow the request: which contact has to close before the heat comes on?",
            _changed("auxiliary heat", (3,), True),
        ),
        *(WrongModel(f"{what} in one moment", hint, _slip(what)) for what, hint in _SLIPS.items()),
    ),
    nudge="For each moment: is there a defrost? If so, how does the valve stand, and what does D ask for?",
)


# 8.7: a diagnosis -----------------------------------------------------------------------------------------

WAITS, DEFROSTS, NO_REQUEST, VALVE, RELAY = (
    "nothing, it waits",
    "nothing, it defrosts",
    "request for heat lost",
    "valve coil open",
    "relay Y1 never closes",
)
_FAULTS = {
    WAITS: (),
    DEFROSTS: (),
    NO_REQUEST: ("air.relay-D=stuck-open",),
    VALVE: ("out.reversing-valve=burnt-out",),
    RELAY: ("out.relay-Y1=stuck-open",),
}
_LATER_MIN = 6
_SITES = ("site A", "site B")


def _diagnosis_variant(rng: random.Random) -> Givens:
    return {
        "sites": tuple(
            (name, rng.choice((15, 20, 25, 30, 40, 50)), rng.choice((20.0, 30.0, 40.0)))
            for name in rng.sample(tuple(_FAULTS), 2)
        )
    }


@lru_cache(maxsize=256)
def _watched(name: str, into_min: int, length_m: float) -> tuple[tuple[str, ...], ...]:
    """Return two rows of what is seen: on arrival, and some minutes later."""
    job = _site("O").with_run("outdoor", length_m=length_m)
    bench = PatientBench(job, faults=_FAULTS[name], outdoor_c=AIR_C, call="heat-1")
    bench.pass_time(60.0 * into_min)
    if name == WAITS:
        bench.set_call("off")
        bench.pass_time(20)
        bench.set_call("heat-1")
    elif name != RELAY:
        bench.force_defrost()
    rows = []
    for words, seconds in (("as you arrive", 60.0), (f"{_LATER_MIN} minutes later", 60.0 * _LATER_MIN)):
        state, meter = bench.advance(seconds), Meter(bench)
        link = state.links["outdoor"]
        rows.append(
            (
                words,
                ", ".join(running(state)) or "nothing",
                str(meter.volts("out:R", "out:C")),
                str(meter.volts("out:Y1", "out:C")),
                f"{link.accepted} of {link.sent}",
            )
        )
    return tuple(rows)


def _diagnosis_question(givens: Givens) -> str:
    tables = []
    for name, site in zip(_SITES, givens["sites"], strict=True):
        rows = "\n".join(f"| {' | '.join(row)} |" for row in _watched(*site))
        tables.append(
            f"**S{name[1:]}**\n\n| | these run | R to C outdoors | Y1 to C outdoors | frames taken |\n| "
            "--- | --- "
            f"| --- | --- | --- |\n{rows}"
        )
    options = ", ".join(f"`{name}`" for name in _FAULTS)
    return (
        f"Two heat pumps with an O valve and a link heat under `heat-1`, at {AIR_C:g} °C outdoors. Each "
        'customer says: "Something is wrong with my outdoor unit." A technician looks twice:\n\n'
        + "\n\n".join(tables)
        + f"\n\nWhat is wrong at each: {options}?"
    )


def _diagnosis(givens: Givens) -> dict[str, str]:
    return {name: site[0] for name, site in zip(_SITES, givens["sites"], strict=True)}


DIAGNOSIS = Exercise(
    id="8.7",
    title="Is it broken at all?",
    points=3,
    variant=_diagnosis_variant,
    question=_diagnosis_question,
    solve=_diagnosis,
    compare=Table(_SITES, Choice(tuple(_FAULTS))),
    wrong_models=row_slips(
        _diagnosis,
        2,
        {
            WAITS: "one that waits has Y1 live and nothing that runs, and later it starts by itself.",
            DEFROSTS: "a sound defrost has valve and heat on, and is over in minutes.",
            NO_REQUEST: "without the request all outdoors is as it should be, and no heat comes indoors.",
            VALVE: "with an open valve coil the fan stops, the heat comes, and it goes on and on.",
            RELAY: "where the relay never closes, Y1 has no volts, however long you wait.",
        },
    ),
)

MOMENT_EXERCISES: tuple[Exercise, ...] = (START, MOMENT, DIAGNOSIS)
