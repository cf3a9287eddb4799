"""The thermostat: what it lives on, what it does with the valve, and how long it makes a compressor wait.

**What it lives on.**  On `common` it hangs between R and C.  On a `battery` it needs no C, which is the usual
start on old cable; a mechanical one that needs no supply is the same to the circuit.  A `stealing` one has no
C either: it lives on what trickles through a load that is idle, from R through itself into a terminal whose
contact is open, and through the coil behind it home to C.  That works while there is an idle coil; into a
high-impedance input it starves, and lifts that input until it may look like a call.  While everything that
it could live on is called, it lives on a store, and falls asleep when that is empty (common practice).

    R ──┬── contact Y1 ── Y1 ── contactor ── C      Y1 called: the load is busy
        └── thermostat ── W1 ── sequencer ── C      W1 idle: some 12 mA trickle through it

**What it does with the valve.**  `call`: O or B comes with the compressor.  `mode`: an O stays through the
cooling mode and a B through the heating mode, satisfied or not (terminal lists say that O may stay
energised in the cooling mode, seen; B in emergency heat depends on the make).  So `satisfied`, in which the
mode goes on and nothing is asked for, differs from `off`.

**How long it waits.**  `min_off_s` after its Y1 opened it does not close it again (5 minutes by default on
many, 2 and 4 on others: control manuals, seen), and for `min_on_s` after it closed Y1 it keeps it through a
satisfied call (2 or 6 minutes: a control manual, seen).  The switch to off, to the other mode or to emergency
ends a call at once (common practice).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from lessonkit.errors import require, require_positive
from lessonkit.job.calls import check_call, is_cooling, terminals_for
from lessonkit.job.parts import Electronics

__all__ = ["STEALS_FROM", "THERMOSTAT", "Thermostat", "Timing", "energised", "held_valve", "mode_after"]

POWERS = ("common", "battery", "stealing")
HOLDS = ("call", "mode")

#: The terminals through whose idle loads a stealing thermostat lives, in the order in which it tries them.
STEALS_FROM = ("Y1", "W1")


@dataclass(frozen=True)
class Thermostat(Electronics):
    """A thermostat: electronics, and the choices above.

    `load_va` is what it draws; a stealing one is made for very little (`STEALING_VA`), and `store_s` is how
    long its full store carries it, `boot_s` how long an empty one takes to fill.
    """

    power: str = "common"
    holds_valve: str = "call"
    min_off_s: float = 0.0
    min_on_s: float = 0.0
    store_s: float = 600.0

    def __post_init__(self) -> None:
        """Refuse a thermostat that doesn't exist."""
        super().__post_init__()
        require(self.power in POWERS, "power", self.power, f"one of {', '.join(POWERS)}")
        require(self.holds_valve in HOLDS, "holds_valve", self.holds_valve, f"one of {', '.join(HOLDS)}")
        for name in ("min_off_s", "min_on_s", "store_s"):
            require_positive(name, getattr(self, name), zero_ok=True)

    @property
    def tells_satisfied(self) -> bool:
        """Return whether a satisfied call differs from off on it."""
        return self.holds_valve == "mode" or self.min_on_s > 0

    @property
    def needs_c(self) -> bool:
        """Return whether it needs the conductor C."""
        return self.power == "common"


#: The thermostat of the demo jobs; it draws a watt or two (typical, from memory).
THERMOSTAT = Thermostat(1.5)


def mode_after(mode: str, call: str) -> str:
    """Return the mode that a thermostat is in once `call` is set: "cool", "heat" or "" (off).

    A satisfied call and the fan leave the mode as it was.
    """
    if check_call(call) in ("satisfied", "fan"):
        return mode
    if call == "off":
        return ""
    return "cool" if is_cooling(call) else "heat"


def held_valve(thermostat: Thermostat, valve: str, mode: str) -> frozenset[str]:
    """Return the valve terminal that the thermostat holds through its mode, if it is of that kind."""
    meant = {"O": "cool", "B": "heat"}.get(valve)
    return frozenset({valve}) if thermostat.holds_valve == "mode" and mode == meant else frozenset()


@dataclass(frozen=True)
class Timing:
    """What the thermostat's compressor timer remembers.

    `called` are the terminals that it energises now; `on_s` is when its Y1 closed last, `off_s` when it
    opened last, `mode` the mode that it was in.
    """

    called: frozenset[str] = frozenset()
    on_s: float = -math.inf
    off_s: float = -math.inf
    mode: str = ""

    def wants(
        self, thermostat: Thermostat, terminals: frozenset[str], call: str, mode: str, now_s: float
    ) -> Timing:
        """Return the timer after a look at what is wanted: `terminals` are those of the call."""
        same = 1e-9
        got = terminals
        if "Y1" in terminals and "Y1" not in self.called and now_s < self.off_s + thermostat.min_off_s - same:
            got = terminals - {"Y1", "Y2"}
        ends_gently = call in ("satisfied", "fan") and mode == self.mode
        if (
            "Y1" in self.called
            and "Y1" not in terminals
            and ends_gently
            and now_s < self.on_s + thermostat.min_on_s - same
        ):
            got = self.called
        timing = replace(self, called=got, mode=mode)
        if ("Y1" in got) != ("Y1" in self.called):
            timing = replace(timing, on_s=now_s) if "Y1" in got else replace(timing, off_s=now_s)
        return timing

    def stopped(self, now_s: float) -> Timing:
        """Return the timer after the thermostat fell asleep: its contacts opened, whatever they held."""
        return replace(self, off_s=now_s, called=self.called - {"Y1", "Y2"} if self.called else self.called)

    def next_s(self, thermostat: Thermostat, terminals: frozenset[str], now_s: float) -> float:
        """Return when a wait of the timer is over (inf: it waits for nothing)."""
        if ("Y1" in terminals) == ("Y1" in self.called):
            return math.inf
        since_s, wait_s = (
            (self.off_s, thermostat.min_off_s) if "Y1" in terminals else (self.on_s, thermostat.min_on_s)
        )
        return max(since_s + wait_s, now_s)


def energised(
    thermostat: Thermostat,
    call: str,
    mode: str,
    valve: str,
    stages: int,
    heat: str = "electric",
    heat_stages: int = 1,
    emergency_by: str = "E and W1",
) -> frozenset[str]:
    """Return the terminals that a thermostat energises for a call in a mode, waits left aside."""
    meant = terminals_for(call, valve, stages, heat, heat_stages, emergency_by)
    return meant | held_valve(thermostat, valve, mode)
