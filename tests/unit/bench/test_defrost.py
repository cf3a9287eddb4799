"""Defrost goes by what the board sees; what the outdoor coil gets goes by compressor, valve and fan."""

from __future__ import annotations

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.bench.outdoor_board import FROST_CLOSES_C, FROST_OPENS_C
from lessonkit.bench.outdoor_coil import OutdoorCoil, Unit, Weather
from lessonkit.errors import BadParameter
from lessonkit.job.model import Job
from lessonkit.job.toml import demo_job, job_from_toml, job_to_toml

COLD_C = -5.0


def running(job: Job | str, *faults: str, call: str = "heat-1", seconds: float = 600.0) -> Bench:
    """Return a bench in the cold that ran sound under a call, and then was broken."""
    bench = Bench(job, outdoor_c=COLD_C, call=call)
    bench.advance(seconds)
    bench.set_faults(faults)
    return bench


def defrosts(bench: Bench, hours: float) -> int:
    """Return how many defrosts begin within some hours."""
    begun, was = 0, bench.state.responding["defrost"] != "off"
    for _ in range(round(hours * 60)):
        now = bench.advance(60).responding["defrost"] != "off"
        begun, was = begun + (now and not was), now
    return begun


def test_a_dead_valve_warms_no_coil_and_chills_no_house() -> None:
    """With the solenoid burnt out a defrost runs by its clock: a frozen coil, and a house that is heated."""
    bench = running("full-cable", "out.reversing-valve=burnt-out")
    before_c = bench.state.coil_c
    bench.force_defrost()
    state = bench.advance(300)
    assert state.responding["defrost"] == "on, but nothing warms the coil"
    assert state.coil_c < before_c, "an evaporator without a fan gets colder"
    assert state.delivering == "heating, stage 1, with auxiliary heat"
    assert bench.advance(310).responding["defrost"] == "off", "the clock ends it"


def test_a_welded_contactor_without_a_call_defrosts_nothing() -> None:
    """The compressor runs on, the coil freezes, and the board, which sees no call, never begins."""
    bench = running("full-cable", "out.contactor=stuck-closed")
    bench.set_call("off")
    assert bench.state.responding["compressor stage 1"] == "on"
    assert defrosts(bench, 4.0) == 0
    assert bench.state.coil_c < FROST_CLOSES_C


def test_a_burnt_out_contactor_stops_no_clock() -> None:
    """The board sees Y1 and a cold sensor, and defrosts a compressor that never ran: D asks for heat."""
    bench = Bench("full-cable", outdoor_c=COLD_C, call="heat-1", faults="out.contactor=burnt-out")
    bench.advance(3599)
    assert bench.state.responding["defrost"] == "off"
    state = bench.advance(2)
    assert state.responding["defrost"] == "on, but nothing warms the coil"
    assert state.delivering == "auxiliary heat alone"
    assert state.coil_c == pytest.approx(COLD_C)


@pytest.mark.parametrize("call", ["off", "fan", "cool-2", "emergency"])
@pytest.mark.parametrize("job", ["full-cable", "wire-return"])
def test_test_pins_need_a_call_for_heat(job: str, call: str) -> None:
    """In cooling, at rest and in emergency heat the pins do nothing, and nothing happens later for them."""
    bench = running(job, call=call)
    before = bench.state
    bench.force_defrost()
    assert bench.state.to_dict() == before.to_dict()
    bench.set_call("heat-1")
    assert defrosts(bench, 0.25) == 0


def test_test_pins_need_no_frost() -> None:
    """In mild air the pins defrost a clean coil, which is over as soon as it is warm."""
    bench = Bench("full-cable", outdoor_c=10.0, call="heat-1")
    bench.advance(600)
    bench.force_defrost()
    assert bench.advance(5).delivering == "defrost, the indoor coil cold, with auxiliary heat"
    state = bench.advance(115)
    assert state.responding["defrost"] == "off"
    assert state.coil_c > FROST_CLOSES_C


def test_the_terminals_decide_and_not_the_valve() -> None:
    """With O broken off at the unit a cooling call looks like heat to the board: it counts, and defrosts."""
    bench = Bench("full-cable", outdoor_c=COLD_C, call="cool-1", faults="outdoor.O=open@1")
    bench.advance(60)
    assert bench.state.responding["reversing valve"] == "off"
    assert defrosts(bench, 1.2) == 1


@pytest.mark.parametrize("word", ["forget", "resume"])
def test_a_defrost_whose_call_went_away(word: str) -> None:
    """One board counts from zero; the other goes on with what was left at the next call for heat."""
    job = demo_job("full-cable").with_equipment(unfinished_defrost=word, short_cycle_s=0.0)
    bench = running(job)
    bench.force_defrost()
    bench.advance(60)
    bench.set_call("off")
    assert bench.advance(30).responding["defrost"] == "off"
    bench.set_call("heat-1")
    assert (bench.advance(1).responding["defrost"] == "on") == (word == "resume")


def test_what_is_resumed_is_what_was_left() -> None:
    """A board that resumes keeps its cut-off: both parts together last as long as one whole defrost."""
    job = demo_job("full-cable").with_equipment(
        unfinished_defrost="resume", short_cycle_s=0.0, defrost_limit_s=100.0
    )
    bench = running(job, "out.reversing-valve=burnt-out")  # so that only the clock ends it
    bench.force_defrost()
    bench.advance(60)
    bench.set_call("off")
    bench.advance(500)
    bench.set_call("heat-1")
    assert bench.advance(39).responding["defrost"] != "off"
    assert bench.advance(2).responding["defrost"] == "off"


def test_a_board_without_power_forgets_what_it_would_resume() -> None:
    """The memory of an unfinished defrost goes with the board's supply."""
    job = demo_job("full-cable").with_equipment(unfinished_defrost="resume", short_cycle_s=0.0)
    bench = running(job)
    bench.force_defrost()
    bench.advance(60)
    bench.set_power(False)
    bench.advance(5)
    bench.set_power(True)
    assert bench.advance(20).responding["compressor stage 1"] == "on"
    assert bench.state.responding["defrost"] == "off"


def test_words_of_defrost_are_checked() -> None:
    """A board goes by time or on demand, and forgets or resumes; a file says so and reads back the same."""
    for name, wrong in (("defrost_by", "moon"), ("unfinished_defrost", "maybe")):
        with pytest.raises(BadParameter, match=name):
            demo_job("full-cable").with_equipment(**{name: wrong})
    job = demo_job("full-cable").with_equipment(defrost_by="demand", unfinished_defrost="resume")
    assert job_from_toml(job_to_toml(job)) == job


# ---- the coil ----

DAMP = Weather(2.0, 0.001)


@pytest.mark.parametrize(
    ("unit", "goal_c"),
    [
        (Unit(False, False, False, DAMP), 2.0),
        (Unit(True, False, True, DAMP), -4.0),
        (Unit(True, False, False, DAMP), -23.0),
        (Unit(True, True, True, DAMP), 14.0),
        (Unit(True, True, False, DAMP), 40.0),
    ],
)
def test_the_coil_follows_compressor_valve_and_fan(unit: Unit, goal_c: float) -> None:
    """Long enough in one way of running, the coil is where valve and fan put it."""
    assert OutdoorCoil(0.0).after(unit, 1e5).celsius == pytest.approx(goal_c, abs=1e-3)


@pytest.mark.parametrize("seconds", [10.0, 100.0, 210.0, 400.0, 900.0])
@pytest.mark.parametrize("start", [OutdoorCoil(-4.0, 0.27), OutdoorCoil(5.0, 0.1), OutdoorCoil(-4.0)])
def test_time_on_a_coil_can_be_cut_anywhere(start: OutdoorCoil, seconds: float) -> None:
    """A stretch of time in two pieces leaves the coil as the whole does: growing, melting and warming."""
    for unit in (
        Unit(True, True, False, DAMP),
        Unit(False, False, False, DAMP),
        Unit(True, False, True, DAMP),
    ):
        whole = start.after(unit, seconds)
        pieces = start.after(unit, 0.37 * seconds).after(unit, 0.63 * seconds)
        assert pieces.celsius == pytest.approx(whole.celsius, abs=1e-9)
        assert pieces.frost == pytest.approx(whole.frost, abs=1e-12)


def test_a_coil_arrives_when_it_says() -> None:
    """The moment at which the coil reaches a temperature, frost and all, is the moment it is there."""
    frozen, defrost = OutdoorCoil(-4.0, 0.27), Unit(True, True, False, DAMP)
    at_s = frozen.reaches_s(defrost, FROST_OPENS_C)
    assert frozen.after(defrost, at_s).celsius == pytest.approx(FROST_OPENS_C)
    assert frozen.after(defrost, at_s).frost == 0
    assert frozen.reaches_s(Unit(True, False, True, DAMP), FROST_OPENS_C) == float("inf")


def test_frost_needs_heating_fan_and_freezing() -> None:
    """Frost grows on an evaporating coil in wet air below freezing, with the fan on, and nowhere else."""
    clean = OutdoorCoil(-4.0)
    assert clean.after(Unit(True, False, True, DAMP), 600).frost > 0
    for unit in (
        Unit(True, False, False, DAMP),
        Unit(True, True, True, DAMP),
        Unit(False, False, False, DAMP),
        Unit(True, False, True, Weather(10.0, 0.001)),
        Unit(True, False, True, Weather(2.0, 0.0)),
    ):
        assert clean.after(unit, 600).frost == 0


def test_mild_air_thaws_a_coil_at_rest() -> None:
    """A frosted coil that rests in air above freezing is clean after a while; in frost it stays as it is."""
    frosted = OutdoorCoil(-1.0, 0.2)
    assert frosted.after(Unit(False, False, False, Weather(8.0)), 7200).frost == 0
    assert frosted.after(Unit(False, False, False, Weather(-3.0)), 7200).frost == 0.2
