"""The best plan for a hidden fault: what a search would do that is told what everybody sees.

Somebody stands at the thermostat and makes the calls, and somebody at each unit calls out what runs, so a
call costs half a minute and what responds is known at once.  The search walks and measures: at each step the
look that teaches most for its minutes.  Once it is sure, or no look tells more, it replaces parts: first the
one that mends most of what is still believed for its minutes.

It is played out for one fault at a time, each look showing what that fault shows.  Where the model stops: it
looks one step ahead, so it can be beaten, and it lifts no wires.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lessonkit.bench.hands import walk_min
from lessonkit.job.faults import Fault, fault_parts
from lessonkit.job.model import RUN_ENDS, Job
from lessonkit.studies.commissioning import calls_of, outdoor_c_of
from lessonkit.studies.dictionary import Look, Suspect, suspects_of
from lessonkit.studies.find import CALL_MIN, LOOK_MIN, Search

__all__ = ["NOTHING", "Entry", "best_plan", "part_min", "part_of", "place_of"]

#: What is said where nobody complains.
NOTHING = "nobody notices anything"
#: Minutes to replace a part or to pull a new conductor, and for a fuse, once one stands there (ours).
PART_MIN, FUSE_MIN = 15.0, 2.0
#: The calls that the best plan looks at, beside that of the complaint: the others say the same once more.
_PLAN_CALLS = ("off", "fan", "cool-1", "heat-1", "heat-aux", "emergency")
#: A plan that takes more steps than this is none.
_MOST_STEPS = 40


@dataclass(frozen=True)
class Entry:
    """One step of a story: the minutes at its end, what was done, and what it showed."""

    minutes: float
    act: str
    shown: str

    def __str__(self) -> str:
        """Return it as a line of a log."""
        return f"{self.minutes:6.1f} min  {self.act}: {self.shown}"


def part_of(fault: Fault) -> frozenset[str]:
    """Return the parts "where.part" of which replacing any mends a fault: of a short, either conductor."""
    both = {fault.part, str(fault.value)} if fault.kind in ("short", "swapped") else {fault.part}
    return frozenset(f"{fault.where}.{part}" for part in both)


def part_min(part: str) -> float:
    """Return the minutes to replace a part, once one stands there."""
    return FUSE_MIN if part.endswith(".fuse") else PART_MIN


def place_of(part: str) -> str:
    """Return where a part is replaced: a conductor at its near end."""
    where = part.partition(".")[0]
    return RUN_ENDS[where][0] if where in RUN_ENDS else where


class _WithHelpers(Search):
    """A search in which others make the calls and call out what runs."""

    def minutes_for(self, look: Look) -> float:
        """Return what a look costs: half a minute a call, its walk a reading; seeing comes with a call."""
        minutes = 0.0 if look.call == self.call else CALL_MIN
        return minutes + (walk_min(self.here, look.place) + LOOK_MIN if look.is_volts else 0.01)

    def _learn(self, look: Look, likely: NDArray[np.float64]) -> None:
        here, minutes = self.here, self.minutes
        cost = round(self.minutes_for(look), 1)
        super()._learn(look, likely)
        self.minutes = minutes + cost
        if not look.is_volts:
            self.here = here


def _suspects(job: Job, fault: Fault) -> Sequence[Suspect]:
    """Return all single faults, and the hidden one where it is none of the usual."""
    usual = suspects_of(job, comes_and_goes=False)
    if any(one.faults == (fault,) for one in usual):
        return usual
    share = 1.0 / (len(usual) + 1)
    return (
        *(Suspect(s.faults, False, s.weight * (1 - share)) for s in usual),
        Suspect((fault,), False, share),
    )


def best_plan(job: Job, fault: Fault, complaint: str) -> Iterator[Entry]:
    """Yield the steps of the best plan for a fault, from its complaint to the part that mends it."""
    suspects, call = _suspects(job, fault), complaint.partition(":")[0] or "off"
    calls = [one for one in calls_of(job) if one in _PLAN_CALLS or one == call]
    search = _WithHelpers(
        job, calls=calls, outdoor_c=outdoor_c_of(job), suspects=suspects, here="stat", call=call
    )
    culprit = next(k for k, one in enumerate(suspects) if one.faults == (fault,))
    yield Entry(0.0, "the complaint", complaint or NOTHING)
    _see_all(search, culprit, call)
    for _ in range(_MOST_STEPS):
        step = None if search.found else search.best(search.looked)
        if step is None or step.bits < 0.02:
            break
        look = step.look
        if look.call != search.call:
            search.minutes += CALL_MIN
            search.call = look.call
            yield Entry(search.minutes, f"call {look.call}", _see_all(search, culprit, look.call))
        if look.is_volts:
            volts = search.pages[look].volts
            assert volts is not None
            search.measured(look, min(float(volts[culprit]), 60.0))
            yield Entry(search.minutes, str(look), f"{volts[culprit]:.1f} V")
    yield from _replacing(job, fault, search)


def _replacing(job: Job, fault: Fault, search: Search) -> Iterator[Entry]:
    """Replace the part that mends most of what is still believed for its minutes, until all works."""
    belief = search.belief.copy()
    minutes, here, left = search.minutes, search.here, set(fault_parts(job))
    mends = {part: np.array([part in part_of(one.faults[0]) for one in search.suspects]) for part in left}
    while left:
        cost = {part: walk_min(here, place_of(part)) + part_min(part) for part in sorted(left)}
        part = max(cost, key=lambda part: (float(belief @ mends[part]) / cost[part], part))
        minutes, here = minutes + cost[part], place_of(part)
        left.discard(part)
        belief[mends[part]] = 0.0
        right = part in part_of(fault)
        yield Entry(minutes, f"replace {part}", "all works again" if right else "the fault is still there")
        if right:
            return


def _see_all(search: Search, culprit: int, call: str) -> str:
    """Take in all that the helpers call out under a call; return what is on."""
    on = []
    for look, page in search.pages.items():
        if look.call == call and not look.is_volts:
            word = page.words[int(np.argmax(page.chance[culprit]))]
            minutes = search.minutes
            search.saw(look, word)
            search.minutes = minutes
            on += [look.act] if word not in ("off", "silent") else []
    return f"of what tells, on: {', '.join(on) or 'nothing'}"
