"""Exercise 10.7 of workbook 10: an order of looks is designed, and judged by the minutes that it takes.

There is no one right answer. The order is followed for each suspect on the bench's dictionary, walks and
all; it is right when it parts all that can be parted, and keeps within the minutes.
"""

from __future__ import annotations

import math
import random
from functools import lru_cache
from itertools import permutations
from typing import Any

from lessonkit.exercises.compare import Choice, ListOf
from lessonkit.exercises.core import Exercise, Givens, WrongModel
from lessonkit.exercises.series.workbook_10_dictionary import LOOK_WORDS, SUSPECTS, dictionary_table, lookbook
from lessonkit.studies.hunt import Hunt, LookAt

#: The lamp of the link is left out, as it says little that the others don't.
_LOOKS = ("Y1 indoors", "SIG indoors", "R outdoors", "SIG outdoors", "C to ground", "Y1 outdoors")
#: So much more than the best list an order may take.
_ROOM = 1.08
_PLACES = {"stat": "thermostat", "air": "air handler", "out": "outdoor unit"}


def _design_variant(rng: random.Random) -> Givens:
    while True:
        names = tuple(sorted(rng.sample(tuple(SUSPECTS), 6), key=tuple(SUSPECTS).index))
        givens = {
            "suspects": names,
            "odds": tuple(rng.choice((1, 1, 2, 3, 6, 8)) for _ in names),
            "looks": tuple(sorted(rng.sample(_LOOKS, 5), key=_LOOKS.index)),
            "minutes": tuple(rng.choice((0.5, 0.5, 1.0, 2.0, 4.0)) for _ in range(5)),
            "here": rng.choice(tuple(_PLACES)),
        }
        if _together(givens, _useful(givens)) > 2:
            continue
        # There has to be something to gain: the order of the question must cost clearly more.
        if _minutes(givens, _useful(givens)) > 1.05 * _limit(givens):
            return givens


def _hunt(givens: Givens) -> Hunt:
    """Return what the question describes."""
    total = sum(givens["odds"])
    chance = {one: odds / total for one, odds in zip(givens["suspects"], givens["odds"], strict=True)}
    looks = {}
    for name, minutes in zip(givens["looks"], givens["minutes"], strict=True):
        at = lookbook().looks[name]
        looks[name] = LookAt({one: at.words[one] for one in chance}, minutes, at.place)
    return Hunt(chance, looks, givens["here"])


def _minutes(givens: Givens, order: tuple[str, ...]) -> float:
    return _hunt(givens).follow(order).minutes


def _useful(givens: Givens) -> tuple[str, ...]:
    """Return the looks that tell anything of these suspects, in the order of the question, outdoors first."""
    found = _hunt(givens)
    looks = [look for look in givens["looks"] if len(found.shows(look)) > 1]
    return tuple(sorted(looks, key=lambda look: found.looks[look].place != "out"))


def _best(givens: Givens) -> tuple[float, tuple[str, ...]]:
    """Return the least minutes of any list, and the list."""
    return _tried(tuple(sorted(givens.items())))


@lru_cache(maxsize=512)
def _tried(items: tuple[tuple[str, Any], ...]) -> tuple[float, tuple[str, ...]]:
    """Try all lists that part all that can be parted."""
    givens = dict(items)
    found, looks = _hunt(givens), _useful(givens)
    left = _together(givens, looks)
    least: tuple[float, tuple[str, ...]] = (math.inf, ())
    for order in permutations(looks):
        route = found.follow(order)
        if route.minutes < least[0] and sum(map(len, (row.alike for row in route.rows))) == left:
            least = (route.minutes, order)
    return least


def _together(givens: Givens, order: tuple[str, ...]) -> int:
    """Return how many pairs an order leaves together, each counted twice."""
    return sum(len(row.alike) for row in _hunt(givens).follow(order).rows)


def _limit(givens: Givens) -> float:
    """Return the minutes that an order may take, to a tenth."""
    return math.ceil(10 * _ROOM * _best(givens)[0]) / 10


def _design_question(givens: Givens) -> str:
    found = _hunt(givens)
    odds = ", ".join(f"{one} {n}" for one, n in zip(givens["suspects"], givens["odds"], strict=True))
    rows = "\n".join(
        f"| `{name}` | {_PLACES[at.place]} | {at.minutes:g} |" for name, at in found.looks.items()
    )
    return (
        f"Six suspects, with these odds: {odds}. What each look "
        f"shows ({LOOK_WORDS}):\n\n{dictionary_table(found)}\n\nSome covers are hard to "
        f"open:\n\n| look | where | minutes once you are there |\n| --- | --- | --- |\n{rows}\n\nYou "
        "stand at the "
        f"{_PLACES[givens['here']]}. The walk from thermostat to air handler takes 2 minutes, from air "
        "handler to outdoor unit 3, "
        "from thermostat to outdoor unit 4. Write a list of looks in the order in which you take them. As "
        "you go, a look that can "
        "tell nothing more is left out. The list has to tell apart all that these looks can tell apart, "
        "and take "
        f"{_limit(givens):.1f} minutes or less on average. More than one answer is right."
    )


def judged(givens: Givens, answer: tuple[str, ...]) -> str | None:
    """Return None for an order that parts the suspects within the minutes, else a hint."""
    if len(set(answer)) < len(answer):
        return "One look stands in your list twice. It shows the same again."
    if _together(givens, answer) > _together(givens, _useful(givens)):
        return (
            "After your last look some suspects are still together that another look could part. "
            "Go through the rows."
        )
    minutes = _minutes(givens, answer)
    if minutes > _limit(givens) + 1e-9:
        return (
            f"It parts them all, and takes {minutes:.1f} minutes on average. Which look halves the odds "
            "near where you are, and "
            "which walk can be left out for the likely suspects?"
        )
    return None


def _by_bits(givens: Givens) -> list[str]:
    found = _hunt(givens)
    return sorted(_useful(givens), key=lambda look: -found.bits_of(look))


def _one_by_one(givens: Givens) -> list[str]:
    return [look for look in givens["looks"] if look in _useful(givens)]


def _too_short(givens: Givens) -> list[str]:
    return list(_best(givens)[1][:2])


DESIGN = Exercise(
    id="10.7",
    title="Your order of looks",
    points=4,
    variant=_design_variant,
    question=_design_question,
    solve=lambda givens: list(_best(givens)[1]),
    compare=lambda givens: ListOf(Choice(givens["looks"])),
    rule=judged,
    wrong_models=(
        WrongModel(
            "outdoors first",
            "You begin with all that is outdoors. What can be known of the likely suspects before the walk?",
            lambda givens: list(_useful(givens)),
        ),
        WrongModel(
            "bits without minutes",
            "That is the order of bits as they are at the start. Divide by minutes, and ask anew after "
            "each look.",
            _by_bits,
        ),
        WrongModel(
            "along the cable",
            "You go along the cable, from the air handler out. Which look halves what is left, wherever "
            "it is?",
            _one_by_one,
        ),
        WrongModel(
            "stops too early",
            "Two looks are not enough here. Who is still together after them?",
            _too_short,
        ),
    ),
)
