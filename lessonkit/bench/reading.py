"""A reading: a number with its unit, the places where it was read, and no more digits than a meter has.

Whatever a bench lets one read (volts, amperes, ohms) is a number to compute with, and says what it is when a
notebook shows it:

    >>> Reading(26.5123456, "V", ("out:R", "out:C"))
    26.51 V from out:R to out:C
    >>> round(2 * Reading(26.5123456, "V"), 1)
    53.0

Arithmetic with readings gives plain numbers: what has been computed was read nowhere.
"""

from __future__ import annotations

import math

__all__ = ["Reading"]

_PREFIXES = ((1e6, "M"), (1e3, "k"), (1.0, ""))


class Reading(float):
    """A number that was read: its `unit`, its `probes`, its `setting`.

    `value` is RMS for volts and amperes, `math.inf` for an ohmmeter's OL. `probes` are the two points that it
    was read between, or the one thing that it belongs to, such as "out:contactor"; `setting` is the
    meter's: "high" or "low" (its input impedance), "ohms", or "" for an ideal meter.
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

    def __str__(self) -> str:
        """Return the display: three or four digits, or OL."""
        if math.isinf(self):
            return f"OL {self.unit}"
        if self.unit == "V":
            return f"{self.value:.2f} V"
        if self.unit == "A" and 0.0005 <= self.value < 0.1:
            return f"{self.value * 1000:.3g} mA"
        size, prefix = next((p for p in _PREFIXES if self.value >= p[0]), (1.0, ""))
        return f"{self.value / size:.3g} {prefix}{self.unit}" if prefix else f"{self.value:.2f} {self.unit}"

    def __repr__(self) -> str:
        """Return the display and both ends."""
        if len(self.probes) == 2:
            where = f" from {self.probes[0]} to {self.probes[1]}"
        else:
            where = "".join(f" {'through' if self.unit == 'A' else 'across'} {name}" for name in self.probes)
        return f"{self}{where}" + (" (low input impedance)" if self.setting == "low" else "")
