"""What a circuit did through time, and what meters make of it.

A `Trace` holds volts at every node and amperes through every branch at evenly spaced moments. What a meter
shows of a wave depends on the kind of meter (`meters`). Readings are taken over the whole trace: cut it to
whole cycles first, with `last_cycles` or `window`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from lessonkit.copper import meters
from lessonkit.copper.elements import Branch, Wave
from lessonkit.copper.meters import mean_of, rms_of
from lessonkit.copper.network import Network
from lessonkit.errors import BadParameter, require, require_finite, require_positive

__all__ = ["Trace", "mean_of", "rms_of"]


@dataclass(frozen=True, eq=False)
class Trace:
    """Volts and amperes of a network at evenly spaced moments.

    `time_s` has shape (n,); `volts` gives a wave of that shape for each node, against the reference (itself
    included), `amperes` one for each branch, from its `a` to its `b`. Volts and amperes are instantaneous.
    Wherever two nodes are asked for, the second is the reference unless it is named.
    """

    network: Network
    time_s: Wave
    volts: Mapping[str, Wave]
    amperes: Mapping[str, Wave]

    def current_a(self, branch: str) -> Wave:
        """Return the amperes through a branch, by its name."""
        return self.amperes[self._branch(branch).name]

    def across(self, a: str, b: str | None = None) -> Wave:
        """Return the volts of node a against node b, red probe on a."""
        b = self.network.reference if b is None else b
        for node in (a, b):
            require(node in self.volts, "node", node, f"one of {', '.join(self.volts)}")
        return self.volts[a] - self.volts[b]

    def absorbed_w(self, branch: str) -> Wave:
        """Return the watts that a branch takes in (a source: below zero while it delivers)."""
        part = self._branch(branch)
        return self.across(part.a, part.b) * self.amperes[branch]

    def _branch(self, name: str) -> Branch:
        require(name in self.amperes, "branch", name, f"one of {', '.join(self.amperes)}")
        return self.network.branches[self.network.place_of[name]]

    # A part of it.

    def window(self, from_s: float, to_s: float = math.inf) -> Trace:
        """Return the part of the trace between two moments, both included."""
        require(not math.isnan(to_s), "to_s", to_s, "a moment in seconds")
        slack = 1e-9 * float(self.time_s[-1] - self.time_s[0])
        keep = (self.time_s >= require_finite("from_s", from_s) - slack) & (self.time_s <= to_s + slack)
        if not keep.any():
            shown = f"inside {self.time_s[0]:g} to {self.time_s[-1]:g} s, where the trace is"
            raise BadParameter("the window", (from_s, to_s), shown)
        return replace(
            self,
            time_s=self.time_s[keep],
            volts={node: wave[keep] for node, wave in self.volts.items()},
            amperes={name: wave[keep] for name, wave in self.amperes.items()},
        )

    def last_cycles(self, freq_hz: float, count: int = 1) -> Trace:
        """Return the last whole cycles of a frequency, when a start has died away."""
        span = require_positive("count", count) / require_positive("freq_hz", freq_hz, unit="hertz")
        long = float(self.time_s[-1] - self.time_s[0])
        allowed = f"at most {long * freq_hz:.3g} cycles, the trace's length"
        require(span <= long * (1 + 1e-9), "count", count, allowed)
        return self.window(float(self.time_s[-1]) - span)

    # Readings, each as a kind of meter takes it.

    def mean_v(self, a: str, b: str | None = None) -> float:
        """Return the mean volts: what a direct-voltage range shows."""
        return mean_of(self.across(a, b))

    def rms_v(self, a: str, b: str | None = None) -> float:
        """Return the RMS volts, direct part included."""
        return rms_of(self.across(a, b))

    def peak_v(self, a: str, b: str | None = None) -> float:
        """Return the largest volts of either sign, as a magnitude."""
        return float(np.max(np.abs(self.across(a, b))))

    def true_rms(self, a: str, b: str | None = None, *, ac_only: bool = False) -> float:
        """Return what a true-RMS meter shows.

        Many such meters hear the wave through a capacitor on their AC range, which takes the mean away:
        `ac_only`.
        """
        return meters.true_rms(self.across(a, b), ac_only)

    def average_meter_v(self, a: str, b: str | None = None, *, ac_only: bool = False) -> float:
        """Return what a full-wave averaging meter shows, marked for a sine; `ac_only` as above."""
        return meters.average(self.across(a, b), ac_only)

    def half_wave_meter_v(self, a: str, b: str | None = None) -> float:
        """Return what a one-diode averaging meter shows, marked for a sine.

        It hears only the half-waves that make a positive, so swapping its probes can change the reading.
        """
        return meters.half_wave(self.across(a, b))

    def readings(self, a: str, b: str | None = None) -> dict[str, float]:
        """Return what every kind of meter shows between two nodes, by the names of `meters.KINDS`."""
        wave = self.across(a, b)
        return {kind: reads(wave) for kind, reads in meters.KINDS.items()}

    def mean_a(self, branch: str) -> float:
        """Return the mean amperes through a branch."""
        return mean_of(self.current_a(branch))

    def rms_a(self, branch: str) -> float:
        """Return the RMS amperes through a branch."""
        return rms_of(self.current_a(branch))

    def peak_a(self, branch: str) -> float:
        """Return the largest amperes of either sign, as a magnitude."""
        return float(np.max(np.abs(self.current_a(branch))))
