"""A network of elements, and its steady state at one frequency at a time (nodal analysis).

A network is a tuple of two-terminal branches (`elements`) between named nodes, and one node that is the
reference: every volt is measured against it. In the steady state each branch is an admittance and a source.
Volts and amperes are phasors whose magnitude is RMS; at 0 Hz they are plain direct-current values, inductance
is a piece of wire and capacitance is an open contact.

Where the model stops: no harmonics, no saturation, no mutual inductance; what happens between two steady
states, and diodes, are for `transient`. The admittance matrix is symmetric, so that reciprocity holds for
every network.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from lessonkit.copper.elements import BadNetwork, Branch
from lessonkit.errors import LessonError, require, shown

__all__ = [
    "ComplexArray",
    "FloatingNode",
    "Network",
    "Solution",
    "UnknownNode",
    "refuse_islands",
    "solve",
    "solve_many",
]

ComplexArray: TypeAlias = NDArray[np.complex128]


class FloatingNode(BadNetwork):
    """Some nodes have no path to the reference, so their volts mean nothing."""

    def __init__(self, nodes: Sequence[str], reference: str) -> None:
        self.nodes = tuple(nodes)
        super().__init__(
            f"no path leads from {', '.join(nodes)} back to {reference}, so there is nothing to measure "
            "volts against; give the floating part a conductor, a load or a leakage resistance"
        )


class UnknownNode(LessonError, KeyError):
    """A node was asked for that the network does not have."""

    def __init__(self, node: str, nodes: Iterable[str]) -> None:
        self.node = node
        self.sentence = f"there is no terminal {shown(node)} here; there are {', '.join(sorted(nodes))}"
        super().__init__(self.sentence)

    def __str__(self) -> str:
        """Return the sentence itself; a plain KeyError would show it in quotes."""
        return self.sentence


@dataclass(frozen=True)
class Network:
    """Branches between named nodes, and the node that volts are measured against."""

    branches: tuple[Branch, ...]
    reference: str

    @cached_property
    def nodes(self) -> tuple[str, ...]:
        """Return all nodes, the reference first, then in the order of first mention."""
        seen = dict.fromkeys([self.reference])
        for branch in self.branches:
            seen[branch.a] = None
            seen[branch.b] = None
        return tuple(seen)

    @cached_property
    def index(self) -> dict[str, int]:
        """Return the position of each node in `nodes`."""
        return {node: k for k, node in enumerate(self.nodes)}

    @cached_property
    def place_of(self) -> dict[str, int]:
        """Return the position of each branch, by name, or raise `BadNetwork` where two share one."""
        places = {branch.name: k for k, branch in enumerate(self.branches)}
        if len(places) < len(self.branches):
            names = [branch.name for branch in self.branches]
            twice = next(name for name in names if names.count(name) > 1)
            raise BadNetwork(f"the name {twice!r} is used twice; give each branch a name of its own.")
        return places

    @cached_property
    def ends(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Return the node positions of every branch's `a` and `b`."""
        a = np.array([self.index[branch.a] for branch in self.branches], dtype=np.intp)
        b = np.array([self.index[branch.b] for branch in self.branches], dtype=np.intp)
        return a, b

    @cached_property
    def stamp(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Return where branches enter the flattened admittance matrix and with which sign.

        Both have the shape (4, branches): twice on the diagonal, and twice, with a minus, beside it.
        """
        (a, b), n = self.ends, len(self.nodes)
        signs = np.array([[1], [1], [-1], [-1]]).repeat(a.size, axis=1)
        return np.stack([a * n + a, b * n + b, a * n + b, b * n + a]), signs

    def matrices(self, y: ComplexArray) -> ComplexArray:
        """Return the admittance matrices in siemens, shape (systems, nodes, nodes).

        `y` are admittances (S) of the branches, shape (systems, branches).
        """
        (entry, signs), n, systems = self.stamp, len(self.nodes), y.shape[0]
        flat = np.zeros(systems * n * n, dtype=np.complex128)
        place = np.arange(systems)[:, None, None] * (n * n) + entry
        np.add.at(flat, place.ravel(), (signs * y[:, None, :]).ravel())
        return flat.reshape(systems, n, n)

    def injected(self, amps: ComplexArray) -> ComplexArray:
        """Return what currents from `b` through the branches into `a` bring each node, in amperes.

        `amps` has the shape (systems, branches), what is returned (systems, nodes).
        """
        (a, b), n, systems = self.ends, len(self.nodes), amps.shape[0]
        flat = np.zeros(systems * n, dtype=np.complex128)
        row = np.arange(systems)[:, None] * n
        np.add.at(flat, (row + a).ravel(), amps.ravel())
        np.subtract.at(flat, (row + b).ravel(), amps.ravel())
        return flat.reshape(systems, n)

    def admittances(self, freq_hz: float) -> ComplexArray:
        """Return the admittance of every branch in siemens, shape (branches,)."""
        return np.array([branch.admittance(freq_hz) for branch in self.branches], dtype=np.complex128)

    def emfs(self, freq_hz: float) -> ComplexArray:
        """Return the open-circuit volts of every branch, shape (branches,)."""
        return np.array([branch.emf(freq_hz) for branch in self.branches], dtype=np.complex128)


@dataclass(frozen=True)
class Thevenin:
    """What two points of a circuit are to whatever is put between them: open volts behind an impedance.

    `open_v` is a phasor (RMS) of the first point against the second; `z_ohm` is the impedance behind it.
    """

    open_v: complex
    z_ohm: complex

    def loaded_v(self, load_ohm: complex) -> complex:
        """Return the volts that are left (a phasor, RMS) with a load of some ohms between the points."""
        return self.open_v * load_ohm / (load_ohm + self.z_ohm)


@dataclass(frozen=True)
class Solution:
    """Node volts and branch currents of one network in the steady state.

    `branch_y` and `branch_e` are the admittances (S) and open-circuit volts it was solved with, which may be
    others than those of `network`, whose shape alone is used.
    """

    network: Network
    freq_hz: float
    node_v: ComplexArray
    branch_y: ComplexArray
    branch_e: ComplexArray

    @cached_property
    def phasors(self) -> list[complex]:
        """Return the volts of all nodes as plain numbers, in the order of `network.nodes`."""
        volts: list[complex] = self.node_v.tolist()
        return volts

    @cached_property
    def branch_a(self) -> ComplexArray:
        """Return the current through every branch from its `a` to its `b`, phasors in amperes (RMS)."""
        a, b = self.network.ends
        amps: ComplexArray = self.branch_y * (self.node_v[a] - self.node_v[b] - self.branch_e)
        return amps

    def v(self, node: str, against: str | None = None) -> complex:
        """Return the volts of `node` as a phasor (RMS), against the reference or another node."""
        index = self.network.index
        try:
            volts = self.phasors[index[node]]
            return volts if against is None else volts - self.phasors[index[against]]
        except KeyError as missing:
            raise UnknownNode(missing.args[0], self.network.nodes) from None

    def a(self, branch: str) -> complex:
        """Return the current through a branch from its `a` to its `b`, a phasor in amperes (RMS)."""
        k = self.network.place_of[branch]
        ends = self.network.branches[k]
        return complex(self.branch_y[k]) * (self.v(ends.a, ends.b) - complex(self.branch_e[k]))

    @cached_property
    def impedances(self) -> ComplexArray:
        """Return the impedance matrix in ohms, shape (nodes, nodes); zero in the reference's row and column.

        Entry [j, k] is the volts at node j for one ampere fed into node k, every source resting.
        """
        z_ohm = np.zeros((len(self.network.nodes),) * 2, dtype=np.complex128)
        z_ohm[1:, 1:] = np.linalg.inv(self._matrix[1:, 1:])
        return z_ohm

    @property
    def _matrix(self) -> ComplexArray:
        """The admittance matrix in siemens, shape (nodes, nodes)."""
        matrix: ComplexArray = self.network.matrices(self.branch_y[None])[0]
        return matrix

    def between(self, pairs: Sequence[tuple[str, str]]) -> ComplexArray:
        """Return the impedances in ohms between pairs of nodes, every source resting, shape (pairs,).

        One ampere goes in at one node and out at the other, so that two nodes which hang on the rest by a
        trillion ohms keep the few ohms that are between them.
        """
        at = self.network.index
        columns = np.arange(len(pairs))
        red, black = (np.array([at[pair[k]] for pair in pairs], dtype=np.intp) for k in (0, 1))
        fed = np.zeros((len(self.network.nodes), len(pairs)), dtype=np.complex128)
        fed[red, columns] += 1
        fed[black, columns] -= 1
        volts = np.zeros_like(fed)
        volts[1:] = np.linalg.solve(self._matrix[1:, 1:], fed[1:])
        ohm: ComplexArray = volts[red, columns] - volts[black, columns]
        return ohm

    def thevenin(self, one: str, other: str) -> Thevenin:
        """Return what stands between two nodes: the open volts of `one` against `other`, and their source."""
        open_v = self.v(one, other)
        a, b = self.network.index[one], self.network.index[other]
        z = self.impedances
        return Thevenin(open_v, complex(z[a, a] + z[b, b] - z[a, b] - z[b, a]))

    @cached_property
    def volts(self) -> dict[str, float]:
        """Return the RMS volts of every node against the reference."""
        return dict(zip(self.network.nodes, np.abs(self.node_v).tolist(), strict=True))


def solve(network: Network, freq_hz: float) -> Solution:
    """Solve one network at one frequency.

    Raises `FloatingNode` where part of the network has no path to the reference, and `BadParameter` for a
    negative frequency.
    """
    return solve_many([network], freq_hz)[0]


def solve_many(networks: Sequence[Network], freq_hz: float) -> list[Solution]:
    """Solve several networks, of the same shape or not, in one call.

    Networks that share their wiring (the same branches between the same nodes, whatever the values) go to the
    linear algebra together, as one stack of matrices.
    """
    groups: dict[tuple[object, ...], list[int]] = {}
    for k, network in enumerate(networks):
        a, b = network.ends
        groups.setdefault((network.nodes, a.tobytes(), b.tobytes()), []).append(k)
    solutions: list[Solution | None] = [None] * len(networks)
    for members in groups.values():
        y = np.array([networks[k].admittances(freq_hz) for k in members])
        e = np.array([networks[k].emfs(freq_hz) for k in members])
        node_v = _solve_stack(networks[members[0]], freq_hz, y, e)
        for row, k in enumerate(members):
            solutions[k] = Solution(networks[k], freq_hz, node_v[row], y[row], e[row])
    return [solution for solution in solutions if solution is not None]


def _solve_stack(network: Network, freq_hz: float, y: ComplexArray, e: ComplexArray) -> ComplexArray:
    """Solve one wiring with many sets of values.

    Parameters: `y` and `e` are admittances (S) and open-circuit volts of the branches, shape (systems,
    branches). Returns node volts, shape (systems, nodes).
    """
    require(math.isfinite(freq_hz) and freq_hz >= 0, "freq_hz", freq_hz, "0 Hz or more")
    systems, n = y.shape[0], len(network.nodes)
    refuse_islands(network, y != 0)
    matrix, injected = network.matrices(y), network.injected(y * e)
    node_v = np.zeros((systems, n), dtype=np.complex128)
    if n > 1:  # the reference is node 0: its row and column go, its volts are 0
        node_v[:, 1:] = np.linalg.solve(matrix[:, 1:, 1:], injected[:, 1:, None])[..., 0]
    return node_v


def refuse_islands(network: Network, conducting: NDArray[np.bool_]) -> None:
    """Raise `FloatingNode` where some nodes hang together with others, but not with the reference.

    `conducting` says which branches do, shape (systems, branches). The walk goes outwards from the reference
    in all systems at once.
    """
    (a, b), n = network.ends, len(network.nodes)
    links = np.zeros((len(conducting), n, n), dtype=np.float32)
    system, branch = np.nonzero(conducting)
    links[system, a[branch], b[branch]] = links[system, b[branch], a[branch]] = 1
    reached = np.zeros((len(conducting), n), dtype=np.float32)
    reached[:, 0] = 1
    while True:
        wider = np.minimum(reached + np.einsum("sij,sj->si", links, reached), 1)
        if np.array_equal(wider, reached):
            break
        reached = wider
    lost = np.flatnonzero((reached == 0).any(axis=0))
    if lost.size:
        raise FloatingNode([network.nodes[k] for k in lost], network.reference)
