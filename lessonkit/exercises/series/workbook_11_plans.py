"""The exercises of workbook 11 about plans: in which order they come, and a schedule with a mistake.

The order is the planner's own (`Plan.rank`), the verdict on a conductor the survey's.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from functools import lru_cache
from types import MappingProxyType
from typing import Any

from lessonkit.exercises.compare import Choice, ListOf, Record
from lessonkit.exercises.core import Exercise, Givens, WrongModel
from lessonkit.job.toml import demo_job
from lessonkit.studies.arrangements import NEW, Arrangement, Served
from lessonkit.studies.break_harms import STARTS, Break, Effect
from lessonkit.studies.plan import Plan
from lessonkit.studies.survey import WallConductor, WallRun

# 11.4: which plan first? ----------------------------------------------------------------------------------

_LETTERS = ("A", "B", "C", "D", "E")
#: A kind of plan -> words for it, and the least and most minutes of work.
_KINDS = MappingProxyType(
    {
        "wire": ("link by wire", 104, 134),
        "unproven": ("link by wire, one conductor unproven", 110, 140),
        "earth": ("link by earth", 84, 100),
        "second": ("link by second transformer", 150, 175),
        "new": ("new cable", 185, 290),
        "fewer": ("direct, without Y2", 66, 80),
        "fails": ("direct", 60, 78),
        "starts": ("direct, with a jumper", 62, 82),
    }
)


def _order_variant(rng: random.Random) -> Givens:
    kinds = [rng.choice(("fails", "earth")), rng.choice(("unproven", "new")), rng.choice(("wire", "second"))]
    rest = [kind for kind in _KINDS if kind not in kinds]
    kinds += rng.sample(rest, len(_LETTERS) - len(kinds))
    rng.shuffle(kinds)
    minutes = [2 * rng.randrange(_KINDS[kind][1] // 2, _KINDS[kind][2] // 2) for kind in kinds]
    return {
        "plans": tuple(zip(_LETTERS, kinds, minutes, strict=True)),
        "earth_a": round(rng.uniform(0.6, 1.3), 2),
    }


@lru_cache(maxsize=1024)
def _plan_of(kind: str, minutes: float, earth_a: float) -> Plan:
    """Return a plan that has what its kind says, for the planner's own order."""
    label = f"{NEW} 1" if kind == "new" else "o0"
    how = Arrangement(
        thermostat="direct",
        outdoor="new cable" if kind == "new" else "link",
        return_by="earth" if kind == "earth" else "wire",
        given_up=(("outdoor", "Y2"),) if kind == "fewer" else (),
        schedule=(Served("outdoor", label, "R"),),
        unproven=("outdoor o2: not measured",) if kind == "unproven" else (),
        job=demo_job("wire-return"),
    )
    starts = (Effect(STARTS, "compressor stage 2", "cool-1"),) if kind == "starts" else ()
    broken = {"o0": Break(("compressor stage 1",), starts)}
    return Plan(
        arrangement=how,
        works=kind != "fails",
        why=(),
        coils=MappingProxyType({}),
        va=40.0,
        rated_va=75.0,
        links=MappingProxyType({}),
        earth_a=earth_a if kind == "earth" else 0.0,
        lost=("the second stage",) if kind == "fewer" else (),
        lost_if_broken=MappingProxyType(broken),
        needs=(),
        minutes=minutes,
    )


def _order_question(givens: Givens) -> str:
    lines = []
    for letter, kind, minutes in givens["plans"]:
        cells = (
            "no: a coil does not pull in" if kind == "fails" else "yes",
            f"{givens['earth_a']:.2f} A" if kind == "earth" else "none",
            "starts a stage unasked" if kind == "starts" else "starts nothing",
            "yes" if kind == "new" else "no",
            "yes" if kind == "unproven" else "no",
            "the second stage" if kind == "fewer" else "nothing",
        )
        lines.append(f"| {letter} | {_KINDS[kind][0]} | {' | '.join(cells)} | {minutes} |")
    return (
        "Five plans for one site, as they came from the bench:\n\n"
        "| plan | outdoor run | works | current on ground | a break | new cable | unproven | given up | "
        "minutes |\n|"
        + " --- |" * 9
        + "\n"
        + "\n".join(lines)
        + "\n\nPut them in the planner's order, the best first, "
        'as a list of letters such as `["A", "B", "C", "D", "E"]`.'
    )


def _ordered(givens: Givens, key: Callable[[Plan], Any] = lambda one: one.rank) -> list[str]:
    found = {letter: _plan_of(kind, m, givens["earth_a"]) for letter, kind, m in givens["plans"]}
    return sorted(found, key=lambda letter: key(found[letter]))


def _leaving_out(*places: int) -> Callable[[Givens], list[str]]:
    """Return a model that ranks without some of the criteria."""
    return lambda givens: _ordered(
        givens, lambda one: tuple(value for k, value in enumerate(one.rank) if k not in places)
    )


def _moved(one: Plan, place: int, to: int) -> tuple[object, ...]:
    """Return the rank with one criterion at another place."""
    rank = list(one.rank)
    rank.insert(to, rank.pop(place))
    return tuple(rank)


ORDER = Exercise(
    id="11.4",
    title="Which plan comes first?",
    points=3,
    variant=_order_variant,
    question=_order_question,
    solve=_ordered,
    compare=ListOf(Choice(_LETTERS), len(_LETTERS)),
    wrong_models=(
        WrongModel(
            "minutes alone",
            "You took the quickest first. Minutes decide last, between plans that are equal in all else.",
            lambda givens: _ordered(givens, lambda one: one.minutes),
        ),
        WrongModel(
            "minutes of what works",
            "You looked whether it works, and then at the minutes. Six more things come before the minutes.",
            lambda givens: _ordered(givens, lambda one: (not one.works, one.minutes)),
        ),
        WrongModel(
            "current on ground is no matter",
            "One plan puts current on metal that people touch. Where does the planner put that?",
            _leaving_out(1),
        ),
        WrongModel(
            "a break is no matter",
            "One plan starts something by itself when a wire breaks. That comes before cables and minutes.",
            _leaving_out(2),
        ),
        WrongModel(
            "works or not is no matter",
            "One of the plans does not work at all.",
            _leaving_out(0),
        ),
        WrongModel(
            "a new cable before a proof",
            "A proof takes minutes, a cable hours. Which of the two does the planner try to avoid first?",
            lambda givens: _ordered(givens, lambda one: _moved(one, 4, 5)),
        ),
        WrongModel(
            "give something up before a new cable",
            "The planner pulls no cable as long as the wall will do. Then it looks at what is given up.",
            lambda givens: _ordered(givens, lambda one: _moved(one, 6, 4)),
        ),
        WrongModel(
            "the worst first",
            "The list begins with the best plan.",
            lambda givens: _ordered(givens)[::-1],
        ),
    ),
    nudge="Strike out by the first criterion, then by the next one. Minutes come last.",
)


# 11.5: what is wrong with this schedule? ------------------------------------------------------------------

OHMS, WEAK, UNPROVEN, MISPLACED = MISTAKES = (
    "ohms too high",
    "insulation too low",
    "not proved",
    "most ohms on C",
)
_NAMES = ("1", "2", "3", "4", "5", "6", "7", "8")
#: Terminals of a direct outdoor run, the one that carries most amperes first; the rest lie free.
_TERMINALS = ("C", "Y1", "R", "O", "Y2", "D", "free", "free")


def _mistake_variant(rng: random.Random) -> Givens:
    length_m = rng.choice((30, 36, 42, 48))
    loop_ohm = 2 * length_m * 0.0209
    shares = sorted(rng.sample(range(95, 113), 6))
    mohms: list[float] = [rng.choice((8, 15, 30, 45)) for _ in _NAMES]
    mohms[rng.randrange(6)] = rng.choice((0.6, 0.7, 0.9))
    rows: list[list[Any]] = [
        [round(loop_ohm * share / 100, 2), mohm] for share, mohm in zip(shares, mohms, strict=False)
    ]
    free: list[list[Any]] = [[round(loop_ohm * rng.uniform(1.5, 2.0), 2), 20], [None, None]]
    what = rng.choice(MISTAKES)
    if what == OHMS:
        rows[rng.randrange(6)][0] = round(loop_ohm * rng.uniform(1.45, 1.9), 2)
    elif what == WEAK:
        rows[rng.randrange(6)][1] = rng.choice((0.1, 0.2, 0.3))
    elif what == UNPROVEN:
        free[1] = [round(loop_ohm * 1.03, 2), 25]
        rows[rng.randrange(2, 6)] = [None, None]
    else:
        rows[0], rows[5] = rows[5], rows[0]
    names = rng.sample(_NAMES, len(_NAMES))
    found = zip(names, _TERMINALS, [*rows, *free], strict=True)
    listed = sorted((name, terminal, *row) for name, terminal, row in found)
    return {"length_m": length_m, "rows": tuple(listed)}


def _mistake_question(givens: Givens) -> str:
    lines = []
    for label, terminal, loop_ohm, mohm in givens["rows"]:
        loop = "not read" if loop_ohm is None else f"{loop_ohm:.2f} ohm"
        held = "not read" if mohm is None else f"{mohm:g} Mohm"
        lines.append(f"| {label} | {loop} | {held} | {terminal} | {terminal} |")
    return (
        "A colleague left this schedule for a direct outdoor run of "
        f"{givens['length_m']} m, 18 AWG (a loop of 4.2 ohm for 100 m), and marked nothing as unproven. All "
        "coils outdoors send their current home on C.\n\n| label | loop | insulation | near end | far end |\n"
        "| --- | --- | --- | --- | --- |\n"
        + "\n".join(lines)
        + "\n\nOne conductor should not serve where it does. Which one (`label`), and why (`what`): "
        + ", ".join(f"`{what}`" for what in MISTAKES)
        + "? (`not proved` is a conductor in use that has a reading missing; `most ohms on C` means that C "
        "has more ohms than any other conductor in use, though all of them are sound.)"
    )


def _in_use(givens: Givens) -> list[tuple[str, str, WallConductor]]:
    return [
        (label, terminal, WallConductor(label, None if loop_ohm is None else True, loop_ohm, mohm))
        for label, terminal, loop_ohm, mohm in givens["rows"]
        if terminal != "free"
    ]


def _mistake(givens: Givens) -> dict[str, str]:
    """Return the conductor that should not serve where it does, by the survey's own verdicts."""
    run = WallRun("outdoor", (), float(givens["length_m"]), 18)
    for label, _, found in _in_use(givens):
        verdict, why = run.verdict(found)
        if verdict != "sound":
            return {
                "label": label,
                "what": UNPROVEN if verdict == "unproven" else WEAK if "Mohm" in why else OHMS,
            }
    label = max(_in_use(givens), key=lambda row: row[2].loop_ohm or 0.0)[0]
    return {"label": label, "what": MISPLACED}


def _highest(givens: Givens) -> dict[str, str]:
    """Return the conductor in use with the most ohms, held for one with too many."""
    label = max(_in_use(givens), key=lambda row: row[2].loop_ohm or 0.0)[0]
    return {"label": label, "what": OHMS}


def _lowest_insulation(givens: Givens) -> dict[str, str]:
    """Return the conductor in use with the least megohms above the limit, held for one that failed."""
    above = [row for row in _in_use(givens) if (row[2].insulation_mohm or 0.0) >= 0.5]
    return {"label": min(above, key=lambda row: row[2].insulation_mohm or 1e9)[0], "what": WEAK}


def _free(givens: Givens, what: str) -> dict[str, str] | None:
    """Return the conductor that lies free and has that mistake; free ones do no harm."""
    for label, terminal, loop_ohm, _ in givens["rows"]:
        if terminal == "free" and (loop_ohm is None) == (what == UNPROVEN):
            return {"label": label, "what": what}
    return None


def _on_c(givens: Givens) -> dict[str, str]:
    label = next(label for label, terminal, _ in _in_use(givens) if terminal == "C")
    return {"label": label, "what": MISPLACED}


def _other_word(givens: Givens) -> dict[str, str] | None:
    right = _mistake(givens)
    return {**right, "what": OHMS} if right["what"] == MISPLACED else None


MISTAKE = Exercise(
    id="11.5",
    title="What is wrong with this schedule?",
    points=3,
    variant=_mistake_variant,
    question=_mistake_question,
    solve=_mistake,
    compare=Record((("label", Choice(_NAMES)), ("what", Choice(MISTAKES)))),
    wrong_models=(
        WrongModel(
            "within the limit after all",
            "You have the right conductor. Is its loop above 120 % of what the length gives, or is it only "
            "in the wrong place?",
            _other_word,
        ),
        WrongModel(
            "the highest of all",
            "Some conductor is always the highest. Hold it against 120 % of the loop that the length gives.",
            _highest,
        ),
        WrongModel(
            "the weakest of all",
            "Low is not too low: the limit is half a megohm.",
            _lowest_insulation,
        ),
        WrongModel(
            "a free one with bad ohms",
            "That conductor lies free at both ends. It was rightly left out. Look at those in use.",
            lambda givens: _free(givens, OHMS),
        ),
        WrongModel(
            "a free one without readings",
            "Nobody has proved that one, and nobody uses it. Look at those in use.",
            lambda givens: _free(givens, UNPROVEN),
        ),
        WrongModel(
            "C is always to blame",
            "Compare the loop on C with the others in use. Is it really the highest?",
            _on_c,
        ),
    ),
    nudge="Leave out what lies free. Then row by row: ohms, insulation, gaps; and last the loop on C.",
)


PLAN_EXERCISES: tuple[Exercise, ...] = (ORDER, MISTAKE)
