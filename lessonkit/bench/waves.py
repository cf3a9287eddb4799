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

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from lessonkit.bench.bench import Bench
from lessonkit.copper.elements import Wave
from lessonkit.signal.frames import Frame, frame_levels

__all__ = ["Between", "between"]

#: What is on, and the driver that speaks.
Moment = tuple[frozenset[str], str]

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

    spoken = {run: _said_in_a_poll(bench, run) for run in talking}
    level_v = _levels(bench, red, black, load_ohm, [moment for said in spoken.values() for moment, _ in said])
    rest_v = level_v[on, None]
    direct_v = np.full(time_s.shape, rest_v)
    for run, link in zip(talking, settings, strict=True):
        slot = np.floor((time_s % link.interval_s) * link.baud + 1e-9).astype(np.intp)
        levels = np.concatenate(
            [
                np.where(bits > 0, level_v[state, None], level_v[state, driver])
                for (state, driver), bits in spoken[run]
            ]
        )
        speaking = slot < len(levels)
        direct_v[speaking] += levels[slot[speaking]] - rest_v
    return Between(ac_v, job.frequency_hz, time_s, direct_v)


def _said_in_a_poll(bench: Bench, run: str) -> list[tuple[Moment, NDArray[np.uint8]]]:
    """Return a link's last frame and the reply: what is on, who speaks, and its bits as levels."""
    near, far = f"driver {run}.near", f"driver {run}.far"
    said = []
    for way, driver, state in (("down", near, bench.on), ("up", far, (bench.on - {near}) | {far})):
        seen = bench.last_frame(run, way)
        if seen is not None:
            said.append(((state, driver), _bits(seen.sent)))
    return said


@lru_cache(maxsize=256)  # a meter looks at the same frames several times
def _bits(frame: Frame) -> NDArray[np.uint8]:
    return frame_levels(frame.to_bytes())


def _levels(
    bench: Bench, red: str, black: str, load_ohm: float, moments: Sequence[Moment]
) -> dict[tuple[frozenset[str], str | None], float]:
    """Return the direct volts between the probes while a moment's driver says space and (None) mark.

    All are solved as one stack. A driver that says space keeps its impedance, so the impedance between the
    probes is worked out once for what is on, not once for each level.
    """
    states = dict.fromkeys([bench.on, *(state for state, _ in moments)])
    asked: list[tuple[frozenset[str], str | None]] = [*((state, None) for state in states), *moments]
    solved = bench.wiring.solve([state for state, _ in asked], 0.0, [silent for _, silent in asked])
    behind = {state: solved[k].thevenin(red, black) for k, state in enumerate(states)}
    return {
        case: float(replace(behind[case[0]], open_v=solution.v(red, black)).loaded_v(load_ohm).real)
        for case, solution in zip(asked, solved, strict=True)
    }
