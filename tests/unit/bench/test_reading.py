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
