"""How far two clocks may differ, against published figures.

Sources: a column of questions and answers in a circuit designers' magazine (5.26 % in all, 2.63 % at each
end, seen); the same sum with a start noticed one tick late, 7/152 = 4.61 % with sixteen ticks and 3.95 %
with eight (arithmetic); a semiconductor maker's tutorial "Determining Clock Accuracy Requirements for UART
Communications" for the method (title seen, figures from memory).
"""

from __future__ import annotations

import numpy as np
import pytest

from lessonkit.signal.channel import Line, Noise, try_many
from lessonkit.signal.error_rates import clock_tolerance, clock_tolerance_curve
from lessonkit.signal.frames import Frame
from lessonkit.signal.receiver import Receiver


def test_published_tolerances() -> None:
    """8-N-1: 5.26 %; with sixteen ticks 4.61 %, with eight 3.95 %; eleven bits: 4.76 %."""
    assert clock_tolerance() * 100 == pytest.approx(5.26, abs=0.005)
    assert clock_tolerance(16) == pytest.approx(7 / 152)
    assert clock_tolerance(16) * 100 == pytest.approx(4.61, abs=0.006)
    assert clock_tolerance(8) * 100 == pytest.approx(3.95, abs=0.006)
    assert clock_tolerance(parity="even") * 100 == pytest.approx(4.76, abs=0.005)


@pytest.mark.parametrize("parity", [None, "even", "odd"])
def test_fine_ticks_reach_the_ideal(parity: str | None) -> None:
    """With very many ticks the receiver reads everything inside the ideal tolerance and nothing outside."""
    limit = clock_tolerance(parity=parity)
    inside, outside = limit - 0.001, limit + 0.001
    shares = clock_tolerance_curve([-outside, -inside, inside, outside], ticks_per_bit=1024, parity=parity)
    assert shares.tolist() == [0.0, 1.0, 1.0, 0.0]


def test_sixteen_ticks_fail_between_the_two_figures() -> None:
    """A slow receiver with sixteen ticks fails from 4.6 % to 5.3 %, a fast one from 5.26 % on."""
    slow = clock_tolerance_curve([0.0, 0.0455, 0.049, 0.053], count=256)
    assert slow[0] == slow[1] == 1.0
    assert 0.2 < slow[2] < 0.8
    assert slow[3] == 0.0
    fast = clock_tolerance_curve([-0.052, -0.056, -0.06], count=256)
    assert fast[0] == 1.0
    assert 0.0 < fast[1] < 1.0
    assert fast[2] == 0.0


def test_both_ends_share_the_tolerance() -> None:
    """2.63 % at each end in opposite directions is the limit, and in the same direction it is harmless."""
    data = Frame(1, 0, 0).to_bytes()
    line, rng = Line(0.0, 5.0), np.random.default_rng(1)

    def share(sender: float, receiver: float) -> float:
        ears = Receiver(2.5, 2.5, receiver, ticks_per_bit=512)
        return try_many(data, 1200, line, 0, 60, Noise(), ears, 32, rng, sender_clock_error=sender).mean()

    assert share(-0.025, 0.025) == share(0.025, -0.025) == 1.0
    assert share(-0.028, 0.028) == share(0.028, -0.028) == 0.0
    assert share(0.2, 0.2) == 1.0
