"""An experiment: one job, one call, what breaks, and how long before and after.

A picture, a panel, a row of a table, an exercise and the command `bench` all tell the same short story:

    a job runs sound under a call for `before_s` seconds;
    then the faults strike, all at once;
    then `after_s` seconds pass.

`Experiment` is that story as a value, and its `bench()` lives through it. What a circuit does depends on
what came first: a contactor that is in stays in on little, and one that is out needs more. So the time before
is part of the question. `before_s=0` means that the job was broken before the call came: the call meets the
faults.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from lessonkit.bench.bench import Bench
from lessonkit.bench.state import State
from lessonkit.errors import require_positive
from lessonkit.job.calls import check_call
from lessonkit.job.faults import Fault, as_faults
from lessonkit.job.model import Job
from lessonkit.job.toml import load_job

__all__ = ["SOUND_S", "Experiment", "experiment"]

#: Seconds that a job runs sound under its call before faults strike, unless somebody says otherwise: long
#: enough for the calls to pass two links in a row.
SOUND_S = 15.0


@dataclass(frozen=True)
class Experiment:
    """What is tried: a job, a call, faults, the seconds before and after.

    `seed` fixes noise and phases, `outdoor_c` is the outdoor air in degrees Celsius. Make one with
    `experiment`, which checks the words.
    """

    job: Job
    call: str = "off"
    faults: tuple[Fault, ...] = ()
    before_s: float = SOUND_S
    after_s: float = 60.0
    seed: int = 0
    outdoor_c: float = 8.0

    def __post_init__(self) -> None:
        """Refuse times that run backwards."""
        require_positive("before_s", self.before_s, zero_ok=True)
        require_positive("after_s", self.after_s, zero_ok=True)

    def struck(self) -> Bench:
        """Return the bench at the moment at which the faults have struck and the call has come."""
        bench = Bench(
            self.job,
            seed=self.seed,
            faults=() if self.before_s else self.faults,
            outdoor_c=self.outdoor_c,
            call=self.call,
        )
        if self.before_s:
            bench.pass_time(self.before_s)
            bench.set_faults(self.faults)
        return bench

    def bench(self) -> Bench:
        """Return the bench after the last second, ready to be measured or lived on with."""
        bench = self.struck()
        bench.pass_time(self.after_s)
        return bench

    def state(self) -> State:
        """Return what the bench shows after the last second."""
        return self.struck().advance(self.after_s)

    def under(self, call: str) -> Experiment:
        """Return the same experiment with another call."""
        return replace(self, call=check_call(call))


def experiment(
    job: Job | str,
    call: str = "off",
    faults: Iterable[Fault | str] | Fault | str = (),
    before_s: float = SOUND_S,
    after_s: float = 60.0,
    *,
    seed: int = 0,
    outdoor_c: float = 8.0,
) -> Experiment:
    """Return an experiment: job, call, faults, seconds.

    `job` is a job, its name or its file; faults are such as "outdoor.SIG=open"; `before_s` are sound,
    `after_s` broken.

    Raises a `LessonError` for a job, a call or a fault that there isn't.
    """
    job = job if isinstance(job, Job) else load_job(job)
    before_s = require_positive("before_s", before_s, zero_ok=True)
    after_s = require_positive("after_s", after_s, zero_ok=True)
    return Experiment(job, check_call(call), as_faults(faults, job), before_s, after_s, seed, outdoor_c)
