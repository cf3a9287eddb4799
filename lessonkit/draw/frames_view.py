"""The last frame on a link, as a scope at its receiver would show it.

Everything comes from the bench as it stands: levels and shift from the settled circuit, edges from the
copper, noise from the job and its faults, decisions from the link's own receiver. Only chance is added: the
phase of the supply and the noise, drawn from the frame's number: looking twice shows the same picture.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from lessonkit.bench import signal_path
from lessonkit.bench.bench import Bench
from lessonkit.bench.link import ADDRESSES, D_BIT, REPLY, down_frame, up_frame
from lessonkit.errors import BadParameter
from lessonkit.job.calls import CALL_TERMINALS, PLACE_WORDS
from lessonkit.job.model import RUN_ENDS
from lessonkit.signal import channel
from lessonkit.signal.frames import Frame, frame_levels

__all__ = ["WAYS", "FrameView", "byte_words", "last_frame"]

WAYS = ("down", "up")
"""`down` is the encoder's frame at the relay board, `up` the reply at the encoder."""


@dataclass(frozen=True)
class FrameView:
    """One frame: what was sent, the volts at the receiver, and what it made of them.

    `at` is the place of the receiver, `other` that of the sender; volts are against C at `at`. `common` is
    the sender's C against the receiver's, a sine in PEAK volts. `silent` says why there is no wave, if there
    is none.
    """

    run: str
    way: str
    at: str
    other: str
    sent: Frame
    wave: channel.Waveform
    reading: channel.Reception
    receiver: channel.Receiver
    common: channel.Shift
    odds: float
    silent: str = ""


def last_frame(bench: Bench, run: str, way: str = "down", points_per_bit: int = 64) -> FrameView:
    """Return the last frame of a run's link, or its reply, as the receiver gets it now."""
    if run not in bench.job.links:
        raise BadParameter(
            "run", run, f"a run with a link: {', '.join(bench.job.links) or 'this job has none'}"
        )
    if way not in WAYS:
        raise BadParameter("way", way, "down (to the relay board) or up (the reply)")
    near, far = RUN_ENDS[run]
    at, other = (far, near) if way == "down" else (near, far)
    state, settings = bench.state, bench.job.runs[run].link
    link, sequence = state.links[run], state.links[run].sent
    live, wants_heat = bench.read(run)
    if way == "down":
        sent = down_frame(run, live, sequence)
    else:
        sent = up_frame(run, link.outputs, wants_heat, sequence)
    heard = bench.way(run, way)
    rng = np.random.default_rng([sequence, ADDRESSES[run], WAYS.index(way)])
    phase = float(rng.uniform(0, 2 * math.pi))
    hz = bench.job.frequency_hz
    shift = channel.Shift(math.sqrt(2) * heard.hum_v, hz, phase + heard.hum_phase_rad)
    apart = state.phasors[f"{other}:C"] - state.phasors[f"{at}:C"]
    common = channel.Shift(math.sqrt(2) * abs(apart), hz, phase + float(np.angle(apart)))
    receiver = signal_path.receiver_of(settings)
    noise = signal_path.noise_on(bench.wiring, run)
    wave = channel.waveform(
        frame_levels(sent.to_bytes()),
        settings.baud,
        heard.line,
        shift,
        noise,
        rng,
        points_per_bit=points_per_bit,
    )
    asleep = [
        f"the {part.replace('-', ' ')} at the {PLACE_WORDS[place]} does nothing"
        for place, part in ((near, "encoder"), (far, "relay-board"))
        if not state.boards[f"{place}:{part}"].awake
    ]
    reading = channel.receive(wave, receiver, settings.baud)
    return FrameView(
        run, way, at, other, sent, wave, reading, receiver, common, heard.odds, asleep[0] if asleep else ""
    )


def byte_words(position: int, value: int, reply: bool = False) -> str:
    """Return what one byte of a frame means, by its position."""
    if position == 1:
        runs = {address: run for run, address in ADDRESSES.items()}
        return f"to {runs.get(value, '?')}" if not value & REPLY else f"from {runs.get(value & ~REPLY, '?')}"
    if position == 2:
        called = [t for k, t in enumerate(CALL_TERMINALS) if value >> k & 1]
        called += ["D"] if reply and value & D_BIT else []
        return " ".join(called) or "nothing"
    return {0: "sync", 3: f"number {value}", 4: "check"}.get(position, "?")
