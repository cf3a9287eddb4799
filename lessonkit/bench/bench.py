"""A bench: a job brought to life, with calls, faults and time.

    bench = Bench("two-run", call="cool-2")
    bench.advance(10)
    bench.state.responding["compressor stage 2"]

Power and signal share the same copper, and one circuit decides both.  After every change the bench settles
(`settling`) until nothing changes, or says what chatters.  Time then runs from event to event: polls,
watchdogs, timers, boards that start again.

A bench changes in place; what it shows (`state`) is a value.  Chance is seeded: same steps, same states.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable
from dataclasses import replace
from types import MappingProxyType

import numpy as np

from lessonkit.bench import outdoor_board
from lessonkit.bench.agenda import SAME_S, board_is_due, boots_due, next_event_s
from lessonkit.bench.asking import DEFROST_BOARD_AT, THERMOSTAT_AT, Wants
from lessonkit.bench.exchange import FrameBook
from lessonkit.bench.known import known_wirings
from lessonkit.bench.link import Ends
from lessonkit.bench.log import Event, Log, Releases, outdoor_thermostat_moves, what_happened
from lessonkit.bench.outdoor_coil import OutdoorCoil, Unit, Weather
from lessonkit.bench.polling import Polling
from lessonkit.bench.power import Load, Power
from lessonkit.bench.powering import Powering
from lessonkit.bench.settling import (
    CONTACTOR_AT,
    VALVE_AT,
    Latches,
    Settled,
    blown_by,
    elements_on,
    settle,
    too_weak,
)
from lessonkit.bench.state import State, read_circuit
from lessonkit.bench.waiting import Waiting
from lessonkit.copper.elements import Branch
from lessonkit.copper.network import Network, Solution
from lessonkit.copper.spice import settled_netlist
from lessonkit.errors import require, require_finite
from lessonkit.job import equipment
from lessonkit.job.calls import check_call
from lessonkit.job.faults import Fault, as_faults, contactor_welded
from lessonkit.job.handwork import HandWork, as_works
from lessonkit.job.model import Job
from lessonkit.job.thermostat import mode_after
from lessonkit.job.toml import load_job

#: Seeds are below this, 2 to the 64.
MANY_SEEDS = 2**64
_LOG = 4096


class Bench(Polling, Waiting, Powering):
    """A living job.

    Parameters: `job` is a `Job` or the name or path of one; `seed` fixes noise and phases; `faults` are
    there before anything is called; `outdoor_c` is the outdoor air; `call` comes at once.
    """

    def __init__(
        self,
        job: Job | str,
        seed: int = 0,
        faults: Iterable[Fault | str] | Fault | str = (),
        outdoor_c: float = 8.0,
        *,
        call: str = "off",
    ) -> None:
        self.job = job if isinstance(job, Job) else load_job(job)
        whole = isinstance(seed, int | np.integer) and not isinstance(seed, bool)
        require(whole and 0 <= seed < MANY_SEEDS, "seed", seed, f"a whole number from 0 to {MANY_SEEDS - 1}")
        self._known = known_wirings(self.job, int(seed))
        self.time_s = 0.0
        self.call, self.mode = "off", ""
        self._power = Power()
        self._loads: dict[str, Load] = {}
        self._starving: dict[str, float] = {}
        self._worn: tuple[Fault, ...] = ()
        self.weather = Weather(equipment.check_outdoor_c(outdoor_c))
        self.faults: tuple[Fault, ...] = ()
        self.hands: tuple[HandWork, ...] = ()
        self._boots: dict[str, float] = {}
        self._begin_waits()
        self._shown: State | None = None
        self._releases = Releases()
        self._log: deque[Event] = deque(maxlen=_LOG)
        self._switched_s = -math.inf
        self._timers = outdoor_board.Timers(coil=OutdoorCoil(self.outdoor_c))
        self._timers_at_s = 0.0
        self._unit, self._seen = Unit(False, False, False, self.weather), outdoor_board.Seen()
        self._links = {run: Ends(run) for run in self.job.links}
        # An exchange is acted on when it ends, so the first poll is done one exchange after the start.
        self._polls = {run: self.job.runs[run].link.exchange_s for run in self.job.links}
        self._latches = Latches()
        self._frames = FrameBook(int(seed))
        self._rewire(as_faults(faults, self.job))
        self._latches = replace(self._latches, awake=frozenset(self.wiring.boards))
        self._settle()
        self._sleep_if_too_weak_to_start()
        self.set_call(call)

    def __repr__(self) -> str:
        """Return job, call, faults, hands and time, in one line."""
        changed = [("broken: ", self.faults), ("by hand: ", self.hands)]
        words = [what + ", ".join(map(str, done)) for what, done in changed if done]
        words += [] if self.powered else ["disconnect open"]
        return ", ".join([f"Bench {self.job.name}: call {self.call}", *words, f"{self.time_s:g} s"])

    # ---- what a person does to a bench ----

    def set_call(self, call: str) -> None:
        """Let the thermostat ask for `call`, one of `calls.SETTINGS`."""
        check_call(call)
        if call != self.call:
            self.call, self.mode = call, mode_after(self.mode, call)
            self._look_at_call()
            self._disturbed()

    def set_faults(self, faults: Iterable[Fault | str]) -> None:
        """Break the job in exactly these ways, at this moment; `[]` mends everything but a blown fuse.

        Raises `BadFault` for a fault that this job can't have, and changes nothing then.
        """
        checked = as_faults(faults, self.job)
        if checked != self.faults:
            self._rewire(checked)
            self._disturbed()

    def add_fault(self, fault: Fault | str) -> None:
        """Break one thing more."""
        self.set_faults([*self.faults, fault])

    def clear_fault(self, fault: Fault | str) -> None:
        """Mend one thing."""
        mended = as_faults([fault], self.job)
        self.set_faults([one for one in self.faults if one not in mended])

    def set_hands(self, works: Iterable[HandWork | str]) -> None:
        """Leave the wiring changed by exactly these works of hands; `hands.Hands` does them one by one."""
        self.hands = as_works(works, self.job)
        self._rewire(self.faults)
        self._disturbed()

    @property
    def outdoor_c(self) -> float:
        """Return the outdoor air in degrees Celsius."""
        return self.weather.air_c

    def set_outdoor_c(self, outdoor_c: float, dw: float | None = None) -> None:
        """Set the outdoor air in degrees Celsius, and the water in it that frosts (`outdoor_coil.dw`)."""
        air_c = equipment.check_outdoor_c(outdoor_c)
        if dw is not None:
            require(0 <= require_finite("dw", dw) <= 0.05, "dw", dw, "from 0 to 0.05 kg of water a kg of air")
        self._run_timers()
        self._log.extend(outdoor_thermostat_moves(self.job, self.outdoor_c, air_c, self.time_s))
        self.weather = Weather(air_c, self.weather.dw if dw is None else float(dw))
        self._settle()

    def force_defrost(self) -> None:
        """Join the test pins of the defrost board: it defrosts now, if there is a call for heat."""
        self._run_timers()
        self._timers = outdoor_board.pins_joined(self._timers, self._seen, self.time_s, self.job.equipment)
        self._disturbed()

    def skip_delay(self) -> None:
        """Let the short-cycle delay be over now, as the test pins of many boards do."""
        self._timers = replace(self._timers, free_at_s=self.time_s)
        self._settle()

    def advance(self, seconds: float) -> State:
        """Let time pass, from event to event, and return the state at the end of it."""
        self.pass_time(seconds)
        return self.state

    def pass_time(self, seconds: float) -> None:
        """Let time pass, from event to event, without a look: its trials of frames often cost the most."""
        require(
            0 <= require_finite("seconds", seconds) <= 1e7, "seconds", seconds, "from 0 to 10 million seconds"
        )
        end_s = self.time_s + float(seconds)
        while True:
            next_s = next_event_s(
                self.job, self.time_s, self._polls, self._boots, self._links, self._timers,
                self._changes_s(), self._waits(),
            )  # fmt: skip
            if next_s > end_s + SAME_S:
                break
            self.time_s = max(self.time_s, next_s)
            self._events()
        self.time_s = end_s
        self._run_timers()
        self._shown = None

    # ---- wiring and settling ----

    def _rewire(self, faults: tuple[Fault, ...]) -> None:
        blown = (self._latches.blown - blown_by(self.faults)) | blown_by(faults)
        self._latches = replace(self._latches, blown=blown)
        self.faults = faults
        self._answers = self._known(faults + self._worn, self.hands)
        self.wiring, self._paths = self._answers.wiring, self._answers.paths
        self._read: dict[str, tuple[frozenset[str], bool]] = {}
        self._frames.forget_ahead()
        self._welded = contactor_welded(faults)
        self._look_at_call()

    def _disturbed(self) -> None:
        """Settle after something from outside: what chattered before may be over."""
        self._releases.forget()
        self._run_timers()
        self._settle()

    @property
    def _wants(self) -> Wants:
        """Return all that decides what wants to be on."""
        held = [(run, "near", ends.near.outputs) for run, ends in self._links.items()]
        held += [(run, "far", ends.far.outputs) for run, ends in self._links.items()]
        on, outdoor_c = self._power.on, self.outdoor_c
        return Wants(self.called, tuple(held), on, self._free, self._defrosting, outdoor_c)

    @property
    def _defrosting(self) -> bool:
        return self._timers.defrosting and DEFROST_BOARD_AT in self._latches.awake

    def _settle(self) -> None:
        """Settle the circuit, let what hangs on it react, and go on until neither moves the other."""
        seen, self._shown, self._settled_s = [], None, self.time_s
        while True:
            wants, before = self._wants, self._latches
            asks, solved = self._answers.asks(wants), self._answers.solved
            self._settled = settle(self.wiring, before, asks, solved, self._held, self._carried())
            self._read.clear()
            self._latches = self._settled.latches
            self._follow(before, self._settled)
            now = (wants, self._latches)
            if self._wants == wants or now in seen:
                break
            seen.append(now)
        self._watch_stores()
        self._boots = boots_due(self._boots, self.wiring, self._latches.awake, self.solution, self.time_s)
        self._note_starving()
        self._note_loads()

    def _follow(self, before: Latches, settled: Settled) -> None:
        """Let the boards' memories follow what the circuit did."""
        self._releases.note(settled.released, self.time_s)
        self._log.extend(what_happened(self.time_s, before, settled))
        for name in before.awake - settled.latches.awake:
            self._links = {run: ends.without(name) for run, ends in self._links.items()}
        self._follow_indoors(before, settled)
        if CONTACTOR_AT in before.sealed ^ settled.latches.sealed or CONTACTOR_AT in settled.released:
            self._switched_s = self.time_s
            if CONTACTOR_AT in settled.released and self._terminal_lost(settled):
                self._hold_compressor()
        self._run_timers()
        self._look_outdoors(settled)

    def _look_outdoors(self, settled: Settled) -> None:
        """Let the defrost board look at its terminals and its sensor, and the coil feel what runs now."""
        kit, sealed = self.job.equipment, settled.latches.sealed
        if DEFROST_BOARD_AT in settled.latches.awake:
            burnt = any(self.wiring.coils[name].burnt_out for name in (CONTACTOR_AT, VALVE_AT))
            hanging = burnt or self._defrosting
            self._seen = outdoor_board.seen(
                settled.solution, kit.valve, self._free, hanging, self.job.y1_at_board
            )
            self._timers = outdoor_board.settle_board(self._timers, self._seen, self.time_s, kit)
        else:
            self._seen, self._timers = outdoor_board.Seen(), self._timers.without_power()
        running = "out" in self._power.on and (self._welded or CONTACTOR_AT in sealed)
        cooling = equipment.valve_cools(VALVE_AT in sealed, kit.valve)
        self._unit = Unit(running, cooling, running and not self._defrosting, self.weather)

    def _terminal_lost(self, settled: Settled) -> bool:
        """Return whether the board's own terminal lost its volts; it doesn't see the armature.

        A coil that burns out or a safety contact that opens behind the board starts no delay.
        """
        if self.wiring.coils[CONTACTOR_AT].burnt_out or not self.job.has_defrost:
            return False
        tripped = any(fault.part in ("high-pressure", "low-pressure") for fault in self.faults)
        return not tripped or outdoor_board.y1_lost(settled.solution, f"out:{self.job.y1_at_board}")

    @property
    def _free(self) -> bool:
        """Return whether the compressor's delay is over."""
        return self.time_s >= self._timers.free_at_s - SAME_S

    def _hold_compressor(self) -> None:
        free_at_s = self.time_s + self.job.equipment.short_cycle_s
        self._timers = replace(self._timers, free_at_s=free_at_s)

    # ---- boards that fall asleep and start again ----

    def _sleep_if_too_weak_to_start(self) -> None:
        """At the very start, nothing runs on volts that it could not have started on."""
        while weak := too_weak(self.wiring, self._latches.awake, self.solution, awake=False):
            self._latches = replace(self._latches, awake=self._latches.awake - weak)
            self._settle()
        self._releases.forget()

    # ---- time ----

    def _run_timers(self) -> None:
        """Bring the outdoor board and its coil up to now, with all as it was until now."""
        if self.time_s > self._timers_at_s:
            seconds = self.time_s - self._timers_at_s
            self._timers = outdoor_board.after(self._timers, self._unit, self._seen, seconds)
            self._power = self._power.after(self._loads, seconds)
        self._timers_at_s = self.time_s

    def _events(self) -> None:
        now, changed = self.time_s + SAME_S, False
        for name in [name for name, due in self._boots.items() if due <= now]:
            del self._boots[name]
            self._latches = replace(self._latches, awake=self._latches.awake | {name})
            self._log.append(Event(self.time_s, name, "starts"))
            if name == THERMOSTAT_AT:
                self._look_at_call()
            if name == DEFROST_BOARD_AT:
                self._run_timers()
                self._hold_compressor()  # common practice: the delay also follows a loss of power
                self._timers = replace(self._timers, frosted_s=0.0)
            changed = True
        for run in self.job.links:
            changed |= self._watch(run)
            if self._polls[run] <= now:
                changed |= self._poll(run)
        changed |= self._waits_are_over()
        due = any(at_s <= now for at_s in self._let_go_s()) or self._power_changes_s() <= now
        if due or changed or board_is_due(self.time_s, self._timers, self._board_changes_s()):
            self._run_timers()
            self._open_what_is_too_warm()
            self._settle()

    def _changes_s(self) -> float:
        """Return when something changes that is no poll, no watchdog, no start and no time of day."""
        return min(self._board_changes_s(), self._power_changes_s(), *self._let_go_s())

    def _board_changes_s(self) -> float:
        """Return when the defrost board changes something by itself: never where there is none that works."""
        if DEFROST_BOARD_AT not in self._latches.awake:
            return math.inf
        kit = self.job.equipment
        return self._timers_at_s + outdoor_board.next_change_s(self._timers, self._unit, self._seen, kit)

    # ---- what it shows ----

    @property
    def log(self) -> Log:
        """Return what coils, boards and fuses did, oldest first: the latest few thousand events."""
        supplies = self.wiring.supplies
        whole = {f"fuse {place}" for place in supplies} - self._latches.blown
        whole |= {f"transformer {place}" for place in supplies} - {
            f"transformer {f.where}" for f in self._worn
        }
        return Log.kept(self._log, self.time_s, self._latches.sealed | self._latches.awake | whole)

    @property
    def chatter(self) -> tuple[str, ...]:
        """Return the coils and boards that pull in and let go again and again."""
        return tuple(sorted(self._settled.chattering | self._releases.often(self.time_s)))

    @property
    def fuse(self) -> str:
        """Return `blown` where any fuse is, else `whole`."""
        return "blown" if self._latches.blown else "whole"

    @property
    def responding(self) -> MappingProxyType[str, str]:
        """Return what each piece of equipment does, in words, without a look at the links."""
        sealed, kit = self._latches.sealed, self.job.equipment
        blows, fed = self._furnace.blows, "out" in self._power.on
        return MappingProxyType(equipment.responding(sealed, kit, self._defrosting, self._welded, blows, fed))

    @property
    def on(self) -> frozenset[str]:
        """Return the names of the two-way elements that are on (`wiring`)."""
        return self._settled.on

    @property
    def solution(self) -> Solution:
        """Return the settled network's solution at the supply frequency."""
        return self._settled.solution

    def network(self, extra: Iterable[Branch] = ()) -> Network:
        """Return the network in its present state, with extra branches (a meter's input, say) if wanted."""
        return self.wiring.network(self._settled.on, extra)

    def network_at_rest(self, extra: Iterable[Branch] = ()) -> Network:
        """Return the network dead for longer than any board holds up, as hands and probes find it."""
        asleep = replace(self._latches, awake=frozenset(), sealed=frozenset())
        on = elements_on(self.wiring, asleep, {"board out:valve": ""})
        return self.wiring.network(on, extra)

    def to_spice(self) -> str:
        """Return the network in its present state as a netlist that ngspice runs in batch."""
        changes = ", ".join(map(str, (*self.faults, *self.hands))) or "no fault"
        title = f"{self.job.name}: {self.call}, {changes}"
        return settled_netlist(self.network(), self.job.frequency_hz, title)

    @property
    def state(self) -> State:
        """Return what the bench shows now; read once, however often it is asked for."""
        if self._shown is None:
            self._shown = self._look()
        return self._shown

    def _look(self) -> State:
        words = self.responding
        return State(
            job=self.job.name,
            time_s=self.time_s,
            call=self.call,
            mode=self.mode,
            faults=tuple(map(str, self.faults)),
            present=self.faults,
            hands=tuple(map(str, self.hands)),
            **read_circuit(self.wiring, self._settled),
            responding=words,
            delivering=equipment.delivering(words, self.job.equipment.valve),
            links=MappingProxyType({run: self.link_state(run) for run in self.job.links}),
            chatter=self.chatter,
            fuse=self.fuse,
            called=self.called,
            powered=self.powered,
            power=MappingProxyType(self.power),
            outdoor_c=self.outdoor_c,
            coil_c=self._timers.coil.celsius,
            frost=self._timers.coil.frost,
            waiting_s=max(self._timers.free_at_s - self.time_s, 0.0),
        )
