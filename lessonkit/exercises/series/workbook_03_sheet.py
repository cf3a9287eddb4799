"""The exercises of workbook 03 about the whole sheet: what it says of each conductor, and which serves where.

Every reading on the sheet is one that hands and meters made on a bench; a schedule is right if the bench runs
on it, so many are. `workbook_03` and `workbook_03_tests` hold the others.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from functools import lru_cache

from lessonkit.bench.bench import Bench
from lessonkit.bench.insulation import LIMIT_OHM
from lessonkit.bench.state import State
from lessonkit.copper.wire import resistance_per_m
from lessonkit.exercises.compare import Choice, Table
from lessonkit.exercises.core import Exercise, Givens, WrongModel
from lessonkit.exercises.slips import row_slips
from lessonkit.job.toml import demo_job
from lessonkit.studies.cable import prove_insulation, ring_out

JOB = "net-loft"


# 3.7: the sheet -------------------------------------------------------------------------------------------

SOUND, OPEN, POOR, TOUCHES, WEAK = WORDS = ("sound", "open", "poor", "touches", "weak")
_ON_SHEET = ("C", "D", "O", "Y1", "spare", "Y2", "spare-2")


def _sheet_variant(rng: random.Random) -> Givens:
    first = rng.randrange(1, len(_ON_SHEET) - 1)  # two that lie side by side
    pair = _ON_SHEET[first], _ON_SHEET[first + 1]
    rest = [name for name in _ON_SHEET if name not in pair]
    rng.shuffle(rest)
    return {
        "length_m": rng.choice((24, 28, 32, 36, 40)),
        "touch": (*pair, rng.choice((2, 3, 4, 6, 7, 8))),
        "open": (rest[0], rng.choice((1, 3, 4, 6, 8))),
        "poor": (rest[1], rng.choice((0.5, 0.6, 0.8, 1.1, 1.5))),
        "weak": (rest[2], rng.choice((150, 200, 250, 300, 350, 400))),
        "fair": (rest[3], rng.choice((700, 900, 1500, 2500, 4000))),
    }


@lru_cache(maxsize=128)
def _sheet(
    length_m: int,
    touch: tuple[str, str, int],
    open: tuple[str, int],
    poor: tuple[str, float],
    weak: tuple[str, int],
    fair: tuple[str, int],
) -> dict[str, tuple[str, str, str, str]]:
    """Return what hands and meters find: conductor -> closes with, loop, to ground, and the right word."""
    job = demo_job(JOB).with_run("outdoor", length_m=float(length_m))
    faults = [
        f"outdoor.{touch[0]}=short:{touch[1]}@{touch[2] / 10:g}",
        f"outdoor.{open[0]}=open@{open[1] / 10:g}",
        f"outdoor.{poor[0]}=resistance:{poor[1]:g}",
        *(f"outdoor.{name}=earth:{kilohm * 1000:g}@0.3" for name, kilohm in (weak, fair)),
    ]
    # A break would cut a poor insulation off from one end, so the two are never on one conductor.
    bench = Bench(job, faults=faults)
    rung, insulation = ring_out(bench, "outdoor"), prove_insulation(bench, "outdoor")
    rows = {}
    for name in _ON_SHEET:
        closes = [two if name == one else one for one, two in rung.shorts if name in (one, two)]
        to_ground = insulation.to_ground[name]
        word = POOR if name in rung.poor else WEAK if to_ground < LIMIT_OHM else SOUND
        word = TOUCHES if closes else OPEN if name in rung.opens else word
        rows[name] = (", ".join(closes) or "none", str(rung.loops["R", name]), str(to_ground), word)
    return rows


def _found(givens: Givens) -> dict[str, str]:
    return {name: row[3] for name, row in _sheet(**givens).items()}


def _sheet_question(givens: Givens) -> str:
    rows = "\n".join(f"| {name} | {' | '.join(row[:3])} |" for name, row in _sheet(**givens).items())
    return (
        f"A run of {givens['length_m']} m, 18 AWG: 2.1 ohm for each 100 m of one conductor. R has been "
        f"proved sound. "
        "First, all ends apart: which pairs close? Then all far ends together: the loop of each with R. "
        "Then all apart "
        "again: 250 V from each to grounded metal.\n\n| conductor | closes with | loop with R | to ground |\n"
        f"| --- | --- | --- | --- |\n{rows}\n\nWhat do you write beside each: `{SOUND}`, `{OPEN}`, `{POOR}` "
        f"(more "
        f"than 120 % of the loop that the table of wire gives), `{TOUCHES}` or `{WEAK}` (insulation)?"
    )


def _instead(old: str, new: str) -> Callable[[Givens], dict[str, str]]:
    """Return a model that writes one word where another is right."""
    return lambda givens: {name: new if word == old else word for name, word in _found(givens).items()}


def _fair_is_weak(givens: Givens) -> dict[str, str]:
    return _found(givens) | {givens["fair"][0]: WEAK}


def _only_one_touches(givens: Givens) -> dict[str, str]:
    return _found(givens) | {givens["touch"][1]: SOUND}


#: Of two that touch, the first is never the first or the last row of the sheet; whatever else is called sound
#: by mistake has a model of its own.
_ROW_SLIPS = tuple(
    slip
    for slip in row_slips(
        _found,
        len(_ON_SHEET),
        {
            SOUND: "a sound one closes with no other, comes back with fair ohms, and leaks nothing.",
            OPEN: "a broken one has OL for its loop. Does this one come back?",
            POOR: "work out 120 % of the loop for this length. Is the reading above it?",
            TOUCHES: "two that touch close while all ends are apart. Does this one close with another?",
            WEAK: "weak insulation shows in the last column: below half a megohm.",
        },
    )
    if slip.name not in (f"{SOUND} in the first row", f"{SOUND} in the seventh row")
)

SHEET = Exercise(
    id="3.7",
    title="Read the whole sheet",
    points=4,
    variant=_sheet_variant,
    question=_sheet_question,
    solve=_found,
    compare=Table(_ON_SHEET, Choice(WORDS)),
    wrong_models=(
        WrongModel(
            "a low loop is a good loop",
            "A loop below what the table of wire gives is no gift: somewhere its current has a shorter way.",
            _instead(TOUCHES, SOUND),
        ),
        WrongModel(
            "one of the pair",
            "It takes two to touch. What did its partner close with?",
            _only_one_touches,
        ),
        WrongModel(
            "any loop will do",
            "Work out the loop for this length and gauge, then 120 % of it. Does each reading stay below?",
            _instead(POOR, SOUND),
        ),
        WrongModel(
            "insulation left out",
            "The loops are read rightly. Now hold the last column against half a megohm.",
            _instead(WEAK, SOUND),
        ),
        WrongModel(
            "below what the others have is weak",
            "The limit is half a megohm. A conductor above it passes; note the number, and read again next "
            "year.",
            _fair_is_weak,
        ),
        WrongModel(
            "OL is only poor",
            "OL is no large number of ohms. It means that no current came back at all.",
            _instead(OPEN, POOR),
        ),
        WrongModel(
            "OL is best",
            "OL to ground is good: nothing leaks. OL in a loop is bad: nothing comes back.",
            _instead(OPEN, SOUND),
        ),
        *_ROW_SLIPS,
    ),
    nudge="One column after the other: what closes, what is OL, what is above 120 %, what is below 0.5 Mohm.",
)


# 3.8: which conductor for which terminal? -----------------------------------------------------------------

TERMINALS = ("R", "C", "Y1", "Y2", "O", "D")
_LABELS = ("1", "2", "3", "4", "5", "6", "7", "8")
_THICK_AWG, _THIN_AWG = 18, 24
#: Every coil outdoors has to get this much, from rest (RMS volts): what the nameplates say.
LEAST_V = 24.0


def _choose_variant(rng: random.Random) -> Givens:
    labels = rng.sample(_LABELS, len(_LABELS))
    return {
        "length_m": rng.choice((70, 75, 80, 85, 90)),
        "thick": tuple(sorted(labels[:3])),
        "bad": (labels[0], labels[3]),  # one of the thick and one of the thin
        "how": tuple(rng.sample(("open", "poor", "weak"), 2)),
        "mohm": tuple(rng.choice((12, 25, 40, 80, 150)) for _ in labels),
    }


def _alone_ohm(givens: Givens, label: str) -> float:
    gauge = _THICK_AWG if label in givens["thick"] else _THIN_AWG
    return resistance_per_m(gauge) * float(givens["length_m"])


def _choose_question(givens: Givens) -> str:
    how = dict(zip(givens["bad"], givens["how"], strict=True))
    rows = []
    for label, mohm in zip(_LABELS, givens["mohm"], strict=True):
        ohm = _alone_ohm(givens, label) * (1.6 if how.get(label) == "poor" else 1.0)
        alone = "OL" if how.get(label) == "open" else f"{ohm:.2f} ohm"
        gauge = _THICK_AWG if label in givens["thick"] else _THIN_AWG
        least = "0.30 Mohm" if how.get(label) == "weak" else f"{mohm} Mohm"
        rows.append(f"| {label} | {gauge} AWG | {alone} | {least} |")
    per = [100 * resistance_per_m(gauge) for gauge in (_THICK_AWG, _THIN_AWG)]
    return (
        f"To another outdoor unit of the harbour go {givens['length_m']} m of two old cables, side by side. "
        f"All eight "
        f"conductors have been rung out, each by itself ({per[0]:.2f} ohm for 100 m of 18 AWG, {per[1]:.2f} "
        f"ohm for "
        "24 AWG), and tested against all others and ground:\n\n| label | gauge | it alone | insulation |\n"
        "| --- | --- | --- | --- |\n"
        + "\n".join(rows)
        + "\n\nWhich label serves which terminal? Use sound conductors only. Under `cool-2`, from rest, "
        f"every coil outdoors must pull in and get {LEAST_V:g} V or more. Many answers are right; the bench "
        "tries yours."
    )


@lru_cache(maxsize=512)
def _chosen(ohms: tuple[float, ...], length_m: float) -> State:
    job = demo_job(JOB).with_run("outdoor", conductors=TERMINALS, ohms=ohms, length_m=float(length_m))
    return Bench(job, call="cool-2").state


def _judge_choice(givens: Givens, answer: Mapping[str, str]) -> str | None:
    """Return the hint for a schedule, or None where it works."""
    if len(set(answer.values())) < len(answer):
        return "One conductor is on two terminals: that joins them. Give each its own."
    for label in answer.values():
        if label in givens["bad"]:
            return "One of your conductors is not sound. Look at its ohms and its insulation once more."
    ohms = tuple(round(_alone_ohm(givens, answer[terminal]), 4) for terminal in TERMINALS)
    coils = _chosen(ohms, givens["length_m"]).coils
    outdoors = [coil for name, coil in coils.items() if name.startswith("out:")]
    if any(not coil.sealed or coil.volts < LEAST_V for coil in outdoors):
        return "A coil outdoors gets too few volts. Which conductor carries the current of all coils at once?"
    return None


def _schedule(givens: Givens, order: tuple[str, ...], bad_too: bool = False) -> dict[str, str]:
    """Return a schedule that gives the thick conductors to the first terminals of `order`."""
    usable = [label for label in _LABELS if bad_too or label not in givens["bad"]]
    usable.sort(key=lambda label: (label not in givens["thick"], label))
    return dict(zip(order, usable, strict=False))


CHOOSE = Exercise(
    id="3.8",
    title="Which conductor for which terminal?",
    points=4,
    variant=_choose_variant,
    question=_choose_question,
    solve=lambda givens: _schedule(givens, ("C", "Y1", "R", "Y2", "O", "D")),
    compare=Table(TERMINALS, Choice(_LABELS)),
    wrong_models=(
        WrongModel(
            "thick for R and Y1",
            "R outdoors only feeds the board. All coils' currents come home together: along which conductor?",
            lambda givens: _schedule(givens, ("R", "Y1", "C", "Y2", "O", "D")),
        ),
        WrongModel(
            "gauge alone",
            "The thickest conductors were taken before anything was proved. Read the sheet, then the gauge.",
            lambda givens: _schedule(givens, ("C", "R", "Y1", "Y2", "O", "D"), bad_too=True),
        ),
        WrongModel(
            "in the order of the labels",
            "Labels only say which is which. Ohms and insulation say what a conductor is good for.",
            lambda givens: dict(zip(TERMINALS, _LABELS, strict=False)),
        ),
    ),
    rule=_judge_choice,
)

SHEET_EXERCISES: tuple[Exercise, ...] = (SHEET, CHOOSE)
