"""A reading: a number with its unit, the places where it was read, and no more digits than a meter has.

Whatever a bench lets one read (volts, amperes, ohms) is a number to compute with, and says what it is when a
notebook shows it:

    >>> Reading(26.5123456, "V", ("out:R", "out:C"))
    26.51 V from out:R to out:C
    >>> round(2 * Reading(26.5123456, "V"), 1)
    53.0

Arithmetic with readings gives plain numbers: what has been computed was read nowhere.

A meter is never exact. Its data sheet says "1 % + 3": one percent of the reading and three of the last digit
shown. So a reading has a band in which the truth lies:

    >>> volts = Reading(26.5123456, "V", ("out:R", "out:C"), "high")
    >>> volts.digit, round(volts.low, 3), round(volts.high, 3)
    (0.01, 26.217, 26.807)

The meter here counts to 6000, holds its lowest volts range at 60.00 V, and changes its other ranges by
itself. Its errors (`ERRORS`) are those of usual handheld meters (common practice, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

__all__ = ["COUNTS", "ERRORS", "Reading"]

#: A display of 6000 counts goes from 0 to 5999 before it changes its range.
COUNTS = 6000

#: What a meter may be wrong by: by unit and setting, a share of the reading, and so many of the last digit.
ERRORS: Mapping[tuple[str, str], tuple[float, int]] = MappingProxyType(
    {
        ("V", "high"): (0.010, 3),
        ("V", "low"): (0.020, 3),
        ("V", "dc"): (0.005, 2),
        ("ohm", "ohms"): (0.009, 2),
        ("A", "clamp"): (0.020, 5),
        ("F", "capacitance"): (0.020, 5),
        ("ohm", "250 V"): (0.030, 5),
        ("ohm", "500 V"): (0.030, 5),
    }
)
#: The last digit of the lowest range, by unit; an insulation tester reads in hundredths of a megohm.
_LEAST_DIGIT = {"V": 0.01, "ohm": 0.01, "A": 0.01, "F": 1e-11}
_INSULATION_DIGIT = 1e4

_PREFIXES = ((1e9, "G"), (1e6, "M"), (1e3, "k"), (1.0, ""), (1e-6, "µ"), (1e-9, "n"))
_WORDS = {
    "low": " (low input impedance)",
    "dc": " (direct)",
    "250 V": " (at 250 V)",
    "500 V": " (at 500 V)",
}


class Reading(float):
    """A number that was read: its `unit`, its `probes`, its `setting`.

    `value` is RMS for volts and amperes, `math.inf` for an ohmmeter's OL. `probes` are the two points that it
    was read between, or the one thing that it belongs to, such as "out:contactor"; `setting` is the meter's:
    "high" or "low" (alternating volts, by its input impedance), "dc" (direct volts), "ohms", "clamp",
    "capacitance", "250 V" or "500 V" (insulation), or "" for an ideal meter.
    """

    __slots__ = ("probes", "setting", "unit")

    unit: str
    probes: tuple[str, ...]
    setting: str

    def __new__(cls, value: float, unit: str, probes: tuple[str, ...] = (), setting: str = "") -> Reading:
        """Return a reading."""
        made = super().__new__(cls, value)
        made.unit, made.probes, made.setting = unit, probes, setting
        return made

    def __getnewargs__(self) -> tuple[float, str, tuple[str, ...], str]:  # type: ignore[override]
        """Return what a copy is made from."""
        return float(self), self.unit, self.probes, self.setting

    @property
    def value(self) -> float:
        """Return the plain number, with all its digits."""
        return float(self)

    @property
    def digit(self) -> float:
        """Return the worth of the last digit shown, in the reading's unit; 0 for an ideal meter."""
        if (self.unit, self.setting) not in ERRORS:
            return 0.0
        least = _INSULATION_DIGIT if self.setting.endswith("V") else _LEAST_DIGIT[self.unit]
        if not 0 < abs(self) < math.inf:
            return least
        # The lowest range whose counts reach the value; a decade more for each range.
        return max(least, 10.0 ** math.ceil(math.log10(abs(self) / (COUNTS - 0.5))))

    @property
    def error(self) -> float:
        """Return by how much the reading may be wrong, in its unit; 0 for an ideal meter and for OL."""
        if math.isinf(self) or not self.digit:
            return 0.0
        share, digits = ERRORS[self.unit, self.setting]
        return share * abs(self.value) + digits * self.digit

    @property
    def low(self) -> float:
        """Return the least that may be there."""
        return self.value - self.error

    @property
    def high(self) -> float:
        """Return the most that may be there."""
        return self.value + self.error

    def fits(self, expected: float) -> bool:
        """Return whether a computed number lies in the band of this reading."""
        return self.low <= expected <= self.high

    def __str__(self) -> str:
        """Return the display: the digits of a meter, or OL."""
        if math.isinf(self):
            return f"OL {self.unit}"
        if self.digit:
            return self._on_a_display()
        if self.unit == "V":
            return f"{self.value:.2f} V"
        if self.unit == "A" and 0.0005 <= self.value < 0.1:
            return f"{self.value * 1000:.3g} mA"
        size, prefix = next((p for p in _PREFIXES[:4] if self.value >= p[0]), (1.0, ""))
        return f"{self.value / size:.3g} {prefix}{self.unit}" if prefix else f"{self.value:.2f} {self.unit}"

    def _on_a_display(self) -> str:
        digit = self.digit
        size, prefix = next(p for p in _PREFIXES if p[0] <= COUNTS * digit)
        decimals = max(round(math.log10(size / digit)), 0)
        # No meter shows a minus sign before nothing.
        number = round(self.value / size, decimals) + 0.0
        return f"{number:.{decimals}f} {prefix}{self.unit}"

    def __repr__(self) -> str:
        """Return the display and both ends."""
        if len(self.probes) == 2:
            where = f" from {self.probes[0]} to {self.probes[1]}"
        else:
            where = "".join(f" {'through' if self.unit == 'A' else 'across'} {name}" for name in self.probes)
        return f"{self}{where}{_WORDS.get(self.setting, '')}"
