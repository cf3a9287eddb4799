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

import math
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from lessonkit.bench.layout import conductor_node, link_common, run_end
from lessonkit.bench.link import down_frame, up_frame
from lessonkit.bench.wiring import Wiring, solve_side_by_side
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
    both = zip(one_way(cases, "down"), one_way(cases, "up"), strict=True)
    return [
        {(run, way): path for run in down for way, path in (("down", down[run]), ("up", up[run]))}
        for down, up in both
    ]


def one_way(
    cases: Sequence[tuple[Wiring, frozenset[str], frozenset[str]]],
    way: str,
    settled: Sequence[Solution] = (),
) -> list[dict[str, SignalPath]]:
    """Return for many circuits what the receivers at one end of every link get: run -> SignalPath.

    For each circuit: one alternating solution for the shift, and a direct one with every driver at mark; with
    the driver of one link at space there is only other current into the same matrix.  `settled` are the
    alternating solutions of the circuits as they are, which are those of the way "down".
    """
    levels: list[tuple[Wiring, frozenset[str], str | None]] = []
    states: list[frozenset[str]] = []
    places: list[tuple[int, str, int, int]] = []  # case, run, mark, space
    for k, (wiring, on, awake) in enumerate(cases):
        links = wiring.job.links
        drivers = {run: f"driver {run}.near" for run in links}
        if way == "up":
            on -= set(drivers.values())
            far = [run for run in links if f"{RUN_ENDS[run][1]}:relay-board" in awake]
            drivers = {run: f"driver {run}.far" for run in far}
            on |= set(drivers.values())
        states.append(on)
        if links:
            levels.append((wiring, on, None))
            mark = len(levels) - 1
        for run in links:
            driver = drivers.get(run)
            levels.append((wiring, on, driver if driver in on else None))
            places.append((k, run, mark, len(levels) - 1))
    found: list[dict[str, SignalPath]] = [{} for _ in cases]
    if not places:
        return found
    linked = sorted({k for k, *_ in places})
    if way == "down" and settled:
        hum_at = dict(enumerate(settled))
    else:
        hums = [(cases[k][0], states[k], None) for k in linked]
        frequency_hz = cases[0][0].job.frequency_hz
        hum_at = dict(zip(linked, solve_side_by_side(hums, frequency_hz), strict=True))
    level_at = solve_side_by_side(levels, 0.0)
    for k, run, mark, space in places:
        end, sender = RUN_ENDS[run] if way == "up" else RUN_ENDS[run][::-1]
        wiring = cases[k][0]
        node, common = conductor_node(run, "SIG", end), link_common(wiring.job, run, end)
        high_v, low_v = (level_at[at].v(node, common).real for at in (mark, space))
        shift, apart = (hum_at[k].v(there, common) for there in (node, link_common(wiring.job, run, sender)))
        line = _line(wiring, run, low_v, high_v)
        found[k][run] = SignalPath(low_v, high_v, abs(shift), float(np.angle(shift)), line, apart)
    return found


def _line(wiring: Wiring, run: str, low_v: float, high_v: float) -> channel.Line:
    """Return the conductor as an edge sees it.

    That is the driver, the copper, and its capacitance to two neighbours.
    """
    cable, settings = wiring.job.runs[run], settings_of(wiring, run)
    spliced = sum(
        float(f.value or 0.0)
        for f in wiring.faults
        if (f.where, f.part, f.kind) == (run, "SIG", "resistance")
    )
    # A spare hangs free between two conductors, so there two capacitances are in series.
    beside = [name for pair in cable.neighbours() if "SIG" in pair for name in pair if name != "SIG"]
    sides = sum(0.5 if is_idle(name) else 1.0 for name in beside)
    return channel.Line(
        low_v=low_v,
        high_v=high_v,
        # The sending end listens too: its own input is in parallel with its driver.
        source_ohm=1 / (1 / settings.drive_ohm + 1 / settings.load_ohm),
        line_ohm=cable.ohm_of("SIG") + spliced,
        line_farad=cable.pair_farad * sides,
        load_ohm=settings.load_ohm,
    )


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

    Parameters: `wiring` is fixed; `seed` is a number that the bench draws, so that its history repeats with
    its own seed. Every state of the circuit has trials of its own that follow from that number: so looking
    at a bench never changes what happens on it.
    """

    def __init__(self, wiring: Wiring, seed: int = 0) -> None:
        self._wiring = wiring
        self._ways: dict[tuple[object, ...], dict[tuple[str, str], SignalPath]] = {}
        self._conditions: dict[tuple[object, ...], Conditions] = {}
        self.begin(seed)

    def begin(self, seed: int) -> None:
        """Begin new trials; what the circuit does to a frame stays known."""
        self._seed = seed
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
    job, (near, far) = wiring.job, RUN_ENDS[run]
    terminals = job.call_terminals if run == "thermostat" else job.outdoor_terminals
    nodes = {t: run_end(job, run, t, near) for t in terminals}
    live = frozenset(t for t in terminals if abs(solution.v(nodes[t], f"{near}:C")) >= live_v)
    wants_heat = run == "outdoor" and job.has_defrost and abs(solution.v(f"{far}:D", f"{far}:C")) >= live_v
    return live, wants_heat
