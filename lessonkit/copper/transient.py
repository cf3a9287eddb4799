"""A small circuit through time, in even steps.

What happens when a contact closes, how a coil's current climbs, what a diode lets through: none of it shows
at one frequency. Here time goes forward in steps of h seconds, and at each moment the circuit is a resistive
one:

* Capacitance remembers its volts and inductance its amperes. Over one step each looks like a resistor beside
  a source that stands for the past (its *companion*). The trapezoidal rule makes it 2C/h siemens or 2L/h
  ohms.
* So the linear part of the circuit has the same matrix at every step, solved once for each position of the
  switches (modified nodal analysis: volts of nodes, and amperes of sources and inductors, are the unknowns).
* What is left are the junctions of the diodes. Each sees the rest of the circuit as volts behind ohms
  (Thevenin), and Newton's method finds where the line of the rest meets the curves of all junctions. The
  exponential is steep, so a step across its bend is cut short (junction limiting, as SPICE programs do).

The trapezoidal rule is accurate but never forgets a jerk: when a diode stops the current of a coil, the
coil's volts would swing from plus to minus at every step for ever. The cure is two half-steps of backward
Euler, which forgets at once, and whose half-step has the very same matrix (C over h/2 is 2C/h). They are
taken at the start, at every switching, at every corner of a source, and whenever a junction's volts change
sign, and once more after that. With them the discrete circuit is *passive*: no step makes energy from
nothing.

Sample k of a trace is the moment k h. At a switching or a jump it shows the moment just before.

    sine = Source("supply", "r", "common", r_ohm=2.7, ac_v=24.0)
    network = Network((sine, Diode("steer", "r", "x"), Resistance("load", "x", "common", 100.0)), "common")
    trace = simulate(network, stop_s=0.05, step_s=20e-6)
    trace.last_cycles(60).mean_v("x")

Where the model stops: see `elements` for the parts. Steps are even, so what is much faster than a step is
blurred; halve the step and compare. Wires have no length here: for edges on a long conductor see `channel`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from lessonkit.copper.companions import (
    PAD_S,
    Form,
    Junctions,
    NotSettled,
    diodes_of,
    sources_of,
    stores_of,
)
from lessonkit.copper.elements import (
    Branch,
    Capacitance,
    Diode,
    Resistance,
    Source,
    Switch,
    Wave,
    Winding,
)
from lessonkit.copper.network import Network, refuse_islands
from lessonkit.copper.traces import Trace
from lessonkit.errors import require, require_positive

__all__ = ["NotSettled", "Trace", "simulate"]

_MOST_STEPS = 5_000_000


@dataclass(frozen=True)
class _Log:
    """What a run writes down at each sample, from which every volt and ampere follows."""

    network: Network
    memory: Wave
    amperes: Wave
    volts: dict[str, Wave]
    currents: dict[str, Wave]

    @classmethod
    def blank(cls, network: Network, samples: int) -> _Log:
        """Return a log with room for so many samples."""
        return cls(
            network,
            np.zeros((samples, len(stores_of(network)))),
            np.zeros((samples, len(diodes_of(network)))),
            {node: np.zeros(samples) for node in network.nodes},
            {branch.name: np.zeros(samples) for branch in network.branches},
        )

    def read_out(self, form: Form, closed: dict[str, bool], rows: slice, source_v: Wave) -> None:
        """Turn the causes of some samples into volts at nodes and amperes through elements."""
        memory, amperes = self.memory[rows], self.amperes[rows]
        x = memory @ form.of_memory.T + source_v @ form.of_source.T + amperes @ form.of_junction.T
        for node in self.network.nodes[1:]:
            self.volts[node][rows] = x[:, form.rows[node]]
        stores, diodes = stores_of(self.network), diodes_of(self.network)
        for branch in self.network.branches:
            drop = self.volts[branch.a][rows] - self.volts[branch.b][rows]
            if isinstance(branch, Resistance):
                current = drop / branch.r_ohm
            elif isinstance(branch, Switch):
                current = drop / branch.ohms(closed[branch.name])
            elif isinstance(branch, Capacitance):
                k = stores.index(branch)
                current = form.weight[k] * drop - memory[:, k]
            elif isinstance(branch, Diode):
                k = diodes.index(branch)
                current = amperes[:, k] + PAD_S * (x @ form.across[k])
            else:
                current = x[:, form.rows["amperes " + branch.name]]
            self.currents[branch.name][rows] = current


def simulate(
    network: Network,
    stop_s: float,
    step_s: float,
    *,
    freq_hz: float = 60.0,
    start: str = "rest",
    method: str = "trapezoidal",
) -> Trace:
    """Run a network from 0 to `stop_s` in steps of `step_s`.

    Parameters: seconds; `freq_hz` is the frequency of every alternating source; `start` is "rest"
    (capacitance and inductance as their initial values say) or "dc" (the direct operating point of the
    sources' first volts); `method` is "trapezoidal" (error shrinks with the square of the step) or
    "backward-euler" (in half-steps; blunt, and never rings). The trace has round(stop_s / step_s) + 1
    samples.

    Raises `BadParameter`, `BadNetwork` (two branches of one name), `FloatingNode` (nodes without a path to
    the reference; from "dc" a path through capacitance alone is none) or `NotSettled` (Newton's method gave
    up).
    Source: L. O. Chua and P.-M. Lin, *Computer-Aided Analysis of Electronic Circuits*, 1975, for companion
    models (from memory); J. R. Marti and J. Lin, IEEE Trans. Power Systems 4(2), 1989, for the half-steps
    (from memory).
    """
    require_positive("step_s", step_s, unit="seconds")
    require_positive("stop_s", stop_s, unit="seconds")
    require(stop_s >= step_s, "stop_s", stop_s, f"at least one step_s, {step_s:g} s")
    require_positive("freq_hz", freq_hz, unit="hertz")
    require(start in ("rest", "dc"), "start", start, "'rest' or 'dc'")
    methods = ("trapezoidal", "backward-euler")
    require(method in methods, "method", method, "'trapezoidal' or 'backward-euler'")
    many = stop_s / step_s
    require(many <= _MOST_STEPS, "step_s", step_s, f"larger: {many:.3g} steps are more than {_MOST_STEPS}")
    steps = round(many)
    network.place_of  # noqa: B018 (raises where two branches share a name)
    refuse_islands(network, np.array([[_leads(branch, start) for branch in network.branches]]))

    half_s = np.arange(2 * steps + 1, dtype=np.float64) * (step_s / 2)
    source_v = np.column_stack(
        [s.volts_at(half_s, freq_hz) for s in sources_of(network)] or [np.zeros((len(half_s), 0))]
    )
    junctions, stores = Junctions(diodes_of(network)), stores_of(network)
    log = _Log.blank(network, steps + 1)
    closed = {e.name: e.closed for e in network.branches if isinstance(e, Switch)}
    toggles = _toggles(network, step_s)
    jerky = _jerky(network, steps, step_s, toggles) | (method == "backward-euler")

    # The first sample. At rest it is the circuit an instant after 0, while the memories hold (a step of
    # almost no length); from an operating point it is a step without end.
    form = Form(network, closed, math.inf if start == "dc" else step_s * 1e-6)
    held = np.array([_held_at_rest(e) for e in stores])
    memory = form.weight * held
    junction_v = np.zeros(len(junctions.scale_v))
    junction_v, amperes = junctions.meet(form, memory, source_v[0], junction_v, 0.0)
    log.memory[0], log.amperes[0] = memory, amperes
    log.read_out(form, closed, slice(0, 1), source_v[:1])
    if start == "dc":
        held = form.state[0] @ memory + form.state[1] @ source_v[0] + form.state[2] @ amperes
    # The trapezoidal rule remembers two things of each store: what it holds (volts of capacitance, amperes of
    # inductance) and the other one.
    other = np.zeros(len(stores))

    forms: dict[tuple[bool, ...], Form] = {}
    for begin, end in pairwise(sorted({0, steps, *(k for k in toggles if k < steps)})):
        for name in toggles.get(begin, ()):
            closed[name] = not closed[name]
        position = tuple(closed.values())
        if position not in forms:
            forms[position] = Form(network, closed, step_s / 2)
        form = forms[position]
        source_part = source_v @ form.state[1].T
        for k in range(begin, end):
            smooth = not jerky[k]
            if smooth:
                now = 2 * k + 2
                memory = form.weight * held + other
                new_v, amperes = junctions.meet(form, memory, source_v[now], junction_v, k * step_s)
                smooth = bool(((new_v > 0) == (junction_v > 0)).all())
            if smooth:
                junction_v = new_v
                held = form.state[0] @ memory + source_part[now] + form.state[2] @ amperes
            else:
                before = junction_v > 0
                for now in (2 * k + 1, 2 * k + 2):
                    memory = form.weight * held
                    junction_v, amperes = junctions.meet(form, memory, source_v[now], junction_v, k * step_s)
                    held = form.state[0] @ memory + source_part[now] + form.state[2] @ amperes
                # A diode may have let go in the second half-step: then the next step has to forget, too.
                jerky[k + 1] |= bool(((junction_v > 0) != before).any())
            other = form.weight * held - memory
            log.memory[k + 1], log.amperes[k + 1] = memory, amperes
        log.read_out(form, closed, slice(begin + 1, end + 1), source_v[2 * begin + 2 : 2 * end + 1 : 2])
    return Trace(network, half_s[::2].copy(), log.volts, log.currents)


def _toggles(network: Network, step_s: float) -> dict[int, list[str]]:
    """Return which switches change position at the beginning of which step."""
    toggles: dict[int, list[str]] = {}
    for branch in network.branches:
        for moment in branch.toggles_s if isinstance(branch, Switch) else ():
            toggles.setdefault(round(moment / step_s), []).append(branch.name)
    return toggles


def _jerky(network: Network, steps: int, step_s: float, toggles: Iterable[int]) -> NDArray[np.bool_]:
    """Return for each step whether something known beforehand jerks the network in it."""
    jerky = np.zeros(steps + 1, dtype=np.bool_)
    jerky[[0, *(k for k in toggles if k <= steps)]] = True
    for source in sources_of(network):
        for corner in source.corners_s(steps * step_s):
            into = math.floor(corner / step_s + 1e-6)
            jerky[max(0, into - 1) : into + 1] = True
    return jerky


def _leads(branch: Branch, start: str) -> bool:
    """Return whether a branch ties its nodes together: not an open contact, nor capacitance at 0 Hz."""
    if isinstance(branch, Resistance):
        return math.isfinite(branch.r_ohm)
    return not isinstance(branch, Capacitance) or (start == "rest" and branch.c_farad > 0)


def _held_at_rest(store: Capacitance | Winding | Source) -> float:
    """Return the volts or amperes with which a run from rest begins."""
    if isinstance(store, Capacitance):
        return store.initial_v
    return store.initial_a if isinstance(store, Winding) else 0.0
