"""The agenda of a bench: what comes next, and when.

Time on a bench runs from event to event. Some things fall due by themselves: a poll of a link, the end of a
watchdog, a board that has had its volts long enough to start, a store that is empty, the waits of thermostat
and furnace, the compressor's delay, and what the defrost board does of its own accord. Everything else
happens because something touched the bench.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from lessonkit.bench.link import Ends
from lessonkit.bench.outdoor_board import Timers
from lessonkit.bench.settling import is_fed
from lessonkit.bench.wiring import Wiring
from lessonkit.copper.network import Solution
from lessonkit.job.model import Job

#: Two moments closer than this are one.
SAME_S = 1e-9

#: The defrost board's own moments are worked out through logarithms, and so are a little less exact.
_BOARD_SAME_S = 1e-6


def next_event_s(
    job: Job,
    now_s: float,
    polls: Mapping[str, float],
    boots: Mapping[str, float],
    links: Mapping[str, Ends],
    timers: Timers,
    board_changes_s: float,
    waits: Iterable[float] = (),
) -> float:
    """Return when the next thing falls due.

    `polls` maps runs and `boots` boards to the moments at which they are due; `board_changes_s` is when the
    defrost board changes something by itself; `waits` are the ends of other waits (a thermostat's timer, a
    store, a furnace's blower). All are seconds on the bench's clock.
    """
    times = [*polls.values(), *boots.values(), max(board_changes_s, now_s), *waits]
    for run, ends in links.items():
        for end in (ends.far, ends.near):
            deadline_s = end.deadline_s(job.runs[run].link)
            if deadline_s is not None:
                times.append(deadline_s)
    if timers.free_at_s > now_s + SAME_S:
        times.append(timers.free_at_s)
    if timers.defrost_until_s is not None:
        times.append(timers.defrost_until_s)
    return min(times)


def board_is_due(now_s: float, timers: Timers, board_changes_s: float) -> bool:
    """Return whether the delay, the cut-off of a defrost, or a change of the defrost board falls due now."""
    times = timers.free_at_s, timers.defrost_until_s or math.inf, board_changes_s
    return any(abs(time_s - now_s) <= _BOARD_SAME_S for time_s in times)


def boots_due(
    boots: Mapping[str, float], wiring: Wiring, awake: frozenset[str], solution: Solution, now_s: float
) -> dict[str, float]:
    """Return when each sleeping board that has volts will start; one that lost them has to wait again."""
    return {
        name: boots.get(name, now_s + board.electronics.start_s)
        for name, board in wiring.boards.items()
        if name not in awake and is_fed(wiring, name, solution, awake=False)
    }
