"""Frames whose fate needs no trial: the shortcut never says what trials would not."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.bench.link import down_frame
from lessonkit.bench.signal_path import SWITCHING, SignalPath, foregone, receiver_of
from lessonkit.job.model import LinkSettings
from lessonkit.signal import channel, error_rates
from lessonkit.signal.arrivals import Arrivals, Channel

LINK = LinkSettings()


def _way(low_v: float, high_v: float, hum_v: float, farad: float = 3e-9) -> SignalPath:
    return SignalPath(
        low_v, high_v, hum_v, 0.0, channel.Line(low_v, high_v, LINK.drive_ohm, 0.6, farad, LINK.load_ohm)
    )


def _tried(path: SignalPath, noise: channel.Noise, link: LinkSettings) -> list[bool]:
    """Return which of 64 frames, each with its own number, the receiver reads as they were sent."""
    frames = tuple(down_frame("outdoor", frozenset({"Y1", "O"}), 4 * k) for k in range(64))
    shift = channel.Shift(math.sqrt(2) * path.hum_v, 60.0)
    over = Channel(path.line, shift, noise, receiver_of(link), link.baud)
    arrivals = Arrivals(over, frames, (1,))
    return [arrivals.heard(row)[0] == frame for row, frame in enumerate(frames)]


@settings(max_examples=40, deadline=None)
@given(
    hum_v=st.floats(0, 0.7),
    noise_v=st.floats(0, 0.2),
    room_v=st.floats(0.001, 4.0),
    clock=st.floats(-0.49, 0.49).map(lambda share: share * error_rates.clock_tolerance(16)),
    farad=st.floats(0, 5e-9),
)
def test_what_is_sure_to_pass_passes(
    hum_v: float, noise_v: float, room_v: float, clock: float, farad: float
) -> None:
    """With both levels clear of their thresholds by shift and noise, every one of 64 frames is read."""
    doubt_v = math.sqrt(2) * hum_v + 8.0 * noise_v
    link, noise = LinkSettings(clock_error=clock), channel.Noise(noise_v)
    path = _way(LINK.low_v - doubt_v - room_v, LINK.high_v + doubt_v + room_v, hum_v, farad)
    assert foregone(path, link, noise) is True
    assert all(_tried(path, noise, link))


@settings(max_examples=40, deadline=None)
@given(
    hum_v=st.floats(0, 3.0),
    noise_v=st.floats(0, 1.0),
    room_v=st.floats(0.001, 4.0),
    swing_v=st.floats(0, 4.0),
    above=st.booleans(),
)
def test_what_is_sure_to_fail_fails(
    hum_v: float, noise_v: float, room_v: float, swing_v: float, above: bool
) -> None:
    """A line that never reaches one of its thresholds brings not one of 64 frames through."""
    doubt_v, noise = math.sqrt(2) * hum_v + 8.0 * noise_v, channel.Noise(noise_v)
    path = (
        _way(LINK.low_v + doubt_v + room_v, LINK.low_v + doubt_v + room_v + swing_v, hum_v)
        if above
        else _way(LINK.high_v - doubt_v - room_v - swing_v, LINK.high_v - doubt_v - room_v, hum_v)
    )
    assert foregone(path, LINK, noise) is False
    assert not any(_tried(path, noise, LINK))


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
