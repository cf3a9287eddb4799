"""How every call ends: in each weather that matters, and after each single conductor has broken.

A plan asks for thousands of these ends, and most of them can't differ from one that is known already.  A
contact that opens, or a conductor that breaks, where less than a milliampere flows changes nothing that
responds; so does a contact that closes between two points of the same volts.  Those ends are taken over.  A
milliampere is a tenth of what the smallest load of a job takes (an encoder's input), and some twenty times
what the capacitance of a cable lets through.  The state before the call has to pass the same test, since
what settles goes out from there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from lessonkit.bench.asking import DEFROST_BOARD_AT
from lessonkit.bench.outdoor_board import seen
from lessonkit.bench.wiring import Wiring
from lessonkit.job.calls import CALLS
from lessonkit.job.faults import Fault
from lessonkit.job.model import Job
from lessonkit.studies.arrangements import Arrangement
from lessonkit.studies.break_harms import Break, break_of
from lessonkit.studies.cases import Case, Rest, Wire, rest, rest_of
from lessonkit.studies.half_wave import SharedWire

__all__ = ["ends_of", "heats_in_defrost", "if_broken", "outdoors_of", "wire_of"]

#: What the air outdoors is at where nothing goes by it (Celsius), and how far from a setting of an outdoor
#: thermostat its two sides are tried.
MILD_C, ASIDE_C = 8.0, 5.0
#: Less than this moves nothing (amperes and volts, RMS; why, says the room's docstring).
NOTHING_A, NOTHING_V = 1e-3, 0.1
#: What carries current, or a signal, under every call.
_ALWAYS = ("R", "C", "SIG")


@dataclass(frozen=True)
class _Breakable:
    """Makes the circuit of a job, whose conductors can then be opened without making it again."""

    wire: Wire

    def __call__(self, job: Job, faults: tuple[Fault, ...] = ()) -> Wiring:
        """Return the circuit with some conductors open."""
        whole = _whole(self.wire, job)
        return whole.opened(faults) if faults else whole


@lru_cache(maxsize=8)
def _whole(wire: Wire, job: Job) -> Wiring:
    return wire(job, ())


def wire_of(how: Arrangement) -> Wire:
    """Return what makes the circuit of an arrangement's job; it knows no faults but open conductors."""
    return _Breakable(SharedWire(how.shared) if how.shared else Wiring)


def outdoors_of(job: Job) -> tuple[float, ...]:
    """Return the outdoor temperatures to try: one, or one between every two settings and beyond them.

    An outdoor thermostat has a few states, and the bench has nothing else that goes by the air here.
    """
    stat = job.outdoor_thermostat
    if stat is None:
        return (MILD_C,)
    settings = {c for c in (stat.auxiliary_above_c, stat.compressor_below_c) if c is not None}
    tried = sorted({c + side for c in settings for side in (-ASIDE_C, ASIDE_C)}, reverse=True)
    return tuple(sorted({stat.closed(c): c for c in tried}.values()))


def ends_of(jobs: Sequence[Job], wire: Wire = Wiring, replies: bool = False) -> list[list[Rest]]:
    """Return how every call ends in each of some jobs, in each weather that matters.

    For a job come all calls in the first weather, then in the next. The jobs are one site with other numbers,
    and have one outdoor thermostat. `replies` as in `rest`.
    """
    cases, weathers = [Case(call) for call in CALLS], outdoors_of(jobs[0])
    asked = [(job, case) for job in jobs for case in cases]
    first = rest_of(asked, outdoor_c=weathers[0], wire=wire, replies=replies)
    by_weather = [first]
    for outdoor_c in weathers[1:]:
        moved = _moved_contacts(jobs[0], weathers[0], outdoor_c)
        differs = [k for k, end in enumerate(first) if _matters(end, moved)]
        ends = [*first]
        again = rest_of([asked[k] for k in differs], outdoor_c=outdoor_c, wire=wire, replies=replies)
        for k, end in zip(differs, again, strict=True):
            ends[k] = end
        by_weather.append(ends)
    size = len(cases)
    return [
        [end for ends in by_weather for end in ends[k * size : k * size + size]] for k in range(len(jobs))
    ]


def _moved_contacts(job: Job, one_c: float, other_c: float) -> frozenset[str]:
    """Return the kinds of contact of the outdoor thermostat that differ between two temperatures."""
    stat = job.outdoor_thermostat
    return frozenset() if stat is None else frozenset(stat.closed(one_c) ^ stat.closed(other_c))


def _matters(end: Rest, moved: frozenset[str]) -> bool:
    """Return whether an end would differ if these contacts of the outdoor thermostat were the other way."""
    solution = end.settled.solution
    for key, which in end.wiring.lockouts.items():
        if which not in moved:
            continue
        branch = solution.network.branches[solution.network.place_of[key]]
        if abs(solution.a(key)) > NOTHING_A or abs(solution.v(branch.a, branch.b)) > NOTHING_V:
            return True
    return bool(end.chatter)


def _carries(end: Rest, run: str, terminal: str) -> bool:
    """Return whether a conductor carries anything at an end."""
    return bool(end.chatter) or abs(end.settled.solution.a(f"{run}.{terminal}#0")) > NOTHING_A


def _broken(how: Arrangement, whole: Sequence[Rest], at: Sequence[tuple[str, str]]) -> list[list[Rest]]:
    """Return how every call ends in every weather with each of some conductors broken, one at a time.

    `whole` are the ends with nothing broken. A conductor that two terminals share breaks for both.
    """
    job, wire = how.job, wire_of(how)
    size, weathers = len(CALLS), outdoors_of(job)
    opened = [tuple(Fault(run, one, "open") for one in terminal.split("+")) for run, terminal in at]
    found = [list(whole) for _ in at]
    for w, outdoor_c in enumerate(weathers):
        moved = _moved_contacts(job, weathers[0], outdoor_c)
        asked = []
        for row, (run, terminal) in enumerate(at):
            ends = found[row]
            for n in range(w * size, w * size + size):
                first = n - w * size
                if w and not any(_matters(ends[one], moved) for one in (first, 0)):
                    ends[n] = ends[first]
                elif terminal in _ALWAYS or any(
                    _carries(whole[one], run, name) for one in (n, w * size) for name in terminal.split("+")
                ):
                    asked.append((row, n))
        cases = [Case(CALLS[n - w * size], opened[row]) for row, n in asked]
        broken = rest(job, cases, outdoor_c=outdoor_c, wire=wire, replies=False) if cases else []
        for (row, n), end in zip(asked, broken, strict=True):
            found[row][n] = end
    return found


def if_broken(
    how: Arrangement, whole: Sequence[Rest], perfect: Sequence[Rest], d_counts: bool
) -> dict[str, Break]:
    """Return what happens when a conductor breaks, for each one in use by its run and label.

    `whole` are the ends with nothing broken, `perfect` those on copper that drops nothing; `d_counts` says
    that without the conductor D a forced defrost brings no auxiliary heat any more.
    """
    serving: dict[tuple[str, str], list[str]] = {}
    for served in how.schedule:
        if served.terminal:
            serving.setdefault((served.run, served.terminal), []).append(f"{served.run} {served.label}")
    alone = [at for at, labels in serving.items() if len(labels) == 1]
    broken = _broken(how, whole, alone)
    twins = {label: Break(twin=True) for labels in serving.values() for label in labels if len(labels) > 1}
    found = {}
    for at, ends in zip(alone, broken, strict=True):
        found[serving[at][0]] = break_of(ends, perfect, d_counts and at[1] == "D")
    return twins | found


def heats_in_defrost(job: Job, wire: Wire = Wiring, broken: Sequence[str] = ("",)) -> list[bool]:
    """Return whether a forced defrost brings auxiliary heat on indoors, for each conductor `broken`.

    They are conductors of the outdoor run, one broken at a time ("": none is). A board defrosts only while
    it sees a call for heat.
    """
    stat = job.outdoor_thermostat
    locked_c = -40.0 if stat is None or stat.compressor_below_c is None else stat.compressor_below_c
    outdoor_c = max(0.0, locked_c + 1.0)  # cold enough for frost, and not too cold for the compressor
    cases = [Case("heat-1", (Fault("outdoor", one, "open"),) if one else ()) for one in broken]
    called, forced = (
        rest(job, cases, outdoor_c=outdoor_c, wire=wire, replies=False, defrosting=defrosting)
        for defrosting in (False, True)
    )
    return [
        DEFROST_BOARD_AT in before.settled.latches.awake
        and seen(before.settled.solution, job.equipment.valve, True, False, job.y1_at_board).heating
        and after.responding["auxiliary heat"] != "off"
        for before, after in zip(called, forced, strict=True)
    ]
