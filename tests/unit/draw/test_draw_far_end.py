"""Pictures of the far end: they draw what was measured and watched, and say the same in words."""

from __future__ import annotations

import numpy as np
import pytest

from lessonkit.draw.far_end import defrost_picture, drawn, latency_picture
from lessonkit.job.toml import demo_job
from lessonkit.studies.defrosts import RUNS, WatchedDefrost, watch_defrost
from lessonkit.studies.latency import latency


@pytest.fixture(scope="module")
def watched() -> WatchedDefrost:
    """Watch a defrost by the test pins."""
    return watch_defrost(demo_job("full-cable"), minutes=30, pins_at=20)


def test_latency_is_drawn_as_measured() -> None:
    """The curve holds the measured points, and the words their two ends."""
    still, found = latency_picture("wire-return"), latency("wire-return")
    curve = still.figure.axes[0].lines[0]
    assert np.allclose(np.asarray(curve.get_ydata(), dtype=float), found.taken_s)
    assert "takes 2.0 s" in still.words
    assert "down to 1.0 s" in still.words


def test_a_defrost_is_drawn_as_watched(watched: WatchedDefrost) -> None:
    """Temperature and capacity are the arrays, and each thing that ran has its bars."""
    warm, left, bars = drawn(watched).figure.axes
    assert np.allclose(np.asarray(warm.lines[0].get_ydata(), dtype=float), watched.coil_c)
    assert np.allclose(np.asarray(left.lines[0].get_ydata(), dtype=float), 100 * watched.capacity)
    assert [tick.get_text() for tick in bars.get_yticklabels()] == list(reversed(RUNS))
    fan = next(
        one for name, one in zip(reversed(RUNS), bars.collections, strict=False) if name == "outdoor fan"
    )
    assert len(fan.get_paths()) == 2  # before the defrost and after it


def test_the_words_name_what_runs(watched: WatchedDefrost) -> None:
    """When, how long, what runs and what doesn't stand in the words; without a defrost they say so."""
    words = drawn(watched).words
    assert "from minute 20.0" in words
    assert "these run: compressor, reversing valve, auxiliary heat, blower;" in words
    assert "these don't: outdoor fan" in words
    assert "there is no defrost" in defrost_picture("full-cable", minutes=5, outdoor_c=10.0).words
