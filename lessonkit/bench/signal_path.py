"""What the settled circuit does to a frame: the bridge between copper and code.

For each link and each way, four things are read off the circuit: the level of a space and of a mark at the
receiver, against the receiver's **own** common (0 Hz), the shift at the supply frequency between the two
(60 Hz), and what the conductor does to an edge.  `channel` turns them into waveforms and decides them; a
pool of such trials, each with its own phase of the shift and its own noise, is kept for the state and tells
the odds. The frames that are really sent are decided one by one, in `exchange`, under the `Conditions` that
this room reads off the circuit.

A **way** is a direction, `down` or `up`; a **signal path** is what lies on it.
"""

from __future__ import annotations

import cmath
import math
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from lessonkit.bench.layout import conductor_node, link_common, run_end
from lessonkit.bench.link import down_frame, up_frame
from lessonkit.bench.side_by_side import volts_side_by_side
from lessonkit.bench.wiring import Wiring
from lessonkit.copper.network import Solution
from lessonkit.job.model import RUN_ENDS, LinkSettings, is_idle
from lessonkit.signal import channel, edges, error_rates
from lessonkit.signal.arrivals import Arrivals, Channel
from lessonkit.signal.channel import Shift

#: How many waveforms are tried for each state of the circuit; odds finer than 1 in this many are not
#: resolved.
POOL = 64

#: A link counts its frames, and a number with many changes of level is harder to read than 0. So the trials
#: take numbers from all over the 256, by steps of their golden section (odd, so that none comes twice).
_NUMBER_STEP = 159

#: Noise reaches so many times its RMS once in 10**15 looks, which is never.
CLEAR_SIGMAS = 8.0

#: So many tried states are kept before the shelf is cleared.
KEPT = 2048

#: What a contactor that switches beside the cable throws at the signal (ours; a lesson's worth, no source).
SWITCHING = channel.Noise(rms_v=0.0, burst_peak_v=9.0, burst_s=0.002, bursts_per_s=60.0)


@dataclass(frozen=True)
class SignalPath:
    """What lies between sender and receiver, one way over one link, as the receiver finds it.

    Volts are against the receiver's own common; `hum_v` is RMS; `common_v` is the sender's common against the
    receiver's, a phasor (RMS).
    """

    low_v: float
    high_v: float
    hum_v: float
    hum_phase_rad: float
    line: channel.Line
    common_v: complex = 0j
    pool: NDArray[np.bool_] = field(
        repr=False, compare=False, default_factory=lambda: np.zeros(0, dtype=bool)
    )

    @property
    def odds(self) -> float:
        """Return the share of frames that get through."""
        return float(self.pool.mean()) if self.pool.size else 0.0


@dataclass(frozen=True)
class Conditions:
    """Under which conditions a frame travels, with a name that tells them apart on one wiring.

    `sure` is what `foregone` says of its fate, `common` the sender's common against the receiver's while the
    supply's phase is 0; `mark` is a number that stands for the name.
    """

    name: str
    mark: int
    channel: Channel
    sure: bool | None
    common: Shift


def settings_of(wiring: Wiring, run: str) -> LinkSettings:
    """Return the settings of a run's link."""
    return wiring.job.runs[run].link


def receiver_of(settings: LinkSettings) -> channel.Receiver:
    """Return the receiver that both ends of a link have; its clock is the far end's."""
    return channel.Receiver(settings.low_v, settings.high_v, settings.clock_error, supply_v=settings.drive_v)


def noise_on(wiring: Wiring, run: str, switching: bool = False) -> channel.Noise:
    """Return the noise on a link's signal conductor: the job's own and what faults add, summed in power.

    `switching` adds what a contactor throws at it.
    """
    rms_v = settings_of(wiring, run).noise_v
    for fault in wiring.faults:
        if (fault.where, fault.part, fault.kind) == (run, "SIG", "noise"):
            rms_v = math.hypot(rms_v, float(fault.value or 0.0))
    if switching:
        return replace(SWITCHING, rms_v=rms_v)
    return channel.Noise(rms_v=rms_v)


def ways(wiring: Wiring, on: frozenset[str], awake: frozenset[str]) -> dict[tuple[str, str], SignalPath]:
    """Return what both receivers of every link get, without trials: (run, "down" or "up") -> SignalPath.

    `on` is the settled state of the circuit with every near end at rest; `awake` are the boards that work.
    """
    return ways_many([(wiring, on, awake)])[0]


def ways_many(
    cases: Sequence[tuple[Wiring, frozenset[str], frozenset[str]]],
) -> list[dict[tuple[str, str], SignalPath]]:
    """Return for many circuits what `ways` returns for one, sharing the linear algebra."""
    found = _over([(*case, way) for way in ("down", "up") for case in cases])
    return [
        {(run, way): path for run in down for way, path in (("down", down[run]), ("up", up[run]))}
        for down, up in zip(found[: len(cases)], found[len(cases) :], strict=True)
    ]


def one_way(
    cases: Sequence[tuple[Wiring, frozenset[str], frozenset[str]]],
    way: str,
    settled: Sequence[Solution] = (),
) -> list[dict[str, SignalPath]]:
    """Return for many circuits what the receivers at one end of every link get: run -> SignalPath.

    `settled` are the alternating solutions of the circuits as they are, which are those of the way "down".
    """
    return _over([(*case, way) for case in cases], settled if way == "down" else ())


def _over(
    cases: Sequence[tuple[Wiring, frozenset[str], frozenset[str], str]], settled: Sequence[Solution] = ()
) -> list[dict[str, SignalPath]]:
    """Return for many circuits, each with a way, what the receivers of that way get: run -> SignalPath.

    For each: one alternating solution for the shift, and a direct one with every driver at mark; with the
    driver of one link at space there is only other current into the same matrix.
    """
    found: list[dict[str, SignalPath]] = [{} for _ in cases]
    linked = [k for k, (wiring, *_) in enumerate(cases) if wiring.job.links]
    if not linked:
        return found
    states: list[tuple[Wiring, frozenset[str]]] = []
    silenced: list[tuple[str | None, ...]] = []
    for k in linked:
        wiring, on, awake, way = cases[k]
        drivers = {run: f"driver {run}.near" for run in wiring.job.links}
        if way == "up":
            on -= set(drivers.values())
            drivers = {
                run: f"driver {run}.far" for run in drivers if f"{RUN_ENDS[run][1]}:relay-board" in awake
            }
            on |= set(drivers.values())
        quiet = (drivers.get(run) for run in wiring.job.links)
        states.append((wiring, on))
        silenced.append((None, *(driver if driver in on else None for driver in quiet)))
    if settled:
        hums = [settled[k].phasors for k in linked]
    else:
        hums = [columns[0] for columns in volts_side_by_side(states, cases[0][0].job.frequency_hz)]
    levels = volts_side_by_side(states, 0.0, silenced)
    for k, hum_v, columns in zip(linked, hums, levels, strict=True):
        wiring, _, _, way = cases[k]
        for column, (run, (node, common, sender)) in enumerate(_points(wiring, way).items(), 1):
            high_v, low_v = ((columns[at][node] - columns[at][common]).real for at in (0, column))
            shift, apart = hum_v[node] - hum_v[common], hum_v[sender] - hum_v[common]
            line = channel.Line(low_v, high_v, *_copper(wiring, run))
            found[k][run] = SignalPath(low_v, high_v, abs(shift), cmath.phase(shift), line, apart)
    return found


def _points(wiring: Wiring, way: str) -> dict[str, tuple[int, int, int]]:
    """Return where in a solution each link's receiver, its common, and the sender's common are."""
    kept: dict[str, dict[str, tuple[int, int, int]]] = wiring.kept("points of links", dict)
    if way not in kept:
        at, job = wiring.template.index, wiring.job
        kept[way] = {}
        for run in job.links:
            end, sender = RUN_ENDS[run] if way == "up" else RUN_ENDS[run][::-1]
            nodes = conductor_node(run, "SIG", end), link_common(job, run, end), link_common(job, run, sender)
            kept[way][run] = at[nodes[0]], at[nodes[1]], at[nodes[2]]
    return kept[way]


def _copper(wiring: Wiring, run: str) -> tuple[float, float, float, float]:
    """Return what of a `Line` no level changes.

    That is the driver, the copper, its capacitance to two neighbours, and the load.
    """
    kept: dict[str, tuple[float, float, float, float]] = wiring.kept("copper of links", dict)
    if run not in kept:
        cable, settings = wiring.job.runs[run], settings_of(wiring, run)
        spliced = sum(
            float(f.value or 0.0)
            for f in wiring.faults
            if (f.where, f.part, f.kind) == (run, "SIG", "resistance")
        )
        # A spare hangs free between two conductors, so there two capacitances are in series.
        beside = [name for pair in cable.neighbours() if "SIG" in pair for name in pair if name != "SIG"]
        sides = sum(0.5 if is_idle(name) else 1.0 for name in beside)
        kept[run] = (
            # The sending end listens too: its own input is in parallel with its driver.
            1 / (1 / settings.drive_ohm + 1 / settings.load_ohm),
            cable.ohm_of("SIG") + spliced,
            cable.pair_farad * sides,
            settings.load_ohm,
        )
    return kept[run]


def tried(
    wiring: Wiring,
    run: str,
    way: SignalPath,
    live: frozenset[str],
    rng: np.random.Generator,
    switching: bool = False,
    up: bool = False,
) -> SignalPath:
    """Return the way with a pool of trials: each a whole frame as a waveform, decided by the receiver.

    The frames carry `live` and numbers from all over the range, as those do that a link sends.

    `switching` adds what a contactor throws at the signal at the moment it switches.  On the way `up` it is
    the far end, whose clock is off, that sends, and the frame is a reply.
    """
    certain = foregone(way, settings_of(wiring, run), noise_on(wiring, run, switching))
    if certain is not None:
        return replace(way, pool=np.full(POOL, certain))
    over = channel_of(wiring, run, way, switching, up)
    numbers = [k * _NUMBER_STEP % 256 for k in range(POOL)]
    frames = tuple(up_frame(run, live, False, n) if up else down_frame(run, live, n) for n in numbers)
    return replace(way, pool=Arrivals(over, frames, (int(rng.integers(2**32)),)).unharmed)


def channel_of(wiring: Wiring, run: str, path: SignalPath, switching: bool, up: bool) -> Channel:
    """Return the channel that a path makes; on the way `up` the far end, whose clock is off, sends."""
    settings, noise = settings_of(wiring, run), noise_on(wiring, run, switching)
    receiver, sender_clock_error = receiver_of(settings), 0.0
    if up:
        receiver, sender_clock_error = replace(receiver, clock_error=0.0), settings.clock_error
    shift = Shift(math.sqrt(2) * path.hum_v, wiring.job.frequency_hz, path.hum_phase_rad)
    return Channel(path.line, shift, noise, receiver, settings.baud, sender_clock_error)


def foregone(way: SignalPath, settings: LinkSettings, noise: channel.Noise) -> bool | None:
    """Return whether every frame gets through, or none, where that is sure.

    Where a trial could come out otherwise, it returns None.

    Every frame: both levels clear their thresholds by the whole shift and by `CLEAR_SIGMAS` of noise, edges
    are over within a tenth of a bit, and the clocks use at most half of what they may differ. None: the
    receiver could never hear a mark, or never a space. Bursts leave it open.
    """
    if noise.burst_peak_v and noise.bursts_per_s:
        return None
    doubt_v = math.sqrt(2) * way.hum_v + CLEAR_SIGMAS * noise.rms_v
    highest, lowest = max(way.high_v, way.low_v) + doubt_v, min(way.high_v, way.low_v) - doubt_v
    if highest < settings.high_v or lowest > settings.low_v:
        return False
    clear = way.high_v - doubt_v > settings.high_v and way.low_v + doubt_v < settings.low_v
    line = way.line
    rates = edges.step_modes(line.source_ohm, line.line_ohm, line.line_farad, line.load_ohm).rates_per_s
    quick = not rates.size or 10.0 / float(rates[0]) < 0.1 / settings.baud
    in_step = abs(settings.clock_error) <= 0.5 * error_rates.clock_tolerance(16)
    return True if clear and quick and in_step else None


class SignalPaths:
    """The ways over all links of one wiring, each state of the circuit tried once and then kept.

    Parameters: `wiring` is fixed; `seed` is the bench's, so that its history repeats with it. Every state of
    the circuit has trials of its own that follow from it: so looking at a bench never changes what happens
    on it, and a wiring that comes back has the odds that it had.
    """

    def __init__(self, wiring: Wiring, seed: int = 0) -> None:
        self._wiring, self._seed = wiring, seed
        self._ways: dict[tuple[object, ...], dict[tuple[str, str], SignalPath]] = {}
        self._conditions: dict[tuple[object, ...], Conditions] = {}
        self._tried: dict[tuple[object, ...], SignalPath] = {}

    def _untried(self, on: frozenset[str], awake: frozenset[str]) -> dict[tuple[str, str], SignalPath]:
        if (on, awake) not in self._ways:
            if len(self._ways) >= KEPT:
                self._ways.clear()
            self._ways[on, awake] = ways(self._wiring, on, awake)
        return self._ways[on, awake]

    def conditions(
        self, on: frozenset[str], awake: frozenset[str], run: str, way: str, switching: bool
    ) -> Conditions:
        """Return the conditions for a frame, for a circuit in which `on` is on."""
        key = (on, awake, run, way, switching)
        if key not in self._conditions:
            if len(self._conditions) >= KEPT:
                self._conditions.clear()
            path = self._untried(on, awake)[run, way]
            over = channel_of(self._wiring, run, path, switching, way == "up")
            apart = path.common_v
            name = "|".join([*sorted(on), *sorted(awake), run, way, str(switching)])
            self._conditions[key] = Conditions(
                name,
                zlib.crc32(name.encode()),
                over,
                foregone(path, settings_of(self._wiring, run), over.noise),
                Shift(math.sqrt(2) * abs(apart), over.shift.freq_hz, float(np.angle(apart))),
            )
        return self._conditions[key]

    def way(
        self,
        on: frozenset[str],
        awake: frozenset[str],
        run: str,
        way: str,
        live: frozenset[str],
        switching: bool = False,
    ) -> SignalPath:
        """Return one way ("down" or "up") with its pool, for a circuit in which `on` is on."""
        key = (on, awake, run, way, live, switching)
        if key not in self._tried:
            if len(self._tried) >= KEPT:
                self._tried.clear()
            words = "|".join([*sorted(on), *sorted(awake), run, way, *sorted(live), str(switching)])
            rng = np.random.default_rng([self._seed, zlib.crc32(words.encode())])
            found = self._untried(on, awake)[run, way]
            self._tried[key] = tried(self._wiring, run, found, live, rng, switching, way == "up")
        return self._tried[key]


def read_inputs(wiring: Wiring, solution: Solution, run: str, live_v: float) -> tuple[frozenset[str], bool]:
    """Return what the encoder of a link reads at its terminals.

    With it, whether the far end sees a heat request on D.
    """
    inputs, common, request = _inputs(wiring, run)
    volts = solution.phasors
    base = volts[common]
    live = frozenset(terminal for terminal, node in inputs if abs(volts[node] - base) >= live_v)
    return live, request is not None and abs(volts[request[0]] - volts[request[1]]) >= live_v


_Inputs: TypeAlias = tuple[tuple[tuple[str, int], ...], int, tuple[int, int] | None]


def _inputs(wiring: Wiring, run: str) -> _Inputs:
    """Return where in a solution an encoder's inputs, its common, and the far D with its common are."""
    kept: dict[str, _Inputs] = wiring.kept("inputs of links", dict)
    if run not in kept:
        job, (near, far), at = wiring.job, RUN_ENDS[run], wiring.template.index
        terminals = job.call_terminals if run == "thermostat" else job.outdoor_terminals
        inputs = tuple((terminal, at[run_end(job, run, terminal, near)]) for terminal in terminals)
        asks = run == "outdoor" and job.has_defrost
        kept[run] = inputs, at[f"{near}:C"], (at[f"{far}:D"], at[f"{far}:C"]) if asks else None
    return kept[run]
