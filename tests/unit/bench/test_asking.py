"""What a bench looks up, since it was asked before, beside the same worked out afresh."""

from __future__ import annotations

import numpy as np
import pytest

from lessonkit.bench.asking import what_asks
from lessonkit.bench.bench import Bench
from lessonkit.bench.settling import elements_on
from lessonkit.copper.network import solve


@pytest.mark.parametrize("name", ["net-loft", "wire-dual-fuel"])
def test_what_is_looked_up_is_what_would_be_worked_out(name: str) -> None:
    """A bench that has met its states before is on, and solved, as its network and its wants have it now."""
    bench = Bench(name, seed=5)
    story = [
        ("cool-2", 30.0, True, 310.0),
        ("heat-aux", -12.0, True, 8.0),
        ("heat-aux", 12.0, True, 310.0),
        ("heat-aux", 12.0, False, 3.0),
        ("off", 30.0, True, 8.0),
    ]
    for fault in ([], ["out.contactor=burnt-out"]):
        bench.set_faults(fault)
        for call, outdoor_c, powered, seconds in story * 2:
            bench.set_power(powered)
            bench.set_outdoor_c(outdoor_c)
            bench.set_call(call)
            bench.advance(seconds)
            asks = what_asks(bench.wiring, bench._wants)
            assert bench.on == elements_on(bench.wiring, bench._latches, asks)
            afresh = solve(bench.network(), bench.job.frequency_hz)
            np.testing.assert_allclose(bench.solution.node_v, afresh.node_v, rtol=0, atol=1e-4)
        assert bench._solved.cache_info().hits > 5
        assert bench._asked.cache_info().hits > 5
