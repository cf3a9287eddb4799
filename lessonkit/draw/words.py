"""The state of a bench in plain words: the text alternative of its picture.

Written for an ear: what is asked for and what the house gets first, then what is out of order, then the
conductors.
"""

from __future__ import annotations

from collections.abc import Sequence

from lessonkit.bench.layout import REFERENCE
from lessonkit.bench.state import State
from lessonkit.draw.looks import Conductor, conductors, earth_path
from lessonkit.job.calls import PLACE_WORDS
from lessonkit.job.model import RUN_ENDS, Job
from lessonkit.job.naming import fault_words

#: What the state of a link means, where the word alone might not say it.
_MEANS = {
    "waiting": "with no frame heard yet",
    "poor": "with only a part of its frames getting through",
    "silent": "with nothing heard for so long that its watchdog ran out",
}

__all__ = ["clock_words", "equipment_words", "link_words", "state_words", "conductor_words"]


def clock_words(seconds: float) -> str:
    """Return a time for reading: `45 s`, `3 min 20 s`, `1 h 2 min`.

    >>> clock_words(200)
    '3 min 20 s'
    """
    whole = round(seconds)
    hours, minutes, rest = whole // 3600, whole // 60 % 60, whole % 60
    if hours:
        return f"{hours} h {minutes} min"
    if minutes:
        return f"{minutes} min {rest} s" if rest else f"{minutes} min"
    return f"{seconds:.1f} s" if whole != seconds else f"{whole} s"


def state_words(
    state: State, job: Job, covered: bool = False, drawn: Sequence[Conductor] | None = None
) -> str:
    """Return everything that the wiring picture shows, in sentences.

    Of a covered picture that is only what everybody sees: the call, what responds, and which disconnect is
    open. `drawn` are the conductors of the state and its earth path, for a caller that has them already.
    """
    called = ", ".join(t for t in job.call_terminals if t in state.called) or "no terminal"
    sentences = [
        f"After {clock_words(state.time_s)} the thermostat calls {state.call} ({called})",
        f"the house gets {state.delivering}",
        equipment_words(state),
    ]
    if not state.powered:
        sentences.append("the disconnect is open")
    else:
        sentences += [
            f"the disconnect at the {PLACE_WORDS[place]} is open"
            for place, on in state.power.items()
            if not on
        ]
    if covered:
        return _as_text(sentences)
    for place, fuse in state.fuses.items():
        if fuse != "whole":
            what = "fuse" if fuse == "blown" else "breaker"
            sentences.append(f"the {what} at the {PLACE_WORDS[place]} is {fuse}")
    for place, transformer in state.transformers.items():
        if transformer != "whole":
            sentences.append(f"the transformer at the {PLACE_WORDS[place]} is {transformer}")
    for place in state.overloaded:
        given = f"{state.va[place]:.0f} VA where {state.rated_va[place]:g} VA is rated"
        sentences.append(f"the transformer at the {PLACE_WORDS[place]} is overloaded: {given}")
    faults = [f"{f.where} {f.part} {fault_words(f, job)}" for f in state.present]
    sentences.append(f"faults: {', '.join(faults)}" if faults else "no faults")
    if state.chatter:
        sentences.append(f"chatter: {', '.join(state.chatter)} pull in and let go again and again")
    if state.waiting_s > 0:
        sentences.append(f"the compressor waits another {clock_words(state.waiting_s)}")
    sentences += [link_words(state, run) for run in state.links]
    for place in ("stat", "out"):
        if state.reference(place) == REFERENCE:
            sentences.append(
                f"C at the {PLACE_WORDS[place]} is at {state.volts[f'{place}:C']:.1f} V against C of the air "
                "handler, and so everything there is told against C of the air handler"
            )
    if drawn is None:
        drawn = (*conductors(state, job), earth_path(state, job))
    for run, (near, far) in RUN_ENDS.items():
        listed = [conductor_words(conductor) for conductor in drawn if conductor.run == run]
        sentences.append(f"from {PLACE_WORDS[near]} to {PLACE_WORDS[far]}: {'; '.join(listed)}")
    return _as_text(sentences)


def _as_text(sentences: list[str]) -> str:
    return " ".join(f"{words[0].upper()}{words[1:]}." for words in sentences)


def equipment_words(state: State) -> str:
    """Return what responds and what doesn't, in one sentence without its full stop."""
    does = state.responding.items()
    on = [name if words == "on" else f"{name} ({words[4:]})" for name, words in does if words != "off"]
    off = [name for name, words in does if words == "off"]
    return f"on: {', '.join(on)}; off: {', '.join(off)}" if on else "no equipment responds"


def link_words(state: State, run: str) -> str:
    """Return how one link is doing, in one sentence without its full stop."""
    link = state.links[run]
    counts = f"{link.sent} frames sent, {link.accepted} accepted, {link.replies} answered"
    means = f", {_MEANS[link.state]}" if link.state in _MEANS else ""
    words = f"the link on the {run} run is {link.state}{means}: {counts}"
    return f"{words}; {link.why}" if link.why else words


def conductor_words(conductor: Conductor) -> str:
    """Return one conductor in a few words, such as `SIG signalling, broken, then dead`."""
    name = conductor.name
    if conductor.broken:
        return f"{name} {conductor.near}, broken, then {conductor.far}"
    state = (
        conductor.near
        if conductor.near == conductor.far
        else f"{conductor.near}, at the far end {conductor.far}"
    )
    for end, off in (("near", conductor.near_off), ("far", conductor.far_off)):
        state += f", its {end} end {off}" if off else ""
    state += f" but {conductor.reading} at the far end" if conductor.reading else ""
    if conductor.faults:
        return f"{name} {state}, {', '.join(f.kind for f in conductor.faults)}"
    return f"{name} {state}"
