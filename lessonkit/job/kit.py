"""The equipment of a job: what it has to run, with its coils and its times, as plain data."""

from __future__ import annotations

from dataclasses import dataclass

from lessonkit.errors import require, require_positive
from lessonkit.job import parts
from lessonkit.job.calls import ALL_CALL_TERMINALS, check_valve
from lessonkit.job.kinds import check_kinds
from lessonkit.job.parts import Coil
from lessonkit.job.second_heat import check_heat

__all__ = ["COILS", "EQUIPMENT", "Equipment"]

#: The coils of equipment, as places name them: "out:contactor".
COILS = (
    *("contactor", "reversing-valve", "unloader", "blower-relay", "sequencer", "emergency-relay"),
    *("sequencer-2", "furnace", "furnace-2", "interlock", "lockout-relay"),
)
LOCKOUTS = ("none", "relay")


@dataclass(frozen=True)
class Equipment:
    """What the job has to run, and its coils.

    Times: short-cycle protection 3 to 5 minutes; defrost asked for after 30, 60 or 90 minutes of
    accumulated frosted run and cut off after 10 to 14 minutes (service manuals; see calls and equipment).
    `defrost_by` is "time" (that clock) or "demand" (frost itself); `unfinished_defrost` says what the board
    does with a defrost whose call goes away: "forget" or "resume" (makers differ).
    A single-stage unit has no Y2; `valve` "none" is conventional cooling, without a defrost board.
    Second heat (`heat`, `heat_stages`, `emergency_by`, and `defrost_heat`: D joined to it) is told in
    `second_heat`. A furnace runs its own blower, some time behind its fire (30 s, and 60 to 180 s
    with 90 from the factory: two furnace manuals, seen). `high_pressure` and `low_pressure` are safety
    contacts in the way of the contactor; a `lockout` relay lies across them (see `appliances`).
    """

    valve: str = "O"
    stages: int = 2
    short_cycle_s: float = 300.0
    defrost_every_s: float = 3600.0
    defrost_limit_s: float = 600.0
    contactor: Coil = parts.CONTACTOR
    reversing_valve: Coil = parts.VALVE
    unloader: Coil = parts.UNLOADER
    blower_relay: Coil = parts.RELAY
    sequencer: Coil = parts.SEQUENCER
    emergency_relay: Coil = parts.RELAY
    defrost_by: str = "time"
    unfinished_defrost: str = "forget"
    heat: str = "electric"
    heat_stages: int = 1
    emergency_by: str = "E and W1"
    defrost_heat: bool = True
    furnace_blower_on_s: float = 30.0
    furnace_blower_off_s: float = 90.0
    high_pressure: bool = False
    low_pressure: bool = False
    lockout: str = "none"
    sequencer_2: Coil = parts.SEQUENCER
    furnace: Coil = parts.FURNACE
    furnace_2: Coil = parts.FURNACE
    interlock: Coil = parts.RELAY
    lockout_relay: Coil = parts.LOCKOUT_RELAY

    def __post_init__(self) -> None:
        """Refuse equipment that doesn't exist."""
        check_kinds(self)
        check_valve(self.valve)
        require(self.stages in (1, 2), "stages", self.stages, "1 or 2")
        check_heat(self.heat, self.heat_stages, self.emergency_by)
        for name in ("furnace_blower_on_s", "furnace_blower_off_s"):
            require_positive(name, getattr(self, name), zero_ok=True)
        require(self.lockout in LOCKOUTS, "lockout", self.lockout, f"one of {', '.join(LOCKOUTS)}")
        safe = self.high_pressure or self.low_pressure
        require(
            self.lockout == "none" or safe,
            "lockout",
            self.lockout,
            "none, or high_pressure or low_pressure true",
        )
        require_positive("short_cycle_s", self.short_cycle_s, zero_ok=True)
        require_positive("defrost_every_s", self.defrost_every_s)
        require_positive("defrost_limit_s", self.defrost_limit_s)
        for name, words in (("defrost_by", ("time", "demand")), ("unfinished_defrost", ("forget", "resume"))):
            require(getattr(self, name) in words, name, getattr(self, name), f"one of {', '.join(words)}")

    @property
    def call_terminals(self) -> tuple[str, ...]:
        """Return the call terminals that this equipment has.

        One valve letter at the most, Y2 and W2 only with two stages, E only where emergency is asked for by
        it, and no W1 where there is no second heat.
        """
        absent = {"O", "B"} - {self.valve}
        absent |= {"Y2"} if self.stages == 1 else set()
        absent |= {"W2"} if self.heat_stages == 1 else set()
        absent |= {"W1", "W2", "E"} if self.heat == "none" else set()
        absent |= {"E"} if self.valve == "none" or self.emergency_by == "W1" else set()
        return tuple(terminal for terminal in ALL_CALL_TERMINALS if terminal not in absent)


#: A two-stage heat pump with an O valve and electric second heat.
EQUIPMENT = Equipment()
