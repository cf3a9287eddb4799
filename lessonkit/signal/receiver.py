"""Receiver: from volts back to bits.

The far end has a comparator with two thresholds and a clock of its own:

    comparator   at or above the high threshold the line is 1, at or below the low one it is 0; in between it
                 stays what it was (hysteresis), so that a slow or shaky edge counts once
    clock        looks at the line `ticks_per_bit` times a bit. The first low look after a high one is the
                 start of a character; half a bit later it must still be low, or it was a spike
    samples      from there one sample in the middle of each bit, until the stop bit, which must be 1

Each character begins anew, so a clock that runs a few per cent wrong drifts by at most nine and a half bits:
half a bit of room over 9.5 bits is the 5.26 per cent that both clocks together may differ.

Everything works on many lines at once: arrays (rows, looks), time along the last axis. There is no other
decision code in the house; the scope, the link and the error-rate runs all come through here.

Source: oversampling start-stop receivers, sixteen looks a bit (common practice).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lessonkit.errors import BadParameter, require, require_finite
from lessonkit.signal.crc import parity_bit
from lessonkit.signal.frames import bits_per_character

__all__ = ["Characters", "Receiver", "find_characters"]


@dataclass(frozen=True)
class Receiver:
    """The thresholds of a receiver, and its clock.

    Volts are against the receiver's own common. `clock_error` is how much too long its bit lasts (0.02: two
    per cent slow). `supply_v`, where known, is the supply of the comparator: a threshold beyond it could
    never be crossed, so it is refused.
    """

    low_threshold_v: float
    high_threshold_v: float
    clock_error: float = 0.0
    ticks_per_bit: int = 16
    supply_v: float | None = None

    def __post_init__(self) -> None:
        low = require_finite("low_threshold_v", self.low_threshold_v, "a finite number of volts")
        high = require_finite("high_threshold_v", self.high_threshold_v, "a finite number of volts")
        if low > high:
            raise BadParameter("low_threshold_v", low, f"at or below high_threshold_v, here {high:g} V")
        if self.supply_v is not None and high >= self.supply_v:
            raise BadParameter("high_threshold_v", high, f"below supply_v, here {self.supply_v:g} V")
        error = require_finite("clock_error", self.clock_error)
        require(-0.5 < error < 0.5, "clock_error", error, "between -0.5 and 0.5, such as 0.02 for 2 %")
        ticks = self.ticks_per_bit
        require(
            isinstance(ticks, int) and ticks >= 2 and ticks % 2 == 0,
            "ticks_per_bit",
            ticks,
            "an even whole number, 2 or more, such as 16",
        )

    def decide(self, volts: NDArray[Any], before: int = 1) -> NDArray[np.bool_]:
        """Levels from volts, with hysteresis along the last axis.

        `before` is the level before the first look; a line at rest is high.
        """
        above: NDArray[np.bool_] = volts >= self.high_threshold_v
        if self.low_threshold_v == self.high_threshold_v:
            return above
        not_low: NDArray[np.bool_] = volts > self.low_threshold_v
        if (above == not_low).all():
            return above
        # A look between the thresholds passes on what stands before it, as a column of a sum passes on its
        # carry: 1 + 1 (surely high) makes one, 0 + 0 (surely low) none, 1 + 0 hands on the one that came. So
        # all lines one behind the other are two numbers of many binary places, and their sum decides them.
        columns = np.empty((2, *volts.shape[:-1], volts.shape[-1] + 1), dtype=np.bool_)
        columns[..., 0] = bool(before)
        columns[0, ..., 1:], columns[1, ..., 1:] = above, not_low
        packed = (np.packbits(some, bitorder="little").tobytes() for some in columns)
        one, other = (int.from_bytes(some, "little") for some in packed)
        size = columns[0].size
        carries = ((one + other) ^ one ^ other).to_bytes(size // 8 + 1, "little")
        bits = np.unpackbits(np.frombuffer(carries, dtype=np.uint8), bitorder="little")[1 : size + 1]
        return bits.view(np.bool_).reshape(columns[0].shape)[..., 1:]


@dataclass(frozen=True)
class Characters:
    """What was found on many lines.

    Arrays (rows, characters) and (rows, characters, bits). `start_tick` is the look at which the start bit
    was noticed, -1 where no further character came; `levels` are the sampled start, data, parity and stop
    bits; `sample_tick` says when each was taken.
    """

    start_tick: NDArray[np.int64]
    sample_tick: NDArray[np.int64]
    levels: NDArray[np.bool_]
    parity: str | None

    @property
    def found(self) -> NDArray[np.bool_]:
        """Where a character came at all, up to its stop bit."""
        return self.start_tick >= 0

    @property
    def framing_errors(self) -> NDArray[np.bool_]:
        """Where the stop bit was 0."""
        return self.found & ~self.levels[:, :, -1]

    @property
    def values(self) -> NDArray[np.uint8]:
        """The eight data bits as bytes, good or not."""
        return np.packbits(self.levels[:, :, 1:9], axis=2, bitorder="little")[:, :, 0]

    @property
    def parity_errors(self) -> NDArray[np.bool_]:
        """Where the parity bit does not fit; nowhere without parity."""
        if self.parity is None:
            return np.zeros_like(self.found)
        ones = self.levels[:, :, 1:10].sum(axis=2)
        return np.asarray(self.found & (ones % 2 != parity_bit(0, self.parity)))

    @property
    def good(self) -> NDArray[np.bool_]:
        """Found, ended by a stop bit, and with fitting parity."""
        return self.found & ~self.framing_errors & ~self.parity_errors


def find_characters(
    levels: NDArray[np.bool_], characters: int, receiver: Receiver, parity: str | None = None
) -> Characters:
    """Find up to `characters` characters on each line.

    `levels` has shape (rows, looks), as `Receiver.decide` gives it, one look a tick.
    """
    rows, looks = levels.shape
    ticks, half, bits = receiver.ticks_per_bit, receiver.ticks_per_bit // 2, bits_per_character(parity)
    # A start bit begins where a low look follows a high one and the line is still low half a bit later.
    # Behind the last look stands a mark that ends every search.
    begins = np.zeros((rows, looks + 1), dtype=np.bool_)
    begins[:, looks] = True
    usable = looks - half
    if usable > 1:
        begins[:, 1:usable] = levels[:, : usable - 1] & ~(levels[:, 1:usable] | levels[:, 1 + half :])
    places = np.flatnonzero(begins)

    row = np.arange(rows)
    first = row * (looks + 1)  # of each row, among all places
    offsets = half + ticks * np.arange(bits)
    start_tick = np.empty((rows, characters), dtype=np.int64)
    sample_tick = np.empty((rows, characters, bits), dtype=np.int64)
    position = np.zeros(rows, dtype=np.int64)
    for k in range(characters):
        start = places[np.searchsorted(places, first + position)] - first
        samples = start[:, np.newaxis] + offsets
        start_tick[:, k] = np.where(samples[:, -1] < looks, start, -1)
        sample_tick[:, k] = np.minimum(samples, looks - 1)
        position = sample_tick[:, k, -1]
    sampled = levels[row[:, np.newaxis, np.newaxis], sample_tick]
    return Characters(start_tick, sample_tick, sampled, parity)
