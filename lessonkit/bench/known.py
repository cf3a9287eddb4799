"""A wiring with the answers that it gave before: a conductor that is broken and mended comes back to one.

A job, its faults and what hands did fix a wiring, and the wiring alone decides what asks for what, how a
choice of two-way elements settles, and what a frame meets. So a bench keeps the last few wirings that it had,
each with its answers; among them the trials of frames, which tell the odds.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache, partial

from lessonkit.bench.asking import what_asks
from lessonkit.bench.signal_path import SignalPaths
from lessonkit.bench.wiring import Wiring
from lessonkit.job.faults import Fault
from lessonkit.job.handwork import HandWork
from lessonkit.job.model import Job

__all__ = ["KEPT_WIRINGS", "Known", "known_wirings"]

#: So many wirings a bench keeps: whole, and a few faults that somebody goes to and fro between.
KEPT_WIRINGS = 8

_KEPT_ANSWERS = 2048


class Known:
    """One wiring and what was asked of it.

    Parameters as of `Wiring`, and the bench's `seed`. `asks` answers as `asking.what_asks` does, `solved` as
    `Wiring.solution` at the supply's frequency; `paths` are the signal paths of the bench.
    """

    def __init__(self, job: Job, seed: int, faults: tuple[Fault, ...], hands: tuple[HandWork, ...]) -> None:
        self.wiring = Wiring(job, faults, hands)
        self.asks = lru_cache(_KEPT_ANSWERS)(partial(what_asks, self.wiring))
        self.solved = lru_cache(_KEPT_ANSWERS)(partial(self.wiring.solution, freq_hz=job.frequency_hz))
        self.paths = SignalPaths(self.wiring, seed)


def known_wirings(job: Job, seed: int) -> Callable[[tuple[Fault, ...], tuple[HandWork, ...]], Known]:
    """Return what gives a job's wiring for faults and works of hands: one of the last few, or a new one."""
    return lru_cache(KEPT_WIRINGS)(partial(Known, job, seed))
