"""A ground that gets worse in steps: what a job with an earth return does at each of them.

    worse = worse_ground("earth-return", [0.5, 2, 8, 20, 100])
    worse.questions        one question a step, for a class to vote on
    worse                  the table, as `earth_sweep` has it

An equipment ground is there for faults. Whether it may carry anything else is for the local code, the makers'
instructions and the licensed person on site; the steps show what happens when it is relied on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from lessonkit.job.model import Job
from lessonkit.job.ohms import ohm_words
from lessonkit.job.toml import load_job
from lessonkit.studies.asked import Asked, Rows, Told
from lessonkit.studies.experiment import experiment
from lessonkit.studies.sweeps import EarthSweep, earth_sweep

__all__ = ["GROUND_ANSWERS", "WorseGround", "worse_ground"]

#: What a job can do on a poor ground: the word of the sweep, and the words that a class votes on.
GROUND_ANSWERS = {
    "works": "all works as called",
    "chatters": "relays pull in and let go again and again",
    "dead": "nothing outdoors runs any more",
}


@dataclass(frozen=True)
class WorseGround:
    """The steps of a ground that gets worse, and the sweep that they were taken from."""

    job: Job
    sweep: EarthSweep

    @property
    def questions(self) -> tuple[Asked, ...]:
        """Return one question a step, the best ground first."""
        return tuple(self._question(k) for k in range(len(self.sweep.ohm)))

    def _question(self, k: int) -> Asked:
        words = (
            f"The way home has {ohm_words(self.sweep.ohm[k])} more than a good bond. The call is "
            f"{self.sweep.call}. What happens?"
        )
        return Asked(words, tuple(GROUND_ANSWERS.values()), partial(self._told, k))

    def _told(self, k: int) -> Told:
        sweep, fault = self.sweep, f"outdoor.earth=resistance:{self.sweep.ohm[k]:g}"
        rows = (
            ("contactor coil, all on", f"{sweep.coil_v[k]:.1f} V (pulls in at {sweep.pickup_v:g} V)"),
            ("between the two C", f"{sweep.common_v[k]:.2f} V"),
            ("polls answered", f"{100 * sweep.odds[k]:.0f} %"),
        )
        table = Rows("With all on that the call asks for", ("what", "value"), rows)
        said = f"The bench says: {sweep.outcomes[k]}."
        story = experiment(self.job, sweep.call, fault, before_s=0.0)
        return Told(GROUND_ANSWERS[sweep.outcomes[k]], said, (table, story))

    def __repr__(self) -> str:
        return repr(self.sweep)

    def _repr_markdown_(self) -> str:
        return self.sweep._repr_markdown_()


def worse_ground(
    job: Job | str = "earth-return",
    ohms: Sequence[float] = (0.5, 1.0, 1.8, 12.0, 40.0),
    call: str = "cool-2",
) -> WorseGround:
    """Return the steps of a ground that gets worse.

    `job` has a link with an earth return on its outdoor run; `ohms` are added to what its ground has, in the
    order in which the class meets them.
    """
    site = job if isinstance(job, Job) else load_job(job)
    return WorseGround(site, earth_sweep(site, ohms, call))
