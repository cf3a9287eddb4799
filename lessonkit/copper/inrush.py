"""The first moments after a contact closes, and the worst moment to close it.

A contact does not know where on the sine it closes, so what follows is a matter of luck, and the bench has to
try every angle. Two loads, two opposite answers:

* A coil resists a change of its current. Closed where the volts pass through zero, its current starts from
  the wrong side of its later course, and the first peak is too high; closed near the top it glides in.
* An empty capacitor is a short. Closed near the top of the wave, it takes what the ohms before it allow.

Peaks here are peaks (not RMS), of either sign.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Collection
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from lessonkit.copper.elements import Source, Wave, Winding
from lessonkit.copper.network import Network
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


Build: TypeAlias = Callable[[float], Network]


def closing_peaks(
    build: Build, branch: str, angles_deg: Collection[float], freq_hz: float = 60.0, cycles: int = 20
) -> Inrush:
    """Return the peaks through a branch when its circuit closes at each angle.

    `build(angle_deg)` makes the network with its supply beginning at that angle; it closes at 0 s, from rest.
    The settled peak is taken in the last of `cycles` at the first angle.
    """
    require(len(angles_deg) > 0, "angles_deg", angles_deg, "at least one angle in degrees")
    require(isinstance(cycles, int) and cycles >= 2, "cycles", cycles, "a whole number of at least 2")
    step_s = 1 / (require_positive("freq_hz", freq_hz, unit="hertz") * _STEPS_A_CYCLE)
    angles = np.array(list(angles_deg), dtype=np.float64)
    long = simulate(build(float(angles[0])), cycles / freq_hz, step_s, freq_hz=freq_hz)
    settled = long.last_cycles(freq_hz, 1).peak_a(branch)
    peaks = [
        simulate(build(float(angle)), 2 / freq_hz, step_s, freq_hz=freq_hz).peak_a(branch) for angle in angles
    ]
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

    `r_ohm` counts all ohms of the coil's loop; the supply behind has a milliohm. The excess over the settled
    peak is at most twofold and dies with L/R. (The inrush VA on a contactor's label is another effect: its
    open armature leaves less L.)
    """

    def build(angle_deg: float) -> Network:
        return Network(
            (
                Source("supply", "r", "0", 1e-3, cmath.rect(supply_v, math.radians(angle_deg))),
                Winding("coil", "r", "0", r_ohm, l_henry),
            ),
            "0",
        )

    return closing_peaks(build, "coil", angles_deg, freq_hz)
