"""What every circuit here is made of: one set of elements, for the steady state and for a run through time.

Each element is a small frozen value between two nodes, `a` and `b`. A node is any word, such as `air:R`.

    element       equation                                      in the steady state
    Resistance    v = R i                                       1 / R; `math.inf` ohms are an open contact
    Winding       v = R i + L di/dt                             1 / (R + j w L)
    Capacitance   i = C dv/dt                                   j w C: open at 0 Hz
    Source        v = E(t) + R i + L di/dt                      its RMS phasor, or its direct volts at 0 Hz
    PulseSource   the same with E in two levels                 none: see `transient`
    Switch        v = R i, R one of two values                  its position before the first toggle
    Diode         i = Is (exp(v / n Vt) - 1)                    none: see `transient`

One rule of signs for all of them: volts are those of `a` above `b`, and current counts positive from `a`
through the element to `b`. A source that delivers has therefore a negative current.

Nothing in a building has 0 ohm. Sources and windings have resistance as well, so no two elements can
contradict each other, and every circuit whose nodes hang together has exactly one solution.

A diode's v is that of its junction; `r_ohm`, the resistance of its silicon and leads, stands in series with
it. Vt = kT/q is 25.865 mV at 27 degrees C, the temperature at which SPICE programs work unless told
otherwise.

Where the model stops: a diode here has no reverse breakdown, no charge storage and no heating; a winding no
saturation, no iron loss and no coupling to another; a switch no arc and no bounce.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from lessonkit.errors import LessonError, require, require_finite, require_positive

__all__ = [
    "BadNetwork",
    "Branch",
    "Capacitance",
    "CONTACT_OHM",
    "Diode",
    "LEAKAGE_S",
    "PulseSource",
    "Resistance",
    "Source",
    "Switch",
    "THERMAL_V",
    "Wave",
    "Winding",
]

Wave: TypeAlias = NDArray[np.float64]

#: A closed contact (common practice: tens of milliohms). An open one carries nothing at all.
CONTACT_OHM = 0.05
#: kT/q at 27 degrees C (300.15 K), in volts; k and q are exact in the SI of 2019.
THERMAL_V = 1.380649e-23 * 300.15 / 1.602176634e-19
#: Conductance beside every junction, in siemens: the same that SPICE programs add (gmin).
LEAKAGE_S = 1e-12


class BadNetwork(LessonError, ValueError):
    """The elements make no network that can be solved in the way that was asked for."""


@dataclass(frozen=True)
class _Element:
    """What every element has: a name that is unique in its network, and two different nodes."""

    name: str
    a: str
    b: str

    def __post_init__(self) -> None:
        words = self.name, self.a, self.b
        if not all(type(word) is str and word and not word.isspace() for word in words):
            for word, what in zip(words, ("name", "a", "b"), strict=True):
                require(isinstance(word, str) and word.strip(), f"{what} of {self.name!r}", word, "a word")
        if self.a == self.b:
            require(
                False, f"b of {self.name}", self.b, "another node than a: between them nothing can happen"
            )

    def admittance(self, freq_hz: float) -> complex:
        """Return the admittance in siemens in the steady state at a frequency."""
        raise BadNetwork(
            f"{self.name} has no steady state at one frequency; watch it through time with `simulate`."
        )

    def emf(self, freq_hz: float) -> complex:
        """Return the open-circuit volts in the steady state: 0 for whatever drives nothing."""
        return 0j


@dataclass(frozen=True)
class Resistance(_Element):
    """A resistance in ohms, above 0; `math.inf` is an open contact.

    `note` is what a reader of the netlist should know, here and in every element below.
    """

    r_ohm: float
    note: str = ""

    def __post_init__(self) -> None:
        super().__post_init__()
        if not (type(self.r_ohm) is float and self.r_ohm > 0):  # a circuit has hundreds of these
            require_positive(f"r_ohm of {self.name}", self.r_ohm, endless_ok=True, unit="ohms")

    def admittance(self, freq_hz: float) -> complex:
        """Return 1 / R in siemens, the same at every frequency."""
        return complex(1.0 / self.r_ohm)


@dataclass(frozen=True)
class Winding(_Element):
    """Resistance and inductance in series, as a coil has them; a start from rest finds `initial_a` in it."""

    r_ohm: float
    l_henry: float
    note: str = ""
    initial_a: float = 0.0

    def __post_init__(self) -> None:
        super().__post_init__()
        require_positive(f"r_ohm of {self.name}", self.r_ohm, unit="ohms")
        require_positive(f"l_henry of {self.name}", self.l_henry, zero_ok=True, unit="henries")
        require_finite(f"initial_a of {self.name}", self.initial_a)

    def admittance(self, freq_hz: float) -> complex:
        """Return 1 / (R + jwL) in siemens."""
        return 1.0 / complex(self.r_ohm, 2 * math.pi * freq_hz * self.l_henry)


@dataclass(frozen=True)
class Capacitance(_Element):
    """A capacitance in farads, open at 0 Hz; a start from rest finds `initial_v` on it."""

    c_farad: float
    note: str = ""
    initial_v: float = 0.0

    def __post_init__(self) -> None:
        super().__post_init__()
        if not (type(self.c_farad) is float and 0 <= self.c_farad < math.inf):
            require_positive(f"c_farad of {self.name}", self.c_farad, zero_ok=True, unit="farads")
        require_finite(f"initial_v of {self.name}", self.initial_v)

    def admittance(self, freq_hz: float) -> complex:
        """Return jwC in siemens."""
        return complex(0.0, 2 * math.pi * freq_hz * self.c_farad)


@dataclass(frozen=True)
class Source(_Element):
    """An alternating and a direct voltage, added, behind resistance and inductance.

    `ac_v` is the open-circuit phasor at the supply's frequency: its magnitude is RMS, and at angle 0 the sine
    begins at zero and rises. `dc_v` is the open-circuit volts at 0 Hz. The plus terminal is `a`.
    """

    r_ohm: float
    ac_v: complex = 0j
    dc_v: float = 0.0
    l_henry: float = 0.0
    note: str = ""

    def __post_init__(self) -> None:
        super().__post_init__()
        require_positive(f"r_ohm of {self.name}", self.r_ohm, unit="ohms")
        volts = isinstance(self.ac_v, complex | float | int) and cmath.isfinite(self.ac_v)
        if not volts or isinstance(self.ac_v, bool):
            require(False, f"ac_v of {self.name}", self.ac_v, "finite volts, RMS, as a number or a phasor")
        require_finite(f"dc_v of {self.name}", self.dc_v)
        require_positive(f"l_henry of {self.name}", self.l_henry, zero_ok=True, unit="henries")

    def admittance(self, freq_hz: float) -> complex:
        """Return the admittance of the source's own impedance in siemens."""
        return 1.0 / complex(self.r_ohm, 2 * math.pi * freq_hz * self.l_henry)

    def emf(self, freq_hz: float) -> complex:
        """Return the open-circuit volts: `dc_v` at 0 Hz, `ac_v` (RMS) at any other frequency."""
        return complex(self.dc_v) if freq_hz == 0 else complex(self.ac_v)

    def volts_at(self, time_s: Wave, freq_hz: float) -> Wave:
        """Return the open-circuit volts at the given seconds (instantaneous, so peaks are sqrt(2) RMS)."""
        angle = 2 * math.pi * freq_hz * time_s + cmath.phase(self.ac_v)
        wave: Wave = self.dc_v + math.sqrt(2) * abs(self.ac_v) * np.sin(angle)
        return wave

    def corners_s(self, stop_s: float) -> tuple[float, ...]:
        """Return the moments where its slope jumps: none."""
        return ()


@dataclass(frozen=True)
class PulseSource(_Element):
    """Volts that go from low to high and back, once or again and again, behind a resistance.

    It leaves `low_v` at `delay_s`, takes `rise_s` to reach `high_v`, stays `width_s`, and takes `fall_s` to
    come back; the next pulse begins `period_s` after the last (None: one pulse only). Times are seconds, read
    to the picosecond. A rise of 0 s is a jump just after its moment.
    """

    r_ohm: float
    low_v: float
    high_v: float
    width_s: float
    delay_s: float = 0.0
    rise_s: float = 0.0
    fall_s: float = 0.0
    period_s: float | None = None
    note: str = ""

    def __post_init__(self) -> None:
        super().__post_init__()
        require_positive(f"r_ohm of {self.name}", self.r_ohm, unit="ohms")
        require_finite(f"low_v of {self.name}", self.low_v)
        require_finite(f"high_v of {self.name}", self.high_v)
        require_positive(f"width_s of {self.name}", self.width_s, unit="seconds")
        for field in ("delay_s", "rise_s", "fall_s"):
            require_positive(f"{field} of {self.name}", getattr(self, field), zero_ok=True, unit="seconds")
        if self.period_s is not None:
            shortest = self.rise_s + self.width_s + self.fall_s
            fits = require_finite(f"period_s of {self.name}", self.period_s) >= shortest
            allowed = f"at least {shortest:g} s, which rise, width and fall take"
            require(fits, f"period_s of {self.name}", self.period_s, allowed)

    @property
    def l_henry(self) -> float:
        """0 H: there is only resistance behind the pulses."""
        return 0.0

    def volts_at(self, time_s: Wave, freq_hz: float) -> Wave:
        """Return the open-circuit volts at the given seconds; at a jump, those just before it.

        The supply's frequency `freq_hz` has no part in it.
        """
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


@dataclass(frozen=True)
class Switch(_Element):
    """A contact that changes its position at each of the given moments.

    Parameters: `closed` is the position before the first of `toggles_s` (seconds, ascending). Each toggle
    acts at the grid moment nearest to it. `open_ohm` is the leakage over an open contact.
    """

    closed: bool = False
    toggles_s: tuple[float, ...] = ()
    closed_ohm: float = CONTACT_OHM
    open_ohm: float = 1e9
    note: str = ""

    def __post_init__(self) -> None:
        super().__post_init__()
        require_positive(f"closed_ohm of {self.name}", self.closed_ohm, unit="ohms")
        require_positive(f"open_ohm of {self.name}", self.open_ohm, unit="ohms")
        for moment in self.toggles_s:
            require_positive(f"toggles_s of {self.name}", moment, zero_ok=True, unit="seconds")
        ascending = all(x < y for x, y in pairwise(self.toggles_s))
        allowed = "moments in ascending order, none twice"
        require(ascending, f"toggles_s of {self.name}", self.toggles_s, allowed)

    def ohms(self, closed: bool) -> float:
        """Return the ohms of a position."""
        return self.closed_ohm if closed else self.open_ohm

    def admittance(self, freq_hz: float) -> complex:
        """Return 1 / R in siemens, in the position before the first toggle."""
        return complex(1.0 / self.ohms(self.closed))


@dataclass(frozen=True)
class Diode(_Element):
    """A junction (Shockley) behind a series resistance.

    Parameters: `a` the anode, `b` the cathode, `saturation_a` (Is) in amperes, `emission` (n, 1 to 2 for
    silicon, no unit), `r_ohm` (Rs). The defaults are those of an ordinary 1 A silicon rectifier, about 0.77 V
    at 0.1 A (size of the values: from memory).
    """

    saturation_a: float = 7e-9
    emission: float = 1.8
    r_ohm: float = 0.04
    note: str = ""

    def __post_init__(self) -> None:
        super().__post_init__()
        require_positive(f"saturation_a of {self.name}", self.saturation_a, unit="amperes")
        require_positive(f"emission of {self.name}", self.emission)
        require_positive(f"r_ohm of {self.name}", self.r_ohm, zero_ok=True, unit="ohms")


Branch: TypeAlias = Resistance | Winding | Capacitance | Source | PulseSource | Switch | Diode
