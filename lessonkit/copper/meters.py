"""What each kind of meter makes of a wave.

The wave is one thing; what a meter says about it is another. Every kind boils the wave down to one number in
its own way, and most are marked as if the wave were a sine:

    kind                 what it does with the wave                        sine of V RMS  half of it
    "dc"                 mean                                              0              0.450 V
    "true-rms"           root of the mean square, the mean taken away      V              0.545 V
    "true-rms-dc"        the same with the mean counted                    V              0.707 V
    "average"            mean of what is left of |v|, times 1.1107         V              0.551 V
    "average-dc"         the same with the mean counted                    V              0.500 V
    "half-wave"          mean of max(v, 0), times 2.2214                   V              V, or 0 reversed

An alternating range usually hears the wave through a capacitor, which takes the mean away: so do "true-rms"
and "average". Six honest meters read six different numbers on one half-wave conductor, and the simplest one,
a single diode before a moving coil, can't tell the half-wave from the whole. A reading means little until the
meter is known.

A wave is volts or amperes at evenly spaced moments, shape (n,), over whole cycles.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from types import MappingProxyType

import numpy as np

from lessonkit.copper.elements import Wave

__all__ = ["KINDS", "average", "half_wave", "mean_of", "rms_of", "true_rms"]

#: RMS over rectified mean of a sine: pi / (2 sqrt 2), what a full-wave averaging meter is marked with.
FULL_WAVE_FACTOR = math.pi / (2 * math.sqrt(2))
#: The same for a meter that hears one half-wave only: pi / sqrt 2.
HALF_WAVE_FACTOR = math.pi / math.sqrt(2)


def mean_of(wave: Wave) -> float:
    """Return the time mean of an evenly sampled wave.

    The first and last sample count half, so that one whole cycle, both ends included, is weighed evenly.
    """
    return float(np.mean(wave[1:] + wave[:-1]) / 2) if len(wave) > 1 else float(wave[0])


def rms_of(wave: Wave) -> float:
    """Return the root of the mean square of an evenly sampled wave."""
    return math.sqrt(mean_of(wave**2))


def true_rms(wave: Wave, ac_only: bool = True) -> float:
    """Return what a true-RMS meter shows; `ac_only` where it hears the wave through a capacitor."""
    return rms_of(wave - mean_of(wave) if ac_only else wave)


def average(wave: Wave, ac_only: bool = True) -> float:
    """Return what a full-wave averaging meter shows, marked for a sine; `ac_only` as above."""
    heard = wave - mean_of(wave) if ac_only else wave
    return FULL_WAVE_FACTOR * mean_of(np.abs(heard))


def half_wave(wave: Wave) -> float:
    """Return what a one-diode averaging meter shows, marked for a sine.

    It hears only the half-waves that make a positive, so swapping its probes can change the reading.
    """
    return HALF_WAVE_FACTOR * mean_of(np.maximum(wave, 0.0))


#: Every kind of meter by its name.
KINDS: Mapping[str, Callable[[Wave], float]] = MappingProxyType(
    {
        "dc": mean_of,
        "true-rms": true_rms,
        "true-rms-dc": lambda wave: true_rms(wave, ac_only=False),
        "average": average,
        "average-dc": lambda wave: average(wave, ac_only=False),
        "half-wave": half_wave,
    }
)
