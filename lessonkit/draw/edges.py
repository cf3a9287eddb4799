"""Edges against cable length: how long a step takes to arrive, and what that leaves of a bit.

Above, steps as they come out of cables of several lengths; below, the rise time against length, with a tenth
of a bit at several speeds. Where a line crosses, that speed begins to suffer. On a job's few tens of metres
nothing does at 1200 baud: slow frames are robust frames.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lessonkit.draw.palette import INK, OKABE_ITO, SOFT
from lessonkit.draw.still import TEXT_PT, Still, axes, plainly
from lessonkit.signal.edges import StepModes, cable_edge

__all__ = ["edge_picture"]

_DASHES = ("-", "--", "-.", ":")
_COLOURS = ("blue", "vermilion", "green", "black")


def edge_picture(
    lengths_m: Sequence[float] = (30.0, 100.0, 300.0, 500.0),
    *,
    gauge_awg: int = 18,
    source_ohm: float = 1000.0,
    load_ohm: float = 10_000.0,
    bauds: Sequence[float] = (1200.0, 9600.0, 115_200.0),
) -> Still:
    """Return steps out of cables, and rise time against length.

    Rise time is from 10 to 90 per cent. The driver has `source_ohm`; the conductor lies between two
    neighbours that are held at a fixed volt.
    """

    def modes(length_m: float) -> StepModes:
        return cable_edge(length_m, gauge_awg=gauge_awg, source_ohm=source_ohm, load_ohm=load_ohm)

    figure, (steps, rises) = axes(8.0, 7.0, rows=2)
    longest_s = 5 * modes(max(lengths_m)).rise_s() / 2.2
    time_s = np.linspace(0.0, longest_s, 401)
    for k, length_m in enumerate(lengths_m):
        colour, dash = OKABE_ITO[_COLOURS[k % 4]], _DASHES[k % 4]
        share = modes(length_m).response(time_s)
        steps.plot(time_s * 1e6, share, color=colour, linestyle=dash, linewidth=2, label=f"{length_m:g} m")
    steps.set_xlabel("microseconds after the step")
    steps.set_ylabel("share arrived")
    steps.legend(fontsize=TEXT_PT, frameon=False)

    span_m = np.geomspace(5.0, 2000.0, 60)
    rise_us = np.array([modes(float(length)).rise_s() * 1e6 for length in span_m])
    rises.loglog(span_m, rise_us, color=OKABE_ITO["blue"], linewidth=2.5)
    for baud in bauds:
        tenth_us = 0.1 / baud * 1e6
        rises.axhline(tenth_us, color=SOFT, linestyle="--", linewidth=1.4)
        words = f"a tenth of a bit at {baud:g} baud"
        rises.text(span_m[-1], tenth_us / 1.1, words, fontsize=TEXT_PT, color=INK, ha="right", va="top")
    for axis in (rises.xaxis, rises.yaxis):
        axis.set_major_formatter(plainly)
    rises.set_xlabel("cable length in metres")
    rises.set_ylabel("rise time, microseconds")
    rises.set_ylim(min(rise_us.min(), 1.0) / 3, 300.0)
    told = ", ".join(f"{length:g} m: {modes(length).rise_s() * 1e6:.1f} us" for length in lengths_m)
    return Still(
        figure,
        f"Rise time from 10 to 90 per cent at the far end of a {gauge_awg} AWG conductor behind "
        f"{source_ohm:g} ohm: {told}. A tenth of a bit at {bauds[0]:g} baud is {1e5 / bauds[0]:.0f} us.",
    )
