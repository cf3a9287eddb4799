"""Pictures of coils: what an armature remembers, what a splice does to a start, and a bench's log as a strip.

Each one asks the bench or the coil and draws the answer. No curve is drawn by hand.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from lessonkit.bench.bench import Bench
from lessonkit.bench.log import Log
from lessonkit.draw.palette import FAINT, INK, OKABE_ITO, PAPER, SHADE, SOFT
from lessonkit.draw.still import TEXT_PT, Still, axes
from lessonkit.job.model import Job
from lessonkit.job.toml import demo_job

__all__ = ["log_picture", "memory_picture", "splice_picture"]

_UP, _DOWN, _LIMIT = OKABE_ITO["blue"], OKABE_ITO["vermilion"], SOFT


def memory_picture(job: Job | str = "full-cable", name: str = "contactor", highest_v: float = 28.0) -> Still:
    """Draw where a coil's armature is while its volts rise and fall.

    `name` is one of the job's coils, such as "contactor" or "blower-relay"; its RMS volts rise from 0 to
    `highest_v` and fall again.
    """
    coil = (job if isinstance(job, Job) else demo_job(job)).coil(name)
    rising = np.linspace(0.0, highest_v, 281)
    held = False
    up: list[bool] = []
    down: list[bool] = []
    for path, volts in ((up, rising), (down, rising[::-1])):
        for v in volts:
            held = coil.holds(float(v), held)
            path.append(held)
    figure, (ax,) = axes(8.0, 2.9)
    ax.plot(rising, np.array(up) + 0.02, color=_UP, lw=3, label="volts rising")
    ax.plot(rising[::-1], np.array(down) - 0.02, color=_DOWN, lw=3, ls="--", label="volts falling")
    for limit, word in ((coil.dropout_v, "lets go"), (coil.pickup_v, "pulls in")):
        ax.axvline(limit, color=_LIMIT, lw=1.2, ls=":")
        ax.text(limit + 0.2, 0.5, f"{word}\n{limit:g} V", fontsize=TEXT_PT, color=INK, va="center")
    ax.set(
        yticks=[0, 1],
        yticklabels=["open", "sealed"],
        ylim=(-0.25, 1.25),
        xlabel="volts across the coil (RMS)",
    )
    ax.legend(fontsize=TEXT_PT - 1, loc="center left", frameon=False)
    return Still(
        figure,
        f"While its volts rise, the armature stays open until {coil.pickup_v:g} V and then seals. While they "
        f"fall, it stays sealed down to {coil.dropout_v:g} V. In between it is where it was before.",
    )


@dataclass(frozen=True)
class _Curve:
    """RMS volts at the thermostat against a splice: `edge_ohm` is where the contactor stops pulling in."""

    ohm: list[float]
    volts: list[float]
    edge_ohm: float = 0.0
    asleep_ohm: float = 0.0


def _from_rest(job: Job, call: str, ohms: Iterable[float]) -> _Curve:
    """Start afresh with each splice; the thermostat is kept awake, so that the volts it would need show."""
    limit_v = job.thermostat.brownout_v
    steady = replace(job, thermostat=replace(job.thermostat, brownout_v=0.1))
    curve, edge, asleep = _Curve([], []), np.inf, np.inf
    for ohm in ohms:
        bench = Bench(steady, faults=[f"thermostat.R=resistance:{ohm:g}"])
        bench.set_call(call)
        volts = bench.state.between("stat:R", "stat:C")
        if not bench.state.coils["out:contactor"].sealed:
            edge = min(edge, ohm)
        if volts < limit_v:
            asleep = min(asleep, ohm)
        curve.ohm.append(ohm)
        curve.volts.append(volts)
    return replace(curve, edge_ohm=float(edge), asleep_ohm=float(asleep))


def _while_running(job: Job, call: str, ohms: Iterable[float]) -> _Curve:
    """Let one splice grow under a contactor that is in, until the thermostat lets go."""
    bench, curve = Bench(job), _Curve([], [])
    bench.set_call(call)
    for ohm in ohms:
        bench.set_faults([f"thermostat.R=resistance:{ohm:g}"])
        if not bench.state.coils["out:contactor"].sealed:
            break
        curve.ohm.append(ohm)
        curve.volts.append(bench.state.between("stat:R", "stat:C"))
    return curve


def splice_picture(job: Job | str = "full-cable", call: str = "cool-2", to_ohm: float = 32.0) -> Still:
    """Draw the thermostat's volts against a bad splice in its R.

    Two lines of RMS volts: a fresh call from rest, and a splice that grows while the job runs.
    """
    job = job if isinstance(job, Job) else demo_job(job)
    ohms = [round(float(ohm), 3) for ohm in np.linspace(0.2, to_ohm, 160)]
    rest, running, limit_v = (
        _from_rest(job, call, ohms),
        _while_running(job, call, ohms),
        job.thermostat.brownout_v,
    )
    figure, (ax,) = axes(8.0, 3.9)
    ax.plot(running.ohm, running.volts, color=_DOWN, lw=3, ls="--", label="the splice grows while it runs")
    ax.plot(rest.ohm, rest.volts, color=_UP, lw=3, label="a fresh call, from rest")
    ax.axhline(limit_v, color=_LIMIT, lw=1.5, ls=":")
    ax.text(
        to_ohm,
        limit_v - 0.4,
        f"falls asleep below {limit_v:g} V",
        fontsize=TEXT_PT - 1,
        color=INK,
        ha="right",
        va="top",
    )
    edges = (0.0, min(rest.edge_ohm, to_ohm), min(rest.asleep_ohm, to_ohm), to_ohm)
    for k, word in enumerate(("runs", "hums", "starts again and again")):
        ax.axvspan(edges[k], edges[k + 1], color=(PAPER, FAINT, SHADE)[k], zorder=0)
        ax.text(
            (edges[k] + edges[k + 1]) / 2, 28.3, word, fontsize=TEXT_PT, color=INK, ha="center", weight="bold"
        )
    ax.set(xlim=(0, to_ohm), ylim=(5, 30), xlabel="splice in R of the thermostat run (ohm)")
    ax.set_ylabel("R to C at the thermostat (V RMS)")
    ax.legend(fontsize=TEXT_PT - 1, loc="lower left", frameon=False)
    return Still(
        figure,
        f"Volts at the thermostat under {call}. A fresh call runs up to {rest.edge_ohm:.1f} ohm, hums up "
        f"to {rest.asleep_ohm:.1f} ohm, and beyond that the thermostat falls asleep and starts again and "
        "again. If the "
        f"contactor is in already, it stays in up to {running.ohm[-1]:.0f} ohm.",
    )


def _how_often(lengths: list[float], moments: int) -> str:
    """Return in words how long something was on, in how many stretches, and how often for a moment."""
    said = []
    if lengths:
        total_s = sum(lengths)
        said.append(f"for {total_s:.0f} s" if total_s >= 10 else f"for {total_s:.2g} s")
        said[0] += f" in {len(lengths)} stretches" if len(lengths) > 1 else ""
    if moments:
        said.append("once for a moment" if moments == 1 else f"{moments} times for a moment")
    return " and ".join(said) or "never"


def log_picture(log: Log) -> Still:
    """Draw a log: a row for each of its parts, a bar while a coil was in or a board awake.

    A moment too short to see is a tick.
    """
    names = log.names
    figure, (ax,) = axes(8.0, 1.1 + 0.42 * max(len(names), 1))
    words = []
    for row, name in enumerate(reversed(names)):
        spans = log.spans(name)
        bars = [(begin, end - begin) for begin, end in spans if end > begin]
        ticks = [begin for begin, end in spans if end == begin]
        ax.broken_barh(bars, (row - 0.25, 0.5), facecolor=_UP, edgecolor=INK, lw=0.6)
        ax.plot(ticks, [row] * len(ticks), "|", color=_DOWN, ms=16, mew=1.6)
        words.append(f"{name} is on {_how_often([length for _, length in bars], len(ticks))}")
    labels = [(name.partition(":")[2] or name).replace("-", " ") for name in reversed(names)]
    ax.set(yticks=range(len(names)), yticklabels=labels, ylim=(-0.6, max(len(names), 1) - 0.4))
    ax.set_xlim(log.from_s, max(log.to_s, log.from_s + 1.0))
    ax.set_xlabel("seconds (bar: in, awake or whole; tick: for a moment only)")
    said = "; ".join(reversed(words)) or "nothing happened"
    return Still(figure, f"From {log.from_s:.0f} s to {log.to_s:.0f} s: {said}.")
