"""What an open contact lets through: a capacitor across it, and a light load behind it.

A resistor and a capacitor in a row across a contact (a snubber) take the spark of a coil.  At 60 Hz the
capacitor is also a way around the open contact:

    supply ── open contact ──┬── load ── C
           └─ R ── capacitor ┘

A coil of 10 VA doesn't notice some milliamperes.  An electronic input of many kilohms does: it may read as
live although the contact is open.  The numbers come out of the same solver as those of the bench.

Source of the leak: the reactance of a capacitor, 1/(2 pi f C), any handbook; 0.1 uF at 24 V and 60 Hz lets
0.90 mA through, 0.47 uF 4.25 mA.
"""

from __future__ import annotations

from dataclasses import dataclass

from lessonkit.bench.reading import Reading
from lessonkit.copper.elements import Capacitance, Resistance, Source
from lessonkit.copper.network import Network, solve
from lessonkit.errors import require_positive
from lessonkit.job.parts import INPUT_LIVE_V, RATED_V

__all__ = ["Leak", "leak"]

#: What usually stands in a row with the capacitor (recipes differ a hundredfold; a recorder's manual).
SNUBBER_OHM = 47.0


@dataclass(frozen=True)
class Leak:
    """What an open contact with a snubber lets through: RMS amperes, and RMS volts at the load.

    `word` is `on` where an electronic input behind it would read as live, by half the rated volts.
    """

    amps: Reading
    volts: Reading
    word: str


def leak(microfarad: float, load_ohm: float, supply_v: float = RATED_V, frequency_hz: float = 60.0) -> Leak:
    """Return what a capacitor across an open contact lets through.

    `load_ohm` is the load behind the contact; `supply_v` is RMS.
    """
    for name, value in (("microfarad", microfarad), ("load_ohm", load_ohm), ("supply_v", supply_v)):
        require_positive(name, value)
    network = Network(
        (
            Source("supply", "R", "C", 1e-6, complex(supply_v)),
            Resistance("snubber", "R", "between", SNUBBER_OHM),
            Capacitance("capacitor", "between", "load", microfarad * 1e-6),
            Resistance("load", "load", "C", load_ohm),
        ),
        "C",
    )
    solution = solve(network, frequency_hz)
    volts = abs(solution.v("load"))
    return Leak(
        Reading(abs(solution.a("load")), "A", ("the load",)),
        Reading(volts, "V", ("the load", "C")),
        "on" if volts >= INPUT_LIVE_V else "off",
    )
