"""Pictures of noise, clocks and eyes: what they draw is what is counted, and their words say it."""

from __future__ import annotations

import numpy as np
import pytest

from lessonkit.bench.bench import Bench
from lessonkit.draw.clocks import clock_picture
from lessonkit.draw.eye import link_eye
from lessonkit.draw.noise import noise_picture
from lessonkit.errors import BadParameter
from lessonkit.signal.error_rates import clock_tolerance, margin_error_rate
from lessonkit.signal.receiver import Receiver
from lessonkit.studies.noisy_frames import count_frames


def test_noise_is_drawn_as_it_is_counted() -> None:
    """The line is the theory of the link's levels, and the squares are whole frames counted on it."""
    shown = noise_picture("forge-office", (1.5, 2.5, 3.5), bits=20_000, frames=200)
    wrong, whole = shown.figure.axes
    x, y = wrong.lines[0].get_data()
    assert y[0] == pytest.approx(margin_error_rate(0.0, 10.0, float(x[0]), Receiver(3.5, 7.5)), rel=0.05)
    heard = [count_frames("forge-office", noise_v, 200).heard_percent for noise_v in (1.5, 2.5, 3.5)]
    assert list(whole.lines[0].get_ydata()) == heard
    assert f"{heard[1]:.0f} % at 2.5 V" in repr(shown)
    assert "of 3 counted points hold the theory" in repr(shown)


def test_clocks_fall_where_theory_says() -> None:
    """All characters are right well inside the limit, and none well beyond it."""
    shown = clock_picture()
    percent, right = (np.asarray(values) for values in shown.figure.axes[0].lines[0].get_data())
    assert right[np.abs(percent) < 100 * clock_tolerance(16) - 0.3].min() == 100.0
    assert right[np.abs(percent) > 100 * clock_tolerance() + 1.0].max() == 0.0
    assert "4.61 %" in repr(shown)
    assert "4.76 %" in repr(clock_picture("even"))


def test_an_eye_is_that_of_the_bench() -> None:
    """A sound link's eye is open, noise closes it, and a job without a link has none."""
    for noise, words in (([], "Every bit is read right"), (["outdoor.SIG=noise:3"], "Some bits fall")):
        bench = Bench("forge-office", call="cool-2", faults=noise)
        bench.advance(10)
        assert words in repr(link_eye(bench))
    with pytest.raises(BadParameter, match="there is none"):
        link_eye(Bench("full-cable"))
