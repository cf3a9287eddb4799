"""What a bench looks up, since it was asked before, beside the same worked out afresh."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest

from lessonkit.bench.asking import what_asks
from lessonkit.bench.bench import Bench
from lessonkit.bench.known import Known
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
        assert bench._answers.solved.cache_info().hits > 5
        assert bench._answers.asks.cache_info().hits > 5


@pytest.mark.parametrize("name", ["two-run", "kiln-room"])
def test_a_wiring_that_comes_back_does_as_one_that_is_new(name: str) -> None:
    """Broken and mended in turn, with noise: keeping wirings changes nothing of a bench's history."""
    kept, afresh = Bench(name, seed=4), Bench(name, seed=4)
    afresh._known = partial(Known, afresh.job, 4)  # type: ignore[assignment]
    whole = kept.wiring
    noise = "outdoor.SIG=noise:3"
    for faults in ([noise], [noise, "outdoor.R=open"], [noise], [], [noise], ["outdoor.R=resistance:4"], []):
        for bench in (kept, afresh):
            bench.set_faults(faults)
            bench.set_call("off" if bench.call == "cool-2" else "cool-2")
            bench.advance(20.0)
        assert kept.state == afresh.state
        assert [frame.heard for frame in kept.frames] == [frame.heard for frame in afresh.frames]
    assert kept.wiring is whole
    assert afresh.wiring is not whole
