"""A bench: a job brought to life, with calls, faults and time.

    bench = Bench(demo_job("two-run"))
    bench.set_call("cool-2")
    bench.advance(10)
    bench.state.responding["compressor stage 2"]

Power and signal share the same copper, and one circuit decides both.  After every change the bench settles: it solves the
network, lets each coil compare its volts with its pick-up and drop-out, each board with what it needs, the fuse with what it
carries, and repeats until nothing changes.  If the states go round in a circle, that is chatter, and it is reported with
the coils that do it.  Time then runs from event to event: polls, watchdogs, timers, boards that start again.

A bench is the one thing in lessonkit that changes in place; what it shows (`state`) is a value.  Its chance part (noise, the
phase of the shift) is seeded, so the same steps give the same states.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable
from dataclasses import replace
from types import MappingProxyType

import numpy as np

from lessonkit import equipment, reception
from lessonkit.calls import check_call, terminals_for
from lessonkit.circuit import Branch, Network, Solution, to_spice
from lessonkit.errors import require, require_finite
from lessonkit.faults import Fault, as_faults
from lessonkit.job import RUN_ENDS, Job, load_job
from lessonkit.link import Ends, Listener, LinkState
from lessonkit.parts import INPUT_LIVE_V
from lessonkit.state import BoardState, CoilState, State
from lessonkit.wiring import Wiring

#: A coil or board that lets go this often within this time, while nobody changed the call or the faults, chatters.
CHATTER_RELEASES, CHATTER_WINDOW_S = 2, 900.0

_TINY_S = 1e-9
_CACHE = 2048


class Bench:
    """A living job.

    Parameters: `job` is a `Job` or the name or path of one; `seed` fixes noise and phases; `outdoor_c` is the outdoor air.
    """

    def __init__(self, job: Job | str, seed: int = 0, faults: Iterable[Fault | str] = (), outdoor_c: float = 8.0) -> None:
        self.job = job if isinstance(job, Job) else load_job(job)
        self._rng = np.random.default_rng(seed)
        self.time_s = 0.0
        self.call = "off"
        self.powered = True
        self.outdoor_c = outdoor_c
        self.faults: tuple[Fault, ...] = ()
        self._blown: set[str] = set()
        self._sealed: set[str] = set()
        self._chattering: set[str] = set()
        self._boots: dict[str, float] = {}
        self._releases: dict[str, deque[float]] = {}
        self._switched_s = -math.inf
        self._timers = equipment.Timers(coil_c=outdoor_c)
        self._timers_at_s = 0.0
        self._links = {run: Ends(run) for run in self.job.links}
        # An exchange is acted on when it ends, so the first poll is done one exchange after the start.
        self._polls = {run: self.job.runs[run].link.exchange_s for run in self.job.links}
        self._rewire(as_faults(faults, self.job))
        self._awake = {name for name, board in self._wiring.boards.items() if not board.dead}
        self._settle()
        self._sleep_if_too_weak_to_start()

    # ---- what a person does to a bench ----

    def set_call(self, call: str) -> None:
        """Let the thermostat ask for `call`, one of `calls.CALLS`."""
        check_call(call)
        if call != self.call:
            self.call = call
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
        gone = as_faults([fault], self.job)[0]
        self.set_faults([one for one in self.faults if one != gone])

    def set_power(self, on: bool) -> None:
        """Close or open the disconnect ahead of the transformers."""
        if on != self.powered:
            self.powered = bool(on)
            self._disturbed()

    def replace_fuse(self) -> None:
        """Put in a whole fuse; it blows again if what blew it is still there."""
        self._blown = {f"fuse {f.where}" for f in self.faults if f.kind == "blown"}
        self._disturbed()

    def set_outdoor_c(self, outdoor_c: float) -> None:
        """Set the outdoor air in degrees Celsius."""
        low, high = -40.0, 55.0
        require(low <= require_finite("outdoor_c", outdoor_c) <= high, "outdoor_c", outdoor_c, f"from {low:g} to {high:g} C")
        self._run_timers()
        self.outdoor_c = float(outdoor_c)
        self._settle()

    def force_defrost(self) -> None:
        """Do what the test pins of a defrost board do: frost the coil and let the interval be over now."""
        self._run_timers()
        self._timers = replace(
            self._timers, coil_c=min(self._timers.coil_c, equipment.FROST_CLOSES_C), frost_switch=True,
            frosted_s=self.job.equipment.defrost_every_s,
        )
        self._settle()

    def skip_delay(self) -> None:
        """Let the short-cycle delay be over now, as the test pins of many boards do."""
        self._timers = replace(self._timers, free_at_s=self.time_s)
        self._settle()

    def advance(self, seconds: float) -> State:
        """Let time pass, from event to event, and return the state at the end of it."""
        require(0 <= require_finite("seconds", seconds) <= 1e7, "seconds", seconds, "from 0 to 10 million seconds")
        end_s = self.time_s + float(seconds)
        while True:
            next_s = self._next_event_s()
            if next_s > end_s + _TINY_S:
                break
            self.time_s = max(self.time_s, next_s)
            self._events()
        self.time_s = end_s
        self._run_timers()
        return self.state

    # ---- wiring and settling ----

    def _rewire(self, faults: tuple[Fault, ...]) -> None:
        mended = {f"fuse {f.where}" for f in self.faults if f.kind == "blown"}
        self.faults = faults
        self._wiring = Wiring(self.job, faults)
        self._solutions: dict[frozenset[str], Solution] = {}
        self._heard: dict[frozenset[str], dict[tuple[str, str], reception.Way]] = {}
        self._pools: dict[tuple[object, ...], reception.Way] = {}
        self._blown = (self._blown - mended) | {f"fuse {f.where}" for f in faults if f.kind == "blown"}
        self._welded = any(f.part == "contactor" and f.kind == "stuck-closed" for f in faults)
        self._reversed = any(f.part == "valve" for f in faults)
        dead = {name for name, board in self._wiring.boards.items() if board.dead}
        if hasattr(self, "_awake"):
            for name in dead & self._awake:
                self._fall_asleep(name)

    def _disturbed(self) -> None:
        """Settle after something from outside: what chattered before may be over."""
        self._releases.clear()
        self._run_timers()
        self._settle()

    @property
    def called(self) -> frozenset[str]:
        """Return the terminals that the thermostat means to energise."""
        valve, stages = self.job.equipment.valve, self.job.equipment.stages
        if not self._reversed:
            return terminals_for(self.call, valve, stages)
        # Set for the other type, it uses the same screw the other way round.
        other = "B" if valve == "O" else "O"
        meant = terminals_for(self.call, other, stages)
        return frozenset(valve if terminal == other else terminal for terminal in meant)

    def _on(self) -> frozenset[str]:
        """Return the names of all two-way elements that are on now."""
        on = {f"power {place}" for place in self._wiring.supplies} if self.powered else set()
        on |= {f"fuse {place}" for place in self._wiring.supplies} - self._blown
        on |= {f"coil {name}" for name in self._sealed}
        if "stat:thermostat" in self._awake:
            on |= {f"call stat:{terminal}" for terminal in self.called}
        for run, ends in self._links.items():
            near, far = RUN_ENDS[run]
            if f"{near}:encoder" in self._awake:
                on.add(f"driver {run}.near")
                on |= {f"{what} {near}:{t}" for what in ("relay", "pull") for t in ends.near.held}
            if f"{far}:relay-board" in self._awake:
                on |= {f"{what} {far}:{t}" for what in ("relay", "pull") for t in ends.far.held}
        board, timers = "out:defrost-board" in self._awake, self._timers
        if board and self.time_s >= timers.free_at_s - _TINY_S:
            on.add("board out:compressor")
        if board and timers.defrosting:
            on |= {"board out:defrost-valve", "board out:D"} & set(self._wiring.keys)
        else:
            on.add("board out:valve")
        return frozenset(on)

    def _solved(self, on: frozenset[str]) -> Solution:
        if on not in self._solutions:
            if len(self._solutions) > _CACHE:
                self._solutions.clear()
            self._solutions[on] = self._wiring.solve([on], self.job.frequency_hz)[0]
        return self._solutions[on]

    def _settle(self) -> None:
        """Repeat until nothing changes; a state seen before means chatter."""
        self._chattering = set()
        seen: list[tuple[frozenset[str], ...]] = []
        while True:
            self._settled_on = self._on()
            self.solution = self._solved(self._settled_on)
            now = (frozenset(self._sealed), frozenset(self._awake), frozenset(self._blown), self._settled_on)
            if now in seen:
                circle = seen[seen.index(now):]
                self._chattering |= frozenset.union(*(s[0] for s in circle)) - frozenset.intersection(*(s[0] for s in circle))
                seen = []
            seen.append(now)
            if not self._look(self.solution):
                break
        self._plan_boots()

    def _look(self, solution: Solution) -> bool:
        """Let fuse, boards, coils and the defrost board react to a solution; return whether anything changed."""
        for place in self._wiring.supplies:
            fuse = (self.job.supply if place == "air" else self.job.outdoor_run.far_supply or self.job.supply).fuse
            if f"fuse {place}" not in self._blown and abs(solution.a(f"fuse {place}")) >= fuse.blow_a:
                self._blown.add(f"fuse {place}")
                return True
        weak = [name for name in sorted(self._awake) if not self._fed(name, solution, awake=True)]
        for name in weak:
            self._fall_asleep(name)
        if weak:
            return True
        before = set(self._sealed)
        for name, at in self._wiring.coils.items():
            holds = at.coil.holds(abs(solution.v(at.a, at.b)), name in before)
            if holds and name not in self._chattering:
                self._sealed.add(name)
            else:
                self._sealed.discard(name)
        changed = before ^ self._sealed
        for name in before - self._sealed:
            self._note_release(name)
        if "out:contactor" in changed:
            self._run_timers()
            self._switched_s = self.time_s
            if "out:contactor" in before:
                self._hold_compressor()
        return bool(changed) or self._look_at_defrost()

    def _look_at_defrost(self) -> bool:
        kit, before = self.job.equipment, self._timers
        self._timers = equipment.settle_board(before, self._mode(), self.time_s, kit.defrost_every_s, kit.defrost_limit_s)
        return before.defrosting != self._timers.defrosting

    def _mode(self) -> equipment.Mode:
        running = self._welded or "out:contactor" in self._sealed
        cooling = equipment.valve_cools("out:reversing-valve" in self._sealed, self.job.equipment.valve)
        return equipment.Mode(running, cooling, self.outdoor_c)

    def _hold_compressor(self) -> None:
        self._timers = replace(self._timers, free_at_s=self.time_s + self.job.equipment.short_cycle_s)

    def _note_release(self, name: str) -> None:
        times = self._releases.setdefault(name, deque(maxlen=CHATTER_RELEASES))
        times.append(self.time_s)

    # ---- boards that fall asleep and start again ----

    def _fed(self, name: str, solution: Solution, awake: bool) -> bool:
        board = self._wiring.boards[name]
        return not board.dead and board.electronics.awake(abs(solution.v(board.hot, board.common)), awake)

    def _fall_asleep(self, name: str) -> None:
        self._awake.discard(name)
        if self.powered:
            self._note_release(name)
        place, _, part = name.partition(":")
        for run, ends in self._links.items():
            near, far = RUN_ENDS[run]
            if part == "relay-board" and place == far:
                self._links[run] = replace(ends, far=Listener())
            elif part == "encoder" and place == near:
                self._links[run] = replace(ends, near=Listener())

    def _plan_boots(self) -> None:
        """Give every sleeping board that has volts again its time to start; forget those that lost them."""
        for name, board in self._wiring.boards.items():
            if name in self._awake or not self._fed(name, self.solution, awake=False):
                self._boots.pop(name, None)
            else:
                self._boots.setdefault(name, self.time_s + board.electronics.boot_s)

    def _sleep_if_too_weak_to_start(self) -> None:
        """At the very start, nothing runs on volts that it could not have started on."""
        while weak := [name for name in sorted(self._awake) if not self._fed(name, self.solution, awake=False)]:
            for name in weak:
                self._fall_asleep(name)
            self._settle()
        self._releases.clear()

    # ---- time ----

    def _run_timers(self) -> None:
        """Bring the outdoor board's memory up to now."""
        if self.time_s > self._timers_at_s:
            self._timers = equipment.after(self._timers, self._mode(), self.time_s - self._timers_at_s)
        self._timers_at_s = self.time_s

    def _next_event_s(self) -> float:
        times = [*self._polls.values(), *self._boots.values()]
        for run, ends in self._links.items():
            settings = self.job.runs[run].link
            times += [t for t in (ends.far.deadline_s(settings), ends.near.deadline_s(settings)) if t is not None]
        if self._timers.free_at_s > self.time_s + _TINY_S:
            times.append(self._timers.free_at_s)
        if self._timers.defrost_until_s is not None:
            times.append(self._timers.defrost_until_s)
        wait_s = equipment.next_change_s(self._timers, self._mode(), self.job.equipment.defrost_every_s)
        times.append(max(self._timers_at_s + wait_s, self.time_s))
        return min(times)

    def _events(self) -> None:
        now, changed = self.time_s + _TINY_S, False
        for name in [name for name, due in self._boots.items() if due <= now]:
            del self._boots[name]
            self._awake.add(name)
            if name == "out:defrost-board":
                self._hold_compressor()  # common practice: the delay also follows a loss of power
            changed = True
        for run in self.job.links:
            changed |= self._watch(run)
            if self._polls[run] <= now:
                changed |= self._poll(run)
        due_s = self._timers_at_s + equipment.next_change_s(self._timers, self._mode(), self.job.equipment.defrost_every_s)
        timed = self._timers.free_at_s, self._timers.defrost_until_s or math.inf, due_s
        if changed or any(abs(t - self.time_s) <= 1e-6 for t in timed):
            self._run_timers()
            self._look_at_defrost()
            self._settle()

    def _watch(self, run: str) -> bool:
        ends, settings = self._links[run], self.job.runs[run].link
        far, near = ends.far.watches(self.time_s, settings), ends.near.watches(self.time_s, settings)
        self._links[run] = replace(ends, far=far, near=near)
        return (far.held, near.held) != (ends.far.held, ends.near.held)

    def _poll(self, run: str) -> bool:
        settings, (near, far) = self.job.runs[run].link, RUN_ENDS[run]
        self._polls[run] += settings.interval_s
        if f"{near}:encoder" not in self._awake:
            return False
        ends = self._links[run]
        live, wants_heat = reception.live_terminals(self._wiring, self.solution, run, INPUT_LIVE_V)
        hears = f"{far}:relay-board" in self._awake
        down = hears and self._gets_through(run, "down", live)
        up = down and self._gets_through(run, "up", live)
        after = ends.exchange(live, wants_heat, down, up, self.time_s, settings)
        self._links[run] = after
        return (after.far.held, after.near.held) != (ends.far.held, ends.near.held)

    def _way(self, run: str, way: str, live: frozenset[str], switching: bool = False) -> reception.Way:
        """Return one way over a link in the present state of the circuit, tried once and then kept."""
        on = self._settled_on
        key = (on, run, way, live, switching)
        if key not in self._pools:
            if len(self._pools) > _CACHE:
                self._pools.clear()
                self._heard.clear()
            if on not in self._heard:
                self._heard[on] = reception.ways(self._wiring, on, frozenset(self._awake))
            self._pools[key] = reception.tried(self._wiring, run, self._heard[on][run, way], live, self._rng, switching)
        return self._pools[key]

    def _gets_through(self, run: str, way: str, live: frozenset[str]) -> bool:
        switching = self.time_s - self._switched_s <= self.job.runs[run].link.exchange_s
        pool = self._way(run, way, live, switching).pool
        if pool.all():
            return True
        return bool(pool.any()) and bool(pool[self._rng.integers(pool.size)])

    # ---- what it shows ----

    @property
    def chatter(self) -> tuple[str, ...]:
        """Return the coils and boards that pull in and let go again and again."""
        old = self.time_s - CHATTER_WINDOW_S
        often = {n for n, times in self._releases.items() if len(times) == CHATTER_RELEASES and times[0] >= old}
        return tuple(sorted(self._chattering | often))

    def network(self, extra: Iterable[Branch] = ()) -> Network:
        """Return the network in its present state, with extra branches (a meter's input, say) if wanted."""
        return self._wiring.network(self._settled_on, extra)

    def to_spice(self) -> str:
        """Return the network in its present state as a netlist that ngspice runs in batch."""
        faults = ", ".join(map(str, self.faults)) or "no fault"
        return to_spice(self.network(), self.job.frequency_hz, f"{self.job.name}: {self.call}, {faults}")

    def link_state(self, run: str) -> LinkState:
        """Return one link as a reader sees it."""
        ends, (near, far) = self._links[run], RUN_ENDS[run]
        why = ""
        for place, part in ((near, "encoder"), (far, "relay-board")):
            if f"{place}:{part}" not in self._awake:
                board = self._wiring.boards[f"{place}:{part}"]
                volts = abs(self.solution.v(board.hot, board.common))
                why = why or f"the {part} at {place} does nothing ({volts:.1f} V between its R and C)"
        live, _ = reception.live_terminals(self._wiring, self.solution, run, INPUT_LIVE_V)
        down, up = self._way(run, "down", live), self._way(run, "up", live)
        return LinkState(
            run, "dead" if why else ends.far.state, ends.sent, ends.accepted, ends.replies, ends.far.held, "D" in ends.near.held,
            down.low_v, down.high_v, down.hum_v, down.odds, up.odds, ends.far.heard_s, why,
        )

    @property
    def state(self) -> State:
        """Return what the bench shows now."""
        solution, wiring = self.solution, self._wiring
        phasors = {n: solution.v(n) for n in wiring.template.nodes if n.partition(":")[0] in ("stat", "air", "out")}
        amps = {
            f"{name}.{conductor}": abs(solution.a(f"{name}.{conductor}#0"))
            for name, run in self.job.runs.items()
            for conductor in run.conductors
        }
        amps["outdoor.earth"] = abs(solution.a("earth outdoor"))
        coils = {n: CoilState(abs(solution.v(c.a, c.b)), n in self._sealed) for n, c in wiring.coils.items()}
        boards = {n: BoardState(abs(solution.v(b.hot, b.common)), n in self._awake) for n, b in wiring.boards.items()}
        words = equipment.responding(
            self._sealed, self.job.equipment.valve, self._timers, "out:defrost-board" in self._awake, self._welded
        )
        return State(
            job=self.job.name,
            time_s=self.time_s,
            call=self.call,
            faults=tuple(map(str, self.faults)),
            volts=MappingProxyType({node: abs(v) for node, v in phasors.items()}),
            phasors=MappingProxyType(phasors),
            amps=MappingProxyType(amps),
            coils=MappingProxyType(coils),
            boards=MappingProxyType(boards),
            responding=MappingProxyType(words),
            delivering=equipment.delivering(words, self.job.equipment.valve),
            links=MappingProxyType({run: self.link_state(run) for run in self.job.links}),
            chatter=self.chatter,
            fuse="blown" if self._blown else "whole",
            called=self.called,
            powered=self.powered,
            outdoor_c=self.outdoor_c,
            coil_c=self._timers.coil_c,
            waiting_s=max(self._timers.free_at_s - self.time_s, 0.0),
            solution=solution,
        )
