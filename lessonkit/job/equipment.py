"""What the equipment does with the coils it is given: indoors, outdoors, and the defrost board's timers.

Indoors: the blower runs when its relay is in, or when the heat sequencer is in (electric heat never runs
without air: common practice).  Outdoors: the compressor runs when its contactor is in; its second stage
needs the unloader too; the reversing valve stands where its solenoid puts it.

The outdoor defrost board stands between the terminals and the coils.  It holds the compressor off for a
while after each stop (3 to 5 minutes equalise the pressures, common practice).  In heating it adds up the
run time with a frosted coil (its switch closes at 35 F); after 30, 60 or 90 minutes it defrosts: the valve
goes to cooling, the outdoor fan rests, and D asks for heat indoors.  It ends when the coil has warmed to 57
F or after 10 to 14 minutes (service manuals).

Where the model stops: line voltage is taken to be there; a valve moves whenever its solenoid does, under a
running compressor too (a real one needs a pressure difference, and a real thermostat waits before it goes
from heat to cool); the emergency relay alone makes no heat, W1 has to be there too; the outdoor coil warms
and cools as one lump, a straight-line guess at frost physics.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from lessonkit.errors import require, require_finite
from lessonkit.job.calls import check_valve

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


def check_outdoor_c(outdoor_c: float) -> float:
    """Return an outdoor temperature in Celsius if there is air like that."""
    air_c = require_finite("outdoor_c", outdoor_c)
    require(-40.0 <= air_c <= 55.0, "outdoor_c", outdoor_c, "from -40 to 55 C")
    return air_c


def valve_cools(energised: bool, valve: str) -> bool:
    """Return whether the refrigerant circuit cools: an O valve does when energised, a B valve when not."""
    return energised == (check_valve(valve) == "O")


def responding(
    sealed: frozenset[str] | set[str], valve: str, timers: Timers, board_awake: bool, welded: bool
) -> dict[str, str]:
    """Return what each piece of equipment does, in words; `off` when it does nothing.

    `sealed` holds the coils that are in, as "place:name"; `welded` says that the contactor's contacts are
    stuck closed.
    """
    compressor = welded or "out:contactor" in sealed
    solenoid = "out:reversing-valve" in sealed
    cooling = valve_cools(solenoid, valve)
    heat = "air:sequencer" in sealed
    defrost = timers.defrosting and board_awake
    return {
        "blower": "on" if "air:blower-relay" in sealed else "on, with the heat" if heat else "off",
        "compressor stage 1": "on" if compressor else "off",
        "compressor stage 2": "on" if compressor and "out:unloader" in sealed else "off",
        "reversing valve": f"on, {'cooling' if cooling else 'heating'}" if solenoid else "off",
        "outdoor fan": "on" if compressor and not defrost else "off",
        "auxiliary heat": "on" if heat else "off",
        "emergency heat": ("on" if heat else "asked for, no heat")
        if "air:emergency-relay" in sealed
        else "off",
        "defrost": "on" if defrost else "off",
    }


def delivering(words: dict[str, str], valve: str) -> str:
    """Return what the house gets, in one phrase.

    Such as `cooling, stage 2`, `heating, stage 1, with auxiliary heat`, `nothing`.
    """
    gets = []
    if words["compressor stage 1"] != "off":
        cools = valve_cools(words["reversing valve"] != "off", valve)
        gets.append("cooling" if cools else "heating")
        gets.append("stage 2" if words["compressor stage 2"] != "off" else "stage 1")
        if words["defrost"] != "off":
            gets = ["defrost, the indoor coil cold"]
        if words["blower"] == "off":
            gets.append("but no air moves")
    if words["auxiliary heat"] != "off":
        gets.append("with auxiliary heat" if gets else "auxiliary heat alone")
    if words["emergency heat"] != "off":
        gets.append(f"emergency heat {words['emergency heat']}")
    if not gets:
        return "air only" if words["blower"] != "off" else "nothing"
    return ", ".join(gets)
