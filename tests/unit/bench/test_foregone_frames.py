"""Frames whose fate needs no trial: the shortcut never says what trials would not."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.bench.link import down_frame
from lessonkit.bench.signal_path import SWITCHING, SignalPath, foregone, receiver_of
from lessonkit.job.model import LinkSettings
from lessonkit.signal import channel

LINK = LinkSettings()


def _way(low_v: float, high_v: float, hum_v: float, farad: float = 3e-9) -> SignalPath:
    return SignalPath(
        low_v, high_v, hum_v, 0.0, channel.Line(low_v, high_v, LINK.drive_ohm, 0.6, farad, LINK.load_ohm)
    )


@settings(max_examples=60, deadline=None)
@given(
    low_v=st.floats(-6, 12),
    swing_v=st.floats(-2, 14),
    hum_v=st.floats(0, 6),
    noise_v=st.floats(0, 2),
    clock=st.floats(-0.06, 0.06),
)
def test_trials_agree_wherever_the_shortcut_speaks(
    low_v: float, swing_v: float, hum_v: float, noise_v: float, clock: float
) -> None:
    """Where it says all or none, 64 trials through the receiver say the same."""
    way, noise = _way(low_v, low_v + swing_v, hum_v), channel.Noise(noise_v)
    link = LinkSettings(clock_error=clock)
    said = foregone(way, link, noise)
    if said is None:
        return
    frame = down_frame("outdoor", frozenset({"Y1", "O"}), 9).to_bytes()
    rng = np.random.default_rng(1)
    pool = channel.try_many(
        frame, link.baud, way.line, math.sqrt(2) * hum_v, 60.0, noise, receiver_of(link), 64, rng
    )
    assert bool(pool.all()) is said
    assert bool(pool.any()) is said


def test_it_speaks_in_the_usual_states() -> None:
    """A sound line gets every frame through, a broken one none; both without a trial."""
    assert foregone(_way(0.0, 10.0, 0.3), LINK, channel.Noise(0.05)) is True
    assert foregone(_way(0.0, 0.0, 0.3), LINK, channel.Noise(0.05)) is False
    assert foregone(_way(9.0, 9.5, 0.3), LINK, channel.Noise(0.05)) is False


@pytest.mark.parametrize(
    ("way", "noise"),
    [
        (_way(0.0, 10.0, 3.0), channel.Noise(0.05)),
        (_way(0.0, 10.0, 0.3), channel.Noise(1.0)),
        (_way(0.0, 10.0, 0.3, farad=1e-6), channel.Noise(0.05)),
        (_way(0.0, 10.0, 0.3), SWITCHING),
    ],
    ids=["shift", "noise", "slow edges", "bursts"],
)
def test_it_leaves_doubtful_states_to_trials(way: SignalPath, noise: channel.Noise) -> None:
    """Shift, noise, slow edges and bursts each leave the fate of a frame open."""
    assert foregone(way, LINK, noise) is None
