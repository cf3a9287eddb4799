"""A link's settings, tried on the bench: how busy the line is, how long a call takes, what gets through.

    try_link("kiln-room", baud=2400, interval_s=0.5)

Nothing is reckoned here but the share of time that the line is busy. The delay is read from the bench's log,
for calls that come at several moments between two polls; frames are tried in the state that the call leads
to.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from lessonkit.bench.bench import Bench
from lessonkit.errors import BadParameter
from lessonkit.job.model import Job
from lessonkit.job.toml import load_job

__all__ = ["LinkTrial", "try_link"]

#: When a call comes, as shares of the interval behind a poll: the first only just misses that poll.
MOMENTS = (0.002, 0.5)

#: A call that has not closed the contactor after so many intervals never does.
PATIENCE = 5


@dataclass(frozen=True)
class LinkTrial:
    """What a link did with its settings.

    `frame_s` is one frame's time, `busy` the share of time that frame and reply take, `slowest_s` the longest
    time from a call to the contactor (None where it did not pull in), `through` the share of frames that are
    read and answered while the call is on.
    """

    baud: float
    interval_s: float
    acceptance: int
    frame_s: float
    busy: float
    slowest_s: float | None
    through: float

    def __str__(self) -> str:
        """Return it in sentences."""
        slowest = (
            "The contactor did not pull in."
            if self.slowest_s is None
            else f"From the call to the contactor it takes up to {self.slowest_s:.2f} s."
        )
        return (
            f"{self.baud:g} baud: a frame takes {self.frame_s * 1000:.3g} ms.\n"
            f"A poll each {self.interval_s:g} s: frame and reply keep the line busy "
            f"{self.busy * 100:.3g} % of the time.\n{slowest}\n"
            f"{self.through * 100:.0f} % of the frames are read and answered."
        )

    __repr__ = __str__


def try_link(job: Job | str, *, call: str = "cool-1", seed: int = 0, **settings: Any) -> LinkTrial:
    """Try settings of an outdoor link with a call on the bench.

    `settings` are those of a link: `baud`, `interval_s`, `acceptance`, `watchdog_s`, `noise_v`, `clock_error`
    and so on. `call` is one that closes the contactor. Raises a `LessonError` for settings with which no link
    can work.
    """
    job = job if isinstance(job, Job) else load_job(job)
    if "outdoor" not in job.links:
        raise BadParameter("job", job.name, "a job with a link on its outdoor run, such as kiln-room")
    try:
        link = replace(job.outdoor_run.link, **settings)
    except TypeError:
        known = ", ".join(vars(job.outdoor_run.link))
        raise BadParameter("settings", sorted(settings), f"settings of a link: {known}") from None
    job = job.with_run("outdoor", link=link)
    delays, through = [], 1.0
    for moment in MOMENTS:
        bench = Bench(job, seed=seed)
        bench.pass_time(2 * link.interval_s + link.exchange_s + moment * link.interval_s)
        called_s = bench.time_s
        bench.set_call(call)
        state = bench.advance(PATIENCE * link.interval_s).links["outdoor"]
        pulled_in = [begin_s for begin_s, _ in bench.log.spans("out:contactor") if begin_s >= called_s]
        delays.append(pulled_in[0] - called_s if pulled_in else None)
        through = min(through, state.odds * state.reply_odds)
    known_delays = [delay for delay in delays if delay is not None]
    slowest = max(known_delays) if len(known_delays) == len(delays) else None
    busy = link.exchange_s / link.interval_s
    return LinkTrial(link.baud, link.interval_s, link.acceptance, link.frame_s, busy, slowest, through)
