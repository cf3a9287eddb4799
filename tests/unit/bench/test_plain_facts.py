"""Facts of a bench that its larger tests pass over: a flat battery, an E of its own, two breaks, a delay."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.bench.hands import ACT_MIN, Hands
from lessonkit.bench.outdoor_coil import OutdoorCoil, Unit, Weather
from lessonkit.bench.state import BoardState, CoilState
from lessonkit.copper.elements import Capacitance, Resistance
from lessonkit.errors import BadParameter
from lessonkit.job.toml import demo_job


def test_a_flat_battery_calls_for_nothing() -> None:
    """On a cable without C the thermostat is asleep once its battery is flat, and so is all that it calls."""
    bench = Bench("old-cable", call="cool-1", faults=["stat.battery=flat"])
    state = bench.advance(600.0)
    assert state.boards["stat:thermostat"] == BoardState(0.0, False)
    assert set(state.responding.values()) == {"off"}
    bench.set_faults([])
    assert bench.advance(600.0).responding["compressor stage 1"] == "on"


def test_emergency_heat_by_e_alone_takes_relays_indoors() -> None:
    """Where the thermostat makes E and no W, contacts of the emergency relay bring on every strip."""
    bench = Bench("old-cable", call="emergency", outdoor_c=-5.0)
    state = bench.advance(60.0)
    assert "W1" not in state.called
    assert state.responding["auxiliary heat"] == "on, stage 2"
    bench.set_faults(["air.emergency-relay=burnt-out"])
    assert bench.advance(60.0).responding["auxiliary heat"] == "off"


@pytest.mark.parametrize(("one", "two"), [(0.2, 0.75), (0.75, 0.2), (0.4, 0.4)])
def test_two_broken_neighbours_keep_the_cable_s_capacitance(one: float, two: float) -> None:
    """The pieces between near ends, between far ends and between the breaks are together the whole cable."""
    bench = Bench("full-cable", faults=[f"outdoor.Y1=open@{one}", f"outdoor.Y2=open@{two}"])
    run = bench.job.outdoor_run
    (pair,) = [pair for pair in run.neighbours() if set(pair) == {"Y1", "Y2"}]
    title = f"c outdoor {'/'.join(pair)} "
    pieces = {
        part.name.removeprefix(title): part.c_farad / run.pair_farad
        for part in bench.wiring.network(frozenset()).branches
        if isinstance(part, Capacitance) and part.name.startswith(title)
    }
    assert pieces == pytest.approx(
        {"near end": min(one, two), "far end": 1 - max(one, two)}
        | ({"between the breaks": abs(two - one)} if one != two else {})
    )


def test_a_thermostat_that_starts_looks_at_its_call() -> None:
    """A call made while all is dark is heard when the power is back."""
    bench = Bench("full-cable")
    bench.set_power(False)
    bench.set_call("cool-2")
    bench.advance(30.0)
    bench.set_power(True)
    assert bench.advance(400.0).responding["compressor stage 2"] == "on"


def test_the_wait_of_the_compressor_runs_down() -> None:
    """Every second that passes is one less to wait, until there is none."""
    bench = Bench("full-cable", call="cool-1")
    bench.advance(600.0)
    bench.set_call("off")
    first = bench.advance(10.0).waiting_s
    assert 0 < first < bench.job.equipment.short_cycle_s
    assert bench.advance(100.0).waiting_s == pytest.approx(first - 100.0)
    assert bench.advance(600.0).waiting_s == 0


def test_a_coil_s_word_is_that_of_its_armature() -> None:
    """In is `sealed`, out is `open`."""
    assert (CoilState(24.0, True).word, CoilState(24.0, False).word) == ("sealed", "open")


def test_water_in_the_air_has_a_limit() -> None:
    """Up to 50 grams of water a kilogram of air: more no weather has."""
    bench = Bench("full-cable")
    bench.set_outdoor_c(2.0, dw=0.05)
    with pytest.raises(BadParameter, match="dw"):
        bench.set_outdoor_c(2.0, dw=0.051)


def test_frost_waits_for_zero_degrees() -> None:
    """A resting coil in mild air keeps all of its frost until it has come up to the melting point."""
    unit = Unit(False, False, False, Weather(8.0, 0.002))
    cold = OutdoorCoil(-0.5, 0.05)
    zero_s = cold.reaches_s(unit, 0.0)
    assert zero_s > 1.0
    assert cold.after(unit, 0.9 * zero_s).frost == 0.05
    assert cold.after(unit, 1.5 * zero_s).frost < 0.05


def test_a_link_s_frames_have_no_parity() -> None:
    """So no reading of one tells of wrong parity, and a sound one of no other mistake."""
    bench = Bench("two-run", call="cool-1")
    bench.advance(5.0)
    for seen in bench.frames:
        assert (seen.reading.parity_errors, seen.reading.framing_errors) == (0, 0)


def test_every_frame_of_a_sound_link_is_answered() -> None:
    """Sent, accepted and answered are one number, and it goes on with each poll."""
    bench = Bench("two-run", call="cool-1")
    before, after = (bench.advance(20.0).links["outdoor"] for _ in range(2))
    for state in (before, after):
        assert state.sent == state.accepted == state.replies
    assert after.replies > before.replies > 10


def test_ohms_in_the_ground_s_path_add_to_its_own() -> None:
    """A bad joint between the two units' metal is measured on top of what the run has."""
    bench = Bench("earth-return", faults=["outdoor.earth=resistance:7"])
    bench.set_power(False)
    wiring = bench.wiring.network(frozenset())
    (path,) = (part for part in wiring.branches if part.name == "earth outdoor")
    assert isinstance(path, Resistance)
    assert path.r_ohm == pytest.approx(bench.job.outdoor_run.earth_ohm + 7.0)


def test_a_contact_indoors_in_y1_is_known() -> None:
    """A fossil furnace's interlock is one by itself, and so is a lockout of the compressor indoors."""
    assert demo_job("earth-lockout").breaks_y1_indoors
    old = demo_job("old-cable")
    stat = old.outdoor_thermostat
    assert stat is not None
    assert not old.has_interlock
    assert not old.breaks_y1_indoors
    assert replace(old, outdoor_thermostat=replace(stat, at="air")).breaks_y1_indoors


def test_all_put_back_is_paid_end_by_end() -> None:
    """One wire that hangs free costs what it costs to put back one wire."""
    bench = Bench("full-cable")
    hands = Hands(bench)
    bench.set_power(False)
    hands.lift("outdoor.Y1", "air")
    one = hands.put_all_back().minutes
    hands.lift("outdoor.Y1", "air")
    hands.lift("outdoor.Y2", "air")
    assert hands.put_all_back().minutes == 2 * one == 2 * ACT_MIN["put back"]
