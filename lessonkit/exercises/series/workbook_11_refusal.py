"""Exercise 11.6 of workbook 11: plan, prove, ask or refuse.

What the calls ask of a transformer is the bench's; a test holds the words against the planner.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from functools import lru_cache
from types import MappingProxyType
from typing import Any

from lessonkit.exercises.compare import Choice, Table
from lessonkit.exercises.core import Exercise, Givens, WrongModel
from lessonkit.exercises.slips import row_slips
from lessonkit.job.toml import demo_job
from lessonkit.studies.cases import Case, if_held

PLAN, PROVE, ASK, REFUSE = WORDS = ("plan", "prove first", "ask first", "refuse")
_ROWS = ("a", "b", "c", "d", "e")
#: Kinds of site: sound conductors outdoors, unproven ones, the bond, room for a second transformer.
_SITES = MappingProxyType(
    {
        "three": (3, 0, True, False),
        "three, bond lost": (3, 1, False, False),
        "doubtful": (2, 1, True, False),
        "doubtful, bond lost": (2, 1, False, False),
        "by ground": (2, 0, True, False),
        "second": (2, 0, False, True),
        "too few": (2, 0, False, False),
        "one": (1, 0, True, True),
        "small transformer": (4, 0, True, False),
        "thermostat": (3, 0, True, False),
    }
)


def _refuse_variant(rng: random.Random) -> Givens:
    while True:
        kinds = tuple(rng.sample(tuple(_SITES), len(_ROWS)))
        given = {"kinds": kinds, "stages": rng.choice((1, 2)), "rated_va": rng.choice((25, 40, 40))}
        if len({_word(kind, given) for kind in kinds}) >= 3:
            return given


@lru_cache(maxsize=4)
def asked_va(stages: int) -> float:
    """Return the most VA that any call asks of the transformer, by the bench, for a site with one link."""
    job = demo_job("wire-return").with_equipment(stages=stages)
    ends = if_held(job, [Case("cool-2"), Case("heat-aux")])
    return max(abs(e.settled.solution.v("air:XFMR")) * abs(e.settled.solution.a("fuse air")) for e in ends)


def _word(kind: str, givens: Givens) -> str:
    """Return what to do about a site; givens may also hold how somebody sees all sites wrongly."""
    sound, unproven, bonded, second = _SITES[kind]
    bonded, second = givens.get("bonded", bonded), givens.get("second", second)
    if kind == "small transformer" and asked_va(givens["stages"]) > givens["rated_va"]:
        return REFUSE
    if kind == "thermostat" and givens.get("inside", 2) < 3:
        return REFUSE
    if sound >= 3 or (sound >= 2 and second):
        return PLAN
    if sound + unproven >= 3:
        return PROVE
    return ASK if sound >= 2 and bonded else REFUSE


def _refuse_question(givens: Givens) -> str:
    lines = []
    for row, kind in zip(_ROWS, givens["kinds"], strict=True):
        sound, unproven, bonded, second = _SITES[kind]
        inside = 2 if kind == "thermostat" else 4
        va = givens["rated_va"] if kind == "small transformer" else 75
        lines.append(
            f"| {row} | {inside} | {sound} | {unproven or 'none'} | {'whole' if bonded else 'lost'} | "
            f"{'yes' if second else 'no'} | {va} VA |"
        )
    return (
        f"Five sites. Each unit needs more conductors than any of these cables has, so each run in question "
        "has to be a link, with what is in the wall: a new cable is not wanted. The bench says that the "
        f"calls ask for up to {asked_va(givens['stages']):.0f} VA.\n\n"
        "| site | sound to the thermostat | sound outdoors | unproven outdoors | bond of ground outdoors | "
        "room for a second transformer | transformer |\n| --- | --- | --- | --- | --- | --- | --- |\n"
        + "\n".join(lines)
        + f"\n\nWhat do you do with each: `{PLAN}`; `{PROVE}` (a proof comes before the plan); `{ASK}` (the "
        "only way is along equipment ground: the licensed person decides, by code and maker, and may say no)"
        f"; or `{REFUSE}`? Where two would do, take the first of these."
    )


def _words(givens: Givens, **changed: Any) -> dict[str, str]:
    return {row: _word(kind, {**givens, **changed}) for row, kind in zip(_ROWS, givens["kinds"], strict=True)}


def _proof_taken_for(word: str) -> Callable[[Givens], dict[str, str]]:
    return lambda givens: {row: word if right == PROVE else right for row, right in _words(givens).items()}


def _ground_taken_for(word: str) -> Callable[[Givens], dict[str, str]]:
    return lambda givens: {row: word if right == ASK else right for row, right in _words(givens).items()}


REFUSAL = Exercise(
    id="11.6",
    title="Plan, prove, ask or refuse?",
    points=3,
    variant=_refuse_variant,
    question=_refuse_question,
    solve=_words,
    compare=Table(_ROWS, Choice(WORDS)),
    wrong_models=(
        WrongModel(
            "an unproven one will do",
            "One plan leans on a conductor that nobody has measured. What comes before it?",
            _proof_taken_for(PLAN),
        ),
        WrongModel(
            "an unproven one is lost",
            "A conductor that nobody has measured may well be sound. A few minutes tell.",
            _proof_taken_for(REFUSE),
        ),
        WrongModel(
            "ground is a wire like others",
            "Where current would come home along the ground, you do not plan it alone. Whose decision is it?",
            _ground_taken_for(PLAN),
        ),
        WrongModel(
            "ground is never asked about",
            "One site has a way that you may not choose yourself. Somebody else may, so put it before them.",
            _ground_taken_for(REFUSE),
        ),
        WrongModel(
            "VA left out",
            "Conductors are there in plenty. Hold the VA that the calls ask for against each transformer.",
            lambda givens: _words(givens, rated_va=1000),
        ),
        WrongModel(
            "the bond left out",
            "Ground that has lost its bond leads nowhere. Read that column again.",
            lambda givens: _words(givens, bonded=True),
        ),
        WrongModel(
            "a second transformer left out",
            "Two conductors and no ground: is there room for what then brings power outdoors?",
            lambda givens: _words(givens, second=False),
        ),
        WrongModel(
            "the thermostat left out",
            "Look indoors, too: a link to the thermostat needs R, C and the signal.",
            lambda givens: _words(givens, inside=4),
        ),
        *row_slips(
            _words,
            len(_ROWS),
            {
                PLAN: "what does this site lack, in the wall, at the transformer or in proofs?",
                PROVE: "would one more proof be needed here, and would it be enough?",
                ASK: "is a way along the ground the only one here, and is the ground whole?",
                REFUSE: "go through all ways once more. Is there really none, not after a proof either?",
            },
        ),
    ),
    nudge="For each site in this order: VA, the thermostat run, sound ones outdoors, a proof, the ground.",
)
