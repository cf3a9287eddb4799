"""Pictures of the far end: how long a call takes to arrive, and what a defrost does to coil and equipment.

    latency_picture    seconds from a call to the contactor, by the moment at which the call comes
    defrost_picture    the outdoor coil and its capacity through the hours, and below a bar for all that runs

Each takes its numbers from a bench and returns a `Still`: pixels, and the same in words.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from lessonkit.draw.palette import FAINT, INK, OKABE_ITO, SOFT
from lessonkit.draw.still import TEXT_PT, Still, axes
from lessonkit.job.model import Job
from lessonkit.studies.defrosts import RUNS, WatchedDefrost, watch_defrost
from lessonkit.studies.latency import latency

__all__ = ["latency_picture", "defrost_picture"]

_LINE, _COIL = OKABE_ITO["blue"], OKABE_ITO["vermilion"]
_HATCHES = dict(zip(RUNS, ("", "//", "xx", "..", "\\\\"), strict=True))
_SHADES = dict(zip(RUNS, ("blue", "sky", "purple", "orange", "green"), strict=True))


def latency_picture(job: Job | str, call: str = "cool-2") -> Still:
    """Draw how long a call takes to arrive, by when it comes."""
    found = latency(job, call)
    figure, (ax,) = axes(8.0, 3.4)
    ax.plot(found.after_poll_s, found.taken_s, color=_LINE, lw=3, marker="o", ms=5)
    # The curve falls: the upper line is free on the right, the lower one on the left.
    for limit_s, word, k, ha in (
        (found.longest_s, "longest", -1, "right"),
        (found.shortest_s, "shortest", 0, "left"),
    ):
        ax.axhline(float(limit_s), color=SOFT, lw=1.4, ls=":")
        words = f"{word} {float(limit_s):.1f} s"
        at = float(found.after_poll_s[k]), float(limit_s)
        ax.text(*at, words, fontsize=TEXT_PT, color=INK, ha=ha, va="bottom")
    ax.set(ylim=(0, 1.25 * float(found.longest_s)), xlabel="seconds between the last poll and the call")
    ax.set_ylabel("from the call to\nthe contactor (s)")
    return Still(
        figure,
        f"A call of {call} takes {float(found.longest_s):.1f} s to the contactor where it comes just after a "
        f"poll, and the later it comes the less, down to {float(found.shortest_s):.1f} s just before the "
        "next poll.",
    )


def defrost_picture(
    job: Job | str,
    call: str = "heat-1",
    minutes: float = 240.0,
    *,
    outdoor_c: float = 2.0,
    dw: float = 0.0005,
    pins_at: float | None = None,
    calls: Mapping[float, str] | None = None,
) -> Still:
    """Draw the outdoor coil through a heating call, and what runs.

    The arguments are those of `watch_defrost`: air and its water, the minute at which the test pins are
    joined, and what is called later, by minute.
    """
    return drawn(watch_defrost(job, call, minutes, outdoor_c=outdoor_c, dw=dw, pins_at=pins_at, calls=calls))


def drawn(found: WatchedDefrost) -> Still:
    """Draw what was watched: temperature, capacity, and a bar for all that ran."""
    figure, (warm, left, bars) = axes(9.0, 6.8, rows=3)
    for ax in (warm, left, bars):
        ax.set_xlim(0, float(found.minute[-1]))
        for begin, end in found.defrosts:
            ax.axvspan(begin, end, facecolor=FAINT, zorder=0)
    warm.plot(found.minute, found.coil_c, color=_COIL, lw=2.5, ls="--")
    warm.axhline(0, color=SOFT, lw=1.2, ls=":")
    warm.set_ylabel("outdoor coil\n(°C)")
    left.plot(found.minute, 100 * found.capacity, color=_LINE, lw=3)
    left.axhline(75, color=SOFT, lw=1.2, ls=":")
    left.text(0.3, 76, "three quarters", fontsize=TEXT_PT - 1, color=INK, va="bottom")
    left.set(ylim=(50, 108))
    left.set_ylabel("capacity left\n(%)")
    for row, name in enumerate(reversed(RUNS)):
        spans = _spans(found.minute, found.runs[name])
        bars.broken_barh(
            spans,
            (row - 0.36, 0.72),
            facecolor=OKABE_ITO[_SHADES[name]],
            edgecolor=INK,
            hatch=_HATCHES[name],
            lw=0.5,
        )
    bars.set(yticks=range(len(RUNS)), yticklabels=list(reversed(RUNS)), ylim=(-0.6, len(RUNS) - 0.4))
    bars.set_xlabel("minutes (grey: defrost)")
    for ax in (warm, left):
        ax.tick_params(labelbottom=False)
    figure.align_ylabels([warm, left])
    return Still(figure, _words(found))


def _spans(minute: NDArray[np.float64], ran: NDArray[np.bool_]) -> list[tuple[float, float]]:
    """Return the spans in which something ran, as (begin, length) in minutes."""
    steps = np.diff(np.concatenate(([0], ran.astype(int), [0])))
    begins, ends = np.flatnonzero(steps == 1), np.flatnonzero(steps == -1) - 1
    return [(float(minute[a]), float(minute[b] - minute[a])) for a, b in zip(begins, ends, strict=True)]


def _words(found: WatchedDefrost) -> str:
    total = float(found.minute[-1])
    if not found.defrosts:
        least = 100 * float(found.capacity.min())
        return (
            f"Through {total:.0f} minutes there is no defrost; the coil keeps {least:.0f} % of its capacity."
        )
    times = ", ".join(
        f"from minute {begin:.1f} for {end - begin:.1f} minutes" for begin, end in found.defrosts
    )
    inside = (found.minute > found.defrosts[0][0]) & (found.minute < found.defrosts[0][1])
    most = {name: bool(found.runs[name][inside].mean() > 0.5) if inside.any() else False for name in RUNS}
    on = ", ".join(name for name in RUNS if most[name]) or "nothing"
    off = ", ".join(name for name in RUNS if not most[name]) or "nothing"
    return (
        f"Through {total:.0f} minutes the coil is defrosted {times}. In the first defrost these run: {on}; "
        f"and these don't: {off}."
    )
