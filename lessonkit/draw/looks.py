"""What each conductor of a bench is doing, end by end: live, dead, common, signalling, floating.

A conductor has two ends, and a break, a bad splice or a swap makes them differ, so each end is judged by
itself, against the common of its own place: that is what a meter held there would say. What is drawn and what
is written about a wire both come from here, so a picture and its text alternative can't disagree.
"""

from __future__ import annotations

from dataclasses import dataclass

from lessonkit.faults import Fault, fault_parts, parse_fault
from lessonkit.job import RUN_ENDS, Job, is_idle
from lessonkit.layout import REFERENCE, conductor_node
from lessonkit.state import State

__all__ = [
    "LIVE_V",
    "Wire",
    "contact_closed",
    "earth_wire",
    "fault_words",
    "present_faults",
    "shown_volts",
    "wires",
]

LIVE_V = 12.0
"""Half the rated volts: below, no coil of a 24-volt control works."""


@dataclass(frozen=True)
class Wire:
    """One conductor: how each end looks, and what is wrong with it.

    `near` and `far` are words of `palette.LOOKS`; `amps` is RMS at the near end; `far_conductor` is the
    terminal that it reaches, another one than its own only when it is swapped.
    """

    run: str
    conductor: str
    far_conductor: str
    near: str
    far: str
    amps: float
    faults: tuple[Fault, ...]

    @property
    def key(self) -> str:
        """Return the name that faults use, such as `outdoor.SIG`."""
        return f"{self.run}.{self.conductor}"

    @property
    def broken(self) -> bool:
        """Return whether it is open somewhere, a bad one from the beginning."""
        return self.conductor.startswith("bad") or any(f.kind == "open" for f in self.faults)


def present_faults(state: State, job: Job) -> tuple[Fault, ...]:
    """Return the faults of a state as values."""
    return tuple(parse_fault(text, job) for text in state.faults)


def fault_words(fault: Fault, job: Job) -> str:
    """Return a few words for a fault where it sits, such as `bad splice, 20 ohm`."""
    kind = fault_parts(job)[f"{fault.where}.{fault.part}"][fault.kind]
    if kind.value == "number":
        return f"{kind.words}, {fault.value:g} {kind.unit}"
    if kind.value == "conductor":
        return kind.words.replace("another conductor", str(fault.value))
    return kind.words


def shown_volts(state: State, node: str) -> float:
    """Return the RMS volts that a picture writes at a terminal.

    Against C of the same place; C itself against C of the air handler, which shows how far commons differ.
    """
    place, _, terminal = node.partition(":")
    return state.volts[node] if terminal == "C" else state.between(node, f"{place}:C")


def wires(state: State, job: Job, ghosts: frozenset[str] = frozenset()) -> tuple[Wire, ...]:
    """Return every conductor of both runs, in the order of the job.

    `ghosts` are nodes whose volts mean nothing (see `ghosts.ghost_nodes`).
    """
    faults = present_faults(state, job)
    return tuple(
        _wire(state, job, run, conductor, [f for f in faults if f.where == run], ghosts)
        for run, cable in job.runs.items()
        for conductor in cable.conductors
    )


def _wire(
    state: State, job: Job, run: str, conductor: str, faults: list[Fault], ghosts: frozenset[str]
) -> Wire:
    near_place, far_place = RUN_ENDS[run]
    mine = tuple(
        f for f in faults if conductor == f.part or (f.kind in ("short", "swapped") and f.value == conductor)
    )
    reaches = conductor
    for fault in mine:
        if fault.kind == "swapped":
            reaches = str(fault.value) if fault.part == conductor else fault.part
    touched = any(f.kind in ("short", "earth", "swapped") for f in mine)
    floats = is_idle(conductor) and not touched
    near = conductor_node(run, conductor, near_place)
    far = conductor_node(run, reaches, far_place)
    return Wire(
        run,
        conductor,
        reaches,
        "floating" if floats or near in ghosts else _look(state, job, run, near, near_end=True),
        "floating" if floats or far in ghosts else _look(state, job, run, far, near_end=False),
        state.amps[f"{run}.{conductor}"],
        mine,
    )


def _look(state: State, job: Job, run: str, node: str, near_end: bool) -> str:
    place, _, terminal = node.partition(":")
    if terminal == "C":
        return "common" if state.volts[node] < LIVE_V else "live"
    if state.between(node, f"{place}:C") >= LIVE_V:
        return "live"
    link = state.links.get(run)
    if terminal.startswith("SIG") and link is not None:
        settings = job.runs[run].link
        if near_end:
            return "signalling" if state.boards[f"{place}:encoder"].awake else "dead"
        readable = link.low_v <= settings.low_v and link.high_v >= settings.high_v
        return "signalling" if readable and link.odds > 0 else "dead"
    return "dead"


def earth_wire(state: State, job: Job) -> Wire:
    """Return the equipment ground between air handler and outdoor unit, drawn like a conductor."""
    faults = tuple(f for f in present_faults(state, job) if (f.where, f.part) == ("outdoor", "earth"))
    returns = job.outdoor_run.return_by == "earth"
    far = "common" if state.between("out:GND", REFERENCE) < LIVE_V else "live"
    near = "common" if returns else "dead"
    far = far if returns else "dead"
    return Wire("outdoor", "earth", "earth", near, far, state.amps["outdoor.earth"], faults)


def contact_closed(state: State, job: Job, place: str, terminal: str) -> bool:
    """Return whether the contact from R to a terminal is closed, at the thermostat or on a relay board."""
    if place == "stat":
        return terminal in state.called and state.boards["stat:thermostat"].awake
    stuck = {f.kind for f in present_faults(state, job) if (f.where, f.part) == (place, f"relay-{terminal}")}
    if stuck:
        return "stuck-closed" in stuck
    run = next(name for name, ends in RUN_ENDS.items() if ends[1] == place)
    return terminal in state.links[run].outputs
