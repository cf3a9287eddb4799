"""The outdoor defrost board through time: its delay, its clock and its frost switch.

The outdoor defrost board stands between the terminals and the coils.  It holds the compressor off for a
while after each stop (3 to 5 minutes equalise the pressures, common practice).  In heating it adds up the
run time with a frosted coil (its switch closes at 35 F); after 30, 60 or 90 minutes it defrosts: the valve
goes to cooling, the outdoor fan rests, and D asks for heat indoors.  It ends when the coil has warmed to 57
F or after 10 to 14 minutes (service manuals).

Where the model stops: the outdoor coil warms and cools as one lump, a straight-line guess at frost physics.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

#: The frost switch closes when the coil falls to this, 35 F, and opens again at the next, 57 F (service
#: manuals).
FROST_CLOSES_C = (35 - 32) * 5 / 9
FROST_OPENS_C = (57 - 32) * 5 / 9

# The outdoor coil as one lump (ours; no source): colder than the air while it gathers heat, warmed by hot
# gas in defrost.
_HEATING_BELOW_AIR_C, _HEATING_TAU_S = 6.0, 240.0
_DEFROST_ABOVE_AIR_C, _DEFROST_TAU_S = 38.0, 300.0
_RESTING_TAU_S = 900.0


@dataclass(frozen=True)
class Timers:
    """The outdoor board's memory.

    `free_at_s` is when the compressor may start again; `frosted_s` is the run time gathered with the frost
    switch closed; `defrost_until_s` is when a defrost that runs is cut off (None: none runs); `coil_c` is
    the outdoor coil.
    """

    free_at_s: float = 0.0
    frosted_s: float = 0.0
    frost_switch: bool = False
    defrost_until_s: float | None = None
    coil_c: float = 20.0

    @property
    def defrosting(self) -> bool:
        """Return whether a defrost runs."""
        return self.defrost_until_s is not None


@dataclass(frozen=True)
class Mode:
    """What the outdoor unit is doing, as far as its coil feels it."""

    running: bool
    cooling: bool
    outdoor_c: float


def _target(timers: Timers, mode: Mode) -> tuple[float, float]:
    """Return the temperature that the outdoor coil heads for, and its time constant in seconds."""
    if not mode.running:
        return mode.outdoor_c, _RESTING_TAU_S
    if timers.defrosting:
        return mode.outdoor_c + _DEFROST_ABOVE_AIR_C, _DEFROST_TAU_S
    if mode.cooling:
        return mode.outdoor_c + 12.0, _HEATING_TAU_S
    return mode.outdoor_c - _HEATING_BELOW_AIR_C, _HEATING_TAU_S


def after(timers: Timers, mode: Mode, seconds: float) -> Timers:
    """Return the timers after some seconds in one mode, in which no switch changes half way."""
    goal, tau = _target(timers, mode)
    coil_c = goal + (timers.coil_c - goal) * math.exp(-seconds / tau)
    gathers = mode.running and not mode.cooling and not timers.defrosting and timers.frost_switch
    return replace(timers, coil_c=coil_c, frosted_s=timers.frosted_s + (seconds if gathers else 0.0))


def next_change_s(timers: Timers, mode: Mode, every_s: float) -> float:
    """Return the seconds until the board changes something by itself (inf: never).

    That is its frost switch, or a defrost that falls due.  Short-cycle protection and the cut-off are times
    of day, which the caller sees in the timers.
    """
    goal, tau = _target(timers, mode)
    threshold = FROST_OPENS_C if timers.frost_switch else FROST_CLOSES_C
    wait_s = math.inf
    crossing = (timers.coil_c - threshold) * (goal - threshold) < 0
    if crossing and (goal < threshold) != timers.frost_switch:
        wait_s = tau * math.log((timers.coil_c - goal) / (threshold - goal))
    if mode.running and not mode.cooling and not timers.defrosting and timers.frost_switch:
        wait_s = min(wait_s, every_s - timers.frosted_s)
    return max(wait_s, 0.0)


def settle_board(timers: Timers, mode: Mode, now_s: float, every_s: float, limit_s: float) -> Timers:
    """Return the board after it has looked at its switch and its clock."""
    margin = 1e-6
    if timers.frost_switch and timers.coil_c >= FROST_OPENS_C - margin:
        timers = replace(timers, frost_switch=False, frosted_s=0.0)
    elif not timers.frost_switch and timers.coil_c <= FROST_CLOSES_C + margin:
        timers = replace(timers, frost_switch=True)
    if timers.defrost_until_s is not None:
        over = now_s >= timers.defrost_until_s - margin or not timers.frost_switch or not mode.running
        if over:
            timers = replace(timers, defrost_until_s=None, frosted_s=0.0)
    elif mode.running and not mode.cooling and timers.frosted_s >= every_s - margin:
        timers = replace(timers, defrost_until_s=now_s + limit_s)
    return timers
