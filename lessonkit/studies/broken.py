"""Every single conductor of a job broken in turn: what the house gets then.

The safe state is not believed but tried: `break_each` breaks one conductor at a time, long enough for every
watchdog, and holds what the house gets against the sound job under the same call. A break that takes
something away is safe. It is another matter where the house gets the other mode, or where no air moves.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from lessonkit.errors import require
from lessonkit.job.calls import check_call
from lessonkit.job.faults import Fault, as_faults
from lessonkit.job.model import Job, is_idle
from lessonkit.job.toml import load_job
from lessonkit.studies.cases import Case, rest

__all__ = ["OUTCOMES", "UNSAFE", "Broken", "BrokenRow", "break_each"]

#: What a break can lead to, from nothing lost to the worst.
OUTCOMES = ("as before", "less of it", "air only", "nothing", "no air", "the other mode")

#: Outcomes that are no safe state: a coil without air freezes or overheats, and nobody called the other mode.
UNSAFE = frozenset({"no air", "the other mode"})


@dataclass(frozen=True)
class BrokenRow:
    """One broken conductor: what the house gets, the outcome in one word or two, and what no longer runs."""

    conductor: str
    delivering: str
    outcome: str
    lost: tuple[str, ...]


@dataclass(frozen=True)
class Broken:
    """Conductors of a job, each broken alone, under one call. Shown last in a cell, it is a table."""

    job: str
    call: str
    sound: str
    rows: tuple[BrokenRow, ...]

    @property
    def outcomes(self) -> dict[str, str]:
        """Return conductor -> outcome."""
        return {row.conductor: row.outcome for row in self.rows}

    def count(self, outcome: str) -> int:
        """Return how many of the breaks lead to an outcome, one of `OUTCOMES`."""
        require(outcome in OUTCOMES, "outcome", outcome, f"one of {', '.join(OUTCOMES)}")
        return list(self.outcomes.values()).count(outcome)

    @property
    def unsafe(self) -> list[str]:
        """Return the conductors whose break leads to no safe state."""
        return [row.conductor for row in self.rows if row.outcome in UNSAFE]

    def __str__(self) -> str:
        lines = [f"{self.job}, {self.call}; sound: {self.sound}"]
        lines += [f"{row.conductor:16} {row.outcome:16} {row.delivering}" for row in self.rows]
        return "\n".join(lines)

    __repr__ = __str__

    def _repr_markdown_(self) -> str:
        head = f"`{self.call}`, sound: {self.sound}\n\n"
        head += "| broken | outcome | the house gets |\n| --- | --- | --- |\n"
        return head + "\n".join(f"| `{r.conductor}` | {r.outcome} | {r.delivering} |" for r in self.rows)


def break_each(job: Job | str, call: str, runs: Iterable[str] | str = ()) -> Broken:
    """Break each conductor of a job alone, and tell what comes.

    `runs` names the runs to break in, all of them if none is named. Each case has time to come to rest.
    """
    job = job if isinstance(job, Job) else load_job(job)
    chosen = (runs,) if isinstance(runs, str) else tuple(runs) or tuple(job.runs)
    for run in chosen:
        require(run in job.runs, "run", run, f"one of {', '.join(job.runs)}")
    names = [f"{run}.{name}" for run in chosen for name in job.runs[run].conductors if not is_idle(name)]
    faults: list[tuple[Fault, ...]] = [(), *(as_faults([f"{name}=open"], job) for name in names)]
    sound, *ends = rest(job, [Case(check_call(call), found) for found in faults])
    rows = []
    for name, end in zip(names, ends, strict=True):
        lost = tuple(
            part for part, words in end.responding.items() if words == "off" != sound.responding[part]
        )
        rows.append(BrokenRow(name, end.delivering, _outcome(sound.delivering, end.delivering), lost))
    return Broken(job.name, call, sound.delivering, tuple(rows))


def _mode(delivering: str) -> str:
    return next((mode for mode in ("cooling", "heating") if delivering.startswith(mode)), "")


def _outcome(sound: str, now: str) -> str:
    if now == sound:
        return "as before"
    if now in ("nothing", "air only"):
        return now
    if _mode(now) and _mode(sound) and _mode(now) != _mode(sound):
        return "the other mode"
    return "no air" if "no air" in now else "less of it"
