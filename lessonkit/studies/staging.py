"""A two-stage thermostat that goes by the room: when it asks for which stage of heat.

    stage 1          asked for when the room is half the differential below the set temperature
    stage 2          when it falls further, or stage 1 has run for long without getting there
    auxiliary        when it falls further still, or stage 2 has run for long
    satisfied        all off when the room is half the differential above; auxiliary heat lets go first

Two outdoor thermostats stand between this and the equipment: auxiliary heat is not asked for above the one,
the compressor not below the other, where `emergency` (auxiliary heat alone) takes its place.

How far and how long is common practice: differentials of 0.5 to 1 K, further stages about 0.6 K lower, 10 to
20 minutes before stage 2, 10 to 180 minutes of running before auxiliary heat, 5 minutes that auxiliary heat
stays on at the least (ranges of settings in control manuals).  Makers differ; many weigh the speed of change
as well.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from lessonkit.errors import require, require_finite, require_positive
from lessonkit.studies.house import House

__all__ = ["Demand", "Staging", "call_of"]


@dataclass(frozen=True)
class Demand:
    """What a thermostat asks for: `stage` 0 (nothing), 1, 2 or 3 (auxiliary), and since when."""

    stage: int = 0
    since_s: float = 0.0


@dataclass(frozen=True)
class Staging:
    """A thermostat's settings: set temperature, differentials in kelvin, times in seconds."""

    set_c: float = 21.0
    differential_k: float = 0.6
    second_below_k: float = 0.8
    auxiliary_below_k: float = 1.4
    second_after_s: float = 1200.0
    auxiliary_after_s: float = 2700.0
    auxiliary_least_s: float = 300.0

    def __post_init__(self) -> None:
        """Refuse settings that no thermostat has."""
        require(5 <= require_finite("set_c", self.set_c) <= 30, "set_c", self.set_c, "from 5 to 30 C")
        require_positive("differential_k", self.differential_k)
        half_k = self.differential_k / 2
        fits = half_k < self.second_below_k < self.auxiliary_below_k
        require(
            fits,
            "second_below_k and auxiliary_below_k",
            (self.second_below_k, self.auxiliary_below_k),
            f"in the order {half_k:g} K (half the differential) < second_below_k < auxiliary_below_k",
        )
        for name in ("second_after_s", "auxiliary_after_s", "auxiliary_least_s"):
            require_positive(name, getattr(self, name), zero_ok=True, unit="seconds")

    def next(self, demand: Demand, room_c: float, now_s: float) -> Demand:
        """Return what is asked for after a look at the room."""
        below_k, lasted_s = self.set_c - room_c, now_s - demand.since_s
        half_k, stage = self.differential_k / 2, demand.stage
        if below_k <= -half_k:
            stage = 0
        elif stage == 3 and below_k <= 0 and lasted_s >= self.auxiliary_least_s:
            stage = 2
        else:
            stage = max(stage, self._wanted(stage, below_k, lasted_s))
        return demand if stage == demand.stage else replace(demand, stage=stage, since_s=now_s)

    def _wanted(self, stage: int, below_k: float, lasted_s: float) -> int:
        if below_k >= self.auxiliary_below_k or (
            stage == 2 and lasted_s >= self.auxiliary_after_s and below_k > 0
        ):
            return 3
        if below_k >= self.second_below_k or (stage == 1 and lasted_s >= self.second_after_s):
            return 2
        return 1 if below_k >= self.differential_k / 2 else 0


def call_of(demand: Demand, house: House, outdoor_c: float) -> str:
    """Return the call that a demand becomes, once the outdoor thermostats have had their say."""
    set_to, fossil = house.outdoor_thermostat, house.backup.kind == "fossil"
    locked_out = set_to.compressor_below_c is not None and outdoor_c <= set_to.compressor_below_c
    allowed = set_to.auxiliary_above_c is None or outdoor_c < set_to.auxiliary_above_c
    if demand.stage == 0:
        return "off"
    if locked_out:
        return "emergency" if allowed else "off"
    if demand.stage == 3 and allowed:
        return "emergency" if fossil else "heat-aux"  # a furnace never runs together with the compressor
    return "heat-1" if demand.stage == 1 else "heat-2"
