"""Arrivals: frames as their receiver gets them, look by look, and what it reads.

    sent bytes -> levels -> volts at every look (line, shift, noise) -> decisions -> characters -> a frame?

The volts are kept at the receiver's own looks, so what a scope draws is exactly what was decided on. Many
frames go through at once, each with its own bytes, its own phase of the shift and its own noise; one seed
makes them all again.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lessonkit.signal.channel import (
    LEAD_BITS,
    TAIL_BITS,
    Line,
    Noise,
    Reception,
    Shift,
    Volts,
    Waveform,
    judge,
)
from lessonkit.signal.crc import FRAME_CRC
from lessonkit.signal.frames import FRAME_BYTES, SYNC, Frame
from lessonkit.signal.receiver import Characters, Receiver, find_characters

__all__ = ["Arrivals", "Channel"]

_PLACES = 8


@dataclass(frozen=True)
class Channel:
    """Everything between a sender and a receiver, and the receiver's way of looking.

    `shift` is the sine between the two commons and on the conductor; its phase is the one it has while the
    supply's is 0. `sender_clock_error` is how much too long the sender's bit lasts.
    """

    line: Line
    shift: Shift
    noise: Noise
    receiver: Receiver
    baud: float
    sender_clock_error: float = 0.0

    @property
    def bit_s(self) -> float:
        """How long the sender's bit lasts."""
        return (1.0 + self.sender_clock_error) / self.baud

    @property
    def tick_s(self) -> float:
        """The time between two looks of the receiver."""
        return (1.0 + self.receiver.clock_error) / self.baud / self.receiver.ticks_per_bit


@dataclass(frozen=True)
class Arrivals:
    """Frames at their receiver: `sent` one behind the other over one channel.

    `seed` is what numpy's generator takes: it fixes where each frame begins between two looks, the phase of
    the supply, and the noise.
    """

    channel: Channel
    sent: tuple[Frame, ...]
    seed: tuple[int, ...]

    @cached_property
    def _bytes(self) -> NDArray[np.uint8]:
        """What `Frame.to_bytes` gives for each, shape (frames, bytes)."""
        body = np.array([(f.address, f.call_bits, f.sequence) for f in self.sent], dtype=np.uint8)
        sync = np.full((len(body), 1), SYNC, dtype=np.uint8)
        check = FRAME_CRC.of_many(body)[:, np.newaxis].astype(np.uint8)
        return np.concatenate([sync, body, check], axis=1)

    @cached_property
    def levels(self) -> NDArray[np.uint8]:
        """What each driver sends, shape (frames, bits): `frames.frame_levels` of many frames at once."""
        data = np.unpackbits(self._bytes[:, :, np.newaxis], axis=2, bitorder="little")
        ends = data[:, :, :1]
        bits = np.concatenate([np.zeros_like(ends), data, np.ones_like(ends)], axis=2)
        return bits.reshape(len(self.sent), -1)

    @cached_property
    def _chance(self) -> tuple[Volts, Volts, Volts]:
        """The time of the first look and the supply's phase for each frame, and the noise at every look."""
        rng, rows = np.random.default_rng(self.seed), len(self.sent)
        tick_s, bit_s = self.channel.tick_s, self.channel.bit_s
        looks = math.ceil((LEAD_BITS + self.levels.shape[1] + TAIL_BITS) * bit_s / tick_s)
        # Between two looks a frame may begin at any time: some places, evenly apart, take turns.
        begin_s = (np.arange(rows) + rng.uniform(0.0, _PLACES)) % _PLACES / _PLACES * tick_s
        begin_s -= LEAD_BITS * bit_s
        supply_rad = rng.uniform(0.0, 2 * math.pi, rows)
        return begin_s, supply_rad, self.channel.noise.volts(rows, looks, tick_s, rng)

    def supply_rad(self, row: int) -> float:
        """The phase of the supply at the first falling edge of one frame."""
        return float(self._chance[1][row])

    def _time_s(self, row: int) -> Volts:
        begin_s, _, noise = self._chance
        time_s: Volts = begin_s[row] + np.arange(noise.shape[1]) * self.channel.tick_s
        return time_s

    @cached_property
    def volts(self) -> Volts:
        """Volts at every look against the receiver's own common, shape (frames, looks)."""
        begin_s, supply_rad, noise = self._chance
        # These many begin at times of their own; the frames behind them take turns with the same.
        time_s = np.stack([self._time_s(place) for place in range(min(_PLACES, len(self.sent)))])
        volts = noise.copy()
        volts += self.channel.line.volts_in_turn(self.levels, self.channel.bit_s, time_s)
        shift = self.channel.shift
        if shift.peak_v:
            # sin(wt + phase) = sin wt cos phase + cos wt sin phase: one product for all frames
            turn = 2 * math.pi * shift.freq_hz * self.channel.tick_s * np.arange(noise.shape[1])
            phase = shift.phase_rad + supply_rad + 2 * math.pi * shift.freq_hz * begin_s
            mix = shift.peak_v * np.stack([np.cos(phase), np.sin(phase)], axis=1)
            volts += (mix @ np.stack([np.sin(turn), np.cos(turn)])).astype(np.float32)
        return volts

    @cached_property
    def characters(self) -> Characters:
        """What the receiver found in each of them."""
        receiver = self.channel.receiver
        return find_characters(receiver.decide(self.volts), FRAME_BYTES, receiver)

    @cached_property
    def _values(self) -> NDArray[np.uint8]:
        return self.characters.values

    @cached_property
    def unharmed(self) -> NDArray[np.bool_]:
        """Which frames arrive whole: every character is there, well framed, and the one that was sent."""
        return np.asarray((self.characters.good & (self._values == self._bytes)).all(axis=1))

    @cached_property
    def _judged(self) -> list[tuple[Frame | None, str]]:
        """What `heard` says of each frame."""
        characters, values = self.characters, self._values
        framing = characters.framing_errors.sum(axis=1).tolist()
        return [
            (frame, "") if whole else judge(bytes_[found].tobytes(), bad, 0)
            for frame, whole, bytes_, found, bad in zip(
                self.sent, self.unharmed.tolist(), values, characters.found, framing, strict=True
            )
        ]

    def heard(self, row: int) -> tuple[Frame | None, str]:
        """The frame that the receiver reads, or None and the reason in a sentence."""
        return self._judged[row]

    def waveform(self, row: int) -> Waveform:
        """One frame's volts against time, at the receiver's looks."""
        time_s, levels, bit_s = self._time_s(row), self.levels[row], self.channel.bit_s
        clean_v = self.channel.line.volts(levels, bit_s, time_s)
        return Waveform(time_s, self.volts[row].astype(float), clean_v, levels, bit_s)

    def reception(self, row: int) -> Reception:
        """What the receiver made of one frame: the very decisions that `heard` rests on."""
        characters, time_s = self.characters, self._time_s(row)
        found = characters.found[row]
        ticks = characters.sample_tick[row][found]
        frame, error = self.heard(row)
        return Reception(
            self._values[row][found].tobytes(),
            time_s[characters.start_tick[row][found]],
            time_s[ticks],
            self.volts[row][ticks],
            characters.levels[row][found],
            int(characters.framing_errors[row].sum()),
            0,
            frame,
            error,
        )
