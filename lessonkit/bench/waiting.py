"""What waits indoors: a thermostat's timer, its store, and a furnace's blower.

This is the part of a bench that looks at the call (which the thermostat may hold back or keep for a while),
at boards that a store carries when their volts fail, and at the furnace board, whose blower comes behind its
fire.  Each has a moment at which its wait is over; the bench's agenda asks for it.
"""

from __future__ import annotations

import math
from collections import deque

from lessonkit.bench.agenda import SAME_S
from lessonkit.bench.asking import THERMOSTAT_AT
from lessonkit.bench.indoor import FURNACE_AT, FurnaceBlower
from lessonkit.bench.log import Event
from lessonkit.bench.settling import Latches, Settled, too_weak
from lessonkit.bench.wiring import Wiring
from lessonkit.job.faults import Fault, thermostat_terminals
from lessonkit.job.model import Job
from lessonkit.job.thermostat import Timing

__all__ = ["Waiting"]


class Waiting:
    """What a bench does with waits indoors; `Bench` has the clock, the circuit and everything else."""

    job: Job
    time_s: float
    call: str
    mode: str
    faults: tuple[Fault, ...]
    wiring: Wiring
    _log: deque[Event]
    _latches: Latches
    _settled: Settled

    def _begin_waits(self) -> None:
        self._timing, self._furnace = Timing(), FurnaceBlower()
        self._stores: dict[str, float] = {}  # boards that live on their store, and when it is empty

    @property
    def called(self) -> frozenset[str]:
        """Return the terminals that the thermostat means to energise now, its waits counted in."""
        return self._timing.called

    def _look_at_call(self) -> None:
        """Let the thermostat look at its call and at its timer; what it wants stays until the next look."""
        stat, wanted = self.job.thermostat, thermostat_terminals(self.job, self.call, self.faults, self.mode)
        self._wanted = wanted
        before = self._timing
        self._timing = before.wants(stat, wanted, self.call, self.mode, self.time_s)
        wait_s = self._timing.next_s(stat, wanted, self.time_s) - self.time_s
        if math.isfinite(wait_s) and not math.isfinite(before.next_s(stat, wanted, self.time_s)):
            return
        if math.isfinite(wait_s):
            does = "keeps Y1 closed" if "Y1" in self.called else "holds Y1 open"
            self._log.append(Event(self.time_s, THERMOSTAT_AT, f"{does} for another {wait_s:.0f} s"))

    def _waits(self) -> tuple[float, ...]:
        """Return when the thermostat's timer, a store, or the furnace's blower is through with waiting."""
        timer_s = self._timing.next_s(self.job.thermostat, self._wanted, self.time_s)
        blower_s = self._furnace.next_s(self.job.equipment)
        return timer_s, max(blower_s, self.time_s), *self._stores.values()

    def _waits_are_over(self) -> bool:
        """Let whatever has waited long enough go on; return whether there was anything."""
        if min(self._waits()) > self.time_s + SAME_S:
            return False
        self._look_at_call()
        return True

    def _follow_indoors(self, before: Latches, settled: Settled) -> None:
        """Let the thermostat's timer and the furnace board follow what the circuit did."""
        if THERMOSTAT_AT in before.awake - settled.latches.awake:  # its contacts open
            self._timing = self._timing.stopped(self.time_s)
        blew, powered = self._furnace.blows, "power air" in settled.on
        burning = FURNACE_AT in settled.latches.sealed
        self._furnace = self._furnace.after(burning, powered, self.time_s, self.job.equipment)
        if self._furnace.blows != blew:
            does = "starts" if self._furnace.blows else "stops"
            self._log.append(Event(self.time_s, "air:furnace-blower", does))

    def _carried(self) -> frozenset[str]:
        """Return the boards that their store carries, should their volts fail."""
        now_s = self.time_s + SAME_S
        return frozenset(name for name in self.wiring.stored if self._stores.get(name, math.inf) > now_s)

    def _watch_stores(self) -> None:
        """Note which boards live on their store now, and until when; a store that is fed again is full."""
        carried = self._carried()
        short = too_weak(self.wiring, carried & self._latches.awake, self._settled.solution, awake=True)
        for name in carried:
            if name not in short:
                self._stores.pop(name, None)
            elif name not in self._stores:
                self._stores[name] = self.time_s + self.wiring.boards[name].store_s
                self._log.append(Event(self.time_s, name, "lives on its store"))
        for name in set(self._stores) - self._latches.awake:
            del self._stores[name]
