"""Surprises: faults that do what nobody expects, as stories that a bench tells.

A story is a demo job and a row of steps; each step breaks or mends something, calls something, and waits.
`tell` lets a bench live through it, so that nothing in it is made up:

    marginal-earth   A poor earth return passes every test at rest, and under the first stage. The
                     second stage draws more; the drop that comes with it lifts the far common against
                     the near one, and frames that were sound a second ago are not. Silence makes the
                     watchdog let go, which takes the load away, which mends the frames. So the link is
                     sound whenever somebody looks, and the compressor runs for ten to thirty seconds in
                     five minutes.
    masked-break     The conductor C has rubbed through outdoors and touches grounded metal. Nothing
                     stops: now two ways lead home, and the current shares itself between them. Later C
                     breaks, and still nothing stops, for the earth carries it all. Then somebody finds
                     the touch and mends it, and the job dies of a break that is years old.
    live-cabinet     The bond of the outdoor unit is lost, and the hot conductor touches the cabinet.
                     Together they are silent: no current, no blown fuse, everything works, and the
                     metal stands at the full supply. Mend the bond, which is right, and the fuse blows,
                     which is right as well.

What they have in common: a fault shows only if it changes something that somebody looks at.  Two faults can
look like none, and mending one can look like breaking something.  `hidden_behind` searches a job for such
pairs: what could come to light once a certain fault is mended.

At 24 V the live cabinet is a lesson.  At line voltage it is how people die, and the lost bond is lost for
line voltage too.  An equipment ground is there for faults (NEC 250.4(A)(5): the earth shall not be considered
an effective ground-fault current path); local codes, makers' instructions and licensed practice come first.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from types import MappingProxyType

from lessonkit.bench.bench import Bench
from lessonkit.bench.state import State
from lessonkit.errors import require, require_positive
from lessonkit.job.calls import CALLS
from lessonkit.job.faults import Fault, as_faults, clash, single_faults
from lessonkit.job.model import Job
from lessonkit.job.toml import demo_job
from lessonkit.studies.cases import Case, Rest, rest


@dataclass(frozen=True)
class Step:
    """One step of a story: what is present from now on, what is called, and for how many seconds."""

    words: str
    faults: tuple[str, ...] = ()
    call: str = "cool-2"
    seconds: float = 60.0


@dataclass(frozen=True)
class Story:
    """A story: the demo job that it plays on, what a listener should guess first, and its steps."""

    name: str
    job: str
    question: str
    steps: tuple[Step, ...]


@dataclass(frozen=True)
class Chapter:
    """A step as the bench lived it: each state in which something was seen to change, and the last one."""

    step: Step
    changes: tuple[State, ...]
    end: State


_POOR, _RUBBED, _BROKEN = "outdoor.earth=resistance:2", "outdoor.C=earth@1", "outdoor.C=open@0.2"
_UNBONDED, _TOUCHES = "outdoor.earth=open", "outdoor.R=earth@1"

STORIES = MappingProxyType(
    {
        story.name: story
        for story in (
            Story(
                "marginal-earth",
                "earth-return",
                "Every test at rest is passed, and the first stage runs. What will the second stage do?",
                (
                    Step("At rest the link answers every poll.", (_POOR,), "off"),
                    Step("The first stage runs.", (_POOR,), "cool-1", 400.0),
                    Step("The second stage is called.", (_POOR,), "cool-2", 1200.0),
                    Step("Back to the first stage.", (_POOR,), "cool-1", 400.0),
                ),
            ),
            Story(
                "masked-break",
                "wire-return",
                "C touches grounded metal outdoors, and later it breaks. When does the job stop?",
                (
                    Step("A sound job."),
                    Step("C rubs through at the outdoor unit and touches its metal.", (_RUBBED,)),
                    Step("Years later C breaks near the air handler.", (_RUBBED, _BROKEN)),
                    Step("Somebody finds the touch and mends it.", (_BROKEN,)),
                ),
            ),
            Story(
                "live-cabinet",
                "wire-return",
                "The bond is lost and R touches the cabinet. What will a look at the equipment tell?",
                (
                    Step("A sound job."),
                    Step("The bond of the outdoor unit is lost.", (_UNBONDED,)),
                    Step("R touches the cabinet.", (_UNBONDED, _TOUCHES)),
                    Step("The bond is mended.", (_TOUCHES,)),
                ),
            ),
        )
    }
)


def tell(story: Story | str, seed: int = 0) -> tuple[Chapter, ...]:
    """Return the chapters of a story, lived by a bench; `seed` fixes the noise and the phases in it.

    Parameters: `story` is a `Story`, or the name of one of `STORIES`.
    """
    if isinstance(story, str):
        require(story in STORIES, "story", story, f"one of {', '.join(STORIES)}")
        story = STORIES[story]
    bench = Bench(demo_job(story.job), seed, outdoor_c=20.0)
    chapters = []
    for step in story.steps:
        bench.set_faults(step.faults)
        bench.set_call(step.call)
        chapters.append(Chapter(step, watch(bench, step.seconds), bench.state))
    return tuple(chapters)


def watch(bench: Bench, seconds: float, every_s: float = 1.0) -> tuple[State, ...]:
    """Let a bench live, look at it every so often, and return each state that differs from the one before.

    What an onlooker sees is what the house gets, what the relays hold, whether the link speaks, the fuse.
    """
    require_positive("every_s", every_s)
    seen, states = None, []
    end_s = bench.time_s + seconds
    while bench.time_s < end_s:
        state = bench.advance(min(every_s, end_s - bench.time_s))
        links = tuple((link.state, link.outputs) for link in state.links.values())
        looks = (state.delivering, state.fuse, links)
        if looks != seen:
            states.append(state)
        seen = looks
    return tuple(states)


def way_home(state: State) -> str:
    """Return by which way the outdoor unit's current comes home, and where its metal stands, in words.

    Amperes and volts are RMS.
    """
    by_wire, by_earth = state.amps.get("outdoor.C"), state.amps["outdoor.earth"]
    ways = [] if by_wire is None else [f"{by_wire:.2f} A come home by C"]
    ways.append(f"{by_earth:.2f} A over the earth")
    return f"{', '.join(ways)}; the metal outdoors stands at {state.volts['out:GND']:.1f} V"


def retell(chapters: Iterable[Chapter]) -> str:
    """Return a story in words, a line for each change that was seen."""
    lines = []
    for chapter in chapters:
        lines.append(f"{chapter.step.words} (called: {chapter.step.call})")
        for state in chapter.changes:
            fuse = ", fuse blown" if state.fuse == "blown" else ""
            spoken = "".join(
                f", {link.accepted} of {link.sent} frames accepted on {run}"
                for run, link in state.links.items()
            )
            lines.append(f"  {state.time_s:6.0f} s  {state.delivering}{fuse}{spoken}")
        lines.append(f"  {way_home(chapter.end)}")
    return "\n".join(lines)


def hidden_behind(job: Job, fault: Fault | str, calls: Iterable[str] = CALLS) -> tuple[Fault, ...]:
    """Return the single faults that a job shows by themselves, and no longer shows beside `fault`.

    A fault shows if some call ends otherwise than it would without it: other equipment, a blown fuse, or
    chatter.  What is returned could come to light, or to harm, once `fault` is mended.
    """
    calls = tuple(calls)
    screen = as_faults(fault, job)
    others = [one for one in single_faults(job) if _can_join(one, screen[0])]
    behind = [(one,) for one in others]
    beside = [(one, *screen) for one in others]
    ends = _ends(job, [(), screen, *behind, *beside], calls)
    return tuple(
        one
        for one, alone, both in zip(others, behind, beside, strict=True)
        if ends[alone] != ends[()] and ends[both] == ends[screen]
    )


def _can_join(one: Fault, other: Fault) -> bool:
    """Return whether two faults can be present together: not the same thing broken the same way."""
    same = (one.where, one.part, one.kind) == (other.where, other.part, other.kind)
    return not same and not clash(one, other)


def _ends(
    job: Job, faults: Iterable[tuple[Fault, ...]], calls: tuple[str, ...]
) -> dict[tuple[Fault, ...], list[tuple[object, ...]]]:
    """Return what is seen at the end of every call, for each set of faults."""
    ends: dict[tuple[Fault, ...], list[tuple[object, ...]]] = {}
    for end in rest(job, [Case(call, found) for found in faults for call in calls]):
        ends.setdefault(end.case.faults, []).append(_looks(end))
    return ends


def _looks(end: Rest) -> tuple[object, ...]:
    return end.fuse, bool(end.chatter), tuple(sorted(end.responding.items()))
