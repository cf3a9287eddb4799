"""Where what a copper room takes begins and ends: the last value taken, and the first one refused.

The limits are those that the docstrings and the sentences of the errors name.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from lessonkit.copper import wire
from lessonkit.copper.elements import Capacitance, Diode, PulseSource, Resistance, Source, Switch, Winding
from lessonkit.copper.inrush import closing_peaks, coil_inrush
from lessonkit.copper.network import Network, solve
from lessonkit.copper.traces import Trace
from lessonkit.copper.transient import simulate
from lessonkit.errors import BadParameter

LEAST = 5e-324
LOOP = Network((Source("s", "a", "0", 1.0, 24 + 0j), Resistance("r", "a", "0", 1.0)), "0")
TIME_S = np.linspace(0.0, 0.1, 101)
TRACE = Trace(LOOP, TIME_S, {"a": TIME_S, "0": 0 * TIME_S}, {"s": TIME_S, "r": TIME_S})
BARE_M = wire.diameter_m(18)

# What is done with a value, the values at the limits that are taken, and those just outside that are refused.
LIMITS: dict[str, tuple[Callable[..., object], tuple[object, ...], tuple[object, ...]]] = {
    "gauge": (wire.diameter_m, (-3, 44), (-3.001, 44.001)),
    "warm copper": (lambda x: wire.resistance_at(1.0, x), (-80, 200), (-80.001, 200.001)),
    "length": (lambda x: wire.loop_ohm(x, 18), (0.0,), (-LEAST,)),
    "reading": (lambda x: wire.distance_to_short_m(x, 18), (0.0,), (-LEAST,)),
    "permittivity": (lambda x: wire.pair_capacitance_per_m(18, 1.0, x), (1.0,), (0.999,)),
    "spacing": (lambda x: wire.pair_capacitance_per_m(18, x), (1.001 * BARE_M,), (BARE_M,)),
    "winding's henries": (lambda x: Winding("w", "a", "b", 1.0, x), (0.0,), (-LEAST,)),
    "farads": (lambda x: Capacitance("c", "a", "b", x), (0.0,), (-LEAST,)),
    "source's henries": (lambda x: Source("s", "a", "b", 1.0, l_henry=x), (0.0,), (-LEAST,)),
    "pulse's period": (
        lambda x: PulseSource("p", "a", "b", 1.0, 0.0, 1.0, 2.0, rise_s=1.0, fall_s=1.0, period_s=x),
        (4.0,),
        (3.999,),
    ),
    "pulse's delay": (lambda x: PulseSource("p", "a", "b", 1.0, 0.0, 1.0, 2.0, x), (0.0,), (-LEAST,)),
    "toggles": (
        lambda x: Switch("k", "a", "b", False, x), ((0.0, 1.0), ()), ((-LEAST,), (1.0, 1.0), (2.0, 1.0)),
    ),
    "diode's ohms": (lambda x: Diode("d", "a", "b", r_ohm=x), (0.0,), (-LEAST,)),
    "emission": (lambda x: Diode("d", "a", "b", emission=x), (LEAST,), (0.0,)),
    "frequency": (lambda x: solve(LOOP, x), (0.0,), (-LEAST,)),
    "stop": (lambda x: simulate(LOOP, x, 1e-3), (1e-3,), (0.999e-3,)),
    "steps": (lambda x: simulate(LOOP, 1.0, x), (0.5,), (1.99e-7,)),
    "cycles of a trace": (lambda x: TRACE.last_cycles(60.0, x), (1, 6), (0, 7)),
    "cycles to settle": (
        lambda x: closing_peaks(lambda angle: LOOP, "r", [0.0], cycles=x), (2,), (1, 2.0),
    ),
    "angles": (lambda x: coil_inrush(x, r_ohm=1.0, l_henry=0.1), ([0.0],), ([],)),
}  # fmt: skip


@pytest.mark.parametrize("limit", LIMITS)
def test_limits_are_where_they_are_said(limit: str, limit_holds: Callable[..., None]) -> None:
    """The last value inside each limit is taken, and the first one outside is refused."""
    limit_holds(*LIMITS[limit], BadParameter)


def test_the_ends_of_a_window_belong_to_it() -> None:
    """A window holds the moments at both its ends, and the last whole cycles begin and end on a sample."""
    part = TRACE.window(0.02, 0.05)
    assert part.time_s.tolist() == TIME_S[20:51].tolist()
    assert part.volts["a"].tolist() == part.amperes["r"].tolist() == TIME_S[20:51].tolist()
    assert TRACE.last_cycles(50.0, 2).time_s.tolist() == TIME_S[60:].tolist()
    assert TRACE.window(0.1).time_s.tolist() == [0.1]
    for outside in ((0.1001, math.inf), (-2.0, -0.001), (0.0201, 0.0209)):
        with pytest.raises(BadParameter, match="the window"):
            TRACE.window(*outside)
