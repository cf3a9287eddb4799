"""Netlists: the same network in the language of SPICE programs, so that another solver can judge ours.

ngspice runs each of them in batch as it is (`ngspice -b FILE`). Every element has a line of its own, or two
or three, with a comment that says what it is. An open contact is left out, since nothing flows there; a
comment stands in its place.

Node and element names keep only small letters, digits and underscores: `out:Y1` becomes `out_y1`.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterable

from lessonkit.copper.elements import (
    BadNetwork,
    Branch,
    Capacitance,
    Diode,
    PulseSource,
    Resistance,
    Source,
    Switch,
    Winding,
)
from lessonkit.copper.network import Network
from lessonkit.errors import require

__all__ = ["settled_netlist", "spice_name", "spice_tag", "transient_netlist"]

#: SPICE calls this node its ground, whatever else it is called.
_GROUND = "0"


def spice_name(node: str) -> str:
    """Return the netlist name of a node: `out:Y1` becomes `out_y1`."""
    return "".join(c if c.isalnum() else "_" for c in node.lower())


def spice_tag(network: Network, branch: str) -> str:
    """Return the netlist name of a branch, less its first letter.

    So the amperes of a source called `supply` are `i(v0_supply)` in SPICE, and count from its plus terminal
    through it to its minus terminal, as ours do.
    """
    return f"{network.place_of[branch]}_{spice_name(branch)}"


def settled_netlist(network: Network, freq_hz: float, title: str) -> str:
    """Return a netlist of the steady state.

    It holds one analysis card, `.ac` at `freq_hz` (or `.op` at 0 Hz), and prints real and imaginary part of
    every node. Magnitudes are RMS, as in `network`. Raises `BadNetwork` for elements without a steady state,
    and for nodes that would share a netlist name.
    """
    nodes = _node_names(network)
    lines = [f"* {' '.join(title.split())}", "* all alternating sources and results are RMS"]
    lines += _reference(nodes[network.reference])
    for branch in network.branches:
        branch.admittance(freq_hz)  # refuses what has no steady state
        steady = _position(branch) if isinstance(branch, Switch) else branch
        volts = ""
        if isinstance(branch, Source):
            deg = math.degrees(cmath.phase(branch.ac_v))
            volts = f"DC {branch.dc_v:.12g} AC {abs(branch.ac_v):.12g} {deg:.12g}"
        lines += _element(steady, nodes, spice_tag(network, branch.name), volts)
    if freq_hz > 0:
        # The circuit is linear: no operating point is needed, and behind capacitors alone there is none.
        lines += [".options noopac", f".ac lin 1 {freq_hz:.12g} {freq_hz:.12g}"]
        lines += [f".print ac vr({name}) vi({name})" for name in nodes.values()]
    else:
        lines.append(".op")
        lines += [f".print op v({name})" for name in nodes.values()]
    return "\n".join([*lines, ".end", ""])


def transient_netlist(
    network: Network,
    stop_s: float,
    step_s: float,
    *,
    freq_hz: float = 60.0,
    start: str = "rest",
    title: str = "through time",
) -> str:
    """Return a netlist of a run through time, with `step_s` as its longest step; it prints every node.

    Parameters as for `transient.simulate`. Raises `BadNetwork` for nodes that would share a netlist name.
    """
    require(start in ("rest", "dc"), "start", start, "'rest' or 'dc'")
    nodes = _node_names(network)
    lines = [f"* {' '.join(title.split())}", *_reference(nodes[network.reference])]
    for branch in network.branches:
        volts = _wave(branch, freq_hz) if isinstance(branch, Source | PulseSource) else ""
        tag = spice_tag(network, branch.name)
        lines += _element(branch, nodes, tag, volts, from_rest=start == "rest")
    uic = " uic" if start == "rest" else ""
    lines += [
        ".options reltol=1e-6 abstol=1e-12 vntol=1e-9 ; tighter than usual, so that results can be compared",
        f".tran {step_s!r} {stop_s!r} 0 {step_s!r}{uic}",
        *(f".print tran v({nodes[node]})" for node in network.nodes[1:]),
        ".end",
    ]
    return "\n".join([*lines, ""])


def _node_names(network: Network) -> dict[str, str]:
    """Return the netlist name of every node, the reference first."""
    names = {node: spice_name(node) for node in network.nodes}
    if len(set(names.values())) < len(names):
        raise BadNetwork("two nodes share a netlist name, where only letters and digits count; rename one.")
    grounded = [node for node, name in names.items() if name in (_GROUND, "gnd")]
    if grounded and grounded != [network.reference]:
        raise BadNetwork(f"SPICE takes {grounded[-1]} for its ground; rename it, or make it the reference.")
    return names


def _reference(name: str) -> list[str]:
    """Return the line that ties the reference to SPICE's ground, unless it has that name already."""
    if name in (_GROUND, "gnd"):
        return []
    return [f"Vref {name} {_GROUND} DC 0 AC 0 ; the reference: volts are against this node"]


def _position(switch: Switch) -> Resistance:
    """Return a switch in its position before the first toggle."""
    return Resistance(switch.name, switch.a, switch.b, switch.ohms(switch.closed), switch.note)


def _wave(source: Source | PulseSource, freq_hz: float) -> str:
    """Return what a source does through time; SPICE wants peaks, and an edge of 0 s becomes a nanosecond."""
    if isinstance(source, Source):
        if not source.ac_v:
            return f"DC {source.dc_v!r}"
        peak_v, deg = math.sqrt(2) * abs(source.ac_v), math.degrees(cmath.phase(source.ac_v))
        return f"SIN({source.dc_v!r} {peak_v!r} {freq_hz!r} 0 0 {deg!r})"
    rise, fall = source.rise_s or 1e-9, source.fall_s or 1e-9
    period = f" {source.period_s!r}" if source.period_s is not None else ""
    times = f"{source.delay_s!r} {rise!r} {fall!r} {source.width_s!r}{period}"
    return f"PULSE({source.low_v!r} {source.high_v!r} {times})"


def _element(
    branch: Branch, nodes: dict[str, str], tag: str, volts: str, *, from_rest: bool = False
) -> Iterable[str]:
    """Return the lines of one element; `volts` is what its source does, if it is one."""
    a, b, what = nodes[branch.a], nodes[branch.b], branch.note or branch.name
    if isinstance(branch, Resistance):
        if math.isinf(branch.r_ohm):
            return [f"* R{tag} {a} {b} is open ; {what}"]
        return [f"R{tag} {a} {b} {branch.r_ohm:.12g} ; {what}: resistance"]
    if isinstance(branch, Capacitance):
        held = f" IC={branch.initial_v!r}" if from_rest else ""
        return [f"C{tag} {a} {b} {branch.c_farad:.12g}{held} ; {what}: capacitance"]
    if isinstance(branch, Winding):
        held = f" IC={branch.initial_a!r}" if from_rest else ""
        return [
            f"R{tag} {a} x_{tag} {branch.r_ohm:.12g} ; {what}: winding resistance",
            f"L{tag} x_{tag} {b} {branch.l_henry:.12g}{held} ; {what}: inductance",
        ]
    if isinstance(branch, Switch):
        return _switch(branch, a, b, tag, what)
    if isinstance(branch, Diode):
        model = f"IS={branch.saturation_a!r} N={branch.emission!r} RS={branch.r_ohm!r}"
        return [
            f"D{tag} {a} {b} model_{tag} ; {what}: diode, anode first",
            f".model model_{tag} D({model}) ; {what}: saturation current, emission, series resistance",
        ]
    inner = f"y_{tag}" if branch.l_henry else a
    lines = [
        f"V{tag} x_{tag} {b} {volts} ; {what}: open-circuit volts",
        f"R{tag} x_{tag} {inner} {branch.r_ohm:.12g} ; {what}: resistance behind it",
    ]
    if branch.l_henry:
        held = " IC=0" if from_rest else ""
        lines.append(f"L{tag} y_{tag} {a} {branch.l_henry:.12g}{held} ; {what}: leakage inductance")
    return lines


def _switch(switch: Switch, a: str, b: str, tag: str, what: str) -> list[str]:
    """Return a contact, its model, and the hand that moves it just after each moment."""
    level = 1 if switch.closed else 0
    points = [f"0 {level}"]
    for moment in switch.toggles_s:
        points.append(f"{moment!r} {level} {moment + 1e-9!r} {1 - level}")
        level = 1 - level
    model = f"VT=0.5 VH=0 RON={switch.closed_ohm!r} ROFF={switch.open_ohm!r}"
    return [
        f"S{tag} {a} {b} hand_{tag} 0 model_{tag} ; {what}: contact",
        f".model model_{tag} SW({model}) ; {what}: ohms closed and open",
        f"Vhand_{tag} hand_{tag} 0 PWL({' '.join(points)}) ; {what}: the hand that moves it, 1 closes",
    ]
