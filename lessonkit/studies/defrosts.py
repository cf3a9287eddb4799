"""Defrosts watched: what the outdoor coil and the equipment do for hours, under calls that come and go.

    watch_defrost("full-cable", minutes=240)
    watch_defrost(job, minutes=60, pins_at=20, calls={25: "off", 40: "heat-1"})

A bench lives through it, with every frame of its links; nothing here decides when a defrost begins or ends.
Minutes are counted from the first call, and somebody looks four times a minute.

What is watched is what somebody beside the outdoor unit sees, and a thermometer on its coil.  Capacity is the
share of what a coil without frost would give; it starts at 1.02 (EPRI EM-4226, see `bench/outdoor_coil`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lessonkit.bench.outdoor_coil import CLEAN, USUAL_DW
from lessonkit.bench.patient import PatientBench
from lessonkit.bench.reading import Reading
from lessonkit.bench.state import State
from lessonkit.errors import require, require_positive
from lessonkit.job.model import Job
from lessonkit.job.toml import load_job

__all__ = ["RUNS", "WatchedDefrost", "running", "watch_defrost"]

#: What can be seen to run, from the compressor to the heat indoors.
RUNS = ("compressor", "outdoor fan", "reversing valve", "auxiliary heat", "blower")

#: Seconds between two looks.
LOOK_S = 15.0


@dataclass(frozen=True)
class WatchedDefrost:
    """What was seen: arrays of the shape (looks,), and each defrost as (begin, end) in minutes.

    `coil_c` is the outdoor coil in degrees Celsius, `capacity` the share that frost has left; `runs` maps
    each of `RUNS` to whether it ran.
    """

    job: str
    minute: NDArray[np.float64]
    coil_c: NDArray[np.float64]
    capacity: NDArray[np.float64]
    runs: Mapping[str, NDArray[np.bool_]]
    defrosts: tuple[tuple[float, float], ...]

    @property
    def begins(self) -> Reading:
        """Return the minutes until the first defrost begins."""
        require(bool(self.defrosts), "defrosts", len(self.defrosts), "at least one: watch longer")
        return Reading(self.defrosts[0][0], "min", ("the call", "the defrost"))

    @property
    def lasts(self) -> Reading:
        """Return the minutes that the last defrost took."""
        require(bool(self.defrosts), "defrosts", len(self.defrosts), "at least one: watch longer")
        begin, end = self.defrosts[-1]
        return Reading(end - begin, "min", ("beginning", "end"))


def running(state: State) -> list[str]:
    """Return what runs, from the compressor to the blower."""
    named = {"compressor": "compressor stage 1"}
    return [name for name in RUNS if state.responding.get(named.get(name, name), "off") != "off"]


def watch_defrost(
    job: Job | str,
    call: str = "heat-1",
    minutes: float = 240.0,
    *,
    outdoor_c: float = 2.0,
    dw: float = USUAL_DW,
    pins_at: float | None = None,
    calls: Mapping[float, str] | None = None,
) -> WatchedDefrost:
    """Return what a bench does while it heats in frosting air.

    `dw` is the water that a kilogram of outdoor air leaves on the coil, in kilograms; `pins_at` the minute at
    which the test pins are joined; `calls` maps minutes to what is called from then on.
    """
    job = job if isinstance(job, Job) else load_job(job)
    require(0 < require_positive("minutes", minutes) <= 1440, "minutes", minutes, "above 0 and at most 1440")
    bench = PatientBench(job, outdoor_c=outdoor_c)
    bench.set_outdoor_c(outdoor_c, dw=dw)
    acts: list[tuple[float, str]] = [(0.0, call), *sorted((calls or {}).items())]
    acts += [(pins_at, "")] if pins_at is not None else []
    acts.sort(key=lambda act: act[0])
    states, spans, begun = [], [], None
    for look_s in np.arange(0.0, 60.0 * minutes + LOOK_S / 2, LOOK_S):
        while acts and acts[0][0] * 60.0 <= look_s + 1e-9:
            at_min, what = acts.pop(0)
            bench.pass_time(max(at_min * 60.0 - bench.time_s, 0.0))
            bench.set_call(what) if what else bench.force_defrost()
        states.append(bench.advance(look_s - bench.time_s))
        defrosts = states[-1].responding.get("defrost", "off") != "off"
        if defrosts and begun is None:
            begun = bench.time_s
        elif not defrosts and begun is not None:
            spans.append((begun, bench.time_s))
            begun = None
    spans += [(begun, bench.time_s)] if begun is not None else []
    ran = [running(state) for state in states]
    return WatchedDefrost(
        job.name,
        np.asarray([state.time_s for state in states]) / 60.0,
        np.asarray([state.coil_c for state in states]),
        CLEAN - np.asarray([state.frost for state in states]),
        {name: np.asarray([name in names for names in ran]) for name in RUNS},
        tuple((begin / 60.0, end / 60.0) for begin, end in spans),
    )
