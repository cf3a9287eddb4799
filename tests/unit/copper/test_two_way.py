"""Two-way branches, beside the same networks written out and solved one by one."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest

from lessonkit.copper.elements import Branch, Capacitance, Resistance, Source, Winding
from lessonkit.copper.network import FloatingNode, Network, Solution, solve
from lessonkit.copper.two_way import Equations, two_way_equations

Pair = tuple[Branch, Branch]


def _random_parts(seed: int) -> tuple[list[Branch], list[Pair]]:
    """Return fixed branches that hang together, and two-way ones among their nodes."""
    draw = random.Random(seed)
    nodes = [f"n{k}" for k in range(draw.randint(3, 9))]
    fixed: list[Branch] = [
        Resistance(f"r{k}", one, draw.choice(nodes[:k]), 10 ** draw.uniform(-2, 9))
        for k, one in enumerate(nodes)
        if k
    ]
    fixed += [Capacitance("c", nodes[0], nodes[1], 1e-9), Source("s", nodes[-1], nodes[0], 1.0, 27j, 5.0)]
    pairs: list[Pair] = []
    for k in range(draw.randint(1, 8)):
        a, b = draw.sample(nodes, 2)
        contact = Resistance(f"t{k}", a, b, math.inf), Resistance(f"t{k}", a, b, 0.05)
        coil = Winding(f"t{k}", a, b, 30.0, 0.1), Winding(f"t{k}", a, b, 30.0, 0.4)
        driver = Resistance(f"t{k}", a, b, math.inf), Source(f"t{k}", a, b, 100.0, 3 + 0j, 12.0)
        pairs.append(draw.choice([contact, coil, driver]))
    return fixed, pairs


def _equations(fixed: list[Branch], pairs: list[Pair], freq_hz: float) -> Equations:
    off = Network((*fixed, *(pair[0] for pair in pairs)), "n0")
    return two_way_equations(off, [pair[1] for pair in pairs], freq_hz)


def _written_out(
    fixed: list[Branch], pairs: list[Pair], on: list[int], silenced: int | None, freq_hz: float
) -> Solution:
    chosen = [pair[k in on] for k, pair in enumerate(pairs)]
    if silenced is not None:
        was = chosen[silenced]
        assert isinstance(was, Source)
        chosen[silenced] = Source(was.name, was.a, was.b, was.r_ohm)
    return solve(Network((*fixed, *chosen), "n0"), freq_hz)


@pytest.mark.parametrize("freq_hz", [0.0, 60.0])
def test_every_state_is_that_of_the_network_written_out(freq_hz: float) -> None:
    """Drawn networks in drawn states, some drivers silenced, agree in volts, amperes and impedances."""
    systems, expected = [], []
    for seed in range(12):
        (fixed, pairs), draw = _random_parts(seed), random.Random(seed)
        states = [[k for k in range(len(pairs)) if draw.random() < 0.5] for _ in range(4)]
        drives = [[k for k in on if isinstance(pairs[k][1], Source)] for on in states]
        silenced = [[None, *which][: draw.randint(1, 3)] for which in drives]
        systems.append(_equations(fixed, pairs, freq_hz).system(states, silenced))
        expected.append(
            [
                _written_out(fixed, pairs, on, quiet, freq_hz)
                for on, columns in zip(states, silenced, strict=True)
                for quiet in columns
            ]
        )
    assert any(system.injected.any() for system in systems)
    for system, alone in zip(systems, expected, strict=True):
        for one, other in zip(system.solve(), alone, strict=True):
            assert one.network.nodes == other.network.nodes
            for what in ("node_v", "branch_a", "branch_y", "branch_e", "impedances"):
                got, right = getattr(one, what), getattr(other, what)
                np.testing.assert_allclose(got, right, rtol=1e-6, atol=1e-9 * abs(right).max(initial=1))


def test_an_island_is_found_after_states_without_one() -> None:
    """What is known of one state is not believed of a state that conducts less or elsewhere."""
    source = Source("s", "n1", "n0", 1.0, 24 + 0j)
    ends = (("one", "n1", "n2"), ("two", "n2", "n0"))
    pairs: list[Pair] = [(Resistance(*end, math.inf), Resistance(*end, 10.0)) for end in ends]
    equations = _equations([source], pairs, 60.0)
    assert not equations.hangs_together
    (both,) = equations.system([[0, 1]]).solve()
    assert abs(both.v("n2")) == pytest.approx(24 * 10 / 21)
    with pytest.raises(FloatingNode, match="n2"):
        equations.system([[]])
    (half,) = equations.system([[0]]).solve()
    assert abs(half.v("n2")) == pytest.approx(24), "it hangs on n1 alone: no current, the source's volts"
    with pytest.raises(FloatingNode, match="n2"):
        equations.system([[0, 1], []])
    always = [source, Resistance("three", "n2", "n0", 1e9)]
    assert _equations([*always], pairs, 60.0).hangs_together
