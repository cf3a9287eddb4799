"""Clocks that differ: the share of characters read right, against how much too slow the receiver's clock is.

Counted through the receiver that the links use, with perfect levels. The dotted lines are theory: half a
bit of room over nine and a half bits, and the same less one look of sixteen.
"""

from __future__ import annotations

import numpy as np

from lessonkit.draw.palette import OKABE_ITO, SOFT
from lessonkit.draw.still import TEXT_PT, Still, axes
from lessonkit.errors import require
from lessonkit.signal.error_rates import clock_tolerance, clock_tolerance_curve

__all__ = ["clock_picture"]


def clock_picture(parity: str | None = None, *, widest: float = 0.08, ticks_per_bit: int = 16) -> Still:
    """Return characters read right, against the clocks' difference.

    The difference goes from -`widest` to +`widest`, as a share; positive: the receiver's bits are too long.
    """
    require(0.0 < widest <= 0.2, "widest", widest, "above 0 and at most 0.2")
    errors = np.linspace(-widest, widest, 65)
    shares = 100 * clock_tolerance_curve(errors.tolist(), ticks_per_bit=ticks_per_bit, parity=parity)
    ideal, real = clock_tolerance(None, parity), clock_tolerance(ticks_per_bit, parity)
    figure, (plot,) = axes(8.0, 3.4)
    plot.plot(100 * errors, shares, color=OKABE_ITO["blue"], linewidth=2.4)
    for limit, words, at in ((ideal, "half a bit", 88), (real, "less one look", 60)):
        for side in (-1, 1):
            plot.axvline(side * 100 * limit, color=SOFT, linestyle=":", linewidth=1.6)
        plot.text(5.8, at, f"{words}: {100 * limit:.2f} %", fontsize=TEXT_PT - 1, va="center")
    plot.set(
        xlabel="receiver's clock against the sender's (%; above 0: its bits are too long)",
        ylim=(-4, 106),
        xlim=(-100 * widest, 150 * widest),
    )
    plot.set_ylabel("characters right (%)")
    whole = errors[shares >= 100.0]
    none = errors[(errors > 0) & (shares <= 0.0)]
    last = f" and none from {100 * none[0]:.2f} % on" if none.size else ""
    return Still(
        figure,
        f"All characters are read right from {100 * whole[0]:.2f} % to {100 * whole[-1]:.2f} % of "
        f"difference{last}. Theory: {100 * ideal:.2f} % for half a bit of room, {100 * real:.2f} % with "
        f"{ticks_per_bit} looks a bit.",
    )
