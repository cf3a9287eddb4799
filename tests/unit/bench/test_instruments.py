"""Direct volts, clamp, capacitance, insulation: what each shows, and what each refuses."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lessonkit.bench.bench import Bench
from lessonkit.bench.meter import CLAMP_LEAST_A, LiveCircuit, Meter, WouldDestroy
from lessonkit.bench.waves import between
from lessonkit.errors import BadParameter
from lessonkit.job.toml import demo_job
from lessonkit.signal.frames import frame_levels


def _bench(job: str, call: str = "off", *hands: str, power: bool = True) -> Bench:
    bench = Bench(job, call=call)
    bench.advance(20)
    bench.set_power(power)
    bench.set_hands(hands)
    return bench


def test_direct_volts_on_sig_are_the_mark_less_the_share_of_spaces() -> None:
    """The mean falls below the level at rest by what the frame and its reply take of an interval."""
    bench = _bench("two-run", "cool-2")
    link = bench.job.runs["outdoor"].link
    found = between(bench, "out:SIG", "out:C", 10e6)
    down, up = (bench.last_frame("outdoor", way) for way in ("down", "up"))
    assert down is not None
    assert up is not None
    spaces = [float(np.sum(frame_levels(frame.sent.to_bytes()) == 0)) for frame in (down, up)]
    share = sum(spaces) / link.baud / link.interval_s
    path = bench.way("outdoor", "down")
    expected = path.high_v * (1 - share) + path.low_v * share
    assert Meter(bench).dc_volts("out:SIG").value == pytest.approx(expected, rel=0.02)
    assert not found.is_steady
    assert np.median(found.direct_v) == pytest.approx(path.high_v, rel=1e-3)


def test_frames_show_on_an_alternating_range_and_an_averaging_meter_shows_less_of_them() -> None:
    """Rare spaces weigh more in a mean square than in a mean."""
    bench = _bench("two-run", "cool-2")
    true, averaging = (Meter(bench, response).volts("out:SIG") for response in ("true-rms", "average"))
    assert true > 1.5 * averaging > 0.5
    assert Meter(bench).volts("out:R") == pytest.approx(Meter(bench, "average").volts("out:R"), rel=1e-3)
    with pytest.raises(BadParameter, match="response is 'peak', but must be one of true-rms, average"):
        Meter(bench, "peak")


def test_the_black_probe_starts_where_the_red_one_is() -> None:
    """Unless it is said, black is C of the same place."""
    meter = Meter(_bench("two-run", "cool-2"))
    assert meter.volts("out:R").probes == ("out:R", "out:C")
    assert meter.volts("out:R") == meter.volts("out:R", "out:C") != meter.volts("out:R", "air:C")


def test_a_clamp_around_a_cable_shows_what_comes_back_another_way() -> None:
    """With earth as return the whole cable carries current; with a wire as return it carries none."""
    earth = Meter(_bench("two-run", "cool-2"))
    assert earth.bench.job.outdoor_run.return_by == "earth"
    assert earth.amps("outdoor") == pytest.approx(earth.amps("outdoor.earth"), rel=1e-3)
    assert earth.amps("outdoor") > 0.5
    wire = Meter(_bench("full-cable", "cool-2"))
    assert wire.amps("outdoor") < 0.02 * wire.amps("outdoor.R")


def test_a_clamp_has_a_least_reading_and_turns_reach_below_it() -> None:
    """A clamp shows nothing of a small current until the wire goes through it several times."""
    bench = Bench(demo_job("full-cable").with_electronics("thermostat", load_va=0.6))
    meter, there_a = Meter(bench), bench.state.amps["thermostat.R"].value
    assert CLAMP_LEAST_A / 5 < there_a < CLAMP_LEAST_A
    assert meter.amps("thermostat.R") == 0
    assert meter.amps("thermostat.R", turns=10).value == pytest.approx(there_a)
    assert meter.amps("air:fuse").value == pytest.approx(bench.state.amps["air:fuse"].value)
    with pytest.raises(BadParameter, match="around is 'attic', but must be one of thermostat.R"):
        meter.amps("attic")


def test_capacitance_needs_loose_ends() -> None:
    """Between two conductors off their terminals a meter reads the cable; across a coil it reads OL."""
    bench = _bench("full-cable", "off", "lift air:outdoor.Y1", "lift out:outdoor.Y1", power=False)
    meter = Meter(bench)
    run = bench.job.outdoor_run
    # Both its neighbours hang on C through copper, so their capacitances are in parallel.
    assert meter.capacitance("air:outdoor.Y1", "air:C").value == pytest.approx(2 * run.pair_farad, rel=0.02)
    assert meter.capacitance("air:G", "air:C").value == math.inf
    assert meter.capacitance("air:G", "air:G").value == math.inf


def test_an_insulation_test_names_what_it_would_have_destroyed() -> None:
    """It is refused on a live circuit, and while a board hangs on either end of the conductor."""
    bench = _bench("two-run", "cool-2")
    meter = Meter(bench)
    with pytest.raises(LiveCircuit, match="insulation from out:SIG to out:GND refused: the power"):
        meter.insulation("out:SIG", "out:GND")
    bench.set_power(False)
    with pytest.raises(
        WouldDestroy, match="250 V would have destroyed the .*relay-board at the outdoor unit"
    ) as caught:
        meter.insulation("out:SIG", "out:GND")
    assert "out:relay-board" in caught.value.parts
    bench.set_hands(["lift out:outdoor.SIG"])
    with pytest.raises(WouldDestroy, match="encoder at the air handler"):
        meter.insulation("out:outdoor.SIG", "out:GND", 500)
    bench.set_hands(["lift out:outdoor.SIG", "lift air:outdoor.SIG"])
    assert meter.insulation("out:outdoor.SIG", "out:GND").value > 100e6
    with pytest.raises(BadParameter, match=r"test_v is 1000, but must be one of 250, 500"):
        meter.insulation("out:outdoor.SIG", "out:GND", 1000)


def test_an_insulation_test_finds_a_conductor_that_touches_metal() -> None:
    """A touch that nobody knew of is read, not refused."""
    bench = _bench("two-run", "off", "lift air:outdoor.SIG", "lift out:outdoor.SIG", power=False)
    bench.add_fault("outdoor.SIG=earth:2000@0.7")
    assert Meter(bench).insulation("out:outdoor.SIG", "out:GND").value == pytest.approx(2000, rel=0.01)
    assert str(Meter(bench).insulation("out:outdoor.SIG", "out:GND")) == "0.00 Mohm"


def test_a_pulled_plug_makes_a_board_safe_from_the_tester() -> None:
    """With every board of the conductor unplugged, the test is let through."""
    bench = _bench("two-run", "off", power=False)
    bench.set_hands([f"unplug {board}" for board in ("out:relay-board", "air:encoder")])
    assert Meter(bench).insulation("out:SIG", "out:GND").value > 100e6


def test_ends_twisted_together_close_the_loop() -> None:
    """Two conductors off their terminals, twisted at the far end, read their copper out and back.

    A loop is twice the length of one wire: what an ohmmeter reads at the near end.
    """
    bench = Bench("full-cable")
    bench.set_power(False)
    ends = ["lift air:outdoor.Y1", "lift air:outdoor.Y2"]
    bench.set_hands([*ends, "lift out:outdoor.Y1", "lift out:outdoor.Y2"])
    assert Meter(bench).ohms("air:outdoor.Y1", "air:outdoor.Y2") == math.inf
    bench.set_hands([*ends, "twist out:outdoor.Y1 out:outdoor.Y2"])
    loop_ohm = 2 * bench.job.outdoor_run.conductor_ohm
    assert Meter(bench).ohms("air:outdoor.Y1", "air:outdoor.Y2") == pytest.approx(loop_ohm, abs=0.05)
    assert Meter(bench).ohms("air:outdoor.Y1", "air:C") == math.inf
