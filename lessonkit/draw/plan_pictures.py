"""Pictures of plans: what is to spare by metres of cable, and what one conductor more is worth.

    margin_picture(plans)       the weakest coil's margin at the bad corner, by length, a line for each plan
    conductor_picture(survey)   minutes of the best plan, and the number of ways, by sound conductors

Each takes its numbers from `plan_sweeps` and returns a `Still`: pixels, and the same in words.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

import numpy as np

from lessonkit.draw.palette import INK, OKABE_ITO, SOFT
from lessonkit.draw.still import TEXT_PT, Still, axes
from lessonkit.errors import require, require_positive
from lessonkit.studies.plan import Plan
from lessonkit.studies.plan_sweeps import ConductorSweep, MarginSweep, conductor_sweep, margin_sweep
from lessonkit.studies.survey import Survey

__all__ = ["conductor_figure", "conductor_picture", "margin_figure", "margin_picture"]

#: Colour, dash and marker of each line.
_LINES = (("blue", "-", "o"), ("vermilion", "--", "s"), ("green", "-.", "^"))
_POINTS = 12


def margin_picture(plans: Sequence[Plan] | Plan, to_m: float = 144.0) -> Still:
    """Draw the margin of the weakest coil by metres of cable.

    `plans` are one to three plans; `to_m` is the longest outdoor cable (m).
    """
    listed = [plans] if isinstance(plans, Plan) else list(plans)
    require(1 <= len(listed) <= len(_LINES), "plans", len(listed), f"1 to {len(_LINES)} plans")
    require_positive("to_m", to_m)
    lengths_m = [float(length) for length in np.linspace(to_m / _POINTS, to_m, _POINTS)]
    return margin_figure([margin_sweep(plan, lengths_m) for plan in listed])


def margin_figure(sweeps: Sequence[MarginSweep]) -> Still:
    """Draw sweeps of a margin, one line each."""
    figure, (ax,) = axes(9.0, 4.4)
    for sweep, (colour, dash, marker) in zip(sweeps, _LINES, strict=False):
        (line,) = ax.plot(sweep.length_m, sweep.margin_v, lw=3, ms=7, label=sweep.name)
        line.set(color=OKABE_ITO[colour], linestyle=dash, marker=marker)
    ax.axhline(0.0, color=INK, lw=1.6, ls=":")
    ax.text(float(sweeps[0].length_m[0]), 0.15, "has to pull in", fontsize=TEXT_PT, va="bottom")
    ax.set(ylim=(-6, 6), xlabel="metres of outdoor cable")
    ax.set_ylabel("weakest coil at the\nbad corner: volts to spare")
    ax.legend(fontsize=TEXT_PT - 1, loc="lower left", frameon=False)
    return Still(figure, " ".join(map(_margin_words, sweeps)))


def _margin_words(sweep: MarginSweep) -> str:
    first, last = float(sweep.margin_v[0]), float(sweep.length_m[-1])
    begin = f"{sweep.name}: {first:+.1f} V to spare at {sweep.length_m[0]:.0f} m"
    if sweep.works_to_m == last:
        return f"{begin}, {float(sweep.margin_v[-1]):+.1f} V at {last:.0f} m."
    at = int(np.searchsorted(sweep.length_m, sweep.works_to_m, side="right"))
    return (
        f"{begin}; above 0 up to {sweep.works_to_m:.0f} m, and {float(sweep.margin_v[at]):+.1f} V at "
        f"{sweep.length_m[at]:.0f} m, where a coil does not pull in."
    )


def conductor_picture(survey: Survey | str, run: str = "outdoor", most: int = 7) -> Still:
    """Draw the best plan's minutes and the ways, by conductors.

    `run` has 1 to `most` sound conductors, all else is as in the survey.
    """
    return conductor_figure(conductor_sweep(survey, run, most))


def conductor_figure(sweep: ConductorSweep) -> Still:
    """Draw what each number of sound conductors allows."""
    figure, (minutes, ways) = axes(9.0, 5.6, rows=2)
    minutes.bar(sweep.count, sweep.minutes, width=0.6, color=OKABE_ITO["blue"])
    for count, value in zip(sweep.count, sweep.minutes, strict=True):
        words = "none" if np.isnan(value) else f"{value:.0f}"
        minutes.text(count, 0 if np.isnan(value) else value, words, ha="center", va="bottom", size=TEXT_PT)
    most = 100.0 if np.isnan(sweep.minutes).all() else float(np.nanmax(sweep.minutes))
    minutes.set(ylim=(0, 1.2 * most), ylabel="minutes of\nthe best plan")
    minutes.tick_params(labelbottom=False)
    ways.plot(sweep.count, sweep.ways, color=SOFT, lw=2, ls="--", marker="s", ms=8)
    for count, value in zip(sweep.count, sweep.ways, strict=True):
        ways.annotate(
            f"{value}", (count, value), (0, 8), textcoords="offset points", ha="center", size=TEXT_PT
        )
    ways.set(ylim=(0, 1.35 * float(sweep.ways.max())), ylabel="ways that\ncould work")
    ways.set_xlabel(f"sound conductors in the {sweep.run} run")
    minutes.set_axisbelow(True)
    for ax in (minutes, ways):
        ax.set(xlim=(sweep.count[0] - 0.6, sweep.count[-1] + 0.6), xticks=sweep.count)
    figure.align_ylabels()
    return Still(figure, conductor_words(sweep))


def conductor_words(sweep: ConductorSweep) -> str:
    """Return what the picture shows, in words: the best plan of each number, where it changes."""
    told = []
    rows = zip(sweep.count, sweep.minutes, sweep.best, strict=True)
    for name, group in groupby(rows, key=lambda row: row[2]):
        counts, spent, _ = zip(*group, strict=True)
        many = " to ".join(f"{count}" for count in dict.fromkeys((counts[0], counts[-1])))
        span = " to ".join(f"{minutes:.0f}" for minutes in dict.fromkeys((min(spent), max(spent))))
        told.append(f"{many}: {name}, {span} minutes" if name else f"{many}: none")
    return (
        f"The best plan by sound conductors in the {sweep.run} run. {'. '.join(told)}. "
        f"From {sweep.ways.min()} ways the choice grows to {sweep.ways.max()}."
    )
