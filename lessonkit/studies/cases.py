"""Many cases at once: every call with every fault, long after it happened.

A bench lives through time; a fault dictionary, an exercise or a class picture wants the end of the story
for hundreds of cases.  `rest` settles them side by side: circuits of one shape share one stack of matrices,
and frames are tried once for each condition that differs.  It goes back and forth between copper and frames
until neither moves the other:

    terminals that are live -> frames -> relays held -> circuit -> terminals that are live

The end is the one that a bench reaches when its delays are over and nothing defrosts.  A case that finds no
end (relays that let go because they pulled in) is reported as restless, which is the slow kind of chatter.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from types import MappingProxyType
from typing import TypeAlias

import numpy as np

from lessonkit.bench.asking import Asks, Wants, what_asks
from lessonkit.bench.indoor import FURNACE_AT
from lessonkit.bench.settling import Latches, Settled, blown_by, too_weak
from lessonkit.bench.side_by_side import settle_many
from lessonkit.bench.signal_path import (
    SignalPath,
    foregone,
    noise_on,
    one_way,
    read_inputs,
    settings_of,
    tried,
    ways_many,
)
from lessonkit.bench.wiring import Wiring
from lessonkit.errors import require
from lessonkit.job import equipment
from lessonkit.job.calls import CALLS, PLACES, check_call
from lessonkit.job.faults import Fault, as_faults, contactor_welded, single_faults, thermostat_terminals
from lessonkit.job.model import RUN_ENDS, Job
from lessonkit.job.parts import INPUT_LIVE_V
from lessonkit.job.thermostat import mode_after

#: A way that gets fewer than this share of its frames through can't be relied on, and counts as silent here;
#: on a bench such a link works by luck, until its watchdog sees ten bad frames in a row.
RELIABLE = 0.5

_ROUNDS = 12

#: What makes the circuit of a job with faults: `Wiring`, or something that adds to it. It has to be hashable.
Wire: TypeAlias = Callable[[Job, tuple[Fault, ...]], Wiring]


@dataclass(frozen=True)
class Case:
    """A call and the faults that are present.

    Text such as "outdoor.SIG=open" is understood as well; the cases of ends hold checked values. `mode` is
    the mode before the call, "cool", "heat" or "", which goes on through `satisfied` and `fan`.
    """

    call: str
    faults: tuple[Fault, ...] = ()
    before: str = ""

    @property
    def mode(self) -> str:
        """Return the mode that the thermostat is in."""
        return mode_after(self.before, self.call)


@dataclass(frozen=True)
class Rest:
    """How a case ends.

    The settled circuit, what responds, what share of the frames gets through, and whether it found rest.

    `links` maps a run to what share of its frames gets through both ways; `restless` names the boards that
    never come to rest.
    """

    case: Case
    settled: Settled
    responding: MappingProxyType[str, str]
    delivering: str
    links: MappingProxyType[str, float]
    restless: tuple[str, ...]
    wiring: Wiring = field(repr=False, compare=False)

    @cached_property
    def volts(self) -> MappingProxyType[str, float]:
        """Return the RMS volts of every terminal against C at the air handler."""
        volts = self.settled.solution.volts
        return MappingProxyType({n: v for n, v in volts.items() if n.partition(":")[0] in PLACES})

    @property
    def fuse(self) -> str:
        """Return `whole` or `blown`."""
        return "blown" if self.settled.latches.blown else "whole"

    @property
    def chatter(self) -> tuple[str, ...]:
        """Return the coils and links that find no rest."""
        return tuple(sorted(self.settled.chattering)) + self.restless


def every_case(job: Job, calls: Iterable[str] = CALLS) -> tuple[Case, ...]:
    """Return the sound job and every single fault of it, under each of the calls."""
    faults: list[tuple[Fault, ...]] = [(), *((fault,) for fault in single_faults(job))]
    return tuple(Case(check_call(call), found) for found in faults for call in calls)


def rest(
    job: Job,
    cases: Sequence[Case],
    seed: int = 0,
    outdoor_c: float = 8.0,
    wire: Wire = Wiring,
    replies: bool = True,
    defrosting: bool = False,
) -> list[Rest]:
    """Return how each case of a job ends.

    Parameters: `cases` may be of any number; `seed` fixes the noise in the frames that are tried;
    `outdoor_c` is what an outdoor thermostat feels; `wire` makes the circuit of the job with some faults.
    Without `replies`, `links` of the ends may tell of the way out alone; nothing else differs. With
    `defrosting` the board outdoors defrosts under every call: whoever asks sees to it that one is for heat.
    """
    return rest_of([(job, case) for case in cases], seed, outdoor_c, wire, replies, defrosting)


def rest_of(
    asked: Sequence[tuple[Job, Case]],
    seed: int = 0,
    outdoor_c: float = 8.0,
    wire: Wire = Wiring,
    replies: bool = True,
    defrosting: bool = False,
) -> list[Rest]:
    """Return how each case of several jobs ends; parameters as in `rest`.

    Jobs that differ in numbers alone, such as one site at several corners, go through as one.
    """
    equipment.check_outdoor_c(outdoor_c)
    runners = _Runners(asked, seed, outdoor_c, wire, defrosting)
    for _ in range(_ROUNDS):
        if not runners.step():
            break
    if replies:
        runners.try_replies()
    return runners.ends()


@dataclass(frozen=True)
class Held:
    """The circuit as it would be if every relay board held what was called.

    With it, what frames would find there.
    """

    settled: Settled
    ways: MappingProxyType[tuple[str, str], SignalPath]


def if_held(
    job: Job, cases: Sequence[Case], seed: int = 0, wire: Wire = Wiring, frames: bool = True
) -> list[Held]:
    """Return, for each case, the circuit under full load: the test that a marginal way back has to pass.

    Frames are tried both ways over each link, as in `rest`, but decide nothing here; `frames` False leaves
    them away.
    """
    return if_held_of([(job, case) for case in cases], seed, wire, frames)


def if_held_of(
    asked: Sequence[tuple[Job, Case]], seed: int = 0, wire: Wire = Wiring, frames: bool = True
) -> list[Held]:
    """Return for each case of several jobs what `if_held` gives."""
    runners = _Runners(asked, seed, wire=wire)
    for k, (job, called) in enumerate(zip(runners.jobs, runners.called, strict=True)):
        for run in job.links:
            here = called if run == "thermostat" else called & set(job.outdoor_terminals)
            runners.held[k] = {**runners.held[k], (run, "far"): frozenset(here)}
    return runners.under_load(frames)


@lru_cache(maxsize=64)
def _wiring(wire: Wire, job: Job, faults: tuple[Fault, ...]) -> Wiring:
    """Return the wiring of a job with faults; the same ones are often asked for again, in other weather."""
    return wire(job, faults)


_Heard: TypeAlias = dict[tuple[int, str, str], SignalPath]
"""What receivers get, by case, run, and way."""


class _Runners:
    """All cases on their way; the held relays of each link and sleeping boards are what changes.

    Replies that carry nothing wait for the end.
    """

    def __init__(
        self,
        asked: Sequence[tuple[Job, Case]],
        seed: int,
        outdoor_c: float = 8.0,
        wire: Wire = Wiring,
        defrosting: bool = False,
    ) -> None:
        require(isinstance(seed, int | np.integer) and seed >= 0, "seed", seed, "a whole number, 0 or more")
        self.seed, self.outdoor_c, self.defrosting = int(seed), outdoor_c, defrosting
        self.jobs = [job for job, _ in asked]
        wirings: dict[tuple[int, tuple[Fault, ...]], Wiring] = {}
        for job, case in asked:
            if (id(job), case.faults) not in wirings:
                wirings[id(job), case.faults] = _wiring(wire, job, as_faults(case.faults, job))
        self.wirings = [wirings[id(job), case.faults] for job, case in asked]
        self.cases = [
            Case(check_call(case.call), wiring.faults, case.before)
            for wiring, (_, case) in zip(self.wirings, asked, strict=True)
        ]
        self.called = [
            thermostat_terminals(job, c.call, c.faults, c.mode)
            for job, c in zip(self.jobs, self.cases, strict=True)
        ]
        nothing: dict[tuple[str, str], frozenset[str]] = {}
        self.held = [dict(nothing) for _ in asked]  # (run, "far" or "near") -> terminals
        self.odds = [dict.fromkeys(job.links, 0.0) for job in self.jobs]
        self.heat: list[frozenset[str]] = [frozenset() for _ in asked]  # runs whose replies were tried
        self.woken: list[set[str]] = [set() for _ in asked]
        self.settled: dict[int, Settled] = {}
        self.asks: dict[tuple[object, ...], Asks] = {}
        self.tried: dict[tuple[object, ...], float] = {}
        self.moving = set(range(len(asked)))
        self._break_at_rest()

    def _break_at_rest(self) -> None:
        """Settle every case with nothing called: the fault strikes a job that stands there, awake.

        No call has told the cases of one wiring apart yet, so one of them settles for all.
        """
        first = {wiring: k for k, wiring in reversed([*enumerate(self.wirings)])}
        off = Case("off")
        start = [
            (
                wiring,
                Latches(awake=frozenset(wiring.boards), blown=blown_by(wiring.faults)),
                self._asks(k, thermostat_terminals(self.jobs[k], off.call, wiring.faults, off.mode)),
            )
            for wiring, k in first.items()
        ]
        at_rest = dict(zip(first, self._settle(start), strict=True))
        self.latches = [at_rest[wiring].latches for wiring in self.wirings]

    def _settle(self, start: list[tuple[Wiring, Latches, Asks]]) -> list[Settled]:
        """Settle circuits side by side, those of each frequency together."""
        found: dict[int, Settled] = {}
        for freq_hz in {wiring.job.frequency_hz for wiring, *_ in start}:
            at = [k for k, (wiring, *_) in enumerate(start) if wiring.job.frequency_hz == freq_hz]
            found.update(zip(at, settle_many([start[k] for k in at], freq_hz), strict=True))
        return [found[k] for k in range(len(start))]

    def step(self) -> bool:
        """Settle every case that still moves, let frames pass, and return whether anything changed."""
        order = sorted(self.moving)
        start = [
            (self.wirings[k], self.latches[k], self._asks(k, self.called[k], self.defrosting)) for k in order
        ]
        for k, settled in zip(order, self._settle(start), strict=True):
            self.settled[k] = settled
            self.latches[k] = settled.latches
        heard = self._heard("down", [k for k in order if self._any(k, self._speaks)])
        heard |= self._heard("up", [k for k in order if self._any(k, self._brings_heat)])
        for k in order:
            held = self._frames(k, heard)
            if held == self.held[k] and not self._wake(k):
                self.moving.discard(k)
            self.held[k] = held
        return bool(self.moving)

    def _heard(self, way: str, which: list[int]) -> _Heard:
        """Return what the receivers of one way get in some cases."""
        circuits = [(self.wirings[k], self.settled[k].on, self.settled[k].latches.awake) for k in which]
        got = one_way(circuits, way, [self.settled[k].solution for k in which])
        return {
            (k, run, way): path for k, paths in zip(which, got, strict=True) for run, path in paths.items()
        }

    def _any(self, k: int, wanted: Callable[[int, str], bool]) -> bool:
        return any(wanted(k, run) for run in self.jobs[k].links)

    def _speaks(self, k: int, run: str) -> bool:
        """Return whether a link sends frames, and somebody is there to hear them."""
        near, far = RUN_ENDS[run]
        return {f"{near}:encoder", f"{far}:relay-board"} <= self.settled[k].latches.awake

    def _brings_heat(self, k: int, run: str) -> bool:
        """Return whether the way back has a heat request to carry."""
        return self._speaks(k, run) and self._inputs(k, run)[1]

    def _inputs(self, k: int, run: str) -> tuple[frozenset[str], bool]:
        return read_inputs(self.wirings[k], self.settled[k].solution, run, INPUT_LIVE_V)

    def _wake(self, k: int) -> bool:
        """Wake the boards that sleep with enough volts to start; return whether there were any."""
        wiring, settled = self.wirings[k], self.settled[k]
        asleep = frozenset(wiring.boards) - settled.latches.awake
        fed = asleep - too_weak(wiring, asleep, settled.solution, awake=False)
        self.latches[k] = replace(settled.latches, awake=settled.latches.awake | fed)
        self.woken[k] |= fed
        return bool(fed)

    def _asks(self, k: int, called: frozenset[str], defrosting: bool = False) -> Asks:
        held = tuple((run, end, terminals) for (run, end), terminals in self.held[k].items())
        wants = Wants(called, held, defrosting=defrosting, outdoor_c=self.outdoor_c)
        wiring, job = self.wirings[k], self.jobs[k]
        # What asks doesn't hang on numbers of the circuit, so that one answer is good for all of one form.
        key = (id(wiring.form), job.outdoor_thermostat, job.thermostat.power, wants)
        if key not in self.asks:
            self.asks[key] = what_asks(wiring, wants)
        return self.asks[key]

    def _frames(self, k: int, heard: _Heard) -> dict[tuple[str, str], frozenset[str]]:
        """Return what the relays hold after frames had time to pass."""
        held: dict[tuple[str, str], frozenset[str]] = {}
        for run in self.jobs[k].links:
            live, wants_heat = self._inputs(k, run)
            down = self._odds(k, run, "down", heard, live) if self._speaks(k, run) else 0.0
            up = self._odds(k, run, "up", heard, live) if down and wants_heat else 1.0
            held[run, "far"] = live if down >= RELIABLE else frozenset()
            held[run, "near"] = frozenset({"D"}) if down * up >= RELIABLE and wants_heat else frozenset()
            self.odds[k][run] = down * up
            self.heat[k] = self.heat[k] | {run} if wants_heat else self.heat[k] - {run}
        return held

    def _odds(self, k: int, run: str, way: str, heard: _Heard, live: frozenset[str]) -> float:
        """Return the share of frames that pass; conditions alike to a twentieth of a volt share trials.

        The noise of trials follows from the seed and these conditions, so that no case hangs on another.
        """
        got, wiring = heard[k, run, way], self.wirings[k]
        certain = foregone(got, settings_of(wiring, run), noise_on(wiring, run))
        if certain is not None:
            return float(certain)
        noisy = tuple(f for f in wiring.faults if f.part == "SIG" and f.where == run)
        levels = tuple(round(v * 20) for v in (got.low_v, got.high_v, got.hum_v))
        key = (settings_of(wiring, run), run, way, live, noisy, *levels)
        if key not in self.tried:
            rng = self._rng(run, way, *sorted(live), *map(str, noisy), *map(str, levels))
            self.tried[key] = tried(wiring, run, got, live, rng, up=way == "up").odds
        return self.tried[key]

    def _rng(self, *words: str) -> np.random.Generator:
        return np.random.default_rng([self.seed, zlib.crc32("|".join(words).encode())])

    def try_replies(self) -> None:
        """Make the odds of every link those of both ways, a frame and its reply."""
        answered = [k for k, odds in enumerate(self.odds) if any(odds.values())]
        waiting = [
            k for k in answered if any(odds and run not in self.heat[k] for run, odds in self.odds[k].items())
        ]
        heard = self._heard("up", waiting)
        for k in waiting:
            for run, odds in self.odds[k].items():
                if odds and run not in self.heat[k]:
                    self.odds[k][run] = odds * self._odds(k, run, "up", heard, self._inputs(k, run)[0])

    def under_load(self, frames: bool) -> list[Held]:
        """Settle every case once with the relays that are held, and try its frames."""
        start = [(w, self.latches[k], self._asks(k, self.called[k])) for k, w in enumerate(self.wirings)]
        settled = self._settle(start)
        heard = ways_many([(w, s.on, s.latches.awake) for w, s in zip(self.wirings, settled, strict=True)])
        found = []
        for wiring, one, got in zip(self.wirings, settled, heard, strict=True):
            ways = dict(got)
            for (run, way), what in got.items() if frames else ():
                live, _ = read_inputs(wiring, one.solution, run, INPUT_LIVE_V)
                rng = self._rng(run, way, *sorted(live), *(f"{v:.6g}" for v in (what.low_v, what.hum_v)))
                ways[run, way] = tried(wiring, run, what, live, rng, up=way == "up")
            found.append(Held(one, MappingProxyType(ways)))
        return found

    def ends(self) -> list[Rest]:
        """Return how every case ended."""
        ended = []
        for k, (job, case) in enumerate(zip(self.jobs, self.cases, strict=True)):
            kit, settled = job.equipment, self.settled[k]
            welded = contactor_welded(self.wirings[k].faults)
            sealed = settled.latches.sealed
            words = equipment.responding(
                sealed, kit, self.defrosting, welded, furnace_blows=FURNACE_AT in sealed
            )
            relays = {f"{RUN_ENDS[run][1]}:relay-board" for run in job.links}
            restless = sorted(self.woken[k] or relays) if k in self.moving else ()
            ended.append(
                Rest(
                    case,
                    settled,
                    MappingProxyType(words),
                    equipment.delivering(words, kit.valve),
                    MappingProxyType(dict(self.odds[k])),
                    tuple(restless),
                    self.wirings[k],
                )
            )
        return ended
