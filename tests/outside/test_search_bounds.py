"""The search for a fault against textbooks and worked examples.

Sources: Cover and Thomas, *Elements of Information Theory*, example 5.6.1 (from memory), and the entropy and
mean length of its code; MacKay, *Information Theory, Inference, and Learning Algorithms*, exercise 4.1, the
twelve balls (values computed from its statement); Quinlan, *Induction of decision trees* (1986), the fourteen
rows about weather (from memory); the six-state example in the line of papers of Pattipati and Alexandridis,
IEEE Transactions on Systems, Man, and Cybernetics 20(4), 1990 (matrix, probabilities and optimum from
memory); the mean of half-split search over equal faults in a row, by dynamic programming of its statement in
troubleshooting courses.
"""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
import pytest

from lessonkit.studies.search import (
    NotTold,
    after,
    cheapest_tree,
    entropy_bits,
    gain_bits,
    groups,
    huffman_mean,
    look_ahead,
    perfect,
    ranked,
)

STATES = (0.70, 0.01, 0.02, 0.10, 0.05, 0.12)
TESTS = {
    "t1": (0, 0, 0, 1, 1, 1),
    "t2": (0, 1, 0, 0, 1, 1),
    "t3": (0, 0, 1, 0, 0, 1),
    "t4": (0, 0, 1, 1, 0, 1),
    "t5": (0, 1, 0, 1, 0, 0),
}


def in_a_row(n: int) -> dict[str, tuple[int, ...]]:
    """Return the tests between n stages in a row: each says on which side of it the fault lies."""
    return {f"after {k}": tuple(int(fault >= k) for fault in range(n)) for k in range(1, n)}


def test_huffman_and_entropy_of_the_textbook_code() -> None:
    """Five symbols of .25 .25 .2 .15 .15 need 2.30 tests on average and hold 2.2855 bits."""
    p = [0.25, 0.25, 0.2, 0.15, 0.15]
    assert huffman_mean(p) == pytest.approx(2.30)
    assert entropy_bits(np.array(p)) == pytest.approx(2.2855, abs=1e-4)


def test_huffman_of_fifteen_symbols() -> None:
    """A course's problem of fifteen symbols: 3.5034 bits, 3.56 tests (answers computed)."""
    p = [0.2, *[0.1] * 5, 0.08, 0.06, 0.04, 0.04, *[0.02] * 3, *[0.01] * 2]
    assert entropy_bits(np.array(p)) == pytest.approx(3.5034, abs=1e-4)
    assert huffman_mean(p) == pytest.approx(3.56)


@pytest.mark.parametrize(
    ("n", "mean"), [(4, 2.0), (5, 2.4), (6, 2.6667), (7, 2.8571), (8, 3.0), (12, 3.6667), (16, 4.0)]
)
def test_half_split_reaches_the_bound(n: int, mean: float) -> None:
    """Equal faults in a row are found by half-split in as many tests as any plan could need."""
    plan = cheapest_tree([1 / n] * n, in_a_row(n))
    assert plan.cost == pytest.approx(mean, abs=1e-4)
    assert huffman_mean([1 / n] * n) == pytest.approx(mean, abs=1e-4)


def test_rows_of_unequal_faults() -> None:
    """Splitting by probability beats splitting by count, and a dear test point moves the split."""
    assert cheapest_tree([0.4, 0.1, 0.2, 0.1, 0.2], in_a_row(5)).cost == pytest.approx(2.2)
    p = [0.30, 0.05, 0.05, 0.10, 0.10, 0.10, 0.05, 0.25]
    assert cheapest_tree(p, in_a_row(8)).cost == pytest.approx(2.7)
    assert cheapest_tree(p, in_a_row(8), {"after 3": 5.0}).cost == pytest.approx(3.35)


def test_the_six_state_example() -> None:
    """Optimum 2.18, greedy 2.86, Huffman 1.59; the optimum starts with t2, greedy with t1."""
    optimum = cheapest_tree(STATES, TESTS)
    greedy = cheapest_tree(STATES, TESTS, greedy=True)
    assert optimum.cost == pytest.approx(2.18)
    assert greedy.cost == pytest.approx(2.86)
    assert (optimum.test, greedy.test) == ("t2", "t1")
    assert huffman_mean(STATES) == pytest.approx(1.59)
    assert entropy_bits(np.array(STATES)) == pytest.approx(1.45487, abs=1e-5)


def test_tests_used_for_each_state() -> None:
    """The optimum needs 2 3 3 3 3 2 tests for the six states, greedy 3 3 2 3 3 2."""
    found = [
        [
            cheapest_tree(STATES, TESTS, greedy=greedy).steps_to({t: row[k] for t, row in TESTS.items()})
            for k in range(6)
        ]
        for greedy in (False, True)
    ]
    assert found == [[2, 3, 3, 3, 3, 2], [3, 3, 2, 3, 3, 2]]


def test_gains_of_the_six_state_example() -> None:
    """The first test's gains are .8415 .6801 .5842 .7950 .4999 bits."""
    belief = np.array(STATES)
    gains = [gain_bits(belief, perfect(row)) for row in TESTS.values()]
    assert gains == pytest.approx([0.8415, 0.6801, 0.5842, 0.7950, 0.4999], abs=1e-4)


def test_ambiguity_groups() -> None:
    """With some of the tests only, these states can't be told apart."""
    some = {t: perfect(TESTS[t]) for t in ("t1", "t2")}
    assert groups(some, 6) == [(0, 2), (1,), (3,), (4, 5)]
    other = {t: perfect(TESTS[t]) for t in ("t3", "t4", "t5")}
    assert groups(other, 6) == [(0, 4), (1,), (2, 5), (3,)]


def test_smallest_complete_sets() -> None:
    """Six sets of three tests tell all six states apart, and no set of two does."""
    whole = [
        "".join(name[1] for name in names)
        for size in (2, 3)
        for names in combinations(TESTS, size)
        if len(groups({t: perfect(TESTS[t]) for t in names}, 6)) == 6
    ]
    assert whole == ["123", "124", "135", "145", "235", "245"]


def test_first_weighing_of_twelve_balls() -> None:
    """Weighing k against k teaches .8167 1.2516 1.5 1.5850 1.4834 1.0 bits for k from 1 to 6."""
    belief = np.full(24, 1 / 24)  # each ball light or heavy

    def weighing(k: int) -> tuple[int, ...]:
        side = [1 if ball < k else -1 if ball < 2 * k else 0 for ball in range(12)]
        return tuple((1 + s * w) for s in side for w in (-1, 1))

    gains = [gain_bits(belief, perfect(weighing(k))) for k in range(1, 7)]
    assert gains == pytest.approx([0.8167, 1.2516, 1.5, 1.5850, 1.4834, 1.0], abs=1e-4)


def test_gains_of_the_weather_rows() -> None:
    """Fourteen rows, nine of them yes: outlook teaches .2467 bits and wind .0481."""
    rows = [  # outlook, wind, play; one suspect is "yes", the other "no"
        *[("sunny", "weak", 0), ("sunny", "strong", 0), ("overcast", "weak", 1), ("rain", "weak", 1)],
        *[("rain", "weak", 1), ("rain", "strong", 0), ("overcast", "strong", 1), ("sunny", "weak", 0)],
        *[("sunny", "weak", 1), ("rain", "weak", 1), ("sunny", "strong", 1), ("overcast", "strong", 1)],
        *[("overcast", "weak", 1), ("rain", "strong", 0)],
    ]
    yes = np.array([5 / 14, 9 / 14])

    def chances(column: int) -> np.ndarray:
        values = sorted({row[column] for row in rows})
        table = [
            [
                sum(r[column] == v and r[2] == play for r in rows) / sum(r[2] == play for r in rows)
                for v in values
            ]
            for play in (0, 1)
        ]
        return np.array(table)

    assert entropy_bits(yes) == pytest.approx(0.94029, abs=1e-5)
    assert gain_bits(yes, chances(0)) == pytest.approx(0.2467, abs=1e-4)
    assert gain_bits(yes, chances(1)) == pytest.approx(0.0481, abs=1e-4)


def test_a_test_that_errs() -> None:
    """Prior .10, sensitivity .95, specificity .90: .51351 after a hit, .99387 after a miss, .24016 bits."""
    belief = np.array([0.10, 0.90])
    chance = np.array([[0.05, 0.95], [0.90, 0.10]])
    assert after(belief, chance, 1)[0] == pytest.approx(0.51351, abs=1e-5)
    assert after(belief, chance, 0)[1] == pytest.approx(0.99387, abs=1e-5)
    assert gain_bits(belief, chance) == pytest.approx(0.24016, abs=1e-5)


@pytest.mark.parametrize(("wrong", "bits"), [(0.05, 0.7136), (0.10, 0.5310), (0.20, 0.2781)])
def test_a_half_split_that_errs(wrong: float, bits: float) -> None:
    """A perfect half-split through a test that is wrong so often teaches 1 - H(wrong) bits."""
    assert gain_bits(np.full(2, 0.5), perfect((0, 1), wrong)) == pytest.approx(bits, abs=1e-4)


def test_cheap_and_likely_first() -> None:
    """Items checked one by one go by probability per cost: 8.4 minutes expected against 11.7."""
    p, cost = [0.5, 0.3, 0.2], {"first": 10.0, "second": 3.0, "third": 1.0}
    tests = {name: tuple(int(k == j) for j in range(3)) for k, name in enumerate(cost)}
    # The last item need not be checked once the others are sound, so the plan is cheaper than the list.
    assert cheapest_tree(p, tests, cost).cost <= 8.4
    order = [choice.test for choice in ranked(np.array(p), {k: perfect(v) for k, v in tests.items()}, cost)]
    assert order == ["third", "second", "first"]


def test_what_nobody_expects_is_said() -> None:
    """An outcome that no suspect can show is refused in a sentence."""
    with pytest.raises(NotTold, match="two faults at once"):
        after(np.array([1.0, 0.0]), perfect((0, 1)), 1)


def test_two_steps_ahead_begin_as_the_optimum_or_no_worse() -> None:
    """Looking two tests ahead teaches at least as many bits as the greedy choice followed by its best."""
    belief = np.array(STATES)
    tests = {name: perfect(row) for name, row in TESTS.items()}
    first = look_ahead(belief, tests)[0]
    assert first.test in TESTS
    assert math.isclose(first.bits, gain_bits(belief, tests[first.test]))
