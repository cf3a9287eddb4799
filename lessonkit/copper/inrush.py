"""The first moments after a contact closes, and the worst moment to close it.

A contact does not know where on the sine it closes, so what follows is a matter of luck, and the bench has to
try every angle. Two loads, two opposite answers:

* A coil resists a change of its current. Closed where the volts pass through zero, its current starts from
  the wrong side of its later course, and the first peak is too high; closed near the top it glides in.
* An empty capacitor is a short. Closed near the top of the wave, it takes what the ohms before it allow.

Peaks here are peaks (not RMS), of either sign.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from lessonkit.copper.elements import Circuit, Inductor, Resistor, SineSource, Wave
from lessonkit.copper.transient import simulate
from lessonkit.errors import require, require_positive

__all__ = ["Inrush", "closing_peaks", "coil_inrush"]

_STEPS_A_CYCLE = 512


@dataclass(frozen=True, eq=False)
class Inrush:
    """The first peak after closing, for each phase angle.

    `angle_deg` and `peak_a` have one shape; `settled_a` is the peak when all has died away; `worst_deg` is
    the angle of the highest peak and `ratio` how many times the settled peak it is.
    """

    angle_deg: Wave
    peak_a: Wave
    settled_a: float

    @property
    def worst_deg(self) -> float:
        """The phase angle with the highest peak."""
        return float(self.angle_deg[int(np.argmax(self.peak_a))])

    @property
    def ratio(self) -> float:
        """Highest peak over settled peak."""
        return float(self.peak_a.max()) / self.settled_a


Build: TypeAlias = Callable[[float], Circuit]


def closing_peaks(
    build: Build, element: str, angles_deg: Collection[float], freq_hz: float = 60.0, cycles: int = 20
) -> Inrush:
    """Return the peaks through an element when its circuit closes at each angle.

    `build(angle_deg)` makes the circuit with its supply beginning at that angle; it closes at 0 s, from rest.
    The settled peak is taken in the last of `cycles` at the first angle.
    """
    require(len(angles_deg) > 0, "angles_deg", angles_deg, "at least one angle in degrees")
    require(isinstance(cycles, int) and cycles >= 2, "cycles", cycles, "a whole number of at least 2")
    step_s = 1 / (require_positive("freq_hz", freq_hz, unit="hertz") * _STEPS_A_CYCLE)
    angles = np.array(list(angles_deg), dtype=np.float64)
    long = simulate(build(float(angles[0])), cycles / freq_hz, step_s)
    settled = long.last_cycles(freq_hz, 1).peak_a(element)
    peaks = [simulate(build(float(angle)), 2 / freq_hz, step_s).peak_a(element) for angle in angles]
    return Inrush(angles, np.array(peaks), settled)


def coil_inrush(
    angles_deg: Collection[float],
    *,
    r_ohm: float,
    l_henry: float,
    supply_v: float = 24.0,
    freq_hz: float = 60.0,
) -> Inrush:
    """Return the closing peaks of a plain coil on alternating current.

    `r_ohm` counts all ohms of the loop. The excess over the settled peak is at most twofold and dies with
    L/R. (The inrush VA on a contactor's label is another effect: its open armature leaves less L.)
    """

    def build(angle_deg: float) -> Circuit:
        return Circuit(
            [
                SineSource("supply", "r", "0", supply_v, freq_hz, angle_deg),
                Resistor("copper", "r", "x", r_ohm),
                Inductor("coil", "x", "0", l_henry),
            ]
        )

    return closing_peaks(build, "coil", angles_deg, freq_hz)
