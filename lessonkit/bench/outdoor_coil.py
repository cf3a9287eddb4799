"""The outdoor coil through time: its temperature, its frost, and what valve and fan do to both.

The coil is one lump with frost on it.  It heads for a temperature that says what flows through it and over
it:

    at rest                     the air
    evaporating, fan on         6 K below the air: it gathers heat, and below freezing it gathers frost
    evaporating, no fan         25 K below the air: nothing brings it heat (the valve did not move)
    condensing, fan on          12 K above the air: cooling
    condensing, no fan          38 K above the air: defrost

What it does hangs on the compressor, the valve and the fan alone; what a board believes changes nothing here.

`frost` is the share of its capacity that the coil has lost since it was clean.  Capacity falls as 1.02 -
5.3 dw t over t minutes of frosting, where `dw` is the water that a kilogram of outdoor air leaves on the
coil.  Frost has to melt before the coil warms further, and takes 5.7 minutes for all of the capacity in a
defrost in air of 2 C.  So a defrost that begins at the capacity q ends, at 57 F on the coil, after 7.8 -
5.7 q minutes: 3.5 minutes at three quarters.

Source: EPRI EM-4226 by way of the DOE-2.1E and EnergyPlus defrost equations, the same that `frost` in
`studies` reckons with.  The temperatures are ours, no source; the time constant of a defrost makes a clean
coil take the report's 7.8 - 5.7 x 1.02 = 1.99 minutes in air of 2 C.

Where the model stops: one lump, straight lines; frost does not change the temperature of the coil, and
takes no capacity from the house here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

#: A clean coil's capacity, and what frosting takes from it for each unit of `dw` and minute (the report).
CLEAN, LOSS_PER_MINUTE = 1.02, 5.3

#: Water that a kilogram of outdoor air leaves on the coil, kilograms: the report's worked example.
USUAL_DW = 0.0005

#: No more can grow than blocks the coil altogether.
MOST_FROST = CLEAN

# Kelvins from the air to where the coil heads, and the time constant in seconds (ours; see above).
_EVAPORATING, _STARVED = (-6.0, 240.0), (-25.0, 240.0)
_CONDENSING, _DEFROSTING = (12.0, 240.0), (38.0, 228.35)
_RESTING = (0.0, 900.0)

#: Frost that melts in a second for each kelvin above freezing that the coil heads for, over its time constant
#: in seconds: the report's 5.7 minutes for all of it, in a defrost that heads for 40 C.
_MELTS = _DEFROSTING[1] / 40.0 / (5.7 * 60.0)


@dataclass(frozen=True)
class Weather:
    """The air outdoors: its temperature, and the water `dw` that it leaves on a frosting coil."""

    air_c: float
    dw: float = USUAL_DW


@dataclass(frozen=True)
class Unit:
    """What the outdoor unit is doing: the compressor, which way the valve stands, the fan, and the air."""

    running: bool
    cooling: bool
    fan: bool
    weather: Weather

    @property
    def goal(self) -> tuple[float, float]:
        """Return the temperature that the coil heads for, and its time constant in seconds."""
        if not self.running:
            away, tau_s = _RESTING
        elif self.cooling:
            away, tau_s = _CONDENSING if self.fan else _DEFROSTING
        else:
            away, tau_s = _EVAPORATING if self.fan else _STARVED
        return self.weather.air_c + away, tau_s

    @property
    def frosts(self) -> bool:
        """Return whether frost grows: the coil evaporates below freezing, and the fan brings it wet air."""
        return self.running and not self.cooling and self.fan and self.goal[0] < 0

    @property
    def growth_per_s(self) -> float:
        """Return the share of its capacity that the coil loses in a second of frosting."""
        return LOSS_PER_MINUTE * self.weather.dw / 60.0 if self.frosts else 0.0


@dataclass(frozen=True)
class OutdoorCoil:
    """The coil: its temperature in degrees Celsius, and its frost as a share of capacity lost."""

    celsius: float = 20.0
    frost: float = 0.0

    @property
    def capacity(self) -> float:
        """Return the share of its frost-free capacity that the coil has left, as the report counts it."""
        return CLEAN - self.frost

    def after(self, unit: Unit, seconds: float) -> OutdoorCoil:
        """Return the coil after some seconds of the same running."""
        goal_c, tau_s = unit.goal
        if unit.frosts:
            frost = min(self.frost + seconds * unit.growth_per_s, MOST_FROST)
            return OutdoorCoil(_towards(self.celsius, goal_c, tau_s, seconds), frost)
        before_s = self._to_freezing_s(unit)
        if not self.frost or seconds <= before_s:
            return replace(self, celsius=_towards(self.celsius, goal_c, tau_s, seconds))
        # The coil stands still while its frost melts, and only then goes on.
        held_c, melting_s = max(self.celsius, 0.0), self._melts_in_s(unit)
        if seconds < before_s + melting_s:
            melted = (seconds - before_s) / melting_s
            return OutdoorCoil(held_c, self.frost * (1 - melted))
        return OutdoorCoil(_towards(held_c, goal_c, tau_s, seconds - before_s - melting_s))

    def reaches_s(self, unit: Unit, celsius: float) -> float:
        """Return the seconds until the coil has a temperature, if all runs on as it does (inf: never)."""
        goal_c, tau_s = unit.goal
        if (self.celsius - celsius) * (goal_c - celsius) >= 0:
            return math.inf
        wait_s = tau_s * math.log((self.celsius - goal_c) / (celsius - goal_c))
        melts = self.frost > 0 and not unit.frosts and celsius > max(self.celsius, 0.0)
        return wait_s + (self._melts_in_s(unit) if melts else 0.0)

    def loses_s(self, unit: Unit, frost: float) -> float:
        """Return the seconds until this much capacity is lost to frost (inf: never)."""
        return max(frost - self.frost, 0.0) / unit.growth_per_s if unit.growth_per_s else math.inf

    def _to_freezing_s(self, unit: Unit) -> float:
        """Return the seconds until the frost begins to melt (inf: never)."""
        goal_c, tau_s = unit.goal
        if goal_c <= max(self.celsius, 0.0):
            return math.inf
        return 0.0 if self.celsius >= 0 else tau_s * math.log((self.celsius - goal_c) / -goal_c)

    def _melts_in_s(self, unit: Unit) -> float:
        """Return the seconds that the frost takes to melt, once it does."""
        goal_c, tau_s = unit.goal
        return self.frost * tau_s / (_MELTS * goal_c)


def _towards(from_c: float, goal_c: float, tau_s: float, seconds: float) -> float:
    return goal_c + (from_c - goal_c) * math.exp(-seconds / tau_s)
