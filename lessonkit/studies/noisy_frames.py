"""Frames in noise, counted: how many arrive, what stops the others, and what the relays would have done.

    count_frames("forge-office", noise_v=3.0)          some thousand frames, each with its own noise

The frames go over the channel of a bench that runs under a call, and through its receiver; the noise is added
there. Those that pass go to a listener that acts on one good frame, and to one that waits for two equal
ones. A frame has **slipped through** when its check fits though it is not what was sent.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace

import numpy as np

from lessonkit.bench.bench import Bench
from lessonkit.bench.link import Listener, down_frame, is_for
from lessonkit.bench.signal_path import channel_of
from lessonkit.errors import require, require_positive
from lessonkit.job.calls import from_bits
from lessonkit.job.model import Job
from lessonkit.job.toml import load_job
from lessonkit.signal.arrivals import Arrivals, Channel
from lessonkit.signal.channel import Noise
from lessonkit.signal.frames import FRAME_BYTES, SYNC

__all__ = ["FrameCount", "count_frames", "noisy_channel"]

_BATCH = 500
_READY_S = 10.0


@dataclass(frozen=True)
class FrameCount:
    """What became of some frames.

    `good` were heard as sent; `no_frame` had no start bit, too few characters, or a stop bit that was 0;
    `sync` and `check` were refused for these; `slipped` passed and were wrong. `wrong_one` and `wrong_two`
    count how often the outputs changed to something that was not called: acting on one good frame, and on two
    equal ones.
    """

    noise_v: float
    frames: int
    good: int
    no_frame: int
    sync: int
    check: int
    slipped: int
    wrong_one: int
    wrong_two: int

    @property
    def heard_percent(self) -> float:
        """Return how many of a hundred frames were heard as sent."""
        return 100.0 * self.good / self.frames

    @property
    def rows(self) -> tuple[tuple[str, int], ...]:
        """Return what is counted, in words, and how often."""
        return (
            ("heard as sent", self.good),
            ("refused: a character without its stop bit, or missing", self.no_frame),
            ("refused: the sync is wrong", self.sync),
            ("refused: the check does not fit", self.check),
            ("slipped through: the check fits, the frame is wrong", self.slipped),
            ("wrong outputs, acting on one good frame", self.wrong_one),
            ("wrong outputs, acting on two equal frames", self.wrong_two),
        )

    def __str__(self) -> str:
        lines = [f"{self.frames} frames in noise of {self.noise_v:g} V RMS"]
        return "\n".join(lines + [f"{count:7}  {words}" for words, count in self.rows])

    __repr__ = __str__

    def _repr_markdown_(self) -> str:
        head = f"{self.frames} frames, noise {self.noise_v:g} V RMS\n\n| what | how many |\n| --- | --- |\n"
        return head + "\n".join(f"| {words} | {count} |" for words, count in self.rows)


def noisy_channel(job: Job | str, noise_v: float, call: str = "cool-2") -> tuple[Channel, frozenset[str]]:
    """Return the channel down a job's outdoor link with noise in it, and the terminals that are called.

    The bench runs under the call, so the load's current is in its common; `noise_v` is RMS.
    """
    job = job if isinstance(job, Job) else load_job(job)
    require("outdoor" in job.links, "job", job.name, "a job with a link on its outdoor run")
    require_positive("noise_v", noise_v, zero_ok=True, unit="volts RMS")
    bench = Bench(job, call=call)
    bench.pass_time(_READY_S)
    over = channel_of(bench.wiring, "outdoor", bench.way("outdoor", "down"), False, False)
    return replace(over, noise=Noise(rms_v=noise_v)), bench.read("outdoor")[0]


def count_frames(
    job: Job | str, noise_v: float, frames: int = 4000, *, call: str = "cool-2", seed: int = 0
) -> FrameCount:
    """Send frames through noise on a job's link, and count them.

    `noise_v` is RMS, at each look of the receiver. The frames carry the same call and count upwards.
    """
    require(1 <= frames <= 1_000_000, "frames", frames, "from 1 to 1 000 000")
    over, called = noisy_channel(job, noise_v, call)
    job = job if isinstance(job, Job) else load_job(job)
    counts: Counter[str] = Counter()
    wrong = {1: 0, 2: 0}
    listeners = {1: Listener(), 2: Listener()}
    settings = {wait: replace(job.outdoor_run.link, acceptance=wait) for wait in (1, 2)}
    for begin in range(0, frames, _BATCH):
        sent = tuple(down_frame("outdoor", called, n) for n in range(begin, min(begin + _BATCH, frames)))
        arrivals = Arrivals(over, sent, (seed, begin))
        values, found = arrivals.characters.values, arrivals.characters.good
        for row, frame in enumerate(sent):
            heard, _ = arrivals.heard(row)
            if heard is None:
                counts[_refusal(values[row], found[row])] += 1
                continue
            counts["good" if heard == frame else "slipped"] += 1
            if not is_for("outdoor", "down", heard):
                continue
            for wait, listener in listeners.items():
                now = listener.hears(from_bits(heard.call_bits), float(begin + row), settings[wait])
                wrong[wait] += now.outputs != listener.outputs and now.outputs != called
                listeners[wait] = now
    return FrameCount(
        noise_v,
        frames,
        counts["good"],
        counts["no_frame"],
        counts["sync"],
        counts["check"],
        counts["slipped"],
        wrong[1],
        wrong[2],
    )


def _refusal(values: np.ndarray, good: np.ndarray) -> str:
    """Return why a frame was refused, in the order in which the receiver looks."""
    if not good.all() or len(values) < FRAME_BYTES:
        return "no_frame"
    return "sync" if int(values[0]) != SYNC else "check"
