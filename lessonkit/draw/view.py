"""A bench at one moment, shown without a panel: the still picture that a workbook prints.

    show_bench("two-run", "cool-2", ["outdoor.SIG=open"], seconds=30)

A pure function of its arguments: the same ones give the same picture and the same words.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from lessonkit.bench.bench import Bench
from lessonkit.bench.state import State
from lessonkit.draw.frames_view import last_frame
from lessonkit.draw.image import svg_image_html
from lessonkit.draw.scope import scope_svg
from lessonkit.draw.wiring import wiring_svg
from lessonkit.draw.words import state_words
from lessonkit.job.faults import Fault
from lessonkit.job.model import Job
from lessonkit.studies.experiment import SOUND_S, experiment

__all__ = ["BenchView", "show_bench", "view"]


@dataclass(frozen=True)
class BenchView:
    """What a notebook shows of a bench: a picture, and the same in words.

    `state` is there to read numbers from.
    """

    state: State
    words: str
    svg: str
    scope: str = ""

    def __str__(self) -> str:
        """Return the state in words."""
        return self.words

    def __repr__(self) -> str:
        """Return the state in words, a sentence a line, as a notebook without pictures shows it."""
        return self.words.replace(". ", ".\n")

    def _repr_html_(self) -> str:
        return "".join(svg_image_html(svg) for svg in (self.svg, self.scope) if svg)


def view(bench: Bench, *, covered: bool = False, scope: str = "", simple: bool = False) -> BenchView:
    """Return a bench as it is now, drawn and in words.

    `covered` hides volts and conductors; `scope` names a run whose last frame is shown below; `simple` leaves
    out what a link counts and measures.
    """
    state = bench.state
    return BenchView(
        state,
        state_words(state, bench.job, covered),
        wiring_svg(state, bench.job, covered, simple),
        scope_svg(last_frame(bench, scope)) if scope else "",
    )


def show_bench(
    job: Job | Bench | str = "two-run",
    call: str = "off",
    faults: Iterable[Fault | str] | Fault | str = (),
    seconds: float = 60.0,
    *,
    before_s: float = SOUND_S,
    seed: int = 0,
    outdoor_c: float = 8.0,
    covered: bool = False,
    scope: str = "",
    simple: bool = False,
) -> BenchView:
    """Return a bench under a call, some seconds after faults struck.

    The job first runs sound for `before_s` seconds. A bench in place of a job is shown as it is now.
    `covered` hides volts and conductors; `scope` names a run whose last frame is shown below; `simple` leaves
    out what a link counts and measures.
    """
    if isinstance(job, Bench):
        return view(job, covered=covered, scope=scope, simple=simple)
    tried = experiment(job, call, faults, before_s, seconds, seed=seed, outdoor_c=outdoor_c)
    return view(tried.bench(), covered=covered, scope=scope, simple=simple)
