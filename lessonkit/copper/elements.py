"""What a small circuit is made of when we watch it through time.

Each element is a small frozen value between two nodes, `a` and `b`. Nodes are any words; node "0" is common,
and every volt is measured against it.

    element       equation                          `a` is             current counts positive
    Resistor      v = R i                           either end         from a, through it, to b
    Capacitor     i = C dv/dt                       either end         from a, through it, to b
    Inductor      v = L di/dt                       either end         from a, through it, to b
    Diode         i = Is (exp(v / n Vt) - 1)        the anode          from anode to cathode
    Switch        v = R i, R one of two values      either end         from a, through it, to b
    SineSource    v = E(t) - R i                    the plus terminal  out of the plus terminal
    DcSource      the same with constant E          the plus terminal  the same
    PulseSource   the same with E in two levels     the plus terminal  the same

A diode's v is that of its junction; `r_ohm`, the resistance of its silicon and leads, stands in series with
it. Vt = kT/q is 25.865 mV at 27 degrees C, the temperature at which SPICE programs work unless told
otherwise.

Where the model stops: a diode here has no reverse breakdown, no charge storage and no heating; an inductor no
saturation and no iron loss; a switch no arc and no bounce.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from lessonkit.errors import BadParameter, LessonError, require, require_finite, require_positive

__all__ = [
    "COMMON",
    "THERMAL_V",
    "LEAKAGE_S",
    "Resistor",
    "Capacitor",
    "Inductor",
    "Diode",
    "Switch",
    "SineSource",
    "DcSource",
    "PulseSource",
    "Element",
    "Source",
    "Circuit",
    "BadCircuit",
    "first_loop",
    "out_of_reach",
]

Wave: TypeAlias = NDArray[np.float64]

#: The node that all volts are measured against.
COMMON = "0"
#: kT/q at 27 degrees C (300.15 K), in volts; k and q are exact in the SI of 2019.
THERMAL_V = 1.380649e-23 * 300.15 / 1.602176634e-19
#: Conductance beside every junction, in siemens: the same that SPICE programs add (gmin).
LEAKAGE_S = 1e-12


class BadCircuit(LessonError, ValueError):
    """The elements do not make a circuit that has one solution."""


def _check_ends(name: str, a: str, b: str) -> None:
    """Refuse an element without a name or a node, or with both ends on one node."""
    require(isinstance(name, str) and name.strip(), "name", name, "a word that is unique in its circuit")
    for node in (a, b):
        require(isinstance(node, str) and node.strip(), f"a node of {name}", node, "a word, '0' for common")
    require(a != b, f"b of {name}", b, "another node than a, since both ends on one node do nothing")


@dataclass(frozen=True)
class Resistor:
    """A resistance of more than 0 ohm."""

    name: str
    a: str
    b: str
    r_ohm: float

    def __post_init__(self) -> None:
        _check_ends(self.name, self.a, self.b)
        require_positive(f"r_ohm of {self.name}", self.r_ohm, unit="ohms")

    def spice(self, a: str, b: str, tag: str, from_rest: bool) -> list[str]:
        """Return its netlist line."""
        return [f"R{tag} {a} {b} {self.r_ohm!r} ; {self.name}: resistance"]


@dataclass(frozen=True)
class Capacitor:
    """A capacitance; a start from rest finds it at `initial_v`."""

    name: str
    a: str
    b: str
    c_farad: float
    initial_v: float = 0.0

    def __post_init__(self) -> None:
        _check_ends(self.name, self.a, self.b)
        require_positive(f"c_farad of {self.name}", self.c_farad, unit="farads")
        require_finite(f"initial_v of {self.name}", self.initial_v)

    def spice(self, a: str, b: str, tag: str, from_rest: bool) -> list[str]:
        """Return its netlist line, with the starting volts if the run starts from rest."""
        start = f" IC={self.initial_v!r}" if from_rest else ""
        return [f"C{tag} {a} {b} {self.c_farad!r}{start} ; {self.name}: capacitance"]


@dataclass(frozen=True)
class Inductor:
    """An inductance; a start from rest finds it carrying `initial_a`."""

    name: str
    a: str
    b: str
    l_henry: float
    initial_a: float = 0.0

    def __post_init__(self) -> None:
        _check_ends(self.name, self.a, self.b)
        require_positive(f"l_henry of {self.name}", self.l_henry, unit="henries")
        require_finite(f"initial_a of {self.name}", self.initial_a)

    def spice(self, a: str, b: str, tag: str, from_rest: bool) -> list[str]:
        """Return its netlist line, with the starting amperes if the run starts from rest."""
        start = f" IC={self.initial_a!r}" if from_rest else ""
        return [f"L{tag} {a} {b} {self.l_henry!r}{start} ; {self.name}: inductance"]


@dataclass(frozen=True)
class Diode:
    """A junction (Shockley) behind a series resistance.

    Parameters: `a` the anode, `b` the cathode, `saturation_a` (Is) in amperes, `emission` (n, 1 to 2 for
    silicon, no unit), `r_ohm` (Rs). The defaults are those of an ordinary 1 A silicon rectifier, about 0.77 V
    at 0.1 A (size of the values: from memory).
    """

    name: str
    a: str
    b: str
    saturation_a: float = 7e-9
    emission: float = 1.8
    r_ohm: float = 0.04

    def __post_init__(self) -> None:
        _check_ends(self.name, self.a, self.b)
        require_positive(f"saturation_a of {self.name}", self.saturation_a, unit="amperes")
        require_positive(f"emission of {self.name}", self.emission)
        require_positive(f"r_ohm of {self.name}", self.r_ohm, zero_ok=True, unit="ohms")

    def junction_a(self, junction_v: float) -> float:
        """Return the amperes at a junction voltage in volts."""
        grown = math.expm1(junction_v / (self.emission * THERMAL_V))
        return self.saturation_a * grown + LEAKAGE_S * junction_v

    def spice(self, a: str, b: str, tag: str, from_rest: bool) -> list[str]:
        """Return its netlist line and the model card that holds the same three numbers."""
        model = f"IS={self.saturation_a!r} N={self.emission!r} RS={self.r_ohm!r}"
        return [
            f"D{tag} {a} {b} model_{tag} ; {self.name}: diode, anode first",
            f".model model_{tag} D({model}) ; {self.name}: saturation current, emission, series resistance",
        ]


@dataclass(frozen=True)
class Switch:
    """A contact that changes its position at each of the given moments.

    Parameters: `closed` is the position before the first of `toggles_s` (seconds, ascending). Each toggle
    acts at the grid moment nearest to it. Open and closed are both resistances: nothing in a building is 0 or
    infinite.
    """

    name: str
    a: str
    b: str
    closed: bool = False
    toggles_s: tuple[float, ...] = ()
    closed_ohm: float = 0.05
    open_ohm: float = 1e9

    def __post_init__(self) -> None:
        _check_ends(self.name, self.a, self.b)
        require_positive(f"closed_ohm of {self.name}", self.closed_ohm, unit="ohms")
        require_positive(f"open_ohm of {self.name}", self.open_ohm, unit="ohms")
        for moment in self.toggles_s:
            require_positive(f"toggles_s of {self.name}", moment, zero_ok=True, unit="seconds")
        ascending = all(x < y for x, y in pairwise(self.toggles_s))
        allowed = "moments in ascending order, none twice"
        require(ascending, f"toggles_s of {self.name}", self.toggles_s, allowed)

    def spice(self, a: str, b: str, tag: str, from_rest: bool) -> list[str]:
        """Return its netlist line, its model, and the hand that moves it just after each moment."""
        level = 1 if self.closed else 0
        points = [f"0 {level}"]
        for moment in self.toggles_s:
            points.append(f"{moment!r} {level} {moment + 1e-9!r} {1 - level}")
            level = 1 - level
        model = f"VT=0.5 VH=0 RON={self.closed_ohm!r} ROFF={self.open_ohm!r}"
        hand = f"PWL({' '.join(points)})"
        return [
            f"S{tag} {a} {b} hand_{tag} 0 model_{tag} ; {self.name}: contact",
            f".model model_{tag} SW({model}) ; {self.name}: ohms closed and open",
            f"Vhand_{tag} hand_{tag} 0 {hand} ; {self.name}: the hand that moves it, 1 closes",
        ]


@dataclass(frozen=True)
class _SourceBase:
    """What every source has: a plus terminal `a`, a minus terminal `b`."""

    name: str
    a: str
    b: str

    def _behind(self, a: str, b: str, tag: str, shape: str, r_ohm: float, what: str) -> list[str]:
        """Return the netlist lines of a shape behind a resistance."""
        inner = f"emf_{tag}" if r_ohm else a
        lines = [f"V{tag} {inner} {b} {shape} ; {self.name}: {what}"]
        if r_ohm:
            lines.append(f"R{tag} {inner} {a} {r_ohm!r} ; {self.name}: resistance behind the source")
        return lines


@dataclass(frozen=True)
class SineSource(_SourceBase):
    """An alternating source, given by its RMS volts.

    Its peak is sqrt(2) times `rms_v`; `phase_deg` 0 begins at zero and rises. `r_ohm` stands behind it.
    """

    rms_v: float
    freq_hz: float = 60.0
    phase_deg: float = 0.0
    r_ohm: float = 0.0

    def __post_init__(self) -> None:
        _check_ends(self.name, self.a, self.b)
        require_positive(f"rms_v of {self.name}", self.rms_v, zero_ok=True, unit="volts")
        require_positive(f"freq_hz of {self.name}", self.freq_hz, unit="hertz")
        require_finite(f"phase_deg of {self.name}", self.phase_deg)
        require_positive(f"r_ohm of {self.name}", self.r_ohm, zero_ok=True, unit="ohms")

    def volts_at(self, time_s: Wave) -> Wave:
        """Return the open-circuit volts at the given seconds."""
        angle = 2 * math.pi * self.freq_hz * time_s + math.radians(self.phase_deg)
        wave: Wave = math.sqrt(2) * self.rms_v * np.sin(angle)
        return wave

    def corners_s(self, stop_s: float) -> tuple[float, ...]:
        """Return the moments where its slope jumps: none."""
        return ()

    def spice(self, a: str, b: str, tag: str, from_rest: bool) -> list[str]:
        """Return its netlist lines; SPICE wants the peak."""
        shape = f"SIN(0 {math.sqrt(2) * self.rms_v!r} {self.freq_hz!r} 0 0 {self.phase_deg!r})"
        return self._behind(a, b, tag, shape, self.r_ohm, f"{self.rms_v:g} V RMS at {self.freq_hz:g} Hz")


@dataclass(frozen=True)
class DcSource(_SourceBase):
    """A constant voltage behind `r_ohm`."""

    dc_v: float
    r_ohm: float = 0.0

    def __post_init__(self) -> None:
        _check_ends(self.name, self.a, self.b)
        require_finite(f"dc_v of {self.name}", self.dc_v)
        require_positive(f"r_ohm of {self.name}", self.r_ohm, zero_ok=True, unit="ohms")

    def volts_at(self, time_s: Wave) -> Wave:
        """Return the open-circuit volts at the given seconds."""
        return np.full_like(time_s, self.dc_v)

    def corners_s(self, stop_s: float) -> tuple[float, ...]:
        """Return the moments where its slope jumps: none."""
        return ()

    def spice(self, a: str, b: str, tag: str, from_rest: bool) -> list[str]:
        """Return its netlist lines."""
        return self._behind(a, b, tag, f"DC {self.dc_v!r}", self.r_ohm, "direct voltage")


@dataclass(frozen=True)
class PulseSource(_SourceBase):
    """Volts that go from low to high and back, once or again and again.

    It leaves `low_v` at `delay_s`, takes `rise_s` to reach `high_v`, stays `width_s`, and takes `fall_s` to
    come back; the next pulse begins `period_s` after the last (None: one pulse only). Times are seconds, read
    to the picosecond. A rise of 0 s is a jump just after its moment.
    """

    low_v: float
    high_v: float
    width_s: float
    delay_s: float = 0.0
    rise_s: float = 0.0
    fall_s: float = 0.0
    period_s: float | None = None
    r_ohm: float = 0.0

    def __post_init__(self) -> None:
        _check_ends(self.name, self.a, self.b)
        require_finite(f"low_v of {self.name}", self.low_v)
        require_finite(f"high_v of {self.name}", self.high_v)
        require_positive(f"width_s of {self.name}", self.width_s, unit="seconds")
        for field in ("delay_s", "rise_s", "fall_s", "r_ohm"):
            require_positive(f"{field} of {self.name}", getattr(self, field), zero_ok=True)
        if self.period_s is not None:
            shortest = self.rise_s + self.width_s + self.fall_s
            fits = require_finite(f"period_s of {self.name}", self.period_s) >= shortest
            allowed = f"at least {shortest:g} s, which rise, width and fall take"
            require(fits, f"period_s of {self.name}", self.period_s, allowed)

    def volts_at(self, time_s: Wave) -> Wave:
        """Return the open-circuit volts at the given seconds; at a jump, those just before it."""
        into = np.round(time_s - self.delay_s, 12)
        if self.period_s is not None:
            # A moment on a boundary belongs to the pulse that ends there: "just before".
            turns = np.maximum(np.ceil(np.round(into / self.period_s, 12)) - 1, 0)
            into = np.round(into - turns * self.period_s, 12)
        top, down = self.rise_s, self.rise_s + self.width_s
        rising = np.clip(into / self.rise_s, 0, 1) if self.rise_s else (into > 0).astype(float)
        fallen = into - down
        falling = np.clip(fallen / self.fall_s, 0, 1) if self.fall_s else (fallen > 0).astype(float)
        share = np.where(into <= top, rising, 1.0 - falling)
        wave: Wave = self.low_v + (self.high_v - self.low_v) * share
        return wave

    def corners_s(self, stop_s: float) -> tuple[float, ...]:
        """Return the moments up to `stop_s` where its volts or their slope jump."""
        shape = (0.0, self.rise_s, self.rise_s + self.width_s, self.rise_s + self.width_s + self.fall_s)
        starts = [self.delay_s]
        if self.period_s is not None:
            count = max(0, math.ceil((stop_s - self.delay_s) / self.period_s))
            starts += [self.delay_s + k * self.period_s for k in range(1, count)]
        return tuple(sorted({begin + t for begin in starts for t in shape if begin + t <= stop_s}))

    def spice(self, a: str, b: str, tag: str, from_rest: bool) -> list[str]:
        """Return its netlist lines; SPICE has no jump, so a rise or fall of 0 is written as a nanosecond."""
        rise, fall = self.rise_s or 1e-9, self.fall_s or 1e-9
        period = f" {self.period_s!r}" if self.period_s is not None else ""
        times = f"{self.delay_s!r} {rise!r} {fall!r} {self.width_s!r}{period}"
        shape = f"PULSE({self.low_v!r} {self.high_v!r} {times})"
        return self._behind(a, b, tag, shape, self.r_ohm, "pulses")


Source: TypeAlias = SineSource | DcSource | PulseSource
Element: TypeAlias = Resistor | Capacitor | Inductor | Diode | Switch | Source


def first_loop(elements: Iterable[Element]) -> Element | None:
    """Return the first element that closes a loop with those before it, or None."""
    leader: dict[str, str] = {}

    def find(node: str) -> str:
        while leader.setdefault(node, node) != node:
            node = leader[node]
        return node

    for element in elements:
        left, right = find(element.a), find(element.b)
        if left == right:
            return element
        leader[left] = right
    return None


def out_of_reach(elements: Iterable[Element], nodes: Iterable[str]) -> tuple[str, ...]:
    """Return the nodes to which no chain of these elements leads from common."""
    links = [(e.a, e.b) for e in elements]
    reached = {COMMON}
    while more := {x for pair in links for x in pair if reached & set(pair)} - reached:
        reached |= more
    return tuple(node for node in nodes if node not in reached)


@dataclass(frozen=True)
class Circuit:
    """Elements joined at their nodes, one of which is common, "0".

    Raises `BadCircuit` when a name is used twice, nothing is joined to common, a node is out of reach of
    common, or ideal sources (0 ohm) make a loop.
    """

    elements: tuple[Element, ...]

    def __init__(self, elements: Iterable[Element]) -> None:
        object.__setattr__(self, "elements", tuple(elements))
        names = [e.name for e in self.elements]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise BadCircuit(f"the name {twice[0]!r} is used twice; give each element a name of its own.")
        if all(COMMON not in (e.a, e.b) for e in self.elements):
            raise BadCircuit("no element is joined to common; call one node '0', so that volts have a zero.")
        lost = out_of_reach(self.elements, self.nodes)
        if lost:
            raise BadCircuit(f"no path leads from {', '.join(lost)} back to common; join it with an element.")
        loop = first_loop(e for e in self.sources if not e.r_ohm)
        if loop:
            raise BadCircuit(f"{loop.name} closes a loop of ideal sources; give one an r_ohm above 0.")

    @cached_property
    def nodes(self) -> tuple[str, ...]:
        """The nodes except common, in the order in which they first appear."""
        ends = dict.fromkeys(node for e in self.elements for node in (e.a, e.b))
        return tuple(node for node in ends if node != COMMON)

    @cached_property
    def sources(self) -> tuple[Source, ...]:
        """The sources, in order."""
        return tuple(e for e in self.elements if isinstance(e, _SourceBase))

    def element(self, name: str) -> Element:
        """Return the element of that name, or raise `BadParameter`."""
        for element in self.elements:
            if element.name == name:
                return element
        raise BadParameter("element", name, f"one of {', '.join(e.name for e in self.elements)}")
