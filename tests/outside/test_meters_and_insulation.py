"""Meters on a half-wave, ghost volts by input impedance, bands of a data sheet, insulation limits.

Sources:

* Half-wave of 24 V RMS: closed forms of its mean, RMS and form factor (Vp/pi, Vp/2; any text on rectifiers);
  ratios of meters of different response to true RMS, as a meter manual's table prints them for a half-wave:
  direct 0.636, true RMS behind a capacitor 0.771; full-wave 0.435 and 0.421; square wave on an averaging
  meter 1.110. The same table prints 0.764 for an averaging meter behind a capacitor, which its own integral
  does not give: 0.7794. The known error stands here so that nobody puts it back.
* A wire that hangs on capacitance alone: the divider |V| = 24 R / sqrt(R^2 + Xc^2), worked for 2.5 nF.
* 0.5 megohm at 250 V direct for circuits of extra-low voltage: BS 7671, table of minimum insulation values.
* "1 % + 3 digits": how data sheets of handheld meters state accuracy (common practice).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from lessonkit.bench.insulation import LIMIT_OHM
from lessonkit.bench.meter import Meter
from lessonkit.bench.reading import Reading
from lessonkit.copper.elements import Capacitance, Resistance, Source
from lessonkit.copper.meters import KINDS, average, true_rms
from lessonkit.copper.network import Network, solve
from lessonkit.studies.experiment import experiment

ANGLE = np.linspace(0.0, 2 * np.pi, 20001)
SINE = 24.0 * math.sqrt(2) * np.sin(ANGLE)
HALF = np.maximum(SINE, 0.0)


@pytest.mark.parametrize(
    ("kind", "volts"),
    [
        ("dc", 10.804),
        ("true-rms-dc", 16.971),
        ("true-rms", 13.087),
        ("average-dc", 12.000),
        ("average", 13.226),
        ("half-wave", 24.000),
    ],
)
def test_a_half_wave_reads_six_numbers_on_six_meters(kind: str, volts: float) -> None:
    """One conductor, one wave, six honest readings."""
    assert KINDS[kind](HALF) == pytest.approx(volts, rel=1e-3)


def test_a_meter_manual_s_ratios() -> None:
    """What the printed table gives holds, and its one wrong entry does not."""
    whole = np.abs(SINE)
    square = np.sign(np.sin(ANGLE[:-1] + 1e-6))
    assert KINDS["dc"](HALF) / KINDS["true-rms-dc"](HALF) == pytest.approx(0.636, abs=1e-3)
    assert true_rms(HALF) / true_rms(HALF, ac_only=False) == pytest.approx(0.771, abs=1e-3)
    assert true_rms(whole) / true_rms(whole, ac_only=False) == pytest.approx(0.435, abs=1e-3)
    assert average(whole) / true_rms(whole, ac_only=False) == pytest.approx(0.421, abs=1e-3)
    assert average(square) / true_rms(square) == pytest.approx(1.110, abs=2e-3)
    assert average(HALF) / true_rms(HALF, ac_only=False) == pytest.approx(0.7794, abs=1e-3)
    assert abs(average(HALF) / true_rms(HALF, ac_only=False) - 0.764) > 0.01


@pytest.mark.parametrize(("load_ohm", "volts"), [(2e3, 0.045), (3e3, 0.068), (300e3, 6.53), (10e6, 23.87)])
def test_low_impedance_is_a_number_of_ohms(load_ohm: float, volts: float) -> None:
    """Meters sold as low impedance differ a hundredfold on one ghost of 2.5 nF."""
    branches = (
        Source("supply", "hot", "common", 1.0, 24.0 + 0j),
        Capacitance("beside", "hot", "ghost", 2.5e-9),
        Resistance("leak", "ghost", "common", 1e12),
    )
    ghost = solve(Network(branches, "common"), 60.0).thevenin("ghost", "common")
    assert abs(ghost.loaded_v(load_ohm)) == pytest.approx(volts, rel=5e-3, abs=6e-4)


@pytest.mark.parametrize(
    ("reading", "shown", "digit", "error"),
    [
        (Reading(24.036, "V", setting="high"), "24.04 V", 0.01, 0.24036 + 0.03),
        (Reading(9.5318, "V", setting="dc"), "9.53 V", 0.01, 0.047659 + 0.02),
        (Reading(61.26, "V", setting="high"), "61.3 V", 0.1, 0.6126 + 0.3),
        (Reading(1.277, "ohm", setting="ohms"), "1.28 ohm", 0.01, 0.011493 + 0.02),
        (Reading(4700.0, "ohm", setting="ohms"), "4.700 kohm", 1.0, 42.3 + 2),
        (Reading(2.46e-9, "F", setting="capacitance"), "2.46 nF", 1e-11, 4.92e-11 + 5e-11),
        (Reading(0.5e6, "ohm", setting="250 V"), "0.50 Mohm", 1e4, 15e3 + 5e4),
        (Reading(1.16, "A", setting="clamp"), "1.16 A", 0.01, 0.0232 + 0.05),
    ],
)
def test_a_reading_has_digits_and_a_band(reading: Reading, shown: str, digit: float, error: float) -> None:
    """A share of the reading and some of the last digit, worked by hand from a range of 6000 counts."""
    assert str(reading) == shown
    assert reading.digit == pytest.approx(digit)
    assert reading.high - reading.value == pytest.approx(error)
    assert reading.value - reading.low == pytest.approx(error)
    assert reading.fits(reading.value)
    assert not reading.fits(reading.value + 1.01 * error)


def test_insulation_of_a_lifted_conductor_is_that_of_the_cable() -> None:
    """Megohm-kilometres divided by the run's length, and half a megohm is the least that may be left."""
    job = experiment("two-run").job.with_run("outdoor", insulation_mohm_km=0.02)
    bench = experiment(job).bench()
    bench.set_power(False)
    bench.set_hands(["lift air:outdoor.SIG", "lift out:outdoor.SIG"])
    meter = Meter(bench)
    run = job.outdoor_run
    beside = [pair for pair in run.neighbours() if "SIG" in pair]
    read = meter.insulation("air:outdoor.SIG", "air:C")
    # Everything but the lifted conductor hangs on C through copper of some ohms.
    assert read.value == pytest.approx(0.02e6 * 1000 / run.length_m / len(beside), rel=0.01)
    assert LIMIT_OHM == 0.5e6
    assert meter.insulation("air:outdoor.SIG", "air:C", 500).value == pytest.approx(read.value, rel=1e-6)
