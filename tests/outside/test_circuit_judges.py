"""The nodal solver against other people's mathematics.

Sources: scipy.sparse.linalg (SuperLU), given the full tableau of Kirchhoff's two laws and Ohm's law for every
branch, which is another formulation than nodal analysis; closed forms of textbook circuits (voltage divider,
Thevenin's theorem, Wheatstone bridge, resonance, the resistor ladder and the infinite grid), from memory.
"""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
from scipy import sparse
from scipy.sparse import linalg

from lessonkit.bench.bench import Bench
from lessonkit.copper.elements import Capacitance, Resistance, Source, Winding
from lessonkit.copper.network import Network, solve
from lessonkit.job.toml import demo_job, demo_names


def tableau(network: Network, freq_hz: float) -> dict[str, complex]:
    """Solve a network by the sparse tableau: unknowns are node volts and branch currents alike."""
    nodes = [n for n in network.nodes if n != network.reference]
    at = {node: k for k, node in enumerate(nodes)}
    n, b, w = len(nodes), len(network.branches), 2 * math.pi * freq_hz
    matrix = sparse.lil_matrix((n + b, n + b), dtype=complex)
    right = np.zeros(n + b, dtype=complex)
    for k, branch in enumerate(network.branches):
        row, current = n + k, n + k
        for node, sign in ((branch.a, 1), (branch.b, -1)):
            if node in at:
                matrix[at[node], current] += sign  # Kirchhoff: what leaves each node adds up to nothing
                matrix[row, at[node]] += sign  # the branch's own law, volts across ...
        if isinstance(branch, Capacitance):  # i = jwC v
            for node in (branch.a, branch.b):
                if node in at:
                    matrix[row, at[node]] *= 1j * w * branch.c_farad
            matrix[row, current] = -1.0
        elif isinstance(branch, Resistance) and math.isinf(branch.r_ohm):  # i = 0
            for node in (branch.a, branch.b):
                if node in at:
                    matrix[row, at[node]] = 0
            matrix[row, current] = 1.0
        else:  # v - Z i = emf
            matrix[row, current] = -(branch.r_ohm + 1j * w * getattr(branch, "l_henry", 0.0))
            if isinstance(branch, Source):
                right[row] = branch.ac_v if freq_hz else branch.dc_v
    found = linalg.spsolve(matrix.tocsc(), right)
    return {network.reference: 0j} | {node: complex(found[k]) for node, k in at.items()}


@pytest.mark.parametrize("job", demo_names())
@pytest.mark.parametrize("freq_hz", [0.0, 60.0])
@pytest.mark.parametrize(
    "fault", [None, "outdoor.{}=resistance:5", "outdoor.earth=open", "out.contactor=burnt-out"]
)
def test_every_demo_job_by_the_sparse_tableau(job: str, freq_hz: float, fault: str | None) -> None:
    """Kirchhoff's laws in full, solved by SuperLU, give the bench's volts at every node of every demo job."""
    bench = Bench(demo_job(job))
    bench.set_call("heat-2")
    bench.advance(10.0)
    feeds = "R" if "R" in bench.job.outdoor_run.conductors else "C"
    bench.set_faults([fault.format(feeds)] if fault else [])
    network = bench.network()
    ours, theirs = solve(network, freq_hz), tableau(network, freq_hz)
    for node in network.nodes:
        # What hangs on leakage alone, 1 nS beside contacts of 100 S, is known to some microvolts.
        least_v = 1e-3 if bench.job.outdoor_run.receiver == "isolated" else 1e-7
        assert ours.v(node) == pytest.approx(theirs[node], rel=1e-6, abs=least_v), node


def test_random_networks_by_the_sparse_tableau() -> None:
    """Forty networks of forty nodes with all kinds of branches agree as well."""
    rng = np.random.default_rng(5)
    for _ in range(40):
        branches: list[Resistance | Winding | Capacitance | Source] = []
        for k in range(1, 40):
            branches.append(
                Resistance(f"t{k}", f"n{k}", f"n{rng.integers(k)}", float(10 ** rng.uniform(-1, 5)))
            )
        for k in range(60):
            a, b = (f"n{i}" for i in rng.choice(40, 2, replace=False))
            ohm = float(10 ** rng.uniform(-1, 5))
            kind = k % 4
            if kind == 0:
                branches.append(Winding(f"x{k}", a, b, ohm, float(rng.uniform(0, 1))))
            elif kind == 1:
                branches.append(Capacitance(f"x{k}", a, b, float(10 ** rng.uniform(-11, -6))))
            elif kind == 2:
                branches.append(Source(f"x{k}", a, b, ohm, cmath.rect(24, rng.uniform(0, 6)), 12.0))
            else:
                branches.append(Resistance(f"x{k}", a, b, ohm if k % 8 else math.inf))
        network = Network(tuple(branches), "n0")
        ours, theirs = solve(network, 60.0), tableau(network, 60.0)
        assert all(abs(ours.v(n) - theirs[n]) < 1e-7 for n in network.nodes)


def test_wheatstone_bridge() -> None:
    """The bridge is in balance when its arms are in proportion, and known by formula when they are not."""

    def detector_v(r4: float) -> complex:
        arms = (("in", "p", 100.0), ("p", "0", 220.0), ("in", "q", 1000.0), ("q", "0", r4))
        branches = [Resistance(f"r{k}", *arm) for k, arm in enumerate(arms)]
        source = Source("s", "in", "0", 1e-9, 10 + 0j)
        return solve(Network((*branches, source), "0"), 60.0).v("p", "q")

    assert abs(detector_v(2200.0)) < 1e-9
    assert detector_v(1500.0) == pytest.approx(10 * (220 / 320 - 1500 / 2500), rel=1e-6)


def test_series_resonance() -> None:
    """At 1 / (2 pi sqrt(LC)) inductance and capacitance cancel, and each has Q times the source's volts."""
    r, l_henry, c = 10.0, 0.5, 10e-6
    freq = 1 / (2 * math.pi * math.sqrt(l_henry * c))
    network = Network(
        (
            Source("s", "a", "0", 1e-9, 1 + 0j),
            Winding("coil", "a", "b", r, l_henry),
            Capacitance("c", "b", "0", c),
        ),
        "0",
    )
    solution = solve(network, freq)
    assert solution.a("coil") == pytest.approx(1 / r, rel=1e-6)
    assert abs(solution.v("b")) == pytest.approx(math.sqrt(l_henry / c) / r, rel=1e-6)


def test_the_ladder_of_one_ohm_resistors() -> None:
    """A long ladder of 1-ohm rungs and rails has the golden ratio of ohms at its end."""
    branches: list[Resistance | Source] = [Source("s", "n0", "0", 1.0, 1 + 0j)]
    for k in range(30):
        branches += [
            Resistance(f"rail{k}", f"n{k}", f"n{k + 1}", 1.0),
            Resistance(f"rung{k}", f"n{k + 1}", "0", 1.0),
        ]
    volts = solve(Network(tuple(branches), "0"), 60.0).v("n0").real
    golden = (1 + math.sqrt(5)) / 2
    assert volts / (1 - volts) == pytest.approx(golden, rel=1e-9)


def test_two_neighbours_of_the_resistor_grid() -> None:
    """Neighbours in an endless grid of 1-ohm resistors are half an ohm apart; 31 x 31 is nearly endless."""
    size, branches = 31, []
    for x in range(size):
        for y in range(size):
            if x + 1 < size:
                branches.append(Resistance(f"h{x},{y}", f"{x},{y}", f"{x + 1},{y}", 1.0))
            if y + 1 < size:
                branches.append(Resistance(f"v{x},{y}", f"{x},{y}", f"{x},{y + 1}", 1.0))
    middle, beside = f"{size // 2},{size // 2}", f"{size // 2 + 1},{size // 2}"
    source = Source("s", middle, beside, 1.0, 1 + 0j)
    volts = solve(Network((*branches, source), beside), 60.0).v(middle).real
    assert volts / (1 - volts) == pytest.approx(0.5, rel=2e-3)
