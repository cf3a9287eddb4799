"""The outdoor defrost board through time: its delay, its clock and its frost switch.

The board stands between the terminals and the coils, and knows two things: which of its terminals are live,
and what its sensor says of the outdoor coil.  Whether the contactor pulled in or the valve moved it doesn't
know.

It holds the compressor off for a while after each stop (3 to 5 minutes equalise the pressures, common
practice).  In heating, which is Y1 live with O dead, or with B live, it adds up the time for which it lets
the compressor run with a frosted coil (its switch closes at 35 F); after 30, 60 or 90 minutes it defrosts:
it moves the valve to cooling, stops the outdoor fan, and D asks for heat indoors.  A board that goes by
demand waits until frost has taken the capacity down to three quarters instead.  A defrost ends when the
coil has warmed to 57 F or after 10 to 14 minutes (service manuals).

A call that ends in the middle of a defrost leaves it unfinished.  Makers differ: some boards forget it and
count from zero, others go on with it at the next call for heat (`unfinished_defrost` in a job).  The test
pins start a defrost at once, whatever switch and clock say; they do nothing without a call for heat (common
practice).

Where the model stops: a board that goes by demand is taken to know the frost itself, where real ones infer it
from temperatures; and the coil is the lump of `outdoor_coil`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

from lessonkit.bench.outdoor_coil import CLEAN, OutdoorCoil, Unit
from lessonkit.copper.network import Solution
from lessonkit.job.kit import Equipment
from lessonkit.job.parts import INPUT_LIVE_V, INPUT_OHM

#: The frost switch closes when the coil falls to this, 35 F, and opens again at the next, 57 F (service
#: manuals).
FROST_CLOSES_C = (35 - 32) * 5 / 9
FROST_OPENS_C = (57 - 32) * 5 / 9

#: A board that goes by demand defrosts when frost has taken the capacity down to this share (EPRI EM-4226).
DEMAND_AT = 0.75
#: What frost has taken by then.
DEMAND_FROST = CLEAN - DEMAND_AT

#: Moments that are worked out through logarithms are a little less exact.
_MARGIN_S = 1e-6


@dataclass(frozen=True)
class Timers:
    """The outdoor board's memory, and the coil that its sensor sits on.

    `free_at_s` is when the compressor may start again; `frosted_s` is the run time gathered with the frost
    switch closed; `defrost_until_s` is when a defrost that runs is cut off (None: none runs); `unfinished_s`
    is what was left of one whose call went away, where the board keeps it.
    """

    free_at_s: float = 0.0
    frosted_s: float = 0.0
    frost_switch: bool = False
    defrost_until_s: float | None = None
    unfinished_s: float | None = None
    coil: OutdoorCoil = field(default_factory=OutdoorCoil)

    @property
    def defrosting(self) -> bool:
        """Return whether a defrost runs."""
        return self.defrost_until_s is not None

    def without_power(self) -> Timers:
        """Return what a board without power keeps: it counts nothing, defrosts nothing, and forgets."""
        return replace(self, defrost_until_s=None, unfinished_s=None, frosted_s=0.0)


@dataclass(frozen=True)
class Seen:
    """What the board sees on its terminals: a call for heat, and whether it lets the compressor run on it."""

    heating: bool = False
    runs: bool = False


def y1_lost(solution: Solution, node: str) -> bool:
    """Return whether the board's terminal for the compressor, at `node`, is dead."""
    return abs(solution.v(node, "out:C")) < INPUT_LIVE_V


def seen(solution: Solution, valve: str, free: bool, hanging: bool, y1: str = "Y1") -> Seen:
    """Return what an awake board makes of its terminals.

    Parameters: `valve` is "O" or "B"; `free` says that its delay is over; `hanging` that a terminal may have
    no coil behind it just now, so that a ghost could stand on it, which the board's input loads away; `y1` is
    the node on which it gets Y1.
    """

    def live(terminal: str) -> bool:
        node, common = f"out:{terminal}", "out:C"
        if abs(solution.v(node, common)) < INPUT_LIVE_V:
            return False
        loaded = abs(solution.thevenin(node, common).loaded_v(INPUT_OHM)) if hanging else INPUT_LIVE_V
        return loaded >= INPUT_LIVE_V

    heating = live(y1) and live(valve) == (valve == "B")
    return Seen(heating, heating and free)


def after(timers: Timers, unit: Unit, saw: Seen, seconds: float) -> Timers:
    """Return the timers after some seconds in which no switch changes half way."""
    gathers = saw.runs and not timers.defrosting and timers.frost_switch
    frosted_s = timers.frosted_s + (seconds if gathers else 0.0)
    return replace(timers, coil=timers.coil.after(unit, seconds), frosted_s=frosted_s)


def next_change_s(timers: Timers, unit: Unit, saw: Seen, kit: Equipment) -> float:
    """Return the seconds until the board changes something by itself (inf: never).

    That is its frost switch, or a defrost that falls due.  Short-cycle protection and the cut-off are times
    of day, which the caller sees in the timers.
    """
    threshold = FROST_OPENS_C if timers.frost_switch else FROST_CLOSES_C
    wait_s = math.inf
    if (unit.goal[0] < threshold) != timers.frost_switch:
        wait_s = timers.coil.reaches_s(unit, threshold)
    if saw.runs and not timers.defrosting and timers.frost_switch:
        by_demand = kit.defrost_by == "demand"
        due_s = (
            timers.coil.loses_s(unit, DEMAND_FROST) if by_demand else kit.defrost_every_s - timers.frosted_s
        )
        wait_s = min(wait_s, due_s)
    return max(wait_s, 0.0)


def settle_board(timers: Timers, saw: Seen, now_s: float, kit: Equipment) -> Timers:
    """Return the board after it has looked at its terminals, its switch and its clock."""
    if timers.frost_switch and timers.coil.celsius >= FROST_OPENS_C - _MARGIN_S:
        timers = replace(timers, frost_switch=False, frosted_s=0.0, unfinished_s=None)
    elif not timers.frost_switch and timers.coil.celsius <= FROST_CLOSES_C + _MARGIN_S:
        timers = replace(timers, frost_switch=True)
    if timers.defrost_until_s is not None:
        if now_s >= timers.defrost_until_s - _MARGIN_S or not timers.frost_switch:
            return replace(timers, defrost_until_s=None, frosted_s=0.0)
        if not saw.heating:
            kept = kit.unfinished_defrost == "resume"
            left_s = timers.defrost_until_s - now_s if kept else None
            return replace(timers, defrost_until_s=None, frosted_s=0.0, unfinished_s=left_s)
        return timers
    if not (saw.runs and timers.frost_switch):
        return timers
    if timers.unfinished_s is not None:
        return replace(timers, defrost_until_s=now_s + timers.unfinished_s, unfinished_s=None)
    by_demand = kit.defrost_by == "demand"
    frosted = timers.coil.frost >= DEMAND_FROST - 1e-9
    due = frosted if by_demand else timers.frosted_s >= kit.defrost_every_s - _MARGIN_S
    return replace(timers, defrost_until_s=now_s + kit.defrost_limit_s) if due else timers


def pins_joined(timers: Timers, saw: Seen, now_s: float, kit: Equipment) -> Timers:
    """Return the board after its test pins were joined: a defrost, if there is a call for heat."""
    if timers.defrosting or not saw.runs:
        return timers
    return replace(timers, frost_switch=True, defrost_until_s=now_s + kit.defrost_limit_s, unfinished_s=None)
