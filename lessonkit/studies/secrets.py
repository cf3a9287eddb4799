"""Benches that do not say what they are set to, and a trial for a reader of frames.

A seed draws a call, a fault, or both, so that frames can be read without knowing beforehand what is in them:

    bench = secret_bench("kiln-room", 7)                         some call, nothing broken
    bench = secret_bench("kiln-room", 4, "cool-2", suspects)     one of the suspects, under a known call

`try_reader` puts a function of the learner's own to frames of every call, and tells how many it reads right.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from lessonkit.bench.bench import Bench
from lessonkit.errors import BadParameter, require
from lessonkit.job.calls import CALLS
from lessonkit.job.model import Job
from lessonkit.studies.experiment import experiment

__all__ = ["ReaderTrial", "secret_bench", "try_reader"]

#: Long enough for two links in a row and for a watchdog of ten seconds.
_SECONDS = 15.0


def secret_bench(job: Job | str, seed: int, call: str = "", faults: Sequence[str] = ()) -> Bench:
    """Return a bench with a call and a fault drawn by a seed.

    `call` fixes the call, else it is any one that a link carries to the outdoor unit; of `faults` one is
    drawn. The same seed draws the same.
    """
    require(isinstance(seed, int) and seed >= 0, "seed", seed, "a whole number, 0 or more")
    rng = random.Random(f"secret {seed}")
    drawn = call or rng.choice([one for one in CALLS if one.startswith(("cool", "heat"))])
    broken = [rng.choice(list(faults))] if faults else []
    return experiment(job, drawn, broken, before_s=0.0, after_s=_SECONDS).bench()


@dataclass(frozen=True)
class ReaderTrial:
    """How many frames a reader read right, and where it first went wrong."""

    right: int
    frames: int
    first_wrong: str = ""

    def __str__(self) -> str:
        return f"{self.right} of {self.frames} frames read right. {self.first_wrong}".rstrip()

    __repr__ = __str__


def try_reader(reader: Callable[[list[int]], Iterable[Any]], job: Job | str = "kiln-room") -> ReaderTrial:
    """Let a function of the learner's read frames of every call.

    `reader(levels)` gets the levels of a frame in the order on the line, and returns the terminals that it
    calls. What stops it is told and counts as not read.
    """
    if not callable(reader):
        raise BadParameter("reader", reader, "a function of yours, by its name and without brackets")
    right, first = 0, ""
    for call in CALLS:
        bench = experiment(job, call, before_s=0.0, after_s=_SECONDS).bench()
        frame = bench.last_frame("outdoor")
        require(frame is not None, "job", bench.job.name, "a job with a link on its outdoor run")
        assert frame is not None
        try:
            read = set(reader([int(level) for level in np.ravel(frame.reading.sample_levels)]))
            said = " ".join(sorted(map(str, read))) or "nothing"
        except Exception as error:
            read, said = None, f"a stop ({type(error).__name__}: {error})"
        if read == set(bench.state.links["outdoor"].inputs):
            right += 1
        elif not first:
            first = f"First trouble with the call {call}: your words gave {said}."
    return ReaderTrial(right, len(CALLS), first)
