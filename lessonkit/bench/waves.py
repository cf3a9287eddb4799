"""What stands between two points of a bench while its links speak.

Two things lie on the same copper. The supply's sine is one number for each pair of points (`ac_v`, RMS). The
links' levels change: at rest the near end holds a mark; in a frame it goes to a space for some of the bits;
then the far end answers. Between any two points each of these gives a direct voltage, from the same circuit
at 0 Hz, and here they are put one behind the other as the last frames had them, over one interval of polls.

So a direct-volts range on SIG shows the mark, less the share of time that spaces take; an alternating range
shows hum and frames together, and its reading jumps with every poll, as a real one does. This room gives the
mean over a whole interval.

Where the model stops: levels jump at once (edges take microseconds, a meter a third of a second), and two
links count as if each spoke alone.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lessonkit.bench.bench import Bench
from lessonkit.copper.elements import Wave
from lessonkit.signal.frames import frame_levels

__all__ = ["Between", "between"]

#: The wave is sampled so many times a bit of the quickest link, or a cycle of the supply.
_POINTS = 4
_CYCLE_POINTS = 200


@dataclass(frozen=True, eq=False)
class Between:
    """What a meter finds between two points, over one interval of polls.

    `ac_v` is RMS at the supply frequency; `direct_v` are the levels at the evenly spaced moments `time_s`,
    shape (n,).
    """

    ac_v: float
    freq_hz: float
    time_s: Wave
    direct_v: Wave

    @property
    def is_steady(self) -> bool:
        """Return whether no frame shows between the points."""
        return bool(np.ptp(self.direct_v) < 1e-9)

    @property
    def wave(self) -> Wave:
        """Return the volts at every moment, sine and levels together."""
        sine = np.sqrt(2) * self.ac_v * np.sin(2 * np.pi * self.freq_hz * self.time_s)
        wave: Wave = self.direct_v + sine
        return wave


def between(bench: Bench, red: str, black: str, load_ohm: float) -> Between:
    """Return what a meter of `load_ohm` finds from `red` to `black`; the meter's load is counted."""
    job, on = bench.job, bench.on
    ac_v = abs(bench.solution.thevenin(red, black).loaded_v(load_ohm))
    talking = [run for run in job.links if f"driver {run}.near" in on and bench.last_frame(run)]
    settings = [job.runs[run].link for run in talking]
    step_s = min([1 / (_POINTS * s.baud) for s in settings] + [1 / (_CYCLE_POINTS * job.frequency_hz)])
    span_s = max((s.interval_s for s in settings), default=6 / job.frequency_hz)
    cycles = max(round(span_s * job.frequency_hz), 1)
    span_s = cycles / job.frequency_hz  # whole cycles, so that the sine's own mean is nothing
    time_s = np.linspace(0.0, span_s, round(span_s / step_s) + 1)

    def level_v(state: frozenset[str], silent: str | None = None) -> float:
        solution = bench.wiring.solve([state], 0.0, [silent])[0]
        return float(solution.thevenin(red, black).loaded_v(load_ohm).real)

    rest_v = level_v(on)
    direct_v = np.full(time_s.shape, rest_v)
    for run, link in zip(talking, settings, strict=True):
        levels = _levels_of_a_poll(bench, run, level_v)
        slot = np.floor((time_s % link.interval_s) * link.baud + 1e-9).astype(np.intp)
        speaking = slot < len(levels)
        direct_v[speaking] += levels[slot[speaking]] - rest_v
    return Between(ac_v, job.frequency_hz, time_s, direct_v)


def _levels_of_a_poll(bench: Bench, run: str, level_v: Callable[..., float]) -> NDArray[np.float64]:
    """Return the direct volts for each bit of a link's last frame and of the reply, shape (bits,)."""
    near, far = f"driver {run}.near", f"driver {run}.far"
    found = []
    for way, driver, state in (("down", near, bench.on), ("up", far, (bench.on - {near}) | {far})):
        seen = bench.last_frame(run, way)
        if seen is not None:
            space_v, mark_v = level_v(state, driver), level_v(state)
            found.append(np.where(frame_levels(seen.sent.to_bytes()) > 0, mark_v, space_v))
    levels: NDArray[np.float64] = np.concatenate(found)
    return levels
