"""The exercises of workbook 03, proving the conductors: what a loop, a walk, a break and a touch tell.

This room holds the four that are about readings of one cable and what they mean; the two about tests and
their order stand in `workbook_03_tests`, the two about the whole sheet in `workbook_03_sheet`. Each puts its
cable on a bench, where hands and a meter read it; numbers in a question are what the meter's display shows.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from functools import lru_cache
from itertools import combinations

from lessonkit.bench.bench import Bench
from lessonkit.bench.hands import Hands
from lessonkit.bench.layout import SHORT_OHM
from lessonkit.bench.meter import Meter
from lessonkit.bench.reading import Reading
from lessonkit.copper.wire import DEFAULT_CAPACITANCE_F_PER_M, resistance_per_m
from lessonkit.exercises.compare import Choice, Number, Table
from lessonkit.exercises.core import Exercise, Givens, Several, WrongModel
from lessonkit.exercises.series.workbook_03_sheet import SHEET_EXERCISES
from lessonkit.exercises.series.workbook_03_tests import TEST_EXERCISES
from lessonkit.job.model import RUN_ENDS, Job
from lessonkit.job.toml import demo_job
from lessonkit.studies.cable import Located, locate_open, locate_short

TITLE = "Proving the conductors"

#: What is heard on an ohmmeter when two conductors close: less than this.
_CLOSES_OHM = 100.0


def _job(length_m: float, gauge_awg: int = 18, capacitance_pf_per_m: float = 82.0) -> Job:
    """Return the net loft with another cable in its outdoor run."""
    return demo_job("net-loft").with_run(
        "outdoor",
        length_m=float(length_m),
        gauge_awg=int(gauge_awg),
        capacitance_pf_per_m=float(capacitance_pf_per_m),
    )


def _loosened(job: Job, far_twists: Sequence[Sequence[str]]) -> Meter:
    """Return a meter on a dead bench, all ends of the outdoor run lifted and some twisted at the far end."""
    bench = Bench(job)
    hands = Hands(bench)
    hands.power(False)
    for place in RUN_ENDS["outdoor"]:
        hands.lift_all("outdoor", place)
    for names in far_twists:
        hands.twist("out", *(f"outdoor.{name}" for name in names))
    return Meter(bench)


def _shown(reading: Reading) -> float:
    """Return a reading as its display shows it, in its plain unit."""
    return round(reading.value, 2) if reading.unit == "ohm" else round(reading.value * 1e9, 2)


# 3.1: the length of a loop --------------------------------------------------------------------------------


def _loop_variant(rng: random.Random) -> Givens:
    return {
        "gauge_awg": rng.choice((18, 18, 20, 16)),
        "length_m": rng.randrange(14, 46),
        "leads_ohm": rng.choice((0.25, 0.3, 0.35, 0.4, 0.45)),
    }


@lru_cache(maxsize=256)
def _loop_ohm(length_m: int, gauge_awg: int) -> float:
    meter = _loosened(_job(length_m, gauge_awg), [("R", "C")])
    return _shown(meter.ohms("air:outdoor.R", "air:outdoor.C"))


def _with_leads(givens: Givens) -> float:
    return round(_loop_ohm(givens["length_m"], givens["gauge_awg"]) + float(givens["leads_ohm"]), 2)


def _loop_question(givens: Givens) -> str:
    per_100_m = 100 * resistance_per_m(givens["gauge_awg"])
    return (
        "The disconnect is open and the circuit proved dead. Nobody knows how long the run is. At the far "
        "end "
        "R and C are lifted and twisted together. At the near end you read from R to C, with both lifted: "
        f"**{_with_leads(givens):.2f} ohm**. With the tips of its leads together, the same meter shows "
        f"**{givens['leads_ohm']:.2f} ohm**. The cable is {givens['gauge_awg']} AWG: {per_100_m:.2f} ohm for "
        "each 100 m of one conductor. How long is the run, in metres?"
    )


def _metres(givens: Givens, ohm: float, ways: int = 2) -> float:
    return ohm / (ways * resistance_per_m(givens["gauge_awg"]))


LOOP = Exercise(
    id="3.1",
    title="How long is the run?",
    points=2,
    variant=_loop_variant,
    question=_loop_question,
    solve=lambda givens: float(givens["length_m"]),
    compare=Number(rel=0.03, absolute=0.6, unit="m"),
    wrong_models=(
        WrongModel(
            "one way",
            "The meter's current goes out along R and comes back along C: the loop has both in it.",
            lambda givens: _metres(givens, _with_leads(givens) - givens["leads_ohm"], 1),
        ),
        WrongModel(
            "leads left in",
            "The reading still has the meter's own leads in it. What do they read with their tips together?",
            lambda givens: _metres(givens, _with_leads(givens)),
        ),
        WrongModel(
            "leads added",
            "The leads' ohms are in the reading already. Which way do you have to count them?",
            lambda givens: _metres(givens, _with_leads(givens) + givens["leads_ohm"]),
        ),
        WrongModel(
            "one way, leads left in",
            "Two things: the loop has two conductors in it, and the meter's leads besides.",
            lambda givens: _metres(givens, _with_leads(givens), 1),
        ),
    ),
    nudge="First take the leads off, then halve the loop, then divide by the ohms of one metre.",
)


# 3.2: which end is which ----------------------------------------------------------------------------------

_NAMES = ("R", "C", "D", "O", "Y1", "Y2")
_LETTERS, _TAGS = ("a", "b", "c", "d", "e", "f"), ("1", "2", "3", "4", "5", "6")
#: Two ways to twist six ends into groups of 1, 2 and 3, so that no two ends have the same pair of sizes.
_WALKS = (((0,), (1, 2), (3, 4, 5)), ((3,), (1, 4), (0, 2, 5)))


def _labels_variant(rng: random.Random) -> Givens:
    return {
        "letters": tuple(rng.sample(_LETTERS, 6)),  # which far end plays which part in the walks
        "tags": tuple(rng.sample(_TAGS, 6)),  # which tag its near end has
    }


def _letter_groups(givens: Givens, walk: int) -> list[str]:
    return ["".join(sorted(givens["letters"][k] for k in group)) for group in _WALKS[walk]]


@lru_cache(maxsize=2)
def _closing(walk: int) -> frozenset[tuple[int, int]]:
    """Return which pairs of near ends close while the far ends are twisted as in a walk."""
    job = demo_job("net-loft").with_run("outdoor", conductors=_NAMES)
    meter = _loosened(job, [[_NAMES[k] for k in group] for group in _WALKS[walk] if len(group) > 1])
    ends = [f"air:outdoor.{name}" for name in _NAMES]
    pairs = combinations(range(len(ends)), 2)
    return frozenset((a, b) for a, b in pairs if meter.ohms(ends[a], ends[b]) < _CLOSES_OHM)


def _tag_groups(givens: Givens, walk: int) -> list[list[str]]:
    """Return the near ends in groups that close among each other, as the meter finds them."""
    groups: list[list[str]] = []
    for k in range(6):
        beside = {a + b - k for a, b in _closing(walk) if k in (a, b)}
        if all(other > k for other in beside):
            groups.append(sorted(givens["tags"][other] for other in (k, *beside)))
    return sorted(groups)


def _labels_question(givens: Givens) -> str:
    lines = []
    for walk, word in enumerate(("first", "second")):
        twisted = "; ".join(f"`{group}`" for group in _letter_groups(givens, walk) if len(group) > 1)
        closed = "; ".join("-".join(group) for group in _tag_groups(givens, walk) if len(group) > 1)
        lines.append(
            f"* {word} walk: you twist {twisted}, the rest stays loose. Back here these close: {closed}"
        )
    return (
        "Six conductors have the same grey jacket, and the circuit is dead with all ends lifted. At the far "
        "end "
        "you hang letters on them, `a` to `f`; at the near end numbers, `1` to `6`. You walk out, twist "
        "some ends "
        "together, walk back and look with the ohmmeter which near ends close with each other. Then once "
        "more:\n\n" + "\n".join(lines) + "\n\nWhich letter belongs to each number?"
    )


def _match(
    givens: Givens, signature_of: Mapping[str, object], seen_of: Mapping[str, object]
) -> dict[str, str]:
    """Return number -> letter, joined where what was twisted and what was seen agree."""
    left = sorted(signature_of)
    found = {}
    for tag in _TAGS:
        letter = next((one for one in left if signature_of[one] == seen_of[tag]), left[0])
        left.remove(letter)
        found[tag] = letter
    return found


def _sizes(groups: Sequence[Sequence[str]]) -> dict[str, int]:
    return {item: len(group) for group in groups for item in group}


def _joined(givens: Givens, order: tuple[int, ...]) -> dict[str, str]:
    """Return what follows from the group sizes of the walks in `order`; (0, 1) is right."""
    twisted = [_sizes(_letter_groups(givens, walk)) for walk in (0, 1)]
    seen = [_sizes(_tag_groups(givens, walk)) for walk in (0, 1)]
    return _match(
        givens,
        {letter: tuple(twisted[k][letter] for k in range(len(order))) for letter in _LETTERS},
        {tag: tuple(seen[walk][tag] for walk in order) for tag in _TAGS},
    )


def _two_swapped(givens: Givens) -> Several:
    right = _joined(givens, (0, 1))
    return Several({**right, a: right[b], b: right[a]} for a, b in combinations(_TAGS, 2))


def _one_twice(givens: Givens) -> Several:
    right = _joined(givens, (0, 1))
    return Several({**right, a: right[b]} for a in _TAGS for b in _TAGS if a != b)


LABELS = Exercise(
    id="3.2",
    title="Which end is which?",
    points=3,
    variant=_labels_variant,
    question=_labels_question,
    solve=lambda givens: _joined(givens, (0, 1)),
    compare=Table(_TAGS, Choice(_LETTERS)),
    wrong_models=(
        WrongModel(
            "walks mixed up",
            "You used what closed after the second walk as if it came after the first, and the other way "
            "round.",
            lambda givens: _joined(givens, (1, 0)),
        ),
        WrongModel(
            "first walk only",
            "The first walk only says which group an end is in. The second tells the ends of a group apart.",
            lambda givens: _joined(givens, (0,)),
        ),
        WrongModel(
            "in order",
            "Numbers and letters are only tags that you hung on. Nothing but the readings says what belongs.",
            lambda givens: dict(zip(_TAGS, _LETTERS, strict=True)),
        ),
        WrongModel(
            "two in each other's place",
            "Four are right, and two letters have changed places. Look for two that were in one group in one "
            "walk, and ask in which groups the other walk puts them.",
            _two_swapped,
        ),
        WrongModel(
            "one letter twice",
            "A letter stands beside two numbers, and another letter nowhere. Each end has one number only.",
            _one_twice,
        ),
    ),
    nudge="Beside each number write two group sizes: after walk one, after walk two. Then do so for letters.",
)


# 3.3: where is it broken? ---------------------------------------------------------------------------------


def _break_variant(rng: random.Random) -> Givens:
    return {
        "conductor": rng.choice(("D", "O", "Y1", "Y2", "spare")),
        "length_m": rng.randrange(20, 61),
        "tenths": rng.choice((1.5, 2, 2.5, 3, 3.5, 6.5, 7, 7.5, 8, 8.5)),
        "capacitance_pf_per_m": rng.choice((50, 60, 70, 110, 120, 130)),
    }


@lru_cache(maxsize=256)
def _broken(conductor: str, length_m: int, tenths: float, capacitance_pf_per_m: int) -> Located:
    job = _job(length_m, capacitance_pf_per_m=capacitance_pf_per_m)
    bench = Bench(job, faults=[f"outdoor.{conductor}=open@{tenths / 10:g}"])
    return locate_open(bench, "outdoor", conductor)


def _nanofarads(givens: Givens) -> tuple[float, float]:
    found = _broken(**givens)
    return _shown(found.near), _shown(found.far)


def _break_question(givens: Givens) -> str:
    near, far = _nanofarads(givens)
    return (
        f"The conductor {givens['conductor']} is open somewhere along {givens['length_m']} m of cable. All "
        f"ends "
        "are lifted, and all other conductors are twisted together. From the broken one to the others you "
        "read "
        f"**{near:.2f} nF** at the near end and **{far:.2f} nF** at the far end. How far from the near end "
        f"is the "
        "break, in metres?"
    )


def _share_m(givens: Givens, part: float, whole: float) -> float:
    return float(givens["length_m"]) * part / whole


BREAK = Exercise(
    id="3.3",
    title="Where is it broken?",
    points=2,
    variant=_break_variant,
    question=_break_question,
    solve=lambda givens: _broken(**givens).distance_m,
    compare=Number(rel=0.03, absolute=0.5, unit="m"),
    wrong_models=(
        WrongModel(
            "from the other end",
            "That is how far it is from the far end. A longer piece has more capacitance: which piece is "
            "this?",
            lambda givens: _share_m(givens, _nanofarads(givens)[1], sum(_nanofarads(givens))),
        ),
        WrongModel(
            "ratio of the pieces",
            "You divided one piece by the other. What share of the whole is the near piece?",
            lambda givens: _share_m(givens, *_nanofarads(givens)),
        ),
        WrongModel(
            "half way",
            "Half way is where both ends read the same. Do they here?",
            lambda givens: givens["length_m"] / 2,
        ),
        WrongModel(
            "a book value",
            "A book's value for each metre is not that of this cable. Both readings together are its whole "
            "length.",
            lambda givens: _nanofarads(givens)[0] * 1e-9 / DEFAULT_CAPACITANCE_F_PER_M,
        ),
    ),
    nudge="Add both readings: that is the whole run. Then take the near one's share of the length.",
)


# 3.4: where do they touch? --------------------------------------------------------------------------------


def _touch_variant(rng: random.Random) -> Givens:
    one, other = rng.choice((("D", "O"), ("O", "Y1"), ("Y1", "spare"), ("spare", "Y2"), ("C", "D")))
    return {
        "one": one,
        "other": other,
        "length_m": rng.randrange(30, 71, 2),
        "gauge_awg": rng.choice((18, 20, 22)),
        "tenths": rng.choice((1, 1.5, 2, 2.5, 3, 7, 7.5, 8, 8.5, 9)),
        "touch_ohm": rng.choice((0.6, 0.8, 1.0, 1.3, 1.6)),
    }


@lru_cache(maxsize=256)
def _touching(one: str, other: str, length_m: int, gauge_awg: int, tenths: float) -> Located:
    bench = Bench(_job(length_m, gauge_awg), faults=[f"outdoor.{one}=short:{other}@{tenths / 10:g}"])
    return locate_short(bench, "outdoor", one, other)


def _located(givens: Givens) -> Located:
    return _touching(**{key: givens[key] for key in ("one", "other", "length_m", "gauge_awg", "tenths")})


def _touch_ohms(givens: Givens) -> tuple[float, float]:
    """Return what is read at both ends; the touch's own ohms lie in series, so both readings have them."""
    found, more = _located(givens), float(givens["touch_ohm"]) - SHORT_OHM
    return round(found.near + more, 2), round(found.far + more, 2)


def _touch_question(givens: Givens) -> str:
    near, far = _touch_ohms(givens)
    per_100_m = 100 * resistance_per_m(givens["gauge_awg"])
    return (
        f"In {givens['length_m']} m of {givens['gauge_awg']} AWG ({per_100_m:.2f} ohm for each 100 m of one "
        f"conductor), {givens['one']} touches {givens['other']}. All ends are lifted and apart. Between the "
        f"two "
        f"you read **{near:.2f} ohm** at the near end and **{far:.2f} ohm** at the far end. How far from "
        f"the near "
        "end do they touch, in metres?"
    )


def _touch_m(givens: Givens, near: float, far: float, pieces: int = 4) -> float:
    return float(givens["length_m"]) / 2 + (near - far) / (pieces * resistance_per_m(givens["gauge_awg"]))


def _from_one_end(givens: Givens) -> float:
    return _touch_ohms(givens)[0] / (2 * resistance_per_m(givens["gauge_awg"]))


TOUCH = Exercise(
    id="3.4",
    title="Where do they touch?",
    points=3,
    variant=_touch_variant,
    question=_touch_question,
    solve=lambda givens: _located(givens).distance_m,
    compare=Number(rel=0.03, absolute=0.8, unit="m"),
    wrong_models=(
        WrongModel(
            "one end only",
            "The touch has ohms of its own, and from one end they pass for cable. Use both readings.",
            _from_one_end,
        ),
        WrongModel(
            "from the other end",
            "You took the readings the wrong way round. The end that reads less is the closer one.",
            lambda givens: _touch_m(givens, *_touch_ohms(givens)[::-1]),
        ),
        WrongModel(
            "half of the copper",
            "A step of one metre adds a metre of both conductors here, and takes as much away there: four "
            "in all.",
            lambda givens: _touch_m(givens, *_touch_ohms(givens), pieces=2),
        ),
        WrongModel(
            "a share of the ohms",
            "Shares work for capacitance. Here each reading has the touch in it; it falls out when you "
            "subtract.",
            lambda givens: givens["length_m"] * _touch_ohms(givens)[0] / sum(_touch_ohms(givens)),
        ),
    ),
    nudge="Half the length, then near minus far over four times the ohms of one metre.",
)

EXERCISES: tuple[Exercise, ...] = (LOOP, LABELS, BREAK, TOUCH, *TEST_EXERCISES, *SHEET_EXERCISES)
