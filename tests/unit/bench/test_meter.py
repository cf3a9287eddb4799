"""The meter: ghosts and loads, ohms on a dead circuit only, and what a broken conductor picks up."""

from __future__ import annotations

import math

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.bench.meter import METER_OHM, LiveCircuit, Meter, Reading
from lessonkit.bench.waves import between
from lessonkit.copper.network import UnknownNode
from lessonkit.errors import BadParameter, LessonError
from lessonkit.job.toml import demo_job


def _meter(job: str, *faults: str, call: str = "off", seconds: float = 5.0) -> Meter:
    bench = Bench(demo_job(job), faults=faults)
    bench.set_call(call)
    bench.advance(seconds)
    return Meter(bench)


def test_an_open_conductor_shows_a_ghost_to_a_high_impedance_only() -> None:
    """A conductor broken at its near end floats: volts at 10 Mohm, next to nothing at 3 kohm."""
    meter = _meter("full-cable", "thermostat.E=open@0")
    lifted = _meter("full-cable", "thermostat.E=open@0", "air.emergency-relay=burnt-out")
    # The emergency relay's own coil ties the far piece down, so the ghost shows once that is burnt out too.
    assert meter.volts("air:E").value < 0.1
    ghost = lifted.volts("air:E", "air:C", "high").value
    assert ghost > 3.0
    assert lifted.volts("air:E", "air:C", "low").value < 0.01 * ghost


def test_a_spare_is_a_ghost_and_a_live_wire_is_none() -> None:
    """A spare beside R reads volts that vanish under load; a live terminal keeps them."""
    meter = _meter("two-run", call="cool-1")
    high, low = (meter.volts("air:spare-stat", "air:C", setting).value for setting in ("high", "low"))
    assert high > 5
    assert low < 0.1
    high, low = (meter.volts("air:Y1", "air:C", setting).value for setting in ("high", "low"))
    assert low == pytest.approx(high, rel=0.01)
    assert high > 24


def test_the_meter_itself_loads_the_ghost() -> None:
    """The reading is the open-circuit volts, divided between the picofarads and the meter's 10 Mohm."""
    meter = _meter("two-run")
    run = meter.bench.job.thermostat_run
    unloaded = meter.bench.state.volts["air:spare-stat"]
    reactance_ohm = 1 / (2 * math.pi * 60 * 2 * run.pair_farad)  # R on one side, SIG on the other
    expected = unloaded / math.hypot(1, reactance_ohm / METER_OHM["high"])
    assert meter.volts("air:spare-stat").value == pytest.approx(expected, rel=1e-3)
    assert expected < 0.999 * unloaded


@pytest.mark.parametrize("at", [0.1, 0.3, 0.5, 0.9])
def test_the_longer_piece_picks_up_more(at: float) -> None:
    """Where a signal conductor breaks decides how much of it hangs beside R at either end."""
    job = "two-run"
    current = {}
    for end, node, common in (("near", "stat:SIG", "stat:C"), ("far", "air:SIG-stat", "air:C")):
        meter = _meter(job, f"thermostat.SIG=open@{at}", "stat.thermostat=dead")
        # The sine alone: the near end speaks on its piece, and a meter hears the frames as well.
        loaded = between(meter.bench, node, common, METER_OHM["low"]).ac_v
        receiver = meter.bench.job.thermostat_run.link.load_ohm
        drive = meter.bench.job.thermostat_run.link.drive_ohm
        ohms = [METER_OHM["low"], receiver] + ([drive] if end == "near" else [])
        current[end] = loaded * sum(1 / ohm for ohm in ohms)
    assert current["far"] / current["near"] == pytest.approx((1 - at) / at, rel=0.15)


def test_ohms_are_refused_on_a_live_circuit() -> None:
    """While the disconnect is closed the ohmmeter refuses, and says to open it and prove it dead."""
    meter = _meter("full-cable")
    with pytest.raises(
        LiveCircuit, match="the power is still on, .* open the disconnect, prove it dead"
    ) as caught:
        meter.ohms("air:R", "air:C")
    assert isinstance(caught.value, LessonError)
    assert "\n" not in str(caught.value)
    assert not meter.is_dead("air:R", "air:C")
    meter.bench.set_power(False)
    assert meter.is_dead("air:R", "air:C")
    assert meter.ohms("air:R", "air:C").value > 0


def test_ohms_of_a_coil_are_its_copper() -> None:
    """With the power off, the contactor reads its winding's direct-current ohms, not its impedance."""
    meter = _meter("full-cable", "outdoor.Y1=open@0")
    meter.bench.set_power(False)
    copper = meter.bench.job.equipment.contactor.r_ohm
    assert meter.ohms("out:CC", "out:C").value == pytest.approx(copper, rel=0.01)


def test_ohms_of_an_open_coil_are_overload() -> None:
    """A burnt-out coil reads OL once its wire is lifted, here broken off at the unit."""
    meter = _meter("full-cable", "outdoor.Y2=open@1", "out.unloader=burnt-out")
    meter.bench.set_power(False)
    reading = meter.ohms("out:Y2", "out:C")
    assert reading.value == math.inf
    assert str(reading) == "OL ohm"


def test_ohms_of_a_short_tell_how_far_it_is() -> None:
    """Two conductors that touch half way read their copper up to there, out and back."""
    meter = _meter("two-run", "thermostat.SIG=short:spare@0.5")
    meter.bench.set_power(False)
    run = meter.bench.job.thermostat_run
    expected = 2 * 0.5 * run.conductor_ohm + 0.1
    assert meter.ohms("stat:SIG", "stat:spare").value == pytest.approx(expected, rel=0.01)


def test_ohms_between_separate_places_are_overload() -> None:
    """With every conductor of a run cut, nothing but insulation joins the two ends: OL, and no complaint."""
    job = demo_job("two-run")
    meter = _meter("two-run", *(f"thermostat.{name}=open" for name in job.thermostat_run.conductors))
    meter.bench.set_power(False)
    assert meter.ohms("stat:C", "air:C").value == math.inf


def test_touching_one_point_twice() -> None:
    """Both probes on one terminal read nothing, in volts and in ohms."""
    meter = _meter("full-cable")
    assert meter.volts("air:R", "air:R").value == 0
    meter.bench.set_power(False)
    assert meter.ohms("air:R", "air:R").value == 0


def test_reading_changes_nothing() -> None:
    """A measurement leaves every volt of the bench where it was."""
    meter = _meter("two-run", call="cool-2", seconds=20)
    before = dict(meter.bench.state.volts)
    for node in meter.nodes():
        meter.volts(node, "air:C", "low")
    assert dict(meter.bench.state.volts) == before


def test_probes_touch_terminals_only() -> None:
    """Probes reach terminals, not the inside of a cable, and a wrong name is answered with the right ones."""
    meter = _meter("full-cable", "outdoor.R=short:C@0.3")
    assert {node.partition(":")[0] for node in meter.nodes()} == {"stat", "air", "out"}
    with pytest.raises(UnknownNode, match="there is no terminal 'outdoor:R@0.3' here"):
        meter.volts("outdoor:R@0.3")
    with pytest.raises(UnknownNode):
        meter.ohms("air:R", "attic:C")
    with pytest.raises(BadParameter, match="meter setting is 'medium'"):
        meter.volts("air:R", "air:C", "medium")


@pytest.mark.parametrize(
    ("value", "unit", "shown"),
    [
        (24.036, "V", "24.04 V"),
        (1.277, "ohm", "1.28 ohm"),
        (4700.0, "ohm", "4.7 kohm"),
        (1.05e6, "ohm", "1.05 Mohm"),
        (math.inf, "ohm", "OL ohm"),
        (0.0, "ohm", "0.00 ohm"),
    ],
)
def test_the_display(value: float, unit: str, shown: str) -> None:
    """A reading shows itself the way a meter does."""
    assert str(Reading(value, unit, ("a", "b"), "high")) == shown
