"""Nodal analysis of small linear networks, at one frequency at a time.

A network is a tuple of two-terminal branches between named nodes, and one node that is the reference: every
volt in a solution is measured against it.  Each branch says what it contributes, an admittance and a source:

    branch          admittance at angular frequency w       source
    Resistance      1 / R                                   none
    Winding         1 / (R + j w L)                         none
    Capacitance     j w C                                   none
    Source          1 / (R + j w L)                         its open-circuit volts

Current through a branch counts positive from node `a` to node `b`.  A source lifts `a` above `b`.  Volts and
amperes are phasors whose magnitude is RMS; at 0 Hz they are plain direct-current values, inductance is a
piece of wire and capacitance is an open switch.

Where the model stops: no transients (see `transient`), no harmonics, no saturation, no mutual inductance.
An ideal source or an ideal short has no place here: nothing in a building has 0 ohm, and leaving it out
keeps the admittance matrix symmetric, so that reciprocity holds for every network.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from lessonkit.errors import BadParameter, LessonError

ComplexArray: TypeAlias = NDArray[np.complex128]

#: An open contact carries nothing at all; a closed one this much (common practice: tens of milliohms).
CONTACT_OHM = 0.05

#: An open contact in a netlist: so far above any leakage that it lifts a floating terminal by under 0.1 mV.
SPICE_OPEN_OHM = 1e15


class FloatingNode(LessonError, ValueError):
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
        self.sentence = f"there is no terminal {node!r} here; there are {', '.join(sorted(nodes))}"
        super().__init__(self.sentence)

    def __str__(self) -> str:
        """Return the sentence itself; a plain KeyError would show it in quotes."""
        return self.sentence


@dataclass(frozen=True)
class Resistance:
    """A resistance between two nodes.

    Parameters: `name` is unique in its network, `a` and `b` are node names, `r_ohm` is above 0 (`math.inf`
    is an open contact), `note` is what a reader of the netlist should know.
    """

    name: str
    a: str
    b: str
    r_ohm: float
    note: str = ""

    def __post_init__(self) -> None:
        """Refuse the ideal short."""
        if not self.r_ohm > 0:
            raise BadParameter(
                f"r_ohm of {self.name}", self.r_ohm, "above 0 ohm (a short is a small resistance)"
            )

    def admittance(self, freq_hz: float) -> complex:
        """Return 1 / R in siemens, the same at every frequency."""
        return complex(1.0 / self.r_ohm)

    def emf(self, freq_hz: float) -> complex:
        """Return 0 V: a resistance drives nothing."""
        return 0j

    def spice(self, a: str, b: str, tag: str) -> list[str]:
        """Return the netlist lines; SPICE has no infinity, so an open contact becomes `SPICE_OPEN_OHM`."""
        return [f"R{tag} {a} {b} {min(self.r_ohm, SPICE_OPEN_OHM):.12g} ; {self.note or self.name}"]


@dataclass(frozen=True)
class Winding:
    """Resistance and inductance in series: a coil as the circuit sees it."""

    name: str
    a: str
    b: str
    r_ohm: float
    l_henry: float
    note: str = ""

    def __post_init__(self) -> None:
        """Refuse a winding without copper."""
        if not self.r_ohm > 0:
            raise BadParameter(f"r_ohm of {self.name}", self.r_ohm, "above 0 ohm")
        if not self.l_henry >= 0:
            raise BadParameter(f"l_henry of {self.name}", self.l_henry, "0 H or more")

    def admittance(self, freq_hz: float) -> complex:
        """Return 1 / (R + jwL) in siemens."""
        return 1.0 / complex(self.r_ohm, 2 * math.pi * freq_hz * self.l_henry)

    def emf(self, freq_hz: float) -> complex:
        """Return 0 V: a winding drives nothing."""
        return 0j

    def spice(self, a: str, b: str, tag: str) -> list[str]:
        """Return the netlist lines: the copper, then the inductance."""
        return [
            f"R{tag} {a} x_{tag} {self.r_ohm:.12g} ; {self.note or self.name}: winding resistance",
            f"L{tag} x_{tag} {b} {self.l_henry:.12g} ; {self.note or self.name}: inductance",
        ]


@dataclass(frozen=True)
class Capacitance:
    """A capacitance between two nodes; an open switch at 0 Hz."""

    name: str
    a: str
    b: str
    c_farad: float
    note: str = ""

    def __post_init__(self) -> None:
        """Refuse negative capacitance."""
        if not self.c_farad >= 0:
            raise BadParameter(f"c_farad of {self.name}", self.c_farad, "0 F or more")

    def admittance(self, freq_hz: float) -> complex:
        """Return jwC in siemens."""
        return complex(0.0, 2 * math.pi * freq_hz * self.c_farad)

    def emf(self, freq_hz: float) -> complex:
        """Return 0 V: a capacitance drives nothing in the steady state."""
        return 0j

    def spice(self, a: str, b: str, tag: str) -> list[str]:
        """Return the netlist line."""
        return [f"C{tag} {a} {b} {self.c_farad:.12g} ; {self.note or self.name}"]


@dataclass(frozen=True)
class Source:
    """An alternating and a direct voltage behind an impedance.

    `ac_v` is the open-circuit RMS phasor at the supply frequency, `dc_v` the open-circuit volts at 0 Hz.
    """

    name: str
    a: str
    b: str
    r_ohm: float
    ac_v: complex = 0j
    dc_v: float = 0.0
    l_henry: float = 0.0
    note: str = ""

    def __post_init__(self) -> None:
        """Refuse the ideal source."""
        if not self.r_ohm > 0:
            raise BadParameter(f"r_ohm of {self.name}", self.r_ohm, "above 0 ohm (no source is ideal)")

    def admittance(self, freq_hz: float) -> complex:
        """Return the admittance of the source's own impedance in siemens."""
        return 1.0 / complex(self.r_ohm, 2 * math.pi * freq_hz * self.l_henry)

    def emf(self, freq_hz: float) -> complex:
        """Return the open-circuit volts: `dc_v` at 0 Hz, `ac_v` (RMS) at any other frequency."""
        return complex(self.dc_v) if freq_hz == 0 else complex(self.ac_v)

    def spice(self, a: str, b: str, tag: str) -> list[str]:
        """Return the netlist lines: the source, its resistance, its inductance if it has any."""
        what = self.note or self.name
        mag, deg = abs(self.ac_v), math.degrees(np.angle(self.ac_v))
        volts = f"DC {self.dc_v:.12g} AC {mag:.12g} {deg:.12g}"
        inner = f"y_{tag}" if self.l_henry else a
        lines = [
            f"V{tag} x_{tag} {b} {volts} ; {what}: open-circuit volts, RMS",
            f"R{tag} x_{tag} {inner} {self.r_ohm:.12g} ; {what}: resistance behind it",
        ]
        if self.l_henry:
            lines.append(f"L{tag} y_{tag} {a} {self.l_henry:.12g} ; {what}: leakage inductance")
        return lines


Branch: TypeAlias = Resistance | Winding | Capacitance | Source


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
        """Return the position of each branch, by name."""
        return {branch.name: k for k, branch in enumerate(self.branches)}

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

    def v(self, node: str, against: str | None = None) -> complex:
        """Return the volts of `node` as a phasor (RMS), against the reference or another node."""
        for name in (node, against):
            if name is not None and name not in self.network.index:
                raise UnknownNode(name, self.network.nodes)
        volts = complex(self.node_v[self.network.index[node]])
        return volts if against is None else volts - complex(self.node_v[self.network.index[against]])

    def a(self, branch: str) -> complex:
        """Return the current through a branch from its `a` to its `b`, a phasor in amperes (RMS)."""
        return complex(self.branch_a[self.network.place_of[branch]])

    @cached_property
    def impedances(self) -> ComplexArray:
        """Return the impedance matrix in ohms, shape (nodes, nodes); zero in the reference's row and column.

        Entry [j, k] is the volts at node j for one ampere fed into node k, every source resting.
        """
        touched, into, _ = self.network.stamp
        n = len(self.network.nodes)
        flat = np.zeros(n * n, dtype=np.complex128)
        flat[touched] = self.branch_y @ into
        z_ohm = np.zeros((n, n), dtype=np.complex128)
        z_ohm[1:, 1:] = np.linalg.inv(flat.reshape(n, n)[1:, 1:])
        return z_ohm

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
    if not (math.isfinite(freq_hz) and freq_hz >= 0):
        raise BadParameter("freq_hz", freq_hz, "0 Hz or more")
    a, b = network.ends
    systems, n = y.shape[0], len(network.nodes)
    touched, into, at_node = network.stamp
    flat = np.zeros((systems, n * n), dtype=np.complex128)
    flat[:, touched] = y @ into
    matrix = flat.reshape(systems, n, n)
    injected = (y * e) @ at_node
    _refuse_islands(network, matrix)
    node_v = np.zeros((systems, n), dtype=np.complex128)
    if n > 1:  # the reference is node 0: its row and column go, its volts are 0
        node_v[:, 1:] = np.linalg.solve(matrix[:, 1:, 1:], injected[:, 1:, None])[..., 0]
    return node_v, y * (node_v[:, a] - node_v[:, b] - e)


def _refuse_islands(network: Network, matrix: ComplexArray) -> None:
    """Walk outwards from the reference along anything that conducts; whatever is not reached floats."""
    linked = (matrix != 0).astype(np.float32)
    reached = np.zeros(matrix.shape[:2], dtype=np.float32)
    reached[:, 0] = 1
    while True:
        wider = np.minimum(reached + np.einsum("sij,sj->si", linked, reached), 1)
        if np.array_equal(wider, reached):
            break
        reached = wider
    lost = np.flatnonzero((reached == 0).any(axis=0))
    if lost.size:
        raise FloatingNode([network.nodes[k] for k in lost], network.reference)


def spice_name(node: str) -> str:
    """Return the netlist name of a node: `out:Y1` becomes `out_y1`."""
    return "".join(c if c.isalnum() else "_" for c in node.lower())


def to_spice(network: Network, freq_hz: float, title: str) -> str:
    """Return a netlist of the network that ngspice runs in batch as it is.

    It holds one analysis card, `.ac` at `freq_hz` (or `.op` at 0 Hz), and prints real and imaginary part of
    every node. Magnitudes are RMS, as in this module.
    """
    lines = [f"* {' '.join(title.split())}", "* all alternating sources and results are RMS"]
    lines.append(
        f"Vref {spice_name(network.reference)} 0 DC 0 AC 0 ; the reference: volts are against this node"
    )
    for k, branch in enumerate(network.branches):
        lines += branch.spice(spice_name(branch.a), spice_name(branch.b), f"{k}_{spice_name(branch.name)}")
    names = [spice_name(node) for node in network.nodes]
    if freq_hz > 0:
        lines.append(f".ac lin 1 {freq_hz:.12g} {freq_hz:.12g}")
        lines += [f".print ac vr({name}) vi({name})" for name in names]
    else:
        lines.append(".op")
        lines += [f".print op v({name})" for name in names]
    return "\n".join([*lines, ".end", ""])
