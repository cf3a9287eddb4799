"""Exercise 12.6 of workbook 12: the fewest looks that notice every broken conductor, judged on the bench.

A dozen looks are offered, drawn by the student's number. Each conductor is broken alone on a bench, and a
choice of looks is right if none of these breaks goes unnoticed and no more looks are taken than needed.
"""

from __future__ import annotations

import random
from functools import lru_cache, reduce
from itertools import combinations
from operator import or_
from typing import Any

from lessonkit.exercises.compare import Count, ListOf
from lessonkit.exercises.core import Exercise, Givens, WrongModel
from lessonkit.job.model import Job
from lessonkit.job.toml import demo_job
from lessonkit.studies.coverage import DEFROST, Notices, notices

#: The wirings that are drawn, with what a question says of each.
_WIRINGS = {
    "full-cable": "a conductor for each terminal on both runs",
    "wire-return": "the outdoor run is a link with a wire to come back by",
    "second-transformer": "the outdoor run is a link, with a second transformer outdoors",
}
_OFFERED = 12


def _job(wiring: str, valve: str) -> Job:
    return demo_job(wiring).with_equipment(valve=valve)


def _found(givens: Givens) -> Notices:
    return notices(_job(givens["wiring"], givens["valve"]))


def _design_variant(rng: random.Random) -> Givens:
    wiring, valve = rng.choice(tuple(_WIRINGS)), rng.choice("OB")
    found = notices(_job(wiring, valve))
    while True:
        offered = tuple(rng.sample(tuple(found.by_look), _OFFERED))
        covers = _covers(wiring, valve, offered)
        # One cover alone would leave nothing to choose, and nearly all looks as a cover nothing to think.
        if len(covers) >= 2 and len(covers[0]) <= 6:
            return {"wiring": wiring, "valve": valve, "offered": offered}


@lru_cache(maxsize=512)
def _covers(wiring: str, valve: str, offered: tuple[str, ...]) -> tuple[tuple[int, ...], ...]:
    """Return every choice of the fewest looks, counted from 1, that misses nothing; none if there is none."""
    found = notices(_job(wiring, valve))
    every = (1 << len(found.conductors)) - 1
    # A bit for each conductor: hundreds of choices are tried for each student.
    seen = [
        sum(1 << k for k, name in enumerate(found.conductors) if name in found.by_look[look])
        for look in offered
    ]
    for count in range(1, len(offered) + 1 if reduce(or_, seen) == every else 1):
        kept = [
            tuple(k + 1 for k in some)
            for some in combinations(range(len(offered)), count)
            if reduce(or_, (seen[k] for k in some)) == every
        ]
        if kept:
            return tuple(kept)
    return ()


def _fewest(givens: Givens) -> tuple[tuple[int, ...], ...]:
    return _covers(givens["wiring"], givens["valve"], tuple(givens["offered"]))


def _most(givens: Givens) -> int:
    return len(_fewest(givens)[0])


def _design_question(givens: Givens) -> str:
    looks = "\n".join(f"{n}. `{look}`" for n, look in enumerate(givens["offered"], 1))
    return (
        f"A heat pump with two stages, valve {givens['valve']}; {_WIRINGS[givens['wiring']]}. A full sheet "
        f"takes hours. After small work on the wiring, these looks are offered (`{DEFROST}` is a "
        "forced defrost "
        f"under `heat-1`):\n\n{looks}\n\nChoose looks so that **any** single broken conductor of "
        "either run is "
        f"noticed. {_most(givens)} are enough; take no more. Give a list of their numbers. More than "
        "one answer "
        "is right."
    )


def judged(givens: Givens, answer: tuple[int, ...]) -> str | None:
    """Return None where the looks notice every single break and are no more than needed, else a hint."""
    if not all(1 <= n <= len(givens["offered"]) for n in answer):
        return "A number is not one of those offered."
    missed = _found(givens).missed(givens["offered"][n - 1] for n in answer)
    if missed:
        more = f", and {len(missed) - 1} more" if len(missed) > 1 else ""
        return f"On the bench the break of {missed[0]} goes unnoticed{more}. Which look needs it?"
    if len(set(answer)) > _most(givens):
        return "All breaks are noticed, but fewer looks would do. Which one notices nothing of its own?"
    return None


def _first_cover(givens: Givens) -> list[int]:
    return list(_fewest(givens)[0])


def _without(word: str) -> Any:
    """Return a model that leaves out the looks with a word in them."""

    def wrong(givens: Givens) -> list[int] | None:
        cover = _first_cover(givens)
        kept = [n for n in cover if word not in givens["offered"][n - 1]]
        return kept if 0 < len(kept) < len(cover) else None

    return wrong


def _everything(givens: Givens) -> list[int]:
    return list(range(1, len(givens["offered"]) + 1))


def _busiest(givens: Givens) -> list[int]:
    """Return the looks that notice most each, whatever the others notice."""
    found, offered = _found(givens), givens["offered"]
    order = sorted(range(len(offered)), key=lambda k: -len(found.by_look[offered[k]]))
    return sorted(k + 1 for k in order[: _most(givens)])


DESIGN = Exercise(
    id="12.6",
    title="The fewest looks",
    points=4,
    variant=_design_variant,
    question=_design_question,
    solve=_first_cover,
    compare=ListOf(Count()),
    rule=judged,
    wrong_models=(
        WrongModel(
            "all of them",
            "That notices everything, and takes hours. Take no more than are needed.",
            _everything,
        ),
        WrongModel(
            "no emergency heat",
            "Emergency heat is called once in years. Which conductor works in no other call?",
            _without("emergency heat"),
        ),
        WrongModel(
            "no valve",
            "Which conductor moves the valve, and in which calls is it energised?",
            _without("reversing valve"),
        ),
        WrongModel(
            "no air", "Who looks whether air moves? G has a conductor of its own.", _without("blower")
        ),
        WrongModel(
            "no second stage",
            "The first stage runs without Y2. Who would notice that one?",
            _without("compressor stage 2"),
        ),
        WrongModel(
            "no defrost",
            "The request for heat has a wire, too. When does it carry anything?",
            _without(DEFROST),
        ),
        WrongModel(
            "the busiest ones",
            "Each of these notices much, but mostly the same. Look for conductors that few looks notice.",
            _busiest,
        ),
    ),
)
