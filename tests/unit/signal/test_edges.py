"""Edges: what must hold of any line."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lessonkit.signal.edges import step_modes

OHM = st.floats(0.1, 1e5)


@given(st.one_of(st.just(0.0), OHM), OHM, st.floats(1e-12, 1e-6), st.one_of(st.just(math.inf), OHM))
def test_every_step_rises_from_nothing_to_all(source: float, line: float, farad: float, load: float) -> None:
    """Any line: rates grow, the response rises without overshoot, and all arrives in the end."""
    modes = step_modes(source, line, farad, load)
    assert (np.diff(modes.rates_per_s) > 0).all()
    time_s = np.geomspace(0.003 * line * farad, 30 / modes.rates_per_s[0], 500)
    rise = modes.response(time_s)
    assert (np.diff(rise) > -1e-5).all()
    assert modes.response(0.0) == pytest.approx(0.0, abs=1e-12)
    assert -1e-5 < rise[0] < rise[-1] <= 1 + 1e-9
    assert rise[-1] == pytest.approx(1.0, abs=1e-9)
    assert 0 < modes.time_to(0.1) < modes.time_to(0.5) < modes.time_to(0.9)


@given(OHM, OHM, st.floats(1e-12, 1e-6))
def test_elmore_delay(source: float, line: float, farad: float) -> None:
    """The mean delay of an open line is its Elmore delay, (source + line / 2) times farads."""
    modes = step_modes(source, line, farad)
    mean_delay = float((modes.weights / modes.rates_per_s).sum())
    assert mean_delay == pytest.approx((source + line / 2) * farad, rel=1e-4)


def test_no_delay_without_farads_or_ohms() -> None:
    """Nothing to charge, or nothing to charge it through: the step arrives at once."""
    for modes in (step_modes(100.0, 5.0, 0.0), step_modes(0.0, 0.0, 1e-9)):
        assert modes.response([-1e-9, 0.0, 1.0]).tolist() == [0.0, 1.0, 1.0]
        assert modes.time_to(0.5) == 0.0


def test_gain_is_the_divider() -> None:
    """The settled share is what the resistances divide."""
    assert step_modes(1000.0, 10.0, 1e-9, 9000.0).gain == pytest.approx(9000 / 10010)
    assert step_modes(1000.0, 10.0, 1e-9).gain == 1.0
