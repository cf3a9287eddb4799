"""Nodes taken out star to mesh, beside the textbook's three branches and whole matrices."""

from __future__ import annotations

import random

import numpy as np
import pytest

from lessonkit.copper.elements import Branch, Resistance, Source, Winding
from lessonkit.copper.network import Network, solve
from lessonkit.copper.star_mesh import elimination


@pytest.mark.parametrize("nodes", [2, 9, 40])
def test_volts_are_those_of_the_whole_matrix(nodes: int) -> None:
    """Drawn networks, nearly trees, have the volts that one solution of all equations gives."""
    draw = random.Random(nodes)
    branches: list[Branch] = [Source("s", "n1", "n0", 2.0, 24 + 3j)]
    for k in range(1, nodes):
        branches.append(Resistance(f"r{k}", f"n{k}", f"n{draw.randrange(k)}", 10 ** draw.uniform(-2, 9)))
        branches.append(Winding(f"w{k}", f"n{k}", f"n{(k + 1 + draw.randrange(3)) % k}", 30.0, 0.2))
    network = Network(tuple(branches), "n0")
    a, b = network.ends
    order = elimination(len(network.nodes), tuple(zip(a.tolist(), b.tolist(), strict=True)))
    y = network.admittances(60.0)
    injected = np.zeros((nodes, 2, 3), dtype=np.complex128)
    injected[:, 0] = network.injected((y * network.emfs(60.0))[None])[0][:, None]
    injected[:, 1] = 2 * injected[:, 0]
    found = order.volts(np.repeat(y[:, None], 3, axis=1), injected)
    right = solve(network, 60.0).node_v
    assert sum(step.nodes.size for step in order.rounds) + order.core.size == nodes - 1
    for state in range(3):
        np.testing.assert_allclose(found[:, 0, state], right, rtol=1e-7, atol=1e-9)
        np.testing.assert_allclose(found[:, 1, state], 2 * right, rtol=1e-7, atol=1e-9)
