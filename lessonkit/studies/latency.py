"""How long a call takes to arrive: from the thermostat to the contactor, by the moment at which it comes.

A link polls once in an interval and acts on so many equal good frames in a row.  So a call waits for the next
poll, and then for the frames behind it:

    shortest    (frames - 1) intervals, where the call comes just before a poll
    longest     frames x interval, where it comes just after one
    two links   the one behind the other: their times add up

A mean says little here; what a technician has to wait for is the longest.

Where the model stops: the bench reads the terminals when an exchange ends, so it is quicker than a real link
by as much as an exchange, some 0.08 s at 1200 baud; and two links of one job poll at the same moments.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lessonkit.bench.bench import Bench
from lessonkit.bench.reading import Reading
from lessonkit.errors import LessonError, require
from lessonkit.job.calls import check_call
from lessonkit.job.model import Job
from lessonkit.job.toml import load_job

__all__ = ["Latency", "latency"]

#: Just after a poll: so little later that no frame of it can carry the call.
_MISSED_S = 1e-3


@dataclass(frozen=True)
class Latency:
    """Seconds from a call to the contactor, by the moment of the call.

    Both arrays have the shape (moments,): `after_poll_s` counts from the last poll of the first link,
    `taken_s` from the call until the contactor pulls in.
    """

    job: str
    call: str
    after_poll_s: NDArray[np.float64]
    taken_s: NDArray[np.float64]

    @property
    def longest_s(self) -> Reading:
        """Return the longest time that it took."""
        return Reading(float(self.taken_s.max()), "s", ("the call", "the contactor"))

    @property
    def shortest_s(self) -> Reading:
        """Return the shortest time that it took."""
        return Reading(float(self.taken_s.min()), "s", ("the call", "the contactor"))


def latency(job: Job | str, call: str = "cool-2", moments: int = 21) -> Latency:
    """Return how long a call takes to arrive, by when it comes.

    Parameters: `job`, or the name of one; `call` has to run the compressor.  Each moment has a bench of its
    own, at rest for two polls, and no delay holds its compressor.
    """
    job = job if isinstance(job, Job) else load_job(job)
    check_call(call)
    require(isinstance(moments, int) and 2 <= moments <= 500, "moments", moments, "a whole number, 2 to 500")
    settings = [job.runs[run].link for run in job.links]
    interval_s = settings[0].interval_s if settings else 1.0
    first_poll_s = settings[0].exchange_s if settings else 0.0
    wait_s = 5.0 + 2 * sum(one.acceptance * one.interval_s for one in settings)
    after, taken = np.linspace(_MISSED_S, interval_s - _MISSED_S, moments), []
    for moment_s in after:
        bench = Bench(job)
        bench.pass_time(first_poll_s + 2 * interval_s + float(moment_s))
        called_s = bench.time_s
        bench.set_call(call)
        bench.pass_time(wait_s)
        found = [e.time_s for e in bench.log.of("out:contactor") if e.what == "pulls in"]
        if not found:
            raise LessonError(f"{job.name} under {call}: the contactor doesn't pull in within {wait_s:g} s.")
        taken.append(found[0] - called_s)
    return Latency(job.name, call, after, np.asarray(taken))
