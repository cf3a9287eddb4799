"""Channel: a frame as volts against time, where the receiver sees it.

The driver switches between two levels; the copper rounds the edges; and the far end measures against ITS OWN
common, which need not be the driver's. Four things add up at the comparator:

    line     two settled levels, as the circuit gives them at 0 Hz, and the edges between them (see `edges`)
    shift    a sine at the supply frequency, PEAK volts: the drop of the load current in the return, and what
             neighbouring conductors couple in; the circuit's phasor of signal against far common holds both
    noise    Gaussian, RMS volts at each look; and bursts, when contacts break somewhere near
    clocks   of either end

All of it goes to the one `receiver`. `waveform` and `receive` show one frame on a scope; `try_many` sends
the same frame many times, with chance phase of the shift and chance noise, and tells which got through.

Where the model stops: the line's resistance counts as evenly spread; noise is white, a fresh value at every
look; levels are linear, so a driver has the same resistance up and down.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lessonkit.errors import BadParameter, require, require_finite, require_positive
from lessonkit.signal.edges import step_modes
from lessonkit.signal.frames import Frame, FrameError, bits_per_character, frame_levels
from lessonkit.signal.receiver import Characters, Receiver, find_characters

__all__ = [
    "Line",
    "Noise",
    "Receiver",
    "Reception",
    "Shift",
    "Waveform",
    "judge",
    "read_many",
    "receive",
    "try_many",
    "waveform",
]

Volts = NDArray[Any]

LEAD_BITS = 2.0
"""Rest before the first start bit."""

TAIL_BITS = 1.5
"""Rest behind the last stop bit."""

_PHASES = 8  # between two looks the frame may begin at any time: so many places are tried


@dataclass(frozen=True)
class Line:
    """The signal conductor between driver and receiver.

    `low_v` and `high_v` are the settled volts at the receiver against its common when the driver says 0 and
    1; a fault may make them equal, or turn them round. `source_ohm` is everything in series before the evenly
    spread `line_ohm` and `line_farad`; `load_ohm` is the receiver's input.
    """

    low_v: float
    high_v: float
    source_ohm: float = 0.0
    line_ohm: float = 0.0
    line_farad: float = 0.0
    load_ohm: float = math.inf

    def __post_init__(self) -> None:
        require_finite("low_v", self.low_v, "a finite number of volts")
        require_finite("high_v", self.high_v, "a finite number of volts")
        require_positive("source_ohm", self.source_ohm, zero_ok=True, unit="ohms")
        require_positive("line_ohm", self.line_ohm, zero_ok=True, unit="ohms")
        require_positive("line_farad", self.line_farad, zero_ok=True, unit="farads")
        require(self.load_ohm > 0, "load_ohm", self.load_ohm, "a number of ohms above 0, or math.inf")

    def volts(self, levels: NDArray[np.uint8], bit_s: float, time_s: Volts) -> Volts:
        """Clean volts at some times after the first level begins.

        The line rests before and behind. Exact for any edges, however slow: each mode's deviation is
        carried from bit to bit. `levels` has shape (bits,); or (rows, bits), and then all
        rows are told at the same times (looks,).
        """
        targets = self._targets(levels)
        return self._looked(targets, bit_s, *self._left(targets.shape[-1], bit_s, time_s))

    def volts_in_turn(self, levels: NDArray[np.uint8], bit_s: float, time_s: Volts) -> Volts:
        """Clean volts of many rows, `levels` (rows, bits), each with its own times of look.

        `time_s` has shape (places, looks), and row k is looked at as place k % places says. Shape (rows,
        looks).
        """
        targets = self._targets(levels)
        bit, rates_per_s, left = self._left(targets.shape[1], bit_s, time_s)
        seen: Volts = np.empty((len(levels), time_s.shape[1]))
        for place in range(min(len(time_s), len(levels))):
            rows = slice(place, None, len(time_s))
            seen[rows] = self._looked(targets[rows], bit_s, bit[place], rates_per_s, left[place])
        return seen

    def _targets(self, levels: NDArray[np.uint8]) -> Volts:
        """Return the volts at which each bit settles, with a rest before the first and behind the last."""
        rest = np.ones((*levels.shape[:-1], 1), dtype=levels.dtype)
        return np.where(np.concatenate([rest, levels, rest], axis=-1), self.high_v, self.low_v)

    def _left(self, bits: int, bit_s: float, time_s: Volts) -> tuple[NDArray[np.intp], Volts, Volts]:
        """Return for each time the bit that it falls into, the modes that last, and what is left of each.

        The modes are told by their rates (modes,); what is left since the bit began has shape (..., looks,
        modes) and holds each mode's weight.
        """
        modes = step_modes(self.source_ohm, self.line_ohm, self.line_farad, self.load_ohm)
        # `intp` is what an index is: in a page that has 32 bits, and `take` refuses 64 there.
        bit = np.clip(np.floor(time_s / bit_s).astype(np.intp) + 1, 0, bits - 1)
        since_edge = np.maximum(time_s - (bit - 1) * bit_s, 0.0)
        # On a short cable most modes have died away (below e^-40) before the first look at them.
        first_look_s = np.min(since_edge, where=bit > 0, initial=bit_s)
        lasting = modes.rates_per_s * first_look_s < 40.0
        rates_per_s = modes.rates_per_s[lasting]
        return bit, rates_per_s, np.exp(-since_edge[..., np.newaxis] * rates_per_s) * modes.weights[lasting]

    def _looked(
        self, targets: Volts, bit_s: float, bit: NDArray[np.intp], rates_per_s: Volts, left: Volts
    ) -> Volts:
        """Return the volts at some looks of rows that settle at `targets` in each bit."""
        settled: Volts = np.take(targets, bit, axis=-1)
        if not rates_per_s.size:
            return settled
        # At each edge every mode starts with the new step plus what is left of the earlier ones.
        steps = np.diff(targets, axis=-1, prepend=targets[..., :1])
        fade = np.exp(-rates_per_s * bit_s)
        if fade.max() <= 1e-17:  # nothing lasts from one edge to the next
            settled -= np.take(steps, bit, axis=-1) * left.sum(axis=-1)
            return settled
        deviation = np.repeat(steps[..., np.newaxis], len(fade), axis=-1)
        for k in range(1, targets.shape[-1]):
            deviation[..., k, :] = steps[..., k, np.newaxis] + deviation[..., k - 1, :] * fade
        settled -= (left * np.take(deviation, bit, axis=-2)).sum(axis=-1)
        return settled


@dataclass(frozen=True)
class Shift:
    """A sine between the two commons, in PEAK volts."""

    peak_v: float = 0.0
    freq_hz: float = 60.0
    phase_rad: float = 0.0

    def __post_init__(self) -> None:
        require_positive("peak_v", self.peak_v, zero_ok=True, unit="volts")
        require_positive("freq_hz", self.freq_hz, zero_ok=True, unit="hertz")
        require_finite("phase_rad", self.phase_rad)

    def volts(self, time_s: Volts) -> Volts:
        """Volts at some times."""
        return self.peak_v * np.sin(2 * math.pi * self.freq_hz * time_s + self.phase_rad)


@dataclass(frozen=True)
class Noise:
    """Gaussian noise in RMS volts, and bursts of some PEAK volts.

    During a burst every look gets anything between plus and minus the peak.
    """

    rms_v: float = 0.0
    burst_peak_v: float = 0.0
    burst_s: float = 0.0
    bursts_per_s: float = 0.0

    def __post_init__(self) -> None:
        require_positive("rms_v", self.rms_v, zero_ok=True, unit="volts")
        require_positive("burst_peak_v", self.burst_peak_v, zero_ok=True, unit="volts")
        require_positive("burst_s", self.burst_s, zero_ok=True, unit="seconds")
        require_positive("bursts_per_s", self.bursts_per_s, zero_ok=True, unit="bursts a second")

    def volts(self, rows: int, looks: int, look_s: float, rng: np.random.Generator) -> Volts:
        """Noise for many lines at once, shape (rows, looks)."""
        if self.rms_v:
            noise: Volts = rng.standard_normal((rows, looks), dtype=np.float32)
            noise *= np.float32(self.rms_v)
        else:
            noise = np.zeros((rows, looks), dtype=np.float32)
        if self.burst_peak_v and self.bursts_per_s:
            hit = self._bursts(rows, looks, look_s, rng)
            noise[hit] += rng.uniform(-self.burst_peak_v, self.burst_peak_v, np.count_nonzero(hit))
        return noise

    def _bursts(self, rows: int, looks: int, look_s: float, rng: np.random.Generator) -> NDArray[np.bool_]:
        """Which looks fall into a burst: bursts begin at random, also just before the first look."""
        span_s = looks * look_s + self.burst_s
        row = np.repeat(np.arange(rows), rng.poisson(self.bursts_per_s * span_s, rows).astype(np.intp))
        begin_s = rng.uniform(-self.burst_s, looks * look_s, len(row))
        first = np.clip(np.ceil(begin_s / look_s), 0, looks).astype(np.int64)
        last = np.clip(np.ceil((begin_s + self.burst_s) / look_s), 0, looks).astype(np.int64)
        going_on = np.zeros((rows, looks + 1), dtype=np.int32)
        np.add.at(going_on, (row, first), 1)
        np.add.at(going_on, (row, last), -1)
        return going_on.cumsum(axis=1)[:, :looks] > 0


@dataclass(frozen=True)
class Waveform:
    """Volts at the receiver against its own common; time 0 is the first falling edge.

    `clean_v` leaves out shift and noise. `levels` are what the driver sent, one a bit of `bit_s` seconds.
    """

    time_s: Volts
    volts: Volts
    clean_v: Volts
    levels: NDArray[np.uint8]
    bit_s: float


@dataclass(frozen=True)
class Reception:
    """What the receiver made of a waveform.

    `characters` are the bytes in the order received; `sample_times_s`, `sample_volts` and `sample_levels`
    have shape (characters, bits). Either `frame` is there, or `error` says in a sentence why not.
    """

    characters: bytes
    start_times_s: Volts
    sample_times_s: Volts
    sample_volts: Volts
    sample_levels: NDArray[np.bool_]
    framing_errors: int
    parity_errors: int
    frame: Frame | None
    error: str


def _bit_seconds(baud: float, clock_error: float = 0.0) -> float:
    require_positive("baud", baud, unit="bits a second")
    require(-0.5 < clock_error < 0.5, "sender_clock_error", clock_error, "between -0.5 and 0.5")
    return (1.0 + clock_error) / baud


def waveform(
    levels: NDArray[np.uint8],
    baud: float,
    line: Line,
    shift: Shift | None = None,
    noise: Noise | None = None,
    rng: np.random.Generator | None = None,
    *,
    sender_clock_error: float = 0.0,
    points_per_bit: int = 64,
) -> Waveform:
    """The volts of some levels against time.

    `levels` come from `frames.frame_levels`. Noise needs an `rng`, so that a picture can be drawn again.
    """
    bit_s = _bit_seconds(baud, sender_clock_error)
    require(points_per_bit >= 4, "points_per_bit", points_per_bit, "4 or more")
    if noise is not None and rng is None:
        raise BadParameter("rng", rng, "a numpy random generator when there is noise")
    first, last = -LEAD_BITS * points_per_bit, (len(levels) + TAIL_BITS) * points_per_bit
    time_s = np.arange(math.floor(first), math.ceil(last)) * (bit_s / points_per_bit)
    clean = line.volts(levels, bit_s, time_s)
    volts = clean.copy()
    if shift is not None:
        volts += shift.volts(time_s)
    if noise is not None and rng is not None:
        volts += noise.volts(1, len(time_s), bit_s / points_per_bit, rng)[0]
    return Waveform(time_s, volts, clean, levels, bit_s)


def receive(wave: Waveform, receiver: Receiver, baud: float, parity: str | None = None) -> Reception:
    """Let a receiver with a nominal baud read a waveform.

    It looks at the nearest point of the waveform at each tick of its own clock.
    """
    tick_s = _bit_seconds(baud) * (1.0 + receiver.clock_error) / receiver.ticks_per_bit
    point_s = float(wave.time_s[1] - wave.time_s[0])
    look_s = np.arange(wave.time_s[0], wave.time_s[-1], tick_s)
    point = np.minimum(np.rint((look_s - wave.time_s[0]) / point_s).astype(np.int64), len(wave.volts) - 1)
    volts = wave.volts[point]
    most = math.ceil(len(look_s) / receiver.ticks_per_bit / (bits_per_character(parity) - 1)) + 1
    row = find_characters(receiver.decide(volts[np.newaxis, :]), most, receiver, parity)
    found = row.found[0]
    ticks = row.sample_tick[0][found]
    data = row.values[0][found].tobytes()
    framing, wrong_parity = int(row.framing_errors.sum()), int(row.parity_errors.sum())
    frame, error = judge(data, framing, wrong_parity)
    return Reception(
        data,
        look_s[row.start_tick[0][found]],
        look_s[ticks],
        volts[ticks],
        row.levels[0][found],
        framing,
        wrong_parity,
        frame,
        error,
    )


def judge(data: bytes, framing: int, wrong_parity: int) -> tuple[Frame | None, str]:
    """A frame, or the reason why there is none.

    `data` are the bytes that came in; `framing` and `wrong_parity` count the bad ones among them.
    """
    if not data:
        return None, "No start bit came: the line never fell below the low threshold for half a bit."
    if framing:
        return None, f"{framing} of {len(data)} characters had no stop bit (framing errors)."
    if wrong_parity:
        return None, f"{wrong_parity} of {len(data)} characters had the wrong parity."
    try:
        return Frame.from_bytes(data), ""
    except FrameError as error:
        return None, str(error)


@lru_cache(maxsize=256)
def _clean_looks(data: bytes, line: Line, bit_s: float, tick_s: float, parity: str | None) -> Volts:
    """Clean volts at the receiver's ticks, shape (phases, looks): the frame begins between two of them."""
    levels = frame_levels(data, parity)
    looks = math.ceil((LEAD_BITS + len(levels) + TAIL_BITS) * bit_s / tick_s)
    phase = (np.arange(_PHASES)[:, np.newaxis] + 0.5) / _PHASES
    time_s = (np.arange(looks) + phase) * tick_s - LEAD_BITS * bit_s
    return line.volts(levels, bit_s, time_s).astype(np.float32)


def read_many(
    frame_bytes: bytes,
    baud: float,
    line: Line,
    shift_peak_v: float,
    freq_hz: float,
    noise: Noise,
    receiver: Receiver,
    count: int,
    rng: np.random.Generator,
    *,
    parity: str | None = None,
    sender_clock_error: float = 0.0,
) -> Characters:
    """Send the same bytes `count` times and tell what was read each time.

    The phase of the shift, the noise, and where the frame begins between two ticks are fresh for each.
    """
    require(count > 0, "count", count, "one frame or more")
    require_positive("shift_peak_v", shift_peak_v, zero_ok=True, unit="volts")
    bit_s = _bit_seconds(baud, sender_clock_error)
    tick_s = _bit_seconds(baud) * (1.0 + receiver.clock_error) / receiver.ticks_per_bit
    clean = _clean_looks(frame_bytes, line, bit_s, tick_s, parity)
    volts = clean[(np.arange(count) + rng.integers(_PHASES)) % _PHASES]
    looks = volts.shape[1]
    if shift_peak_v:
        # sin(wt + phase) = sin wt cos phase + cos wt sin phase: one product for all rows
        turn = 2 * math.pi * freq_hz * tick_s * np.arange(looks)
        phase = rng.uniform(0.0, 2 * math.pi, count)
        mix = shift_peak_v * np.stack([np.cos(phase), np.sin(phase)], axis=1)
        volts = volts + (mix @ np.stack([np.sin(turn), np.cos(turn)])).astype(np.float32)
    if noise.rms_v or noise.burst_peak_v:
        volts = volts + noise.volts(count, looks, tick_s, rng)
    return find_characters(receiver.decide(volts), len(frame_bytes), receiver, parity)


def try_many(
    frame_bytes: bytes,
    baud: float,
    line: Line,
    shift_peak_v: float,
    freq_hz: float,
    noise: Noise,
    receiver: Receiver,
    count: int,
    rng: np.random.Generator,
    *,
    parity: str | None = None,
    sender_clock_error: float = 0.0,
) -> NDArray[np.bool_]:
    """Which of `count` sendings of a frame got through unharmed.

    Shape (count,). See `read_many`; every character has to be there, well framed, and the one that was sent.
    """
    read = read_many(
        frame_bytes,
        baud,
        line,
        shift_peak_v,
        freq_hz,
        noise,
        receiver,
        count,
        rng,
        parity=parity,
        sender_clock_error=sender_clock_error,
    )
    same = read.values == np.frombuffer(frame_bytes, dtype=np.uint8)
    return np.asarray((read.good & same).all(axis=1))
