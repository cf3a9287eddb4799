"""One plan at its bad corner, and plans swept over one quantity: metres of cable, conductors in the wall.

    bad_corner(plan)              the job of a plan where all that is uncertain lies at its unfriendly end
    margin_sweep(plan, lengths)   the weakest coil's margin there, by the length of the outdoor cable
    conductor_sweep(survey, run)  ways and the best plan's minutes, by the number of sound conductors

A margin is volts above the 20.4 V (85 % of 24 V) at which a coil has to pull in; RMS throughout. It is read
with every relay held that the call asks for: where a coil does not pull in, it draws its inrush, and the
margin falls steeply.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from lessonkit.bench.wiring import Wiring
from lessonkit.errors import require, require_positive
from lessonkit.job.model import RUN_ENDS, Job
from lessonkit.studies.arrangements import arrangements, job_of
from lessonkit.studies.cases import Case, if_held
from lessonkit.studies.corners import GROUND, LINE, MUST_PULL_V, unfriendly
from lessonkit.studies.plan import Plan, first_of
from lessonkit.studies.survey import Survey, WallConductor, load_survey

__all__ = [
    "ConductorSweep",
    "MarginSweep",
    "bad_corner",
    "bad_corner_of",
    "conductor_sweep",
    "least_margin",
    "margin_sweep",
]

#: The calls that ask for most: every coil outdoors is on in the one or in the other.
HEAVIEST = ("cool-2", "heat-aux")


def bad_corner(plan: Plan) -> Job:
    """Return the job of a plan at its bad corner, for a bench.

    The line is at 95 %, copper at 60 C and 5 % above its reading, coils at the unfriendly ends of their
    bands, and ground that carries current at five times its ohms.
    """
    return bad_corner_of(job_of(plan.arrangement))


def bad_corner_of(job: Job) -> Job:
    """Return a job at its bad corner."""
    outdoor = job.outdoor_run
    by_ground = outdoor.arrangement == "link" and outdoor.return_by == "earth"
    return unfriendly(job, LINE[0], GROUND[-1] if by_ground else GROUND[0])


def least_margin(job: Job, calls: Sequence[str] = HEAVIEST) -> tuple[float, str]:
    """Return the least margin of any coil at the bad corner (V), and which coil has it.

    Judged are the coils that are in on copper that drops nothing.
    """
    corner = bad_corner_of(job)
    places = Wiring(corner).coils
    found = []
    wanted = _in_without_copper(_without_copper(job), tuple(calls))
    for held, coils in zip(if_held(corner, [Case(call) for call in calls]), wanted, strict=True):
        for coil in coils:
            at = places[coil]
            found.append((abs(held.settled.solution.v(at.a, at.b)) - MUST_PULL_V, coil))
    return min(found)


def _without_copper(job: Job) -> Job:
    for name in RUN_ENDS:
        job = job.with_run(name, length_m=1.0, gauge_awg=12, ohms=(), earth_ohm=0.001)
    return job.with_supply(rated_va=100.0, fuse_a=20.0)


@lru_cache(maxsize=64)
def _in_without_copper(job: Job, calls: tuple[str, ...]) -> tuple[tuple[str, ...], ...]:
    """Return the coils that are in, for each call; the jobs of a sweep differ in copper only."""
    coils = Wiring(job).coils.keys()
    held = if_held(job, [Case(call) for call in calls])
    return tuple(tuple(sorted(one.settled.latches.sealed & coils)) for one in held)


@dataclass(frozen=True)
class MarginSweep:
    """The weakest coil's margin at the bad corner, by the length of the outdoor cable.

    Arrays have the shape (lengths,). `works_to_m` is the longest of the lengths up to which the margin is
    above 0, or 0.0.
    """

    name: str
    length_m: NDArray[np.float64]
    margin_v: NDArray[np.float64]

    @property
    def works_to_m(self) -> float:
        """Return the longest length before the first margin below 0."""
        fails = np.flatnonzero(self.margin_v <= 0)
        last = int(fails[0]) if fails.size else self.length_m.size
        return float(self.length_m[last - 1]) if last else 0.0


def margin_sweep(plan: Plan, lengths_m: Sequence[float]) -> MarginSweep:
    """Return a plan's least margin for several lengths of the outdoor cable, all else as it is.

    Ohms that were measured grow with the length; equipment ground stays.
    """
    job, margins = job_of(plan.arrangement), []
    for length_m in lengths_m:
        require_positive("length_m", length_m)
        ohms = tuple(ohm * length_m / job.outdoor_run.length_m for ohm in job.outdoor_run.ohms)
        margins.append(least_margin(job.with_run("outdoor", length_m=float(length_m), ohms=ohms))[0])
    return MarginSweep(plan.arrangement.name, np.asarray(lengths_m, dtype=float), np.asarray(margins))


@dataclass(frozen=True)
class ConductorSweep:
    """What each number of sound conductors in a run allows.

    `count` and `ways` are whole numbers of conductors and of arrangements, `minutes` the work of the best
    plan, all of the shape (counts,); `best` names that plan, "" where there is none.
    """

    run: str
    count: NDArray[np.int_]
    ways: NDArray[np.int_]
    minutes: NDArray[np.float64]
    best: tuple[str, ...]


def conductor_sweep(survey: Survey | str, run: str = "outdoor", most: int = 7) -> ConductorSweep:
    """Return ways, best plan and its minutes, for 1 to `most` equal sound conductors in one run.

    Each has the ohms that are expected of the run; nothing else of the site changes.
    """
    site = survey if isinstance(survey, Survey) else load_survey(survey)
    require(run in RUN_ENDS, "run", run, f"one of {', '.join(RUN_ENDS)}")
    require(isinstance(most, int) and 1 <= most <= 12, "most", most, "a whole number from 1 to 12")
    counts = range(1, most + 1)
    ways, minutes, best = [], [], []
    for count in counts:
        there = _with_sound(site, run, count)
        possible = arrangements(there)
        ways.append(len(possible))
        first = first_of(there, possible)
        works = first is not None and first.works
        minutes.append(first.minutes if first is not None and works else np.nan)
        best.append(first.arrangement.name if first is not None and works else "")
    return ConductorSweep(
        run, np.asarray(counts), np.asarray(ways), np.asarray(minutes, dtype=float), tuple(best)
    )


def _with_sound(site: Survey, run: str, count: int) -> Survey:
    """Return the site with so many equal sound conductors in a run, and none else."""
    wall = site.run(run)
    loop_ohm = 2 * (wall.expected_ohm() or 0.5)
    sound = tuple(WallConductor(f"{k}", True, loop_ohm, 50.0) for k in range(1, count + 1))
    changed = replace(wall, conductors=sound)
    return replace(site, runs=tuple(changed if one.name == run else one for one in site.runs))
