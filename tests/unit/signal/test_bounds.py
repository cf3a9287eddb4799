"""Where what a signal room takes begins and ends: the last value taken, and the first one refused.

The limits are those that the docstrings and the sentences of the errors name.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from lessonkit.errors import BadParameter
from lessonkit.signal import channel, crc, distance, edges, error_rates, frames
from lessonkit.signal.channel import Line, Noise, Receiver, Shift

RNG = np.random.default_rng(0)
DATA = frames.Frame(1, 2, 3).to_bytes()
LINE = Line(0.0, 5.0)
EARS = Receiver(1.5, 3.5)
BARE = Receiver(2.5, 2.5)
POLY = crc.FRAME_CRC.full_poly
#: As close to a limit as matters.
NEAR = 1e-9

# What is done with a value, the values at the limits that are taken, and those just outside that are refused.
LIMITS: dict[str, tuple[Callable[..., object], tuple[object, ...], tuple[object, ...]]] = {
    "load": (lambda x: Line(0, 5, load_ohm=x), (NEAR, math.inf), (0.0,)),
    "source": (lambda x: Line(0, 5, source_ohm=x), (0.0,), (-NEAR,)),
    "shift": (lambda x: Shift(x), (0.0,), (-NEAR,)),
    "shift's frequency": (lambda x: Shift(1.0, x), (0.0,), (-NEAR,)),
    "noise": (lambda x: Noise(x), (0.0,), (-NEAR,)),
    "burst": (lambda x: Noise(burst_s=x), (0.0,), (-NEAR,)),
    "bursts": (lambda x: Noise(bursts_per_s=x), (0.0,), (-NEAR,)),
    "sender's clock": (
        lambda x: channel.waveform(frames.frame_levels(b"a"), 1200, LINE, sender_clock_error=x),
        (-0.5 + NEAR, 0.5 - NEAR),
        (-0.5, 0.5),
    ),
    "points": (
        lambda x: channel.waveform(frames.frame_levels(b"a"), 1200, LINE, points_per_bit=x), (4,), (3,),
    ),
    "frames": (
        lambda x: channel.try_many(DATA, 1200, LINE, 0, 60, Noise(), EARS, x, RNG), (1,), (0,),
    ),
    "receiver's clock": (lambda x: Receiver(1, 2, x), (-0.5 + NEAR, 0.5 - NEAR), (-0.5, 0.5)),
    "receiver's ticks": (lambda x: Receiver(1, 2, ticks_per_bit=x), (2, 4), (0, 1, 3, 2.0)),
    "comparator": (lambda x: Receiver(1, x, supply_v=5.0), (1.0, 5.0 - NEAR), (1.0 - NEAR, 5.0)),
    "words": (lambda x: crc.try_flips(crc.FRAME_CRC, 1, x, RNG), (1,), (0,)),
    "bytes": (lambda x: crc.try_flips(crc.FRAME_CRC, 1, 1, RNG, x), (1,), (0,)),
    "flips": (lambda x: crc.try_flips(crc.FRAME_CRC, x, 3, RNG), (1, 32), (0, 33)),
    "bursts of bits": (lambda x: crc.try_bursts(crc.FRAME_CRC, x, 3, RNG), (1, 32), (0, 33)),
    "chance": (lambda x: crc.try_noise(crc.FRAME_CRC, x, 3, RNG), (0.0, 1.0), (-NEAR, 1 + NEAR)),
    "polynomial": (lambda x: distance.hamming_distance(x, 4), (0x7, 0x1FFFF), (0x5, 0x8, 0x20001)),
    "data bits": (lambda x: distance.hamming_distance(POLY, x), (1,), (0,)),
    "data bits tried": (lambda x: distance.longest_data_bits(POLY, 2, x), (1,), (0,)),
    "wrong bits": (lambda x: distance.undetected_patterns(0x7, 4, x), (0, 8), (-1, 9)),
    "bits with wrong ones": (lambda x: distance.undetected_patterns(0x7, x, 1), (1, 512), (0, 513)),
    "length of a burst": (lambda x: distance.undetected_bursts(0x7, 4, x), (1, 6), (0, 7)),
    "width": (lambda x: distance.rank_polynomials(1, x), (3,), (2, 11)),
    "bits to rank by": (lambda x: distance.rank_polynomials(x, 3), (1, 256), (0, 257)),
    "growth": (lambda x: distance.rank_polynomials(1, 3, x), (0, 256), (-1, 257)),
    "share": (lambda x: edges.step_modes(1, 1, 1).time_to(x), (NEAR, 1 - NEAR), (0.0, 1.0)),
    "tries": (lambda x: error_rates.wilson_interval(0, x), (1,), (0,)),
    "hits": (lambda x: error_rates.wilson_interval(x, 3), (0, 3), (-1, 4)),
    "decibels": (lambda x: error_rates.closed_form("antipodal", x), (-60, 60), (-60.001, 60.001)),
    "bits sent": (lambda x: error_rates.count_errors("antipodal", 1, x, RNG), (1,), (0,)),
    "bits leaned on": (lambda x: error_rates.lean_on_errors(0, 1, BARE, x, RNG), (100,), (99,)),
    "noise at a margin": (lambda x: error_rates.margin_error_rate(0, 5, x, EARS), (NEAR,), (0.0,)),
    "ticks": (lambda x: error_rates.clock_tolerance(x), (4,), (3,)),
    "characters": (lambda x: error_rates.clock_tolerance_curve([0.0], count=x), (1,), (0,)),
    "field": (lambda x: frames.Frame(x, x, x), (0, 255), (-1, 256, 1.5, True)),
    "field of an array": (lambda x: frames.Frame(np.int64(x), 0, 0), (0, 255), (-1, 256)),  # type: ignore[arg-type]
    "byte": (lambda x: frames.character_levels(x), (0, 255), (-1, 256)),
    "stop bits": (lambda x: frames.character_levels(0, stop_bits=x), (1, 2), (0, 3)),
    "baud": (lambda x: frames.frame_seconds(x), (NEAR,), (0.0,)),
    "Manchester bits": (lambda x: frames.manchester_levels([x]), (0, 1), (2,)),
    "half bits": (lambda x: frames.manchester_bits([0, 1, 0, 1, 0][:x]), (0, 2, 4), (1, 3)),
    "levels of a character": (lambda x: frames.read_character([0] + [1] * (x - 1)), (10,), (9,)),
}  # fmt: skip


@pytest.mark.parametrize("limit", LIMITS)
def test_limits_are_where_they_are_said(limit: str, limit_holds: Callable[..., None]) -> None:
    """The last value inside each limit is taken, and the first one outside is refused."""
    limit_holds(*LIMITS[limit], BadParameter)
