"""What each conductor of a bench is doing, end by end: live, dead, common, signalling, floating.

Volts are told against the common of the same place: that is what a meter held there would say. Where that
common has lost its way back and sits volts away, such readings turn everything upside down (a live R would
read 0 V), so there they are told against C of the air handler, and the picture says so.

A break or a bad splice makes the ends of a conductor differ, so each end of such a one is judged by itself. A
whole one is a single piece of copper and has one state from end to end. What is drawn and what is written
about a conductor both come from here, so a picture and its text alternative can't disagree.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from types import MappingProxyType

from lessonkit.bench.layout import REFERENCE, conductor_node, link_common, run_end
from lessonkit.bench.link import LinkState
from lessonkit.bench.plugs import node_of_end
from lessonkit.bench.state import LIVE_V, State
from lessonkit.job.faults import Fault
from lessonkit.job.handwork import parse_work
from lessonkit.job.model import RUN_ENDS, Job, is_idle

__all__ = [
    "Conductor",
    "earth_path",
    "shown_volts",
    "conductors",
]

#: How well the far end reads the frames on SIG, by the state of the link; nothing is said where all is well.
_READING = MappingProxyType({"poor": "read in part", "silent": "not read", "dead": "not read"})

#: What a whole conductor is, if anything says so: the first of these.
_ONE_STATE = ("live", "floating", "common", "signalling", "dead")


@dataclass(frozen=True)
class Conductor:
    """One conductor: how each end looks, and what is wrong with it.

    `near` and `far` are words of `palette.LOOKS`; `amps` is RMS at the near end; `far_name` is the
    terminal that it reaches, another one than its own only when it is swapped; `reading` says how well the
    far end reads the frames on it, when not all get through; `near_off` and `far_off` say what hands did with
    an end that is off its own terminal, such as `lifted`.
    """

    run: str
    name: str
    far_name: str
    near: str
    far: str
    amps: float
    faults: tuple[Fault, ...]
    reading: str = ""
    near_off: str = ""
    far_off: str = ""

    @property
    def key(self) -> str:
        """Return the name that faults use, such as `outdoor.SIG`."""
        return f"{self.run}.{self.name}"

    @property
    def broken(self) -> bool:
        """Return whether it is open somewhere, a bad one from the beginning."""
        return self.name.startswith("bad") or any(f.kind == "open" for f in self.faults)

    @property
    def whole(self) -> bool:
        """Return whether nothing in it, neither break nor splice, lets its ends differ."""
        return not self.broken and not any(
            f.kind == "resistance" and f.part == self.name for f in self.faults
        )


def shown_volts(state: State, node: str) -> float:
    """Return the RMS volts that a picture writes at a terminal.

    Against the `reference` of its place; C itself against C of the air handler, which shows how far commons
    differ.
    """
    place, _, terminal = node.partition(":")
    return state.volts[node] if terminal == "C" else state.between(node, state.reference(place))


def conductors(state: State, job: Job) -> tuple[Conductor, ...]:
    """Return every conductor of both runs, in the order of the job."""
    return tuple(
        _conductor(state, job, run, name, [f for f in state.present if f.where == run])
        for run, cable in job.runs.items()
        for name in cable.conductors
    )


def _conductor(state: State, job: Job, run: str, name: str, faults: list[Fault]) -> Conductor:
    near_place, far_place = RUN_ENDS[run]
    mine = tuple(f for f in faults if name == f.part or (f.kind in ("short", "swapped") and f.value == name))
    ends = {one: one for one in job.runs[run].conductors}
    for fault in faults:
        if fault.kind == "swapped":
            one, two = fault.part, str(fault.value)
            ends[one], ends[two] = ends[two], ends[one]
    reaches = ends[name]
    floats = is_idle(name) and not any(f.kind in ("short", "earth", "swapped") for f in mine)
    near = run_end(job, run, name, near_place)
    far = conductor_node(run, reaches, far_place)
    if reaches == "C":  # an isolated receiver keeps it apart from C there
        far = link_common(job, run, far_place)
    near, near_off = _by_hand(state, job, f"{near_place}:{run}.{name}", near)
    far, far_off = _by_hand(state, job, f"{far_place}:{run}.{name}", far)
    floats = floats and not near_off.startswith("on ") and not far_off.startswith("on ")
    near_look, far_look = (
        "floating" if floats or node in state.ghosts else _look(state, node, state.reference(place))
        for node, place in ((near, near_place), (far, far_place))
    )
    link = state.links.get(run) if name == "SIG" else None
    if link is not None:
        near_look, far_look = _with_frames(state, job, link, near_look, far_look)
    amps = state.amps[f"{run}.{name}"]
    made = Conductor(run, name, reaches, near_look, far_look, amps, mine, "", near_off, far_off)
    if made.whole and made.near != made.far:
        one = _one_look(state, made, (near, far))
        made = replace(made, near=one, far=one)
    if link is not None and made.near == made.far == "signalling":
        made = replace(made, reading=_READING.get(link.state, ""))
    return made


def _by_hand(state: State, job: Job, end: str, usual: str) -> tuple[str, str]:
    """Return where an end of a conductor is, and what hands did with it; empty words where nothing."""
    works = [parse_work(work, job) for work in state.hands]
    work = next((work for work in works if end in work.ends), None)
    if work is None:
        return usual, ""
    words = {"lift": "lifted", "twist": "twisted"}.get(work.act, f"on {work.what[-1].partition(':')[2]}")
    return node_of_end(works, end, usual), words


def _look(state: State, node: str, against: str) -> str:
    """Return what volts alone say about one end."""
    if node.endswith((":C", ":C-air")):
        return "common" if state.volts[node] < LIVE_V else "live"
    return "live" if state.between(node, against) >= LIVE_V else "dead"


def _with_frames(state: State, job: Job, link: LinkState, near: str, far: str) -> tuple[str, str]:
    """Return the looks of both ends of SIG with frames where they are: sent, and arrived."""
    settings, near_place = job.runs[link.run].link, RUN_ENDS[link.run][0]
    sent = state.boards[f"{near_place}:encoder"].awake
    arrived = sent and link.high_v - link.low_v >= settings.high_v - settings.low_v
    return (
        "signalling" if near == "dead" and sent else near,
        "signalling" if far == "dead" and arrived else far,
    )


def _one_look(state: State, conductor: Conductor, ends: tuple[str, str]) -> str:
    """Return the one state of a whole conductor whose ends seem to differ, both against one C."""
    looks = {
        look if look in ("floating", "signalling") else _look(state, end, REFERENCE)
        for look, end in zip((conductor.near, conductor.far), ends, strict=True)
    }
    if looks == {"signalling", "dead"} and conductor.far_name == "SIG":
        return "dead"  # a short holds it down: what is sent is on it nowhere
    return next(word for word in _ONE_STATE if word in looks)


def earth_path(state: State, job: Job) -> Conductor:
    """Return the equipment ground between air handler and outdoor unit, drawn like a conductor."""
    faults = tuple(f for f in state.present if (f.where, f.part) == ("outdoor", "earth"))
    returns = job.outdoor_run.return_by == "earth"
    far = "common" if state.between("out:GND", REFERENCE) < LIVE_V else "live"
    near = "common" if returns else "dead"
    far = far if returns else "dead"
    return Conductor("outdoor", "earth", "earth", near, far, state.amps["outdoor.earth"], faults)
