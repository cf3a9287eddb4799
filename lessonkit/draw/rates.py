"""Error rates against signal strength: theory as a line, counting as points with their doubt.

Three ways to put a bit on a line, each with its closed form and with bits counted through the receiver's own
decision. A point's bar is its 95 per cent interval; one point in twenty may miss its line.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lessonkit.draw.palette import INK, OKABE_ITO
from lessonkit.draw.still import TEXT_PT, Still, axes, plainly
from lessonkit.signal.error_rates import LINE_CODES, LineCode, closed_form, count_errors

__all__ = ["error_rate_picture"]

_LOOKS = {
    "antipodal": (OKABE_ITO["blue"], "-", "o"),
    "on-off": (OKABE_ITO["vermilion"], "--", "s"),
    "non-coherent": (OKABE_ITO["green"], "-.", "^"),
}
_LEAST_ERRORS = 5


def error_rate_picture(
    decibels: Sequence[float] = (0, 2, 4, 6, 8, 10),
    bits: int = 200_000,
    codes: Sequence[LineCode] = LINE_CODES,
    seed: int = 0,
) -> Still:
    """Return bit error rates over Eb/N0 in decibels.

    Lines are closed forms, marks are counts. Each mark counts `bits` bits; those with fewer than five errors
    are left out, since they say little.
    """
    rng = np.random.default_rng(seed)
    figure, (plot,) = axes(8.0, 5.0)
    fine = np.linspace(min(decibels), max(decibels), 81)
    points = inside = 0
    for code in codes:
        colour, dash, marker = _LOOKS[code]
        plot.semilogy(fine, [closed_form(code, db) for db in fine], color=colour, linestyle=dash, linewidth=2)
        counted = [(db, count_errors(code, db, bits, rng)) for db in decibels]
        shown = [(db, rate) for db, rate in counted if rate.errors >= _LEAST_ERRORS]
        points += len(shown)
        inside += sum(rate.covers(closed_form(code, db)) for db, rate in shown)
        bars = [[rate.rate - rate.low for _, rate in shown], [rate.high - rate.rate for _, rate in shown]]
        x, y = [db for db, _ in shown], [rate.rate for _, rate in shown]
        plot.errorbar(
            x,
            y,
            yerr=bars,
            color=colour,
            marker=marker,
            markersize=8,
            linestyle="none",
            capsize=5,
            label=code,
        )
    # What lines and marks are, whatever their colour.
    plot.plot([], [], color=INK, linewidth=2, label="lines: theory")
    plot.plot([], [], color=INK, marker="o", markersize=8, linestyle="none", label="marks: counted")
    plot.yaxis.set_major_formatter(plainly)
    plot.set_xlabel("energy of a bit against the noise, Eb/N0 (decibels)")
    plot.set_ylabel("share of wrong bits")
    plot.set_ylim(1e-6, 1.0)
    plot.legend(fontsize=TEXT_PT, loc="lower left", frameon=False)
    return Still(
        figure,
        f"Share of wrong bits against Eb/N0 for {', '.join(codes)}: lines from theory, points counted over "
        f"{bits:,} bits each. {inside} of {points} points hold their line within their 95 per cent interval.",
    )
