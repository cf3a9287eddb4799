"""Trials: a job under a call, broken in some way, and what the bench says.

An exercise never stores a right answer: it tries the job on a fresh bench with `settled`, and reads the
state. A lesson puts a whole row of calls to a job with `try_calls`, which is how a technician reads a fault
from the thermostat: each call is a question, and the equipment answers.

States are values, so one that was computed is kept and handed out again.
"""

from __future__ import annotations

import random
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

from lessonkit.bench.state import State
from lessonkit.errors import require
from lessonkit.job.calls import CALL_TERMINALS, CALLS, PLACE_WORDS, PLACES
from lessonkit.job.faults import Fault
from lessonkit.job.model import Job
from lessonkit.job.toml import demo_job
from lessonkit.studies.experiment import experiment

__all__ = [
    "EQUIPMENT",
    "Trials",
    "call_terminals_at",
    "any_job",
    "in_order",
    "responds",
    "settled",
    "site",
    "try_calls",
]

#: What can respond, as the bench names it; a defrost is a state of these, not a piece of equipment.
EQUIPMENT = (
    "blower",
    "compressor stage 1",
    "compressor stage 2",
    "reversing valve",
    "outdoor fan",
    "auxiliary heat",
    "emergency heat",
)

#: Seconds after a call until its answer is read: long enough for two links in a row, and for a watchdog.
ANSWER_S = 20.0

#: Demo jobs by valve type.
JOBS = MappingProxyType({"O": ("full-cable", "earth-return", "two-run"), "B": ("wire-return",)})


def any_job(rng: random.Random) -> str:
    """Return a demo job; the valve is drawn first, so that both types come equally often."""
    return rng.choice(JOBS[rng.choice("OB")])


def site(job: str) -> str:
    """Return a demo job in one line, as the questions begin."""
    kit = demo_job(job)
    return f"{kit.title} (job `{job}`): two stages, **{kit.equipment.valve}** valve."


@lru_cache(maxsize=1024)
def settled(
    job: str,
    call: str,
    faults: tuple[str, ...] = (),
    seconds: float = ANSWER_S,
    outdoor_c: float = 8.0,
    defrost_for_s: float | None = None,
    before_s: float = 0.0,
) -> State:
    """Return a demo job's state some seconds after a call came.

    The faults are there before the call, or strike after `before_s` seconds under it. With `defrost_for_s`,
    the defrost board's test pins are then joined, and that many seconds more go by.
    """
    bench = experiment(job, call, faults, before_s, seconds, outdoor_c=outdoor_c).bench()
    if defrost_for_s is None:
        return bench.state
    bench.force_defrost()
    return bench.advance(defrost_for_s)


def in_order(terminals: Iterable[str]) -> list[str]:
    """Return call terminals in order: Y1, Y2, G, O, B, W1, E."""
    found = set(terminals)
    return [terminal for terminal in CALL_TERMINALS if terminal in found]


def call_terminals_at(state: State, place: str) -> list[str]:
    """Return the call terminals that are live at a place, in order.

    R, C, D and spares are left out.
    """
    return in_order(state.energised(place))


def responds(state: State) -> list[str]:
    """Return the names of the equipment that does something."""
    return [name for name in EQUIPMENT if state.responding[name] != "off"]


@dataclass(frozen=True)
class Trials:
    """A row of calls, each tried on a fresh bench.

    `rows` maps a call to (terminals live at the place, what the house gets). Shown last in a cell, it is a
    table.
    """

    job: str
    place: str
    faults: tuple[str, ...]
    rows: dict[str, tuple[tuple[str, ...], str]]

    @property
    def terminals(self) -> dict[str, tuple[str, ...]]:
        """Return call -> the call terminals that are live at the place."""
        return {call: live for call, (live, _) in self.rows.items()}

    @property
    def house_gets(self) -> dict[str, str]:
        """Return call -> what the house gets, in words."""
        return {call: words for call, (_, words) in self.rows.items()}

    def __str__(self) -> str:
        return "\n".join(
            f"{call:9}  {' '.join(live) or 'none':18}  {words}" for call, (live, words) in self.rows.items()
        )

    __repr__ = __str__

    def _repr_markdown_(self) -> str:
        head = f"| call | live at the {PLACE_WORDS[self.place]} | the house gets |\n| --- | --- | --- |\n"
        return head + "\n".join(
            f"| `{call}` | {' '.join(live) or 'none'} | {words} |"
            for call, (live, words) in self.rows.items()
        )


def try_calls(
    job: Job | str,
    calls: Iterable[str] | str = CALLS,
    faults: Iterable[Fault | str] | Fault | str = (),
    place: str = "stat",
) -> Trials:
    """Put calls to a job, and return what came of each.

    Each call comes to a fresh bench that is broken already, and has 20 s. `job` is a `Job`, or the name or
    file of one; `place` is `stat`, `air` or `out`, where the terminals are read. Raises a `LessonError` for a
    call, a fault or a job that there isn't.
    """
    require(place in PLACES, "place", place, f"one of {', '.join(PLACES)}")
    tried = experiment(job, faults=faults, before_s=0.0, after_s=ANSWER_S)
    rows = {}
    for call in [calls] if isinstance(calls, str) else calls:
        state = tried.under(call).state()
        rows[call] = tuple(call_terminals_at(state, place)), state.delivering
    return Trials(tried.job.name, place, tuple(map(str, tried.faults)), rows)
