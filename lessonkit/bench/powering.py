"""What a bench does about power: disconnects, fuses, boards that starve and start, transformers that warm.

A board that loses its volts holds up for a tenth of a second or so before it falls asleep, and starts a
second after it has them again; an armature stays in through a lost half cycle.  What a supply gives warms
it, and what gets too warm opens.  The numbers are in `power` and `parts`; this is the part of a bench that
acts on them.
"""

from __future__ import annotations

from collections import deque
from dataclasses import replace

from lessonkit.bench.agenda import SAME_S
from lessonkit.bench.log import Event
from lessonkit.bench.power import ARMATURE_S, DISCONNECTS, Load, Power, loads
from lessonkit.bench.settling import Latches, Settled, blown_by, too_weak
from lessonkit.bench.wiring import Wiring
from lessonkit.errors import require
from lessonkit.job.faults import Fault
from lessonkit.job.model import Job

__all__ = ["Powering"]


class Powering:
    """What a bench does about its power; `Bench` has the clock, the circuit and everything else."""

    job: Job
    time_s: float
    wiring: Wiring
    faults: tuple[Fault, ...]
    _settled: Settled
    _settled_s: float
    _latches: Latches
    _log: deque[Event]
    _boots: dict[str, float]
    _starving: dict[str, float]
    _power: Power
    _loads: dict[str, Load]
    _worn: tuple[Fault, ...]
    _timers_at_s: float

    def _run_timers(self) -> None:
        """Bring everything that runs on its own up to now."""
        raise NotImplementedError

    def _rewire(self, faults: tuple[Fault, ...]) -> None:
        """Build the circuit of the job with these faults."""
        raise NotImplementedError

    def _disturbed(self) -> None:
        """Settle after something from outside."""
        raise NotImplementedError

    def _carried(self) -> frozenset[str]:
        """Return the boards that a store carries just now."""
        raise NotImplementedError

    # ---- hands ----

    @property
    def powered(self) -> bool:
        """Return whether any disconnect is closed; `power` says which."""
        return bool(self._power.on)

    @property
    def power(self) -> dict[str, bool]:
        """Return which disconnects are closed: "air", at the air handler, and "out", at the outdoor unit."""
        return {place: place in self._power.on for place in DISCONNECTS}

    def set_power(self, on: bool, place: str | None = None) -> None:
        """Close or open the disconnect at a place, "air" or "out"; both where none is named."""
        after = self._power.switched(on, place, self.time_s)
        if after.on != self._power.on:
            self._run_timers()
            self._power = replace(self._power, on=after.on, cut_s=after.cut_s)
            self._disturbed()

    def replace_transformer(self, place: str = "air") -> None:
        """Put in a whole transformer for one that burnt out; it burns again under the same load."""
        require(
            place in tuple(self.wiring.supplies), "place", place, f"one of {', '.join(self.wiring.supplies)}"
        )
        self._run_timers()
        self._log.append(Event(self.time_s, f"transformer {place}", "is replaced"))
        self._power = self._power.cooled(winding=place)
        self._worn = tuple(fault for fault in self._worn if fault.where != place)
        self._rewire(self.faults)
        self._disturbed()

    def replace_fuse(self) -> None:
        """Put in a whole fuse, or reset a breaker; it opens again if what opened it is still there."""
        for name in sorted(self._latches.blown):
            place = name.split()[1]
            breaker = self.job.supply_at(place).protector == "breaker"
            self._log.append(Event(self.time_s, name, "is reset" if breaker else "is replaced"))
            self._power = self._power.cooled(breaker=place)
        self._latches = replace(self._latches, blown=blown_by(self.faults))
        self._disturbed()

    # ---- boards that hold up, fall asleep and start again ----

    def _note_starving(self) -> None:
        """Remember which boards live on their capacitors from now on, and until when."""
        fed = self._latches.awake - self._carried()
        weak = too_weak(self.wiring, fed, self._settled.solution, awake=True)
        boards = self.wiring.boards
        self._starving = {
            name: self._starving.get(name, self.time_s + boards[name].electronics.hold_up_s) for name in weak
        }

    @property
    def _held(self) -> frozenset[str]:
        """Return what lost its volts too shortly ago to let go: boards, and armatures after a cut."""
        now_s = self.time_s + SAME_S
        held = self._latches.awake & self.wiring.holding_up
        held -= {name for name, until_s in self._starving.items() if until_s <= now_s}
        return held | self._latches.sealed if self._power.cut_s + ARMATURE_S > now_s else held

    def _note_loads(self) -> None:
        """Remember what each supply gives from now on, which is what warms it."""
        self._loads = loads(self.wiring, self._settled.solution)

    # ---- what gets warm ----

    def _let_go_s(self) -> list[float]:
        """Return when boards run out of what carries them, and armatures let go after a cut."""
        cut_s = self._power.cut_s + ARMATURE_S
        return [*self._starving.values(), *([cut_s] if cut_s > self._settled_s + SAME_S else [])]

    def _power_changes_s(self) -> float:
        """Return when a transformer burns out or a breaker trips."""
        return self._timers_at_s + self._power.due_s(self._loads)

    def _open_what_is_too_warm(self) -> None:
        for place in self._power.tripped:
            self._log.append(Event(self.time_s, f"fuse {place}", "trips"))
            self._latches = replace(self._latches, blown=self._latches.blown | {f"fuse {place}"})
            self._power = self._power.cooled(breaker=place)
        burnt = self._power.burnt - {fault.where for fault in self._worn}
        for place in sorted(burnt):
            self._log.append(Event(self.time_s, f"transformer {place}", "burns out"))
            self._worn += (Fault(place, "transformer", "burnt-out"),)
        if burnt:
            self._rewire(self.faults)
