"""The exercises of workbook 11, planning a retrofit: a sheet, which ways there are, volts at the bad corner.

Those about plans (their order, a schedule with a mistake) stand in `workbook_11_plans`, plan or refuse in
`workbook_11_refusal`, the schedule that a bench judges in `workbook_11_design`. Verdicts and
ways are the planner's own, volts the bench's.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from functools import lru_cache
from typing import Any

from lessonkit.bench.bench import Bench
from lessonkit.copper.wire import resistance_per_m
from lessonkit.exercises.compare import Choice, ChoiceSet, Count, Number, Record, Table
from lessonkit.exercises.core import Exercise, Givens, WrongModel
from lessonkit.exercises.series.workbook_11_design import DESIGN
from lessonkit.exercises.series.workbook_11_plans import PLAN_EXERCISES
from lessonkit.exercises.series.workbook_11_refusal import REFUSAL
from lessonkit.exercises.slips import row_slips
from lessonkit.job.toml import demo_job
from lessonkit.studies.arrangements import hand_out, terminals_of
from lessonkit.studies.corners import MUST_PULL_V
from lessonkit.studies.plan_sweeps import bad_corner_of
from lessonkit.studies.survey import Survey, WallConductor, WallRun

TITLE = "Planning a retrofit"

# 11.1: read the sheet -------------------------------------------------------------------------------------

SOUND, UNPROVEN, BAD = VERDICTS = ("sound", "unproven", "bad")
_LABELS = ("red", "white", "green", "blue", "brown", "black", "grey", "yellow")
_GAUGE = 18
#: What a conductor can be: share of the loop that its length gives, and megohms; None is not read.
_KINDS = ("good", "fair ohms", "high ohms", "weak", "fair insulation", "open", "unknown", "half")


def _sheet_variant(rng: random.Random) -> Givens:
    kinds = ["good", "fair ohms", rng.choice(("high ohms", "weak")), "half", rng.choice(_KINDS[2:7])]
    kinds.append(rng.choice(("unknown", "fair insulation")))
    rng.shuffle(kinds)
    rows = []
    for label, kind in zip(rng.sample(_LABELS, len(kinds)), kinds, strict=True):
        share = {"fair ohms": rng.uniform(1.08, 1.14), "high ohms": rng.uniform(1.45, 1.9)}.get(kind)
        mohm = {"weak": rng.choice((0.1, 0.2, 0.3, 0.4)), "fair insulation": rng.choice((0.6, 0.7, 0.8))}
        rows.append(
            (
                label,
                kind,
                round(share or rng.uniform(0.98, 1.04), 3),
                mohm.get(kind, rng.choice((12, 30, 60))),
            )
        )
    return {"length_m": rng.choice((30, 35, 40, 45, 50)), "rows": tuple(rows)}


def _wall(givens: Givens) -> WallRun:
    loop_ohm = 2 * givens["length_m"] * resistance_per_m(_GAUGE)
    conductors = []
    for label, kind, share, mohm in givens["rows"]:
        read = kind not in ("open", "unknown")
        conductors.append(
            WallConductor(
                label,
                {"open": False, "unknown": None}.get(kind, True),
                round(share * loop_ohm, 2) if read else None,
                float(mohm) if read and kind != "half" else None,
            )
        )
    return WallRun("outdoor", tuple(conductors), float(givens["length_m"]), _GAUGE)


def _sheet_question(givens: Givens) -> str:
    lines = []
    for found in _wall(givens).conductors:
        whole = {True: "yes", False: "no", None: "unknown"}[found.continuous]
        loop = "not read" if found.loop_ohm is None else f"{found.loop_ohm:.2f} ohm"
        held = "not read" if found.insulation_mohm is None else f"{found.insulation_mohm:g} Mohm"
        lines.append(f"| {found.label} | {whole} | {loop} | {held} |")
    return (
        f"A survey of an outdoor run of {givens['length_m']} m, 18 AWG. One conductor of it has 2.1 ohm for "
        "100 m, so its loop, there and back, has 4.2 ohm for 100 m. More than 120 % of that is bad, and so "
        "is less than 0.5 Mohm.\n\n| label | continuous | loop | insulation |\n| --- | --- | --- | --- |\n"
        + "\n".join(lines)
        + f"\n\nWhat is each conductor: `{SOUND}`, `{UNPROVEN}` or `{BAD}`?"
    )


def _verdicts(givens: Givens) -> dict[str, str]:
    wall = _wall(givens)
    return {found.label: wall.verdict(found)[0] for found in wall.conductors}


def _kind_taken_for(word: str, *kinds: str) -> Callable[[Givens], dict[str, str]]:
    """Return a model that gives all conductors of some kinds one verdict."""
    return lambda givens: {
        label: word if kind in kinds else _verdicts(givens)[label] for label, kind, _, _ in givens["rows"]
    }


SHEET = Exercise(
    id="11.1",
    title="Sound, unproven or bad?",
    points=3,
    variant=_sheet_variant,
    question=_sheet_question,
    solve=_verdicts,
    compare=lambda givens: Table(tuple(row[0] for row in givens["rows"]), Choice(VERDICTS)),
    wrong_models=(
        WrongModel(
            "not read is no fault",
            "Nothing speaks against it, and nothing speaks for it. What do you call a conductor with a gap "
            "in its row?",
            _kind_taken_for(SOUND, "unknown", "half"),
        ),
        WrongModel(
            "ohms alone prove it",
            "Continuity and ohms are there. Which of the three tests is still missing in one of the rows?",
            _kind_taken_for(SOUND, "half"),
        ),
        WrongModel(
            "not read is a fault",
            "No test has gone wrong there. It is only not known yet, and a few minutes could change that.",
            _kind_taken_for(BAD, "unknown", "half"),
        ),
        WrongModel(
            "the loop as one conductor",
            "The meter reads the way there and back. Which of the two numbers for 100 m belongs to that?",
            _kind_taken_for(BAD, "good", "fair ohms", "high ohms", "weak", "fair insulation", "half"),
        ),
        WrongModel(
            "any ohms will do",
            "Work out 120 % of the loop for this length. Does each reading stay below it?",
            _kind_taken_for(SOUND, "high ohms"),
        ),
        WrongModel(
            "insulation left out",
            "The ohms are judged rightly. Now hold the last column against half a megohm.",
            _kind_taken_for(SOUND, "weak"),
        ),
        WrongModel(
            "a little more is bad",
            "Ohms a little above the table are usual: joints, a longer way. The limit is 120 %.",
            _kind_taken_for(BAD, "fair ohms"),
        ),
        WrongModel(
            "near the limit is bad",
            "The insulation of one of them is low, and it is above the limit. Write it down, and read again "
            "next year.",
            _kind_taken_for(BAD, "fair insulation"),
        ),
        *row_slips(
            _verdicts,
            6,
            {
                SOUND: "sound has passed all three tests. Is one of them failed here, or missing?",
                UNPROVEN: "unproven lacks a test, and has failed none. What does this row have?",
                BAD: "bad has failed a test: which one would that be here?",
            },
        ),
    ),
    nudge="Row by row: is one of the three tests failed? Then bad. Is one missing? Then unproven.",
)


# 11.2: which ways are there? ------------------------------------------------------------------------------

WAYS = (
    "direct", "direct without D", "direct without Y2", "link by wire", "link by earth",
    "link by second transformer", "new cable",
)  # fmt: skip


def _ways_variant(rng: random.Random) -> Givens:
    while True:
        givens = {
            "stages": rng.choice((1, 2)),
            "valve": rng.choice("OB"),
            "sound": rng.randrange(1, 6),
            "unproven": rng.randrange(3),
            "bad": rng.randrange(1, 3),
            "bonded": rng.choice((True, False, "unknown")),
            "second": rng.choice((True, False)),
        }
        if len(_ways(givens)["ways"]) >= 3:  # else there is nothing to think about
            return givens


def _ways_question(givens: Givens) -> str:
    bond = {
        True: "has been proved to be bonded",
        False: "has lost its bond",
        "unknown": "may be bonded or not: nobody has looked",
    }[givens["bonded"]]
    room = "there is room and line voltage" if givens["second"] else "there is no room"
    stages = {1: "one stage", 2: "two stages"}[givens["stages"]]
    return (
        f"An outdoor unit has {stages}, {'an' if givens['valve'] == 'O' else 'a'} {givens['valve']} valve "
        f"and a heat request, D. Its conductors: {givens['sound']} sound, {givens['unproven']} "
        f"unproven, {givens['bad']} bad. Equipment ground out there {bond}. For a second transformer "
        f"outdoors {room}. How many conductors does a direct run need (`needed`)? Which ways to use this run "
        "would the planner try (`ways`)? A way that needs a proof first counts, too. (A way without D or "
        f"without Y2 leaves out that one alone.) Write a list of some of: "
        f"{', '.join(f'`{way}`' for way in WAYS)}."
    )


def _site(givens: Givens, usable: int) -> Survey:
    sound = tuple(WallConductor(f"{k}", True, 1.0, 50.0) for k in range(usable))
    runs = (WallRun("thermostat", (), 20.0, 18), WallRun("outdoor", sound, 24.0, 18))
    bonded = {"unknown": None}.get(givens["bonded"], givens["bonded"])
    return Survey(
        "a site",
        runs,
        stages=givens["stages"],
        valve=givens["valve"],
        bonded=bonded,
        second_possible=givens["second"],
    )


def _ways(givens: Givens, usable: int | None = None, **changed: Any) -> dict[str, Any]:
    """Return the answer with so many usable conductors, and a site that is changed."""
    site = _site({**givens, **changed}, givens["sound"] + givens["unproven"] if usable is None else usable)
    whole = terminals_of(site, "outdoor")
    fewer = {"direct": whole}
    for gone in ("D", "Y2"):
        if gone in whole:
            fewer[f"direct without {gone}"] = tuple(t for t in whole if t != gone)
    fewer["link by wire"] = ("R", "C", "SIG")
    if site.bonded is not False:
        fewer["link by earth"] = ("R", "SIG")
    if site.second_possible:
        fewer["link by second transformer"] = ("C", "SIG")
    run = site.run("outdoor")
    found = [way for way, terminals in fewer.items() if hand_out(run, terminals, False) is not None]
    return {"needed": len(whole), "ways": [*found, "new cable"]}


def _without(*gone: str) -> Callable[[Givens], dict[str, Any]]:
    def compute(givens: Givens) -> dict[str, Any]:
        right = _ways(givens)
        return {**right, "ways": [way for way in right["ways"] if way not in gone]}

    return compute


def _one_less(givens: Givens) -> dict[str, Any]:
    """Return what comes out where a link by wire is thought to need two conductors."""
    right = _ways(givens)
    added = ["link by wire"] if givens["sound"] + givens["unproven"] == 2 else []
    return {**right, "ways": [*right["ways"], *added]}


WHICH_WAYS = Exercise(
    id="11.2",
    title="Which ways are there?",
    points=3,
    variant=_ways_variant,
    question=_ways_question,
    solve=_ways,
    compare=Record((("needed", Count("conductors")), ("ways", ChoiceSet(WAYS)))),
    wrong_models=(
        WrongModel(
            "an unproven one is none",
            "You counted sound conductors only. A way that needs a proof first is still a way here.",
            lambda givens: _ways(givens, givens["sound"]),
        ),
        WrongModel(
            "bad ones counted",
            "You counted conductors that failed a test. They stay out, whatever the plan.",
            lambda givens: _ways(givens, givens["sound"] + givens["unproven"] + givens["bad"]),
        ),
        WrongModel(
            "ground without a bond",
            "Read again what is said of the bond. What does a way back along equipment ground need?",
            lambda givens: _ways(givens, bonded=True),
        ),
        WrongModel(
            "unknown bond refused",
            "Nobody has looked at the bond. The planner tries that way and marks it unproven; what is known "
            "to be lost it does not try.",
            lambda givens: _ways(givens, bonded=False) if givens["bonded"] == "unknown" else None,
        ),
        WrongModel(
            "no room for it",
            "A second transformer needs room and line voltage outdoors. Is that there?",
            lambda givens: _ways(givens, second=True),
        ),
        WrongModel(
            "a transformer forgotten",
            "One way back needs neither a third conductor nor the ground. What does it need?",
            _without("link by second transformer"),
        ),
        WrongModel(
            "no new cable",
            "One way is always there, at its price.",
            _without("new cable"),
        ),
        WrongModel(
            "all or nothing",
            "With a conductor too few, something can be given up. Is there enough for that?",
            _without("direct without D", "direct without Y2"),
        ),
        WrongModel(
            "a link on two wires",
            "A link by wire needs power, a signal and a way back for both.",
            _one_less,
        ),
        WrongModel(
            "D is not counted",
            "The outdoor unit also sends a request back. That takes a conductor in a direct run.",
            lambda givens: {**_ways(givens), "needed": _ways(givens)["needed"] - 1},
        ),
        WrongModel(
            "the other number of stages",
            "Read the number of stages again, and count once more.",
            lambda givens: {**_ways(givens), "needed": _ways(givens, stages=3 - givens["stages"])["needed"]},
        ),
    ),
    nudge="Count what is usable. Then ask for each way: how many conductors, and what else does it need?",
)


# 11.3: volts at the bad corner ----------------------------------------------------------------------------

_HOT, _READ_LOW, _IN_STEP = 1.16, 1.05, 0.5


def _volts_variant(rng: random.Random) -> Givens:
    return {
        "r_ohm": round(rng.uniform(1.4, 2.1), 2),
        "c_ohm": round(rng.uniform(1.4, 2.1), 2),
        "open_v": rng.choice((26.8, 27.2, 27.6, 28.0)),
        "rated_va": rng.choice((60.0, 75.0)),
        "call": rng.choice(("cool-2", "cool-2", "heat-2")),
    }


@lru_cache(maxsize=256)
def _corner(
    r_ohm: float, c_ohm: float, open_v: float, rated_va: float, call: str
) -> tuple[float, float, float]:
    """Return volts at the air handler, amperes in R, and volts at the outdoor unit, at the bad corner."""
    job = (
        demo_job("wire-return")
        .with_supply(open_v=open_v, rated_va=rated_va)
        .with_equipment(short_cycle_s=0.0)
    )
    ohms = tuple({"R": r_ohm / 2, "C": c_ohm / 2}.get(name, 1.0) for name in job.outdoor_run.conductors)
    corner = bad_corner_of(job.with_run("outdoor", ohms=ohms))
    bench = Bench(corner, call=call)
    state = bench.advance(20.0)
    return state.between("air:R", "air:C"), state.amps["outdoor.R"], state.between("out:R", "out:C")


def _volts_question(givens: Givens) -> str:
    air_v, amps, _ = _corner(**givens)
    return (
        "A link by wire goes to an outdoor unit. The loop of the conductor on R was read as "
        f"{givens['r_ohm']:.2f} ohm, that of the one on C as {givens['c_ohm']:.2f} ohm. The transformer has "
        f"{givens['open_v']:g} V without load; with its line at 95 % and under `{givens['call']}` there are "
        f"**{air_v:.1f} V** from R to C at the air handler, and **{amps:.2f} A** go out on R and come home "
        "on C. The copper is hot (1.16 times), the readings may be 5 % too low, and half of the copper's "
        "volts count, since a coil's current lags. How many volts from R to C are left outdoors (`volts`), "
        f"and how many of them are above the {MUST_PULL_V:.1f} V at which a coil has to pull in (`to_spare`)?"
    )


def _left(volts: float) -> dict[str, float]:
    return {"volts": round(volts, 3), "to_spare": round(volts - MUST_PULL_V, 3)}


def _by_hand(givens: Givens, ohm: Callable[[float, float], float]) -> dict[str, float]:
    air_v, amps, _ = _corner(**givens)
    return _left(round(air_v, 1) - round(amps, 2) * ohm(givens["r_ohm"] / 2, givens["c_ohm"] / 2))


_FACTOR = _HOT * _READ_LOW * _IN_STEP

VOLTS = Exercise(
    id="11.3",
    title="Volts at the bad corner",
    points=3,
    variant=_volts_variant,
    question=_volts_question,
    solve=lambda givens: _left(_corner(**givens)[2]),
    compare=Record((("volts", Number(0.0, 0.1, "V")), ("to_spare", Number(0.0, 0.1, "V")))),
    wrong_models=(
        WrongModel(
            "twice the drop",
            "Your drop is twice too large. Is each loop halved? Does only half of the copper's volts count?",
            lambda givens: _by_hand(givens, lambda r, c: 2 * _FACTOR * (r + c)),
        ),
        WrongModel(
            "the way out alone",
            "The current goes out on one conductor and comes home on another.",
            lambda givens: _by_hand(givens, lambda r, c: _FACTOR * r),
        ),
        WrongModel(
            "copper as it was read",
            "That is the drop on the day of the survey. What if the copper is hot, and the meter read low?",
            lambda givens: _by_hand(givens, lambda r, c: _IN_STEP * (r + c)),
        ),
        WrongModel(
            "no copper at all",
            "These are the volts at the air handler. What do two conductors take on the way?",
            lambda givens: _by_hand(givens, lambda r, c: 0.0),
        ),
        WrongModel(
            "spare above where it lets go",
            "The volts are right. 18 V is where a coil may let go; where does it have to pull in?",
            lambda givens: {**_left(_corner(**givens)[2]), "to_spare": _corner(**givens)[2] - 18.0},
        ),
        WrongModel(
            "spare below the nameplate",
            "The volts are right. A coil pulls in below its rated volts: what does the question say?",
            lambda givens: {**_left(_corner(**givens)[2]), "to_spare": _corner(**givens)[2] - 24.0},
        ),
    ),
    nudge="Half of each loop, added; times 1.05 and 1.16; times the amperes; half of that is lost.",
)


EXERCISES: tuple[Exercise, ...] = (SHEET, WHICH_WAYS, VOLTS, *PLAN_EXERCISES, REFUSAL, DESIGN)
