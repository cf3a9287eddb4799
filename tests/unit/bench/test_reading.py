"""What is read off a bench is a number that says what it is."""

from __future__ import annotations

import copy
import json
import math
import pickle

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.bench.meter import Meter
from lessonkit.bench.reading import Reading


@pytest.mark.parametrize(
    ("reading", "shown"),
    [
        (Reading(26.5123456, "V", ("out:R", "out:C")), "26.51 V from out:R to out:C"),
        (Reading(0.09, "V", ("a", "b"), "low"), "0.09 V from a to b (low input impedance)"),
        (Reading(22.2, "V", ("out:contactor",)), "22.20 V across out:contactor"),
        (Reading(1.2987, "A", ("air:fuse",)), "1.30 A through air:fuse"),
        (Reading(0.0042, "A"), "4.2 mA"),
        (Reading(0.0, "A"), "0.00 A"),
        (Reading(math.inf, "ohm"), "OL ohm"),
        (Reading(4700.0, "ohm"), "4.7 kohm"),
    ],
)
def test_a_reading_shows_unit_ends_and_a_meter_s_digits(reading: Reading, shown: str) -> None:
    """A notebook shows the display and both ends, and no digit that a meter doesn't have."""
    assert repr(reading) == shown


def test_a_reading_is_a_number() -> None:
    """It computes, compares, rounds, copies and goes into JSON like the float that it is."""
    reading = Reading(26.5, "V", ("a", "b"), "high")
    assert type(2 * reading) is float
    assert reading > 26
    assert f"{reading:.0f} {round(reading)}" == "26 26"
    assert json.dumps({"v": reading}) == '{"v": 26.5}'
    for twin in (copy.deepcopy(reading), pickle.loads(pickle.dumps(reading))):
        assert (twin, repr(twin), twin.setting) == (reading, repr(reading), "high")


def test_all_that_a_bench_lets_one_read_is_a_reading() -> None:
    """Volts and amperes of a state, volts between two points, a coil's volts, and the meter's."""
    bench = Bench("full-cable", call="cool-2")
    state = bench.state
    shown = [
        state.volts["air:R"],
        state.amps["air:fuse"],
        state.between("out:R", "out:C"),
        state.coils["out:contactor"],
        Meter(bench).volts("out:R", "out:C"),
    ]
    for one in shown:
        assert len(repr(one)) < 60
        assert any(f" {unit}" in repr(one) for unit in ("V", "A"))
    assert repr(state) == "full-cable after 0 s: call cool-2, the house gets cooling, stage 2"


@pytest.mark.parametrize(
    ("value", "unit", "setting", "digit"),
    [
        (0.0, "V", "high", 0.01),
        (59.994, "V", "high", 0.01),
        (-59.994, "V", "high", 0.01),
        (59.996, "V", "high", 0.1),
        (599.94, "V", "dc", 0.1),
        (599.96, "V", "low", 1.0),
        (5.0, "ohm", "ohms", 0.01),
        (47e3, "ohm", "ohms", 10.0),
        (math.inf, "ohm", "ohms", 0.01),
        (0.5, "A", "clamp", 0.01),
        (1e-9, "F", "capacitance", 1e-11),
        (1e-6, "F", "capacitance", 1e-9),
        (2e3, "ohm", "250 V", 1e4),
        (59e6, "ohm", "500 V", 1e4),
        (61e6, "ohm", "500 V", 1e5),
        (26.0, "V", "", 0.0),
        (26.0, "ohm", "high", 0.0),
    ],
)
def test_a_display_of_6000_counts(value: float, unit: str, setting: str, digit: float) -> None:
    """The last digit is that of the lowest range that reaches the value: 59.99, then 60.0 (6000 counts)."""
    assert Reading(value, unit, (), setting).digit == pytest.approx(digit, rel=1e-9)


@pytest.mark.parametrize(
    ("value", "unit", "setting", "error"),
    [
        (20.0, "V", "high", 0.01 * 20 + 3 * 0.01),
        (-20.0, "V", "dc", 0.005 * 20 + 2 * 0.01),
        (20.0, "V", "low", 0.02 * 20 + 3 * 0.01),
        (100.0, "ohm", "ohms", 0.009 * 100 + 2 * 0.1),
        (2.0, "A", "clamp", 0.02 * 2 + 5 * 0.01),
        (1e-8, "F", "capacitance", 0.02 * 1e-8 + 5 * 1e-11),
        (1e7, "ohm", "250 V", 0.03 * 1e7 + 5 * 1e4),
        (math.inf, "ohm", "ohms", 0.0),
        (20.0, "V", "", 0.0),
    ],
)
def test_the_band_of_a_reading(value: float, unit: str, setting: str, error: float) -> None:
    """A share of the reading and some of the last digit, on either side (`ERRORS`, common practice)."""
    reading = Reading(value, unit, (), setting)
    assert reading.error == pytest.approx(error, rel=1e-9)
    assert (reading.low, reading.high) == (value - reading.error, value + reading.error)
    assert reading.fits(reading.low)
    assert reading.fits(reading.high)
    assert math.isinf(value) or not (reading.fits(reading.low - 1e-4) or reading.fits(reading.high + 1e-4))


@pytest.mark.parametrize(
    ("reading", "shown"),
    [
        (Reading(0.0995, "A"), "99.5 mA"),
        (Reading(0.1, "A"), "0.10 A"),
        (Reading(0.0005, "A"), "0.5 mA"),
        (Reading(0.00049, "A"), "0.00 A"),
        (Reading(1000.0, "ohm"), "1 kohm"),
        (Reading(999.0, "ohm"), "999.00 ohm"),
        (Reading(1e6, "ohm"), "1 Mohm"),
        (Reading(-0.001, "V", (), "dc"), "0.00 V (direct)"),
        (Reading(1.5, "V", ("a",), "dc"), "1.50 V across a (direct)"),
        (Reading(6e3, "ohm", (), "ohms"), "6.00 kohm"),
        (Reading(5990.0, "ohm", (), "ohms"), "5.990 kohm"),
        (Reading(47e-9, "F", (), "capacitance"), "47.00 nF"),
        (Reading(2e6, "ohm", (), "250 V"), "2.00 Mohm (at 250 V)"),
        (Reading(0.05, "A", ("air:fuse",), "clamp"), "0.05 A through air:fuse"),
    ],
)
def test_ranges_of_the_display(reading: Reading, shown: str) -> None:
    """Each range has its prefix and its digits, and no minus sign stands before nothing."""
    assert repr(reading) == shown
