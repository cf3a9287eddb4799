"""One step of time as a resistive circuit.

Capacitance and inductance look, for the length of one step, like a resistor beside a source that stands for
their past: their *companion*. With m for that memory,

    capacitance   i = weight v - m     weight = 2C/h siemens     m = weight v_old + i_old
    inductance    v = weight i - m     weight = 2L/h ohms        m = weight i_old + v_old

are the trapezoidal rule over a step of h. Leave the last term of m out, and they are backward Euler over h/2.

What is left to solve has two halves. `Form` is the linear one: everything but the junctions, solved once for
a position of the switches. `Junctions` is the other: curves that meet the straight lines which the rest
offers them. `transient` marches through time with the two.
"""

from __future__ import annotations

import math
from operator import sub
from typing import Final, TypeAlias

import numpy as np

from lessonkit.copper.elements import (
    LEAKAGE_S,
    THERMAL_V,
    Branch,
    Capacitance,
    Diode,
    PulseSource,
    Resistance,
    Source,
    Switch,
    Wave,
    Winding,
)
from lessonkit.copper.network import Network
from lessonkit.errors import LessonError

__all__ = ["PAD_S", "Form", "Junctions", "NotSettled", "Store", "diodes_of", "sources_of", "stores_of"]

#: A conductance put beside every junction in the matrix and taken off again in the junction's own law. It
#: changes no result; it keeps the matrix solvable when nodes hang between junctions alone.
PAD_S: Final = 1e-6
#: Newton has settled when no junction moves more than this, in volts.
_SETTLED_V: Final = 1e-9


class NotSettled(LessonError, ArithmeticError):
    """Newton's method did not find the volts of the junctions."""

    def __init__(self, time_s: float) -> None:
        self.time_s = time_s
        super().__init__(
            f"the diodes' volts did not settle at {time_s:g} s; try a smaller step_s, or give diodes and "
            "sources more r_ohm."
        )


#: What remembers: capacitance its volts, windings and sources with inductance their amperes.
Store: TypeAlias = Capacitance | Winding | Source


def stores_of(network: Network) -> list[Store]:
    """Return the branches with memory, in order."""
    return [
        e
        for e in network.branches
        if isinstance(e, Capacitance) or (isinstance(e, Winding | Source) and e.l_henry)
    ]


def sources_of(network: Network) -> list[Source | PulseSource]:
    """Return the sources, in order."""
    return [e for e in network.branches if isinstance(e, Source | PulseSource)]


def diodes_of(network: Network) -> list[Diode]:
    """Return the diodes, in order."""
    return [e for e in network.branches if isinstance(e, Diode)]


def _size(store: Store) -> float:
    """Return farads or henries."""
    return store.c_farad if isinstance(store, Capacitance) else store.l_henry


class Form:
    """A network with its switches in one position and steps of one length, solved for every cause at once.

    Causes are the memories of capacitance and inductance, the volts of sources and the amperes of junctions.
    Unknowns are the volts of nodes and the amperes of windings and sources, and linear in the causes:
    x = of_memory @ memory + of_source @ source + of_junction @ amperes. A step of infinite length is the
    state at rest: capacitance carries nothing, inductance drops nothing.
    """

    def __init__(self, network: Network, closed: dict[str, bool], half_step_s: float) -> None:
        stores, diodes, sources = stores_of(network), diodes_of(network), sources_of(network)
        rows = {node: k for k, node in enumerate(network.nodes[1:])}
        for branch in network.branches:
            if isinstance(branch, Winding | Source | PulseSource):
                rows["amperes " + branch.name] = len(rows)
            elif isinstance(branch, Diode) and branch.r_ohm:
                rows["inside " + branch.name] = len(rows)
        # One row more for the reference, cut off at the end, spares every stamp a question.
        rows[network.reference] = size = len(rows)
        matrix = np.zeros((size + 1, size + 1))
        memory, source = np.zeros((size + 1, len(stores))), np.zeros((size + 1, len(sources)))
        junction = np.zeros((size + 1, len(diodes)))
        self.weight = np.array([_size(e) / half_step_s for e in stores])
        pick = np.zeros((len(stores), size + 1))
        place = {e.name: k for group in (stores, diodes) for k, e in enumerate(group)}
        place_of_source = {e.name: k for k, e in enumerate(sources)}

        def conductance(i: int, j: int, siemens: float) -> None:
            matrix[[i, j], [i, j]] += siemens
            matrix[[i, j], [j, i]] -= siemens

        def stamp(branch: Branch) -> None:
            a, b = rows[branch.a], rows[branch.b]
            if isinstance(branch, Resistance):
                conductance(a, b, 1 / branch.r_ohm)
            elif isinstance(branch, Switch):
                conductance(a, b, 1 / branch.ohms(closed[branch.name]))
            elif isinstance(branch, Capacitance):  # i = weight v - memory
                k = place[branch.name]
                conductance(a, b, float(self.weight[k]))
                memory[a, k], memory[b, k] = 1, -1
                pick[k, a], pick[k, b] = 1, -1
            elif isinstance(branch, Diode):
                k, anode = place[branch.name], rows.get("inside " + branch.name, a)
                if branch.r_ohm:
                    conductance(a, anode, 1 / branch.r_ohm)
                conductance(anode, b, PAD_S)
                junction[anode, k], junction[b, k] = 1, -1
            else:  # v = E + r i + (weight i - memory), amperes from a to b
                row = rows["amperes " + branch.name]
                matrix[a, row], matrix[b, row] = 1, -1
                matrix[row, a], matrix[row, b], matrix[row, row] = 1, -1, -branch.r_ohm
                if branch.l_henry:
                    k = place[branch.name]
                    matrix[row, row] -= self.weight[k]
                    memory[row, k] = -1
                    pick[k, row] = 1
                if not isinstance(branch, Winding):
                    source[row, place_of_source[branch.name]] = 1

        for branch in network.branches:
            stamp(branch)
        causes = np.hstack([memory, source, -junction])[:size]
        answers = np.linalg.solve(matrix[:size, :size], causes)
        cut = np.cumsum([len(stores), len(sources)])
        self.of_memory, self.of_source, self.of_junction = np.hsplit(answers, cut)
        self.rows, self.pick, self.across = rows, pick[:, :size], junction[:size].T
        # What a step needs is far less than all unknowns: the states, and the junctions' open volts.
        self.state = tuple(self.pick @ m for m in (self.of_memory, self.of_source, self.of_junction))
        self.open = tuple(self.across @ m for m in (self.of_memory, self.of_source))
        self.ohms = -self.across @ self.of_junction


class Junctions:
    """All junctions of a network at once: their law, and Newton's method."""

    def __init__(self, diodes: list[Diode]) -> None:
        self.saturation_a = np.array([d.saturation_a for d in diodes])
        self.scale_v = np.array([d.emission * THERMAL_V for d in diodes])
        # Where the curve bends most: beyond it a free step would overflow the exponential.
        bend = np.log(self.scale_v / (math.sqrt(2) * self.saturation_a))
        self.bend_v = self.scale_v * np.maximum(bend, 0.0)
        self.limits_v = list(zip(self.bend_v.tolist(), (2 * self.scale_v).tolist(), strict=True))
        self.unit = np.eye(len(diodes))

    def meet(self, form: Form, memory: Wave, source_v: Wave, v: Wave, time_s: float) -> tuple[Wave, Wave]:
        """Return the junctions' volts, and their amperes less the pad's.

        The rest of the circuit asks for v = open_v - ohms @ amperes, the junctions for their exponential; `v`
        is where to begin.
        """
        if not len(v):
            return v, v
        open_v, ohms = form.open[0] @ memory + form.open[1] @ source_v, form.ohms
        grown = np.exp(v / self.scale_v) * self.saturation_a
        amperes = grown - self.saturation_a + (LEAKAGE_S - PAD_S) * v
        was = v.tolist()
        for _ in range(200):
            slope = grown / self.scale_v + (LEAKAGE_S - PAD_S)
            new = v + np.linalg.solve(self.unit + ohms * slope, open_v - ohms @ amperes - v)
            # Of a handful of junctions plain numbers are told sooner than arrays.
            told = new.tolist()
            ends = zip(told, was, self.limits_v, strict=True)
            if any(now > bend and abs(now - old) > far for now, old, (bend, far) in ends):
                new = self._cut_short(v, new)
                told = new.tolist()
            moved = max(map(abs, map(sub, told, was)))
            v, was = new, told
            grown = np.exp(v / self.scale_v) * self.saturation_a
            amperes = grown - self.saturation_a + (LEAKAGE_S - PAD_S) * v
            if moved < _SETTLED_V * (1.0 + max(map(abs, told))) and math.isfinite(sum(told)):
                return v, amperes
        raise NotSettled(time_s)

    def _cut_short(self, old: Wave, new: Wave) -> Wave:
        """Limit a step across the bend: go up by the logarithm of what was asked for."""
        out = new.copy()
        for k in np.flatnonzero((new > self.bend_v) & (np.abs(new - old) > 2 * self.scale_v)):
            scale = self.scale_v[k]
            if old[k] <= 0:
                out[k] = scale * math.log(new[k] / scale)
            else:
                growth = 1 + (new[k] - old[k]) / scale
                out[k] = old[k] + scale * math.log(growth) if growth > 0 else self.bend_v[k]
        return out
