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
    "links_of",
    "refuse_islands",
    "solve",
    "solve_many",
    "solve_stack",
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
    def stamp(self) -> tuple[NDArray[np.intp], ComplexArray, ComplexArray]:
        """Return how branches enter the equations, so that two products write them for any values.

        First the positions in the flattened admittance matrix that any branch touches; then the signs with
        which each branch enters there, shape (branches, positions), and at the nodes, (branches, nodes).
        """
        (a, b), n = self.ends, len(self.nodes)
        k = np.arange(len(self.branches))
        entry = np.stack([a * n + a, b * n + b, a * n + b, b * n + a])
        touched, column = np.unique(entry, return_inverse=True)
        into = np.zeros((k.size, touched.size), dtype=np.complex128)
        at_node = np.zeros((k.size, n), dtype=np.complex128)
        for row, sign in zip(column.reshape(entry.shape), (1, 1, -1, -1), strict=True):
            into[k, row] += sign
        at_node[k, a] += 1
        at_node[k, b] -= 1
        return touched, into, at_node

    @cached_property
    def whole(self) -> list[NDArray[np.bool_]]:
        """Return sets of conducting branches, each of shape (branches,), that leave no node cut off.

        `solve_stack` notes them. A state in which all of one of them conduct cuts no node off either.
        """
        return []

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

    `branch_y` are the admittances (S) it was solved with, which may be others than those of `network`, whose
    shape alone is used.
    """

    network: Network
    freq_hz: float
    node_v: ComplexArray
    branch_a: ComplexArray
    branch_y: ComplexArray

    @cached_property
    def _phasors(self) -> list[complex]:
        return list(map(complex, self.node_v))

    def v(self, node: str, against: str | None = None) -> complex:
        """Return the volts of `node` as a phasor (RMS), against the reference or another node."""
        index = self.network.index
        try:
            volts = self._phasors[index[node]]
            return volts if against is None else volts - self._phasors[index[against]]
        except KeyError as missing:
            raise UnknownNode(missing.args[0], self.network.nodes) from None

    def a(self, branch: str) -> complex:
        """Return the current through a branch from its `a` to its `b`, a phasor in amperes (RMS)."""
        return complex(self.branch_a[self.network.place_of[branch]])

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
        touched, into, _ = self.network.stamp
        n = len(self.network.nodes)
        flat = np.zeros(n * n, dtype=np.complex128)
        flat[touched] = self.branch_y @ into
        return flat.reshape(n, n)

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
        node_v, branch_a = solve_stack(networks[members[0]], freq_hz, y, e)
        for row, k in enumerate(members):
            solutions[k] = Solution(networks[k], freq_hz, node_v[row], branch_a[row], y[row])
    return [solution for solution in solutions if solution is not None]


def solve_stack(
    network: Network, freq_hz: float, y: ComplexArray, e: ComplexArray
) -> tuple[ComplexArray, ComplexArray]:
    """Solve one wiring with many sets of values.

    Parameters: `y` and `e` are admittances (S) and open-circuit volts of the branches, shape (systems,
    branches). Returns node volts, shape (systems, nodes), and branch currents, shape (systems, branches).
    """
    require(math.isfinite(freq_hz) and freq_hz >= 0, "freq_hz", freq_hz, "0 Hz or more")
    a, b = network.ends
    systems, n = y.shape[0], len(network.nodes)
    touched, into, at_node = network.stamp
    flat = np.zeros((systems, n * n), dtype=np.complex128)
    flat[:, touched] = y @ into
    matrix = flat.reshape(systems, n, n)
    injected = (y * e) @ at_node
    conducting = y != 0
    if not any((conducting >= whole).all() for whole in network.whole):
        refuse_islands(network, matrix != 0)
        network.whole.extend(conducting[:1])
    node_v = np.zeros((systems, n), dtype=np.complex128)
    if n > 1:  # the reference is node 0: its row and column go, its volts are 0
        node_v[:, 1:] = np.linalg.solve(matrix[:, 1:, 1:], injected[:, 1:, None])[..., 0]
    return node_v, y * (node_v[:, a] - node_v[:, b] - e)


def refuse_islands(network: Network, linked: NDArray[np.bool_]) -> None:
    """Raise `FloatingNode` where some nodes hang together with others, but not with the reference.

    `linked` says between which nodes something conducts, shape (systems, nodes, nodes), symmetric. The walk
    goes outwards from the reference in all systems at once.
    """
    links = linked.astype(np.float32)
    reached = np.zeros(linked.shape[:2], dtype=np.float32)
    reached[:, 0] = 1
    while True:
        wider = np.minimum(reached + np.einsum("sij,sj->si", links, reached), 1)
        if np.array_equal(wider, reached):
            break
        reached = wider
    lost = np.flatnonzero((reached == 0).any(axis=0))
    if lost.size:
        raise FloatingNode([network.nodes[k] for k in lost], network.reference)


def links_of(network: Network, conducting: Iterable[Branch]) -> NDArray[np.bool_]:
    """Return which nodes these branches join, as `refuse_islands` wants it: shape (1, nodes, nodes)."""
    linked = np.zeros((1, len(network.nodes), len(network.nodes)), dtype=np.bool_)
    for branch in conducting:
        a, b = network.index[branch.a], network.index[branch.b]
        linked[0, a, b] = linked[0, b, a] = True
    return linked
