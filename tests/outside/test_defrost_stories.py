"""Defrosts of a bench against the published worked example, and a defrost told step by step.

Source: EPRI EM-4226 by way of the DOE-2.1E and EnergyPlus defrost equations; the worked example stands in a
design note on them (dw 0.0005: 102 minutes, share 0.0334).  Service manuals for the board: switch at 35 F and
57 F, 30, 60 or 90 minutes, 10 to 14 minutes at the most, the fan off, the valve energised (O) and W1 fed.
"""

from __future__ import annotations

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.bench.outdoor_board import DEMAND_AT
from lessonkit.job.toml import demo_job

AIR_C, DW = 2.0, 0.0005


def heating(defrost_by: str) -> Bench:
    """Return a bench that begins to heat in the example's air."""
    bench = Bench(demo_job("full-cable").with_equipment(defrost_by=defrost_by), outdoor_c=AIR_C)
    bench.set_outdoor_c(AIR_C, dw=DW)
    bench.set_call("heat-1")
    return bench


def moments(bench: Bench, hours: float) -> list[float]:
    """Return when defrosts began and ended, in turn: D's contact feeds the heat for just that long."""
    bench.advance(hours * 3600)
    return [event.time_s for event in bench.log if event.name == "air:sequencer"]


def test_minutes_between_defrosts_and_their_share_of_the_time() -> None:
    """On demand: 102 minutes of frosting, then 3.5 of defrost, a share of 0.0334 (worked example)."""
    bench = heating("demand")
    times = moments(bench, 5.0)
    begins, ends = times[0::2], times[1::2]
    assert len(begins) == 2 <= len(ends) + 1
    assert begins[0] / 60 == pytest.approx(102.0, abs=0.3)
    assert (ends[0] - begins[0]) / 60 == pytest.approx(7.8 - 5.7 * DEMAND_AT, rel=0.005)
    assert (begins[1] - ends[0]) / 60 == pytest.approx(102.0, abs=0.3)
    assert (ends[0] - begins[0]) / (begins[1] - begins[0]) == pytest.approx(0.0334, abs=2e-4)


def test_a_clock_defrosts_a_coil_that_has_less_frost() -> None:
    """After 60 minutes of frosted run the coil still has 0.861 of its capacity: 2.9 minutes are enough."""
    times = moments(heating("time"), 1.5)
    # The switch takes its time to close, and frost grows meanwhile; the clock runs from then on.
    capacity = 1.02 - 5.3 * DW * times[0] / 60
    assert 60 < times[0] / 60 < 65
    assert (times[1] - times[0]) / 60 == pytest.approx(7.8 - 5.7 * capacity, rel=0.005)


def test_a_forced_defrost_is_as_long_as_its_frost() -> None:
    """The pins half an hour into frosting: 7.8 - 5.7 q minutes at q = 1.02 - 5.3 dw 30 (same report)."""
    bench = heating("time")
    bench.advance(1800)
    bench.force_defrost()
    times = moments(bench, 0.2)
    assert times[0] == 1800
    assert (times[1] - times[0]) / 60 == pytest.approx(7.8 - 5.7 * (1.02 - 5.3 * DW * 30), rel=0.005)


def test_a_defrost_as_a_technician_sees_it() -> None:
    """Valve to cool, fan off, compressor on, W1 fed, and the thermostat shows its plain call (manuals)."""
    bench = heating("time")
    bench.advance(3000)
    bench.force_defrost()
    state = bench.advance(60)
    assert state.responding["compressor stage 1"] == "on"
    assert state.responding["reversing valve"] == "on, cooling"
    assert state.responding["outdoor fan"] == "off"
    assert state.volts["air:W1"] > 24
    assert state.called == {"Y1", "G"}
    bench.advance(240)
    told = [(event.name, event.what) for event in bench.log.since(3000)]
    both = {"out:reversing-valve", "air:sequencer"}
    assert set(told[:2]) == {(name, "pulls in") for name in both}
    assert set(told[2:]) == {(name, "lets go") for name in both}
    assert bench.state.responding["outdoor fan"] == "on"
