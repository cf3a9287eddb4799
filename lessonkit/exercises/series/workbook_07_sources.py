"""The exercises of workbook 07 about sources: two transformers, two disconnects, a diagnosis, a design.

Each is tried on a bench: the readings in a question are a meter's, what stays live is read off after a
disconnect was opened, and a design is run through its calls. `workbook_07` holds the other half and the table
of all of them.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from functools import lru_cache

from lessonkit.bench.bench import Bench
from lessonkit.bench.meter import Meter
from lessonkit.bench.state import LIVE_V, State
from lessonkit.exercises.compare import Choice, ChoiceSet, Table
from lessonkit.exercises.core import Exercise, Givens, Several, WrongModel
from lessonkit.exercises.series.workbook_07_design import DESIGN
from lessonkit.exercises.slips import row_slips
from lessonkit.job.model import Job
from lessonkit.job.toml import demo_job

#: Seconds for a call to pass the link, and for a watchdog to run out after a cut.
THERE_S, AFTER_S = 20.0, 30.0


def _letters(many: int) -> tuple[str, ...]:
    return tuple(f"site {letter}" for letter in "ABCD"[:many])


# 7.5: in phase, out of phase, or not joined ---------------------------------------------------------------

IN_PHASE, OUT_OF_PHASE, NOT_JOINED = "in phase", "out of phase", "not joined"
_KINDS = ((IN_PHASE, True), (OUT_OF_PHASE, True), (NOT_JOINED, True), (NOT_JOINED, False))


def _phase_variant(rng: random.Random) -> Givens:
    kinds = [_KINDS[0], _KINDS[1], rng.choice(_KINDS[2:]), rng.choice(_KINDS)]
    rng.shuffle(kinds)
    while True:
        sites = tuple(
            (kind, same, rng.choice((26.8, 27.2, 27.6, 28.0)), rng.choice((26.6, 27.0, 27.8, 28.2)))
            for kind, same in kinds
        )
        # Two sites that are the same would be two equal rows of the table.
        if len(set(sites)) == len(sites):
            return {"sites": sites, "call": rng.choice(("off", "cool-1", "heat-1"))}


@lru_cache(maxsize=512)
def _two_sources(kind: str, same: bool, near_v: float, far_v: float, call: str) -> Meter:
    """Return a meter at a site with two transformers; `same` is the phase of those that are not joined."""
    job = demo_job("isolated-receiver" if kind == NOT_JOINED else "second-transformer")
    in_phase = same if kind == NOT_JOINED else kind == IN_PHASE
    far = type(job.supply)(rated_va=40.0, open_v=far_v, interconnection_listed=kind != NOT_JOINED)
    job = job.with_supply(open_v=near_v).with_run("outdoor", far_in_phase=in_phase, far_supply=far)
    bench = Bench(job, call=call)
    bench.pass_time(THERE_S)
    return Meter(bench)


def _phase_question(givens: Givens) -> str:
    rows = []
    for name, site in zip(_letters(4), givens["sites"], strict=True):
        meter = _two_sources(*site, givens["call"])
        read = [
            meter.volts("air:R", "air:C"),
            meter.volts("out:R", "out:C"),
            meter.volts("air:R", "out:R"),
            meter.volts("air:R", "out:R", "low"),
        ]
        rows.append(f"| {name} | " + " | ".join(map(str, read)) + " |")
    table = "\n".join(rows)
    return (
        "Four sites have a second transformer outdoors. Somebody with a long test lead has read, under "
        f"`{givens['call']}`:\n\n| | R to C indoors | R to C outdoors | R indoors to R outdoors | the same, "
        f"low input impedance |\n| --- | --- | --- | --- | --- |\n{table}\n\nHow do the two transformers of "
        f"each site stand to each other: commons joined and `{IN_PHASE}`, joined and `{OUT_OF_PHASE}`, or "
        f"`{NOT_JOINED}`?"
    )


def _phases(givens: Givens) -> dict[str, str]:
    return {name: site[0] for name, site in zip(_letters(4), givens["sites"], strict=True)}


def _by_high_impedance(givens: Givens) -> dict[str, str]:
    """Return what somebody says who never loads the reading."""
    return {
        name: OUT_OF_PHASE if _two_sources(*site, givens["call"]).volts("air:R", "out:R") > 24 else IN_PHASE
        for name, site in zip(_letters(4), givens["sites"], strict=True)
    }


def _turned(givens: Givens) -> dict[str, str]:
    other = {IN_PHASE: OUT_OF_PHASE, OUT_OF_PHASE: IN_PHASE, NOT_JOINED: NOT_JOINED}
    return {name: other[word] for name, word in _phases(givens).items()}


PHASE = Exercise(
    id="7.5",
    title="How two transformers stand to each other",
    points=2,
    variant=_phase_variant,
    question=_phase_question,
    solve=_phases,
    compare=Table(_letters(4), Choice((IN_PHASE, OUT_OF_PHASE, NOT_JOINED))),
    wrong_models=(
        WrongModel(
            "a reading that was never loaded",
            "A ghost shows volts, too. Compare the two settings of the meter: which reading falls away?",
            _by_high_impedance,
        ),
        WrongModel(
            "phases turned round",
            "Two waves that rise together have next to nothing between them, at every moment.",
            _turned,
        ),
        *row_slips(
            _phases,
            4,
            {
                IN_PHASE: "two that rise together differ by little, on both settings of the meter.",
                OUT_OF_PHASE: "ask for both: twice the volts, and volts that stay on the low setting.",
                NOT_JOINED: "without a joint, the low setting leaves next to nothing of a high reading.",
            },
        ),
    ),
)


# 7.6: what stays live -------------------------------------------------------------------------------------

R_INDOORS, R_OUTDOORS, BLOWER, COMPRESSOR = "R indoors", "R outdoors", "blower", "compressor"
_CAN_LIVE = (R_INDOORS, R_OUTDOORS, BLOWER, COMPRESSOR)
_ONE, _TWO = ("earth-return", "wire-return"), ("second-transformer", "isolated-receiver")
_WAYS = {
    "earth-return": "one transformer, indoors",
    "wire-return": "one transformer, indoors",
    "second-transformer": "a transformer at each place, commons joined",
    "isolated-receiver": "a transformer at each place, isolated receiver",
}
_DISCONNECTS = {"air": "at the air handler", "out": "at the outdoor unit"}


def _live_variant(rng: random.Random) -> Givens:
    jobs = [rng.choice(_TWO), rng.choice(_ONE), rng.choice(_ONE + _TWO)]
    rng.shuffle(jobs)
    welded = rng.randrange(3)
    return {
        "sites": tuple(
            (job, rng.choice(tuple(_DISCONNECTS)), rng.choice(("fan", "cool-2", "heat-1")), k == welded)
            for k, job in enumerate(jobs)
        )
    }


@lru_cache(maxsize=512)
def _after_opening(job: str, place: str, call: str, welded: bool) -> State:
    bench = Bench(job, faults=["out.contactor=stuck-closed"] if welded else [], call=call)
    bench.pass_time(THERE_S)
    bench.set_power(False, place)
    return bench.advance(AFTER_S)


def _live(state: State) -> list[str]:
    found = [
        name
        for name, place in ((R_INDOORS, "air"), (R_OUTDOORS, "out"))
        if state.between(f"{place}:R", f"{place}:C") > LIVE_V
    ]
    found += [BLOWER] if state.responding["blower"] != "off" else []
    return found + ([COMPRESSOR] if state.responding["compressor stage 1"] != "off" else [])


def _live_question(givens: Givens) -> str:
    rows = "\n".join(
        f"| {name} | {_WAYS[job]} | `{call}` | {'welded' if welded else 'sound'} | {_DISCONNECTS[place]} |"
        for name, (job, place, call, welded) in zip(_letters(3), givens["sites"], strict=True)
    )
    options = ", ".join(f"`{name}`" for name in _CAN_LIVE)
    return (
        "At three sites a technician opens one disconnect, and half a minute later holds a meter and an ear "
        f"to the equipment:\n\n| | supply | call | contacts of the contactor | disconnect opened |\n| --- "
        f"| --- | --- | --- | --- |\n{rows}\n\nWhich of these are still live or still run: {options}? Give a "
        "list for each site, or `[]`."
    )


def _alive(givens: Givens) -> dict[str, list[str]]:
    return {
        name: _live(_after_opening(*site)) for name, site in zip(_letters(3), givens["sites"], strict=True)
    }


def _place_dies(givens: Givens) -> dict[str, list[str]]:
    """Return what somebody says for whom a disconnect makes its own place dead, and that alone."""
    gone = {"air": {R_INDOORS, BLOWER}, "out": {R_OUTDOORS, COMPRESSOR}}
    found = {}
    for name, (job, place, call, welded) in zip(_letters(3), givens["sites"], strict=True):
        ran = _live(_running(job, call, welded))
        found[name] = [what for what in ran if what not in gone[place]]
    return found


@lru_cache(maxsize=512)
def _running(job: str, call: str, welded: bool) -> State:
    bench = Bench(job, faults=["out.contactor=stuck-closed"] if welded else [], call=call)
    return bench.advance(THERE_S)


def _no_weld(givens: Givens) -> dict[str, list[str]]:
    sites = zip(_letters(3), givens["sites"], strict=True)
    return {name: _live(_after_opening(job, place, call, False)) for name, (job, place, call, _) in sites}


def _one_transformer(givens: Givens) -> dict[str, list[str]]:
    """Return what somebody says who forgets the second transformer."""
    return {
        name: [what for what in found if (what, site[1]) != (R_OUTDOORS, "air")]
        for (name, found), site in zip(_alive(givens).items(), givens["sites"], strict=True)
    }


def _here_or_all(wrong: Callable[[Givens], dict[str, list[str]]]) -> Callable[[Givens], Several]:
    """Return a model that is wrong at every site, or at one of them alone."""

    def rows(givens: Givens) -> Several:
        right, all_wrong = _alive(givens), wrong(givens)
        one_wrong = ({**right, name: found} for name, found in all_wrong.items() if found != right[name])
        return Several([all_wrong, *one_wrong])

    return rows


LIVE = Exercise(
    id="7.6",
    title="What stays live",
    points=3,
    variant=_live_variant,
    question=_live_question,
    solve=_alive,
    compare=Table(_letters(3), ChoiceSet(_CAN_LIVE)),
    wrong_models=(
        WrongModel(
            "all dead",
            "One disconnect is not all of them. Each place has its own: ask at each place what feeds it.",
            lambda givens: {name: [] for name in _letters(3)},
        ),
        WrongModel(
            "forgot the second transformer",
            "A transformer outdoors is fed outdoors. Opening the disconnect indoors leaves it live.",
            _here_or_all(_one_transformer),
        ),
        WrongModel(
            "a disconnect empties its own place",
            "Where does R come from? With one transformer, R outdoors comes from indoors.",
            _here_or_all(_place_dies),
        ),
        WrongModel(
            "forgot the welded contacts",
            "Welded contacts stay closed without a coil. As long as line voltage reaches them, the "
            "compressor runs.",
            _here_or_all(_no_weld),
        ),
    ),
    nudge="For each site: where does R come from at each place, and what still has line voltage?",
)


# 7.7: a diagnosis -----------------------------------------------------------------------------------------

POOR, WEAK, BROKEN, BURNT, LOST = (
    "poor way back",
    "weak supply",
    "signal conductor broken",
    "contactor coil open",
    "way back lost",
)
_FAULTS = {
    POOR: ("outdoor.earth=resistance:1.7", "outdoor.earth=resistance:1.9", "outdoor.earth=resistance:2"),
    WEAK: ("air.transformer=weak:0.62", "air.transformer=weak:0.64", "air.transformer=weak:0.66"),
    BROKEN: ("outdoor.SIG=open", "outdoor.SIG=open@0.2", "outdoor.SIG=open@0.9"),
    BURNT: ("out.contactor=burnt-out",),
    LOST: ("outdoor.earth=open",),
}
#: What is looked at: seconds after the call `cool-2`, and what was called before.
_SOON_S, _LATER_S, _BEFORE_S = 6.0, 60.0, 60.0
_BRANCHES = (20.0, 24.0, 28.0, 32.0)


def _diagnosis_variant(rng: random.Random) -> Givens:
    found = rng.sample(tuple(_FAULTS), 2)
    return {"sites": tuple((name, rng.choice(_FAULTS[name]), rng.choice(_BRANCHES)) for name in found)}


@lru_cache(maxsize=256)
def _watched(fault: str, length_m: float) -> tuple[tuple[str, ...], ...]:
    """Return three rows of readings: at rest, soon after the call, a minute after it."""
    job: Job = demo_job("earth-return").with_run("outdoor", length_m=length_m)
    bench = Bench(job, faults=[fault], outdoor_c=30.0)
    rows, sent, accepted = [], 0, 0
    for words, call, seconds in (
        ("at rest, for a minute", "off", _BEFORE_S),
        (f"`cool-2`, {_SOON_S:g} s after", "cool-2", _SOON_S),
        ("`cool-2`, a minute after", "cool-2", _LATER_S - _SOON_S),
    ):
        bench.set_call(call)
        state, meter = bench.advance(seconds), Meter(bench)
        link = state.links["outdoor"]
        heard = f"{link.accepted - accepted} of {link.sent - sent}"
        sent, accepted = link.sent, link.accepted
        unit = state.responding["compressor stage 2"]
        runs = (
            "stage 2"
            if unit != "off"
            else "stage 1"
            if state.responding["compressor stage 1"] != "off"
            else "off"
        )
        rows.append(
            (words, str(meter.volts("out:R", "out:C")), str(meter.volts("out:C", "air:C")), heard, runs)
        )
    return tuple(rows)


def _diagnosis_question(givens: Givens) -> str:
    tables = []
    for name, (_, fault, length_m) in zip(_letters(2), givens["sites"], strict=True):
        rows = "\n".join(f"| {' | '.join(row)} |" for row in _watched(fault, length_m))
        tables.append(
            f"**S{name[1:]}**\n\n| | R to C outdoors | C outdoors to C indoors | frames taken since the "
            f"row above | compressor |\n| --- | --- | --- | --- | --- |\n{rows}"
        )
    options = ", ".join(f"`{name}`" for name in _FAULTS)
    return (
        "Two sites send their current home over the equipment ground; code and makers' instructions allow "
        "it there. Something is wrong at each. A technician has watched, outdoors:\n\n"
        + "\n\n".join(tables)
        + f"\n\nWhat is wrong at each: {options}?"
    )


def _diagnosis(givens: Givens) -> dict[str, str]:
    return {name: site[0] for name, site in zip(_letters(2), givens["sites"], strict=True)}


DIAGNOSIS = Exercise(
    id="7.7",
    title="What is wrong at two sites",
    points=3,
    variant=_diagnosis_variant,
    question=_diagnosis_question,
    solve=_diagnosis,
    compare=Table(_letters(2), Choice(tuple(_FAULTS))),
    wrong_models=row_slips(
        _diagnosis,
        2,
        {
            POOR: "a poor way back lets frames through at rest, and loses them as soon as the load comes.",
            WEAK: "a weak supply shows too few volts from R to C already at rest.",
            BROKEN: "a broken signal conductor loses every frame, at rest as well, with the supply sound.",
            BURNT: "with an open coil every frame arrives, the volts are sound, and still nothing pulls in.",
            LOST: "with the way back lost, the outdoor unit has next to no volts from R to C at all.",
        },
    ),
)

SOURCE_EXERCISES: tuple[Exercise, ...] = (PHASE, LIVE, DIAGNOSIS, DESIGN)
