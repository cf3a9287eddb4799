"""A character as it stands on the line, and how long characters take: pictures for the first look at bits.

No bench is needed here: the levels come from `frames.character_levels`, as a clean line would carry them.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lessonkit.draw.palette import FAINT, INK, OKABE_ITO, PAPER, SHADE, SOFT
from lessonkit.draw.still import TEXT_PT, Still, axes
from lessonkit.errors import require
from lessonkit.signal.frames import FRAME_BYTES, bits_per_character, character_levels, frame_seconds

__all__ = ["character_picture", "frame_time_picture"]


def character_picture(number: int, parity: str | None = None) -> Still:
    """Return one character as levels against time, a box a bit.

    Each box says what its bit is worth. `number` is from 0 to 255; `parity` is None (8-N-1), "even" or "odd".
    """
    levels = character_levels(number, parity)
    names = ["start", *(str(1 << k) for k in range(8)), *(["parity"] if parity else []), "stop"]
    shown = np.concatenate([[1, 1], levels, [1, 1]])
    figure, (plot,) = axes(8.6, 2.9)
    plot.step(np.arange(-2, len(levels) + 3), [*shown, 1], where="post", color=OKABE_ITO["blue"], linewidth=3)
    for k, (level, name) in enumerate(zip(levels, names, strict=True)):
        frame_bit = name in ("start", "parity", "stop")
        plot.axvspan(k, k + 1, color=SHADE if frame_bit else (FAINT if k % 2 else PAPER), zorder=0)
        plot.text(k + 0.5, 1.42, name, ha="center", fontsize=TEXT_PT - 1, color=INK)
        plot.text(k + 0.5, 0.5, str(level), ha="center", va="center", fontsize=TEXT_PT + 3, weight="bold")
    for x in (-1.0, len(levels) + 1.0):
        plot.text(x, 0.5, "rest", ha="center", va="center", fontsize=TEXT_PT - 1, color=SOFT)
    plot.set(xlim=(-2, len(levels) + 2), ylim=(-0.25, 1.75), yticks=[0, 1], yticklabels=["space 0", "mark 1"])
    plot.grid(False)
    plot.set_xlabel("bits on the line, the first one sent at the left")
    worth = [1 << k for k in range(8) if number >> k & 1]
    summed = f" = {' + '.join(map(str, worth))}" if len(worth) > 1 else ""
    plot.set_title(f"The number {number}{summed}", fontsize=TEXT_PT + 1)
    bits = levels.tolist()
    tail = f"parity {bits[9]}; " if parity else ""
    data = " ".join(map(str, bits[1:9]))
    return Still(
        figure,
        f"The number {number}{summed} as a character. In the order on the line: start {bits[0]}; "
        f"data, lowest first, {data}; {tail}stop {bits[-1]}. Before and behind it the line rests at 1.",
    )


def frame_time_picture(
    bauds: Sequence[float] = (300, 600, 1200, 2400, 4800, 9600),
    characters: int = FRAME_BYTES,
    parity: str | None = None,
    marked: float = 1200,
) -> Still:
    """Return how long a frame takes, against the baud.

    `characters` are those of the frame; the speed `marked` stands in bold.
    """
    require(len(bauds) > 1, "bauds", list(bauds), "two speeds or more")
    times_ms = [frame_seconds(baud, characters, parity) * 1000 for baud in bauds]
    figure, (plot,) = axes(8.0, 3.6)
    plot.loglog(bauds, times_ms, "o-", color=OKABE_ITO["blue"], linewidth=2.2, markersize=7)
    for baud, time_ms in zip(bauds, times_ms, strict=True):
        plot.annotate(
            f"{time_ms:.3g} ms",
            (baud, time_ms),
            textcoords="offset points",
            xytext=(8, 7),
            fontsize=TEXT_PT - 1,
            weight="bold" if baud == marked else "normal",
        )
    plot.set_xticks(list(bauds), [f"{baud:g}" for baud in bauds])
    low, high = min(times_ms) * 0.7, max(times_ms) * 1.8
    plot.set(xlabel="baud: bits a second", xlim=(min(bauds) * 0.85, max(bauds) * 1.6), ylim=(low, high))
    steps = [step for power in range(-1, 4) for step in (10.0**power, 2 * 10.0**power, 5 * 10.0**power)]
    shown = [step for step in steps if low < step < high]
    plot.set_yticks(shown, [f"{step:g}" for step in shown])
    plot.minorticks_off()
    plot.set_ylabel("a frame takes (ms)")
    bits = characters * bits_per_character(parity)
    said = ", ".join(f"{t:.3g} ms at {baud:g}" for baud, t in zip(bauds, times_ms, strict=True))
    return Still(figure, f"A frame of {characters} characters has {bits} bits. It takes {said} baud.")
