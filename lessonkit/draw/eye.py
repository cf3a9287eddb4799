"""The eye: many bits laid over each other, as the receiver sees them.

Every bit of many frames is drawn in the same window of two bits. Where all go clear of the thresholds in the
middle of the bit, the eye is open and no bit can be lost; shift, noise and slow edges each close it in a way
of their own.
"""

from __future__ import annotations

import numpy as np
from matplotlib.collections import LineCollection

from lessonkit.bench.bench import Bench
from lessonkit.bench.signal_path import channel_of
from lessonkit.draw.palette import INK, OKABE_ITO
from lessonkit.draw.still import TEXT_PT, Still, axes
from lessonkit.errors import BadParameter, require
from lessonkit.signal.channel import LEAD_BITS, Line, Noise, Receiver, Shift, waveform
from lessonkit.signal.frames import frame_levels

__all__ = ["eye_picture", "link_eye"]

_POINTS = 64  # a bit


def eye_picture(
    line: Line,
    receiver: Receiver,
    baud: float = 1200.0,
    shift_peak_v: float = 0.0,
    noise: Noise | None = None,
    *,
    freq_hz: float = 60.0,
    frames: int = 60,
    seed: int = 0,
) -> Still:
    """Return the eye at a receiver: random frames, each with a chance phase of the shift.

    `shift_peak_v` is PEAK volts at `freq_hz`. The words give the opening in the middle of the bit.
    """
    require(1 <= frames <= 2000, "frames", frames, "from 1 to 2000")
    rng = np.random.default_rng(seed)
    windows, bits = [], []
    for _ in range(frames):
        levels = frame_levels(rng.bytes(5))
        shift = Shift(shift_peak_v, freq_hz, float(rng.uniform(0, 2 * np.pi)))
        wave = waveform(levels, baud, line, shift, noise or Noise(), rng, points_per_bit=_POINTS)
        first = round(LEAD_BITS * _POINTS)
        for k in range(len(levels) - 1):
            begin = first + (2 * k - 1) * _POINTS // 2
            windows.append(wave.volts[begin : begin + 2 * _POINTS + 1])
            bits.append(levels[k])
    volts, sent = np.array(windows), np.array(bits, dtype=bool)
    middle = volts[:, _POINTS]
    lowest_mark, highest_space = float(middle[sent].min()), float(middle[~sent].max())
    figure, (plot,) = axes(8.0, 4.4)
    span = float(volts.max() - volts.min()) or 1.0
    time_bits = np.arange(2 * _POINTS + 1) / _POINTS - 1.0
    # Faint lines by the thousand: where many bits pass, the ink grows dark.
    lines = np.stack([np.broadcast_to(time_bits, volts.shape), volts], axis=2)
    colour = OKABE_ITO["blue"]
    faint = min(1.0, 12.0 / len(volts) ** 0.5 / 4.0)
    plot.add_collection(
        LineCollection(list(lines), colors=colour, linewidths=0.8, alpha=faint, rasterized=True)
    )
    low, high = float(volts.min()) - 0.14 * span, float(volts.max()) + 0.05 * span
    plot.set(xlim=(-1.0, 1.0), ylim=(low, high))
    for threshold, words in ((receiver.high_threshold_v, "mark"), (receiver.low_threshold_v, "space")):
        plot.axhline(threshold, color=INK, linestyle=(0, (6, 3)), linewidth=1.6)
        plot.text(
            1.01,
            threshold,
            f"{words} {threshold:g} V",
            transform=plot.get_yaxis_transform(),
            va="center",
            fontsize=TEXT_PT,
        )
    plot.axvline(0.0, color=OKABE_ITO["vermilion"], linestyle=":", linewidth=2.0)
    plot.text(0.02, low + 0.03 * span, "the receiver looks here", fontsize=TEXT_PT)
    plot.set_xlabel("bits from the middle of a bit")
    plot.set_ylabel("volts at the receiver")
    opening_v = lowest_mark - highest_space
    clear = lowest_mark >= receiver.high_threshold_v and highest_space <= receiver.low_threshold_v
    return Still(
        figure,
        f"Eye of {frames} frames at {baud:g} baud. In the middle of the bit the lowest mark is "
        f"{lowest_mark:.1f} V and the highest space {highest_space:.1f} V: an opening of {opening_v:.1f} V. "
        + ("Every bit is read right." if clear else "Some bits fall between the thresholds or beyond them."),
    )


def link_eye(bench: Bench, run: str = "outdoor", way: str = "down", *, frames: int = 60) -> Still:
    """Return the eye of a bench's link, as its receiver sees it.

    Levels, shift, noise and edges are those of the bench at this moment; frames are random ones.
    """
    if run not in bench.job.links:
        raise BadParameter("run", run, f"a run with a link: {', '.join(bench.job.links) or 'there is none'}")
    over = channel_of(bench.wiring, run, bench.way(run, way), False, way == "up")
    return eye_picture(
        over.line,
        over.receiver,
        over.baud,
        over.shift.peak_v,
        over.noise,
        freq_hz=over.shift.freq_hz,
        frames=frames,
    )
