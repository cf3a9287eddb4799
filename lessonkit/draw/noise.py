"""Noise against what arrives: wrong bits by theory and by counting, and whole frames counted on a link.

The upper picture is about bits that are looked at once: levels of the link, its thresholds, Gaussian noise.
The line is theory (`error_rates.margin_error_rate`), the marks are counted, with their 95 per cent intervals.
The lower one is about whole frames over the bench's channel, with the load's current in the common; there the
receiver looks sixteen times a bit and keeps what it was sure of, so it loses far less.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lessonkit.draw.palette import INK, OKABE_ITO
from lessonkit.draw.still import TEXT_PT, Still, axes, plainly
from lessonkit.job.model import Job
from lessonkit.signal.error_rates import count_margin_errors, margin_error_rate
from lessonkit.studies.noisy_frames import count_frames, noisy_channel

__all__ = ["noise_picture"]

_LEAST_ERRORS = 5


def noise_picture(
    job: Job | str = "forge-office",
    noises_v: Sequence[float] = (1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0),
    *,
    bits: int = 100_000,
    frames: int = 500,
    seed: int = 0,
) -> Still:
    """Return wrong bits and lost frames against noise on a link.

    Noise is RMS volts. Marks with fewer than five wrong bits are left out, since they say little.
    """
    rng = np.random.default_rng(seed)
    over, _ = noisy_channel(job, 0.0)
    line, receiver = over.line, over.receiver
    figure, (wrong, whole) = axes(8.0, 6.4, rows=2)
    fine = np.linspace(min(noises_v), max(noises_v), 61)
    theory = [margin_error_rate(line.low_v, line.high_v, float(v), receiver) for v in fine]
    wrong.semilogy(fine, theory, color=OKABE_ITO["blue"], linewidth=2.2, label="theory")
    counted = [(v, count_margin_errors(line.low_v, line.high_v, v, receiver, bits, rng)) for v in noises_v]
    shown = [(v, rate) for v, rate in counted if rate.errors >= _LEAST_ERRORS]
    bars = [[rate.rate - rate.low for _, rate in shown], [rate.high - rate.rate for _, rate in shown]]
    wrong.errorbar(
        [v for v, _ in shown],
        [rate.rate for _, rate in shown],
        yerr=bars,
        color=INK,
        marker="o",
        linestyle="none",
        capsize=5,
        label=f"counted over {bits:,} bits",
    )
    wrong.yaxis.set_major_formatter(plainly)
    wrong.set_ylabel("share of wrong bits")
    wrong.legend(fontsize=TEXT_PT - 1, loc="lower right", frameon=False)
    through = [count_frames(job, v, frames, seed=seed) for v in noises_v]
    shares = [100 * one.good / one.frames for one in through]
    whole.plot(noises_v, shares, "s--", color=OKABE_ITO["vermilion"], linewidth=1.6, markersize=8)
    whole.set(xlabel="noise at the receiver (V RMS)", ylim=(-4, 106))
    whole.set_ylabel("frames heard as sent (%)")
    said = ", ".join(f"{share:.0f} % at {v:g} V" for v, share in zip(noises_v, shares, strict=True))
    inside = sum(rate.covers(margin_error_rate(line.low_v, line.high_v, v, receiver)) for v, rate in shown)
    return Still(
        figure,
        f"Wrong bits rise from {theory[0]:.1g} of all at {fine[0]:g} V RMS of noise to {theory[-1]:.1g} at "
        f"{fine[-1]:g} V; {inside} of {len(shown)} counted points hold the theory within their 95 per cent "
        f"interval. Frames heard as sent: {said}.",
    )
