"""What hands change in the wiring of a job, as small values.

A fault is what is broken; a work of hands is what somebody did, and can undo. It is written as it is said:

    lift out:outdoor.SIG                 SIG of the outdoor run, off its terminal at the outdoor unit
    move out:outdoor.Y1 out:Y2           the same end, put on another terminal there
    twist out:outdoor.R out:outdoor.C    ends at one place, off their terminals and twisted together
    jumper air:R air:G                   a wire between two terminals of one place
    relay air:Y1 air:R air:G             a relay put in: coil from Y1 to C, its contact closes R to G
    unplug out:relay-board               a board's plug, pulled

`PLACE:RUN.CONDUCTOR` names one end of one conductor, by its jacket: where a fault has swapped two conductors,
the end that is lifted is that of the conductor named, wherever it sits. A loose end has a node of that name
in the circuit, and a probe can touch it. Spares hang loose from the start and keep their usual names.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from lessonkit.errors import LessonError, shown
from lessonkit.job.calls import PLACES
from lessonkit.job.model import RUN_ENDS, Job, is_idle

__all__ = ["ACTS", "BadHandWork", "HandWork", "as_works", "boards_of", "end_of", "parse_work", "terminals_of"]

#: What can be done, and what each takes.
ACTS = {
    "lift": "PLACE:RUN.CONDUCTOR",
    "move": "PLACE:RUN.CONDUCTOR PLACE:TERMINAL",
    "twist": "PLACE:RUN.CONDUCTOR PLACE:RUN.CONDUCTOR ...",
    "jumper": "PLACE:TERMINAL PLACE:TERMINAL",
    "relay": "PLACE:COIL PLACE:FROM PLACE:TO",
    "unplug": "PLACE:BOARD",
}


class BadHandWork(LessonError, ValueError):
    """Something that hands can't do in this job."""


@dataclass(frozen=True)
class HandWork:
    """One thing that hands did: an act of `ACTS`, and what it was done to, in the words of this room."""

    act: str
    what: tuple[str, ...]

    def __str__(self) -> str:
        """Return it as it is written."""
        return " ".join((self.act, *self.what))

    @property
    def place(self) -> str:
        """Return the place where it was done."""
        return self.what[0].partition(":")[0]

    @property
    def ends(self) -> tuple[str, ...]:
        """Return the ends of conductors that it has taken off their own terminals."""
        return {"lift": self.what, "move": self.what[:1], "twist": self.what}.get(self.act, ())


def end_of(conductor: str, place: str, job: Job) -> str:
    """Return the end of a conductor ("outdoor.SIG") at a place, as "out:outdoor.SIG".

    Raises `BadHandWork` where there is none.
    """
    if not isinstance(conductor, str):
        raise BadHandWork(f"{shown(conductor)} is no conductor; write it like outdoor.R")
    run, _, name = conductor.partition(".")
    known = [f"{run}.{name}" for run in job.runs for name in job.runs[run].conductors]
    if f"{run}.{name}" not in known:
        near = difflib.get_close_matches(conductor, known, 3, 0.5) or known[:3]
        raise BadHandWork(f"there is no conductor {shown(conductor)} in this job; it has {', '.join(near)}")
    if place not in RUN_ENDS[run]:
        raise BadHandWork(
            f"conductor {conductor} does not end at {shown(place)}; it ends at {' and '.join(RUN_ENDS[run])}"
        )
    return f"{place}:{run}.{name}"


def is_spare_end(end: str) -> bool:
    """Return whether an end belongs to a conductor that hangs loose from the start."""
    return is_idle(end.partition(".")[2])


def terminals_of(job: Job, place: str) -> tuple[str, ...]:
    """Return the terminals of a place that a wire can be put on."""
    inner = {"stat": (), "air": ("D", "GND"), "out": ("D", "CC", "RV", "GND")}[place]
    if job.equipment.valve == "none":  # conventional cooling defrosts nothing, and has no board for it
        inner = tuple(name for name in inner if name == "GND")
    calls = job.outdoor_terminals if place == "out" else job.call_terminals
    # At the air handler, where two runs meet, a signal terminal says which way it looks.
    far = {"thermostat": "stat", "outdoor": "out"}
    signals = [f"SIG-{far[run]}" if place == "air" else "SIG" for run in job.links if place in RUN_ENDS[run]]
    return tuple(f"{place}:{name}" for name in ("R", "C", *calls, *inner, *signals))


def boards_of(job: Job) -> tuple[str, ...]:
    """Return the boards of a job that have a plug, as "place:name"."""
    found = ["stat:thermostat"]
    for run in job.links:
        found += [f"{RUN_ENDS[run][0]}:encoder", f"{RUN_ENDS[run][1]}:relay-board"]
    return tuple(found) if job.equipment.valve == "none" else (*found, "out:defrost-board")


def parse_work(text: str | HandWork, job: Job) -> HandWork:
    """Return the work that a text means in this job.

    Raises `BadHandWork` with one sentence that names what is wrong and what is allowed.
    """
    if not isinstance(text, str | HandWork):
        raise BadHandWork(f"{shown(text)} is no work of hands; write one as text, such as lift out:outdoor.R")
    parts = (text.act, *text.what) if isinstance(text, HandWork) else (text,)
    written = " ".join(part if isinstance(part, str) else shown(part) for part in parts)
    words = written.split()
    if not words or words[0] not in ACTS:
        acts = "; ".join(f"{act} {takes}" for act, takes in ACTS.items())
        raise BadHandWork(f"{shown(written)} is no work of hands; write one of: {acts}")
    act, what = words[0], words[1:]
    wanted = {"lift": 1, "move": 2, "jumper": 2, "relay": 3, "unplug": 1}.get(act, 0)
    if len(what) != wanted if wanted else len(what) < 2:
        raise BadHandWork(f"{shown(written)} can't be read; write {act} {ACTS[act]}")
    if act == "unplug":
        _one_of(what[0], boards_of(job), "board")
    elif act in ("jumper", "relay"):
        for terminal in what:
            _one_of(terminal, _terminals(job), "terminal")
        _together(written, what)
        if act == "relay" and what[0].startswith("stat:"):
            raise BadHandWork(f"{written!r}: a thermostat has no room for a relay; put it in at air or out")
        if act == "relay" and {name.partition(":")[2] for name in what[1:]} == {"R", "C"}:
            raise BadHandWork(f"{written!r}: its contact would short R to C; choose terminals with a load")
    else:
        ends = what[:1] if act == "move" else what
        what[: len(ends)] = [_end(end, job) for end in ends]
        if act == "move":
            _one_of(what[1], _terminals(job), "terminal")
        if len(what) > 1:
            _together(written, what)
    return HandWork(act, tuple(what))


def as_works(works: Iterable[HandWork | str] | HandWork | str, job: Job) -> tuple[HandWork, ...]:
    """Return works of hands, given as values or as text, checked against the job and each other."""
    if isinstance(works, HandWork | str):
        works = [works]
    if not isinstance(works, Iterable):
        raise BadHandWork(f"works are {shown(works)}, but must be a list, such as of lift out:outdoor.R")
    checked = tuple(dict.fromkeys(parse_work(work, job) for work in works))
    taken: dict[str, HandWork] = {}
    for work in checked:
        for end in work.ends:
            if end in taken:
                raise BadHandWork(f"{end} can't be in two places: {taken[end]}, and {work}")
            taken[end] = work
    return checked


def _terminals(job: Job) -> tuple[str, ...]:
    return tuple(terminal for place in PLACES for terminal in terminals_of(job, place))


def _end(text: str, job: Job) -> str:
    place, colon, conductor = text.partition(":")
    if not colon or "." not in conductor:
        raise BadHandWork(f"{shown(text)} is no end of a conductor; write it like out:outdoor.R")
    return end_of(conductor, place, job)


def _one_of(name: str, known: Sequence[str], what: str) -> None:
    if name not in known:
        near = difflib.get_close_matches(name, known, 3, 0.6) or known
        raise BadHandWork(f"there is no {what} {shown(name)} here; there are {', '.join(near)}")


def _together(text: str, what: Sequence[str]) -> None:
    if len(set(what)) < len(what):
        raise BadHandWork(f"{shown(text)} names the same thing twice; name two that differ")
    places = {name.partition(":")[0] for name in what}
    if len(places) > 1:
        raise BadHandWork(
            f"{shown(text)} reaches from {' to '.join(sorted(places))}; hands work at one place"
        )
