"""What follows a fault, second by second: it stops at once, some seconds later, never, or again and again.

    followed = what_follows("two-run", "cool-2", "outdoor.SIG=open")
    followed.word           "it stops after some seconds"

A job runs sound under its call, the fault strikes, and the bench is looked at every half second for a
minute. What runs where is all that counts: a person beside the unit would say the same.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from lessonkit.errors import require
from lessonkit.job.faults import Fault
from lessonkit.job.model import Job
from lessonkit.studies.asked import Rows
from lessonkit.studies.experiment import Experiment, experiment

__all__ = ["FOLLOWS", "Followed", "what_follows"]

#: All that can follow, in words that a class can vote on.
FOLLOWS = (
    "it goes on as before",
    "it stops at once",
    "it stops after some seconds",
    "it stops and starts again and again",
    "something starts that nobody called",
)
_ON, _AT_ONCE, _LATER, _AGAIN, _STARTS = FOLLOWS

#: Equipment by the place at which a person would stand.
_AT = {
    "outdoors": ("compressor stage 1", "compressor stage 2", "reversing valve", "outdoor fan"),
    "indoors": ("blower", "auxiliary heat"),
}
#: How often the bench is looked at, and for how long (s).
_EVERY_S, _LONG_S = 0.5, 60.0


@dataclass(frozen=True)
class Followed:
    """What followed a fault: the `word`, when each change came, and the story as an experiment."""

    word: str
    said: str
    changes: tuple[tuple[float, str], ...]
    story: Experiment
    among: tuple[str, ...] = FOLLOWS

    @property
    def shows(self) -> tuple[object, ...]:
        """Return what a class is shown: the changes, then the bench a minute later."""
        rows = tuple((f"{seconds:g} s", what) for seconds, what in self.changes)
        return Rows("What ran, and when", ("after the fault", "runs"), rows), self.story

    def __repr__(self) -> str:
        return self.said


def what_follows(
    job: Job | str,
    call: str,
    faults: Iterable[Fault | str] | Fault | str,
    where: str = "outdoors",
) -> Followed:
    """Return what follows when faults strike a running job.

    The job runs sound under its call until then. `where` is "outdoors" or "indoors": whose equipment is
    watched.
    """
    require(where in _AT, "where", where, f"one of {', '.join(_AT)}")
    story = experiment(job, call, faults, after_s=_LONG_S)
    bench = story.struck()
    before = _running(story.under(call), where)
    changes, runs, restarts = [(0.0, ", ".join(before) or "nothing")], before, 0
    for step in range(1, int(_LONG_S / _EVERY_S) + 1):
        state = bench.advance(_EVERY_S)
        now = tuple(name for name in _AT[where] if state.responding[name] != "off")
        if now != runs:
            restarts += bool(set(now) - set(runs))
            changes.append((step * _EVERY_S, ", ".join(now) or "nothing"))
            runs = now
    if restarts > 1 or state.chatter:
        word = _AGAIN
    elif set(runs) - set(before):
        word = _STARTS
    elif runs == before:
        word = _ON
    else:
        word = _AT_ONCE if changes[1][0] <= _EVERY_S else _LATER
    last = "" if len(changes) == 1 else f" The last change came after {changes[-1][0]:g} s."
    said = f"Before: {changes[0][1]}. A minute later: {', '.join(runs) or 'nothing'}.{last}"
    return Followed(word, said, tuple(changes[:12]), story)


def _running(sound: Experiment, where: str) -> tuple[str, ...]:
    """Return what runs at a place of the sound job, at the moment at which the fault will strike."""
    whole = Experiment(sound.job, sound.call, (), 0.0, sound.before_s, sound.seed, sound.outdoor_c)
    responding = whole.state().responding
    return tuple(name for name in _AT[where] if responding[name] != "off")
