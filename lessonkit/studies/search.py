"""Searching: which test to make next, when each one costs minutes.

A fault is one of several **suspects**, each with a probability.  A **test** has a few outcomes; for every
suspect it is known how likely each outcome is.  A table of chances says it all:

    chance[test][suspect, outcome]     each row sums to 1; a perfect test has a single 1 in each row

After a test, Bayes' rule makes the suspects that expected its outcome more likely and the others less.  What
a test teaches is measured in bits: how much the uncertainty (entropy) shrinks on average.  The next best
test teaches most per minute.  That rule looks one step ahead and is not always the best plan: `cheapest_tree`
finds the true optimum by dynamic programming for small sets, and `huffman_mean` is the bound below which no
plan of yes-and-no tests can fall.

Where the model stops: exactly one suspect is at fault, and tests err independently of each other.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from lessonkit.errors import LessonError, require

Chances: TypeAlias = NDArray[np.float64]

#: The exact optimum visits subsets of suspects, so it is kept to sets this small.
MOST_SUSPECTS = 16


class NotTold(LessonError, ValueError):
    """What was seen can't happen with any of the suspects."""


def perfect(outcomes: Sequence[int], wrong: float = 0.0) -> Chances:
    """Return the chances of a test whose outcome is known for each suspect, numbered from 0.

    `wrong` is the chance that the test shows another outcome than it should, shared evenly.
    """
    require(0 <= wrong < 1, "wrong", wrong, "a chance from 0 to below 1")
    column = np.asarray(outcomes, dtype=np.intp)
    width = max(int(column.max()) + 1, 2)
    table = np.full((column.size, width), wrong / (width - 1))
    table[np.arange(column.size), column] = 1.0 - wrong
    return table


def entropy_bits(probability: Chances) -> float:
    """Return the uncertainty of a distribution in bits: 1 bit is a question with two equal answers."""
    p = np.asarray(probability, dtype=np.float64)
    p = p[p > 0]
    return float(-(p * np.log2(p)).sum())


def after(belief: Chances, chance: Chances, outcome: int) -> Chances:
    """Return the belief after an outcome was seen (Bayes' rule).

    Raises `NotTold` if no suspect could show that outcome.
    """
    weighed = belief * chance[:, outcome]
    total = float(weighed.sum())
    if total <= 0:
        raise NotTold(
            "no suspect explains what was seen; look at the reading again, or let the search consider two "
            "faults at once."
        )
    return weighed / total


def gain_bits(belief: Chances, chance: Chances) -> float:
    """Return how many bits a test teaches on average."""
    shown = belief @ chance
    left = sum(
        float(share) * entropy_bits(belief * chance[:, k] / share)
        for k, share in enumerate(shown)
        if share > 0
    )
    return max(entropy_bits(belief) - left, 0.0)


@dataclass(frozen=True)
class NextTest:
    """A test to make: what it teaches in bits, what it costs in minutes, and the two together."""

    test: str
    bits: float
    minutes: float

    @property
    def bits_a_minute(self) -> float:
        """Return what the test teaches for each minute."""
        return self.bits / self.minutes if self.minutes else math.inf


def ranked(
    belief: Chances, tests: Mapping[str, Chances], minutes: Mapping[str, float] | None = None
) -> list[NextTest]:
    """Return the tests that teach something, the most bits per minute first; equals keep their order."""
    cost = minutes or {}
    choices = [
        NextTest(name, gain_bits(belief, chance), cost.get(name, 1.0)) for name, chance in tests.items()
    ]
    return sorted((c for c in choices if c.bits > 1e-9), key=lambda c: -c.bits_a_minute)


def look_ahead(
    belief: Chances,
    tests: Mapping[str, Chances],
    minutes: Mapping[str, float] | None = None,
    width: int = 6,
) -> list[NextTest]:
    """Return the best tests again, ranked by what they teach together with the best test after them.

    Looks two steps ahead from each of the `width` tests that look best by themselves.
    """
    cost = minutes or {}
    scored = []
    for first in ranked(belief, tests, cost)[:width]:
        bits, spent = first.bits, first.minutes
        for outcome, share in enumerate(belief @ tests[first.test]):
            if share > 1e-12:
                then = after(belief, tests[first.test], outcome)
                rest = ranked(then, {k: v for k, v in tests.items() if k != first.test}, cost)
                if rest:
                    bits += float(share) * rest[0].bits
                    spent += float(share) * rest[0].minutes
        scored.append((-bits / spent if spent else -math.inf, first))
    return [first for _, first in sorted(scored, key=lambda pair: pair[0])]


def groups(tests: Mapping[str, Chances], suspects: int, apart: float = 0.2) -> list[tuple[int, ...]]:
    """Return the suspects that no test tells apart, as groups of their positions.

    A test tells two suspects apart where the chances of its outcomes differ by `apart` or more in all (half
    the sum of the differences: 1 for a perfect test).
    """
    differs = np.zeros((suspects, suspects), dtype=bool)
    for chance in tests.values():
        for k in range(suspects):
            differs[k] |= 0.5 * np.abs(chance - chance[k]).sum(axis=1) >= apart
    left, found = list(range(suspects)), []
    while left:
        group = tuple(k for k in left if not differs[left[0], k])
        found.append(group)
        left = [k for k in left if k not in group]
    return found


def huffman_mean(probability: Sequence[float]) -> float:
    """Return the least mean number of yes-and-no tests that any plan could need (Huffman's code)."""
    heap = [float(p) for p in probability]
    heapq.heapify(heap)
    total = 0.0
    while len(heap) > 1:
        joined = heapq.heappop(heap) + heapq.heappop(heap)
        total += joined
        heapq.heappush(heap, joined)
    return total


@dataclass(frozen=True)
class Tree:
    """A tree of tests: the one to begin with, its expected cost, and the tree after each outcome.

    `test` is None where nothing is left to tell apart.
    """

    test: str | None
    cost: float
    then: tuple[tuple[int, Tree], ...] = ()

    def steps_to(self, outcomes: Mapping[str, int]) -> int:
        """Return how many tests the tree makes where each test has the outcome given."""
        if self.test is None:
            return 0
        return 1 + dict(self.then)[outcomes[self.test]].steps_to(outcomes)


def cheapest_tree(
    probability: Sequence[float],
    outcomes: Mapping[str, Sequence[int]],
    cost: Mapping[str, float] | None = None,
    greedy: bool = False,
) -> Tree:
    """Return the tree of least expected cost for perfect tests, by dynamic programming.

    Parameters: `outcomes` maps each test to its outcome for every suspect; `cost` is 1 for each test unless
    given; `greedy` takes the test of most bits per cost at every step instead, to show how near it comes.
    Suspects that no test tells apart end together.
    """
    n = len(probability)
    require(
        1 <= n <= MOST_SUSPECTS, "suspects", n, f"from 1 to {MOST_SUSPECTS} (the optimum tries all subsets)"
    )
    p = np.asarray(probability, dtype=np.float64)
    price = {name: (cost or {}).get(name, 1.0) for name in outcomes}

    def split(members: tuple[int, ...], test: str) -> dict[int, tuple[int, ...]]:
        parts: dict[int, list[int]] = {}
        for k in members:
            parts.setdefault(outcomes[test][k], []).append(k)
        return {outcome: tuple(part) for outcome, part in sorted(parts.items())}

    def weight(members: tuple[int, ...]) -> float:
        return float(p[list(members)].sum())

    def teaches(members: tuple[int, ...], test: str) -> float:
        share = np.array([weight(part) for part in split(members, test).values()]) / weight(members)
        return entropy_bits(share) / price[test]

    @cache
    def best(members: tuple[int, ...]) -> Tree:
        useful = [test for test in outcomes if len(split(members, test)) > 1]
        if not useful:
            return Tree(None, 0.0)
        if greedy:
            useful = [max(useful, key=lambda test: teaches(members, test))]
        trees = []
        for test in useful:
            then = tuple((outcome, best(part)) for outcome, part in split(members, test).items())
            after_it = sum(
                weight(part) / weight(members) * best(part).cost for part in split(members, test).values()
            )
            trees.append(Tree(test, price[test] + after_it, then))
        return min(trees, key=lambda tree: tree.cost)

    return best(tuple(range(n)))
