"""The time-domain solver and the meters against closed forms.

Sources, from any textbook on circuits or power electronics unless a line says otherwise:
* half-wave rectified sine: mean Vp/pi, RMS Vp/2, form factor pi/2 = 1.5708 (seen quoted in print); ripple
  1.2114 follows;
* 24 V RMS: peak 33.941, half-wave mean 10.804, half-wave RMS 16.971, full-wave mean 21.608 V (computed from
  them);
* RC and RL steps: 1 - exp(-t/T); half at 0.6931 T, nine tenths at 2.3026 T, 10 to 90 % in 2.1972 T;
* RLC: damped frequency sqrt(1/LC - (R/2L)^2), decay R/2L;
* RL closed on a sine: Vp/Z (sin(wt + a - phi) - sin(a - phi) exp(-tR/L));
* peak factor of that current when closed at the volts' zero: IEC 60909-0, kappa = 1.02 + 0.98 exp(-3 R/X)
  (from memory);
* averaging meters: marked for a sine with the factors pi/(2 sqrt 2) = 1.1107 and twice that (common
  practice);
* half-wave rectifier with R and L: mean volts Vp/(2 pi) (1 - cos beta), where the current ends at the angle
  beta for which sin(beta - phi) + sin(phi) exp(-beta / tan phi) = 0;
* Shockley's equation, solved for a diode behind a resistor with the Lambert W function (scipy).
"""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import lambertw

from lessonkit.copper.elements import (
    LEAKAGE_S,
    THERMAL_V,
    Branch,
    Capacitance,
    Diode,
    PulseSource,
    Resistance,
    Source,
    Winding,
)
from lessonkit.copper.inrush import coil_inrush
from lessonkit.copper.network import Network
from lessonkit.copper.traces import Trace
from lessonkit.copper.transient import simulate

#: As good as no resistance: beside the ohms of these circuits it changes nothing in nine digits.
IDEAL_OHM = 1e-9
CYCLE_S = 1 / 60
PEAK_V = 24 * math.sqrt(2)


def network(*branches: Branch) -> Network:
    """Return a network whose reference is node 0."""
    return Network(branches, "0")


def sine(a: str, phase_deg: float = 0.0) -> Source:
    """Return 24 V RMS between a node and the reference."""
    return Source("s", a, "0", IDEAL_OHM, cmath.rect(24.0, math.radians(phase_deg)))


def steady(a: str, volts: float) -> Source:
    """Return direct volts between a node and the reference."""
    return Source("s", a, "0", IDEAL_OHM, dc_v=volts)


def near_ideal(name: str, a: str, b: str) -> Diode:
    """Return a diode that loses 25 mV at 0.3 A, so that the forms for ideal diodes hold within a permille."""
    return Diode(name, a, b, saturation_a=1e-9, emission=0.05, r_ohm=0.0)


@pytest.fixture(scope="module")
def half_wave() -> Trace:
    """One cycle of 24 V RMS through a nearly ideal diode into 100 ohm."""
    load = Resistance("load", "x", "0", 100.0)
    circuit = network(sine("r"), near_ideal("d", "r", "x"), load)
    return simulate(circuit, 2 * CYCLE_S, CYCLE_S / 2000).last_cycles(60)


def test_half_wave_mean_and_rms(half_wave: Trace) -> None:
    """Mean Vp/pi = 10.804 V, RMS Vp/2 = 16.971 V, peak 33.941 V."""
    assert half_wave.mean_v("x") == pytest.approx(10.804, rel=2e-3)
    assert half_wave.rms_v("x") == pytest.approx(16.971, rel=2e-3)
    assert half_wave.peak_v("x") == pytest.approx(33.941, rel=2e-3)


def test_half_wave_form_factor_and_ripple(half_wave: Trace) -> None:
    """Form factor pi/2 and ripple 1.2114, free of the diode's small loss."""
    assert half_wave.rms_v("x") / half_wave.mean_v("x") == pytest.approx(math.pi / 2, rel=1e-3)
    assert half_wave.true_rms("x", ac_only=True) / half_wave.mean_v("x") == pytest.approx(1.2114, rel=1e-3)


def test_what_meters_make_of_a_sine(half_wave: Trace) -> None:
    """On the whole sine all sine-marked meters agree on 24 V, and a direct-voltage range shows nothing."""
    assert half_wave.true_rms("r") == pytest.approx(24.0, rel=1e-5)
    assert half_wave.average_meter_v("r") == pytest.approx(24.0, rel=1e-5)
    assert half_wave.half_wave_meter_v("r") == pytest.approx(24.0, rel=1e-5)
    assert half_wave.mean_v("r") == pytest.approx(0.0, abs=1e-6)


def test_what_meters_make_of_a_half_wave(half_wave: Trace) -> None:
    """A full-wave averaging meter shows 12 V, a one-diode meter the full 24 V or, turned round, nothing."""
    assert half_wave.average_meter_v("x") == pytest.approx(12.0, rel=2e-3)
    assert half_wave.half_wave_meter_v("x") == pytest.approx(24.0, rel=2e-3)
    assert half_wave.half_wave_meter_v("0", "x") == pytest.approx(0.0, abs=1e-3)
    # sqrt(1/4 - 1/pi^2) of the peak.
    assert half_wave.true_rms("x", ac_only=True) == pytest.approx(13.089, rel=2e-3)


def test_full_wave_mean() -> None:
    """A bridge of four diodes gives the mean 2 Vp/pi = 21.608 V."""
    ways = [("r", "p"), ("0", "p"), ("n", "r"), ("n", "0")]
    bridge = [near_ideal(f"{a} to {b}", a, b) for a, b in ways]
    circuit = network(sine("r"), *bridge, Resistance("load", "p", "n", 100.0))
    trace = simulate(circuit, 2 * CYCLE_S, CYCLE_S / 2000).last_cycles(60)
    assert trace.mean_v("p", "n") == pytest.approx(21.608, rel=3e-3)
    assert trace.rms_v("p", "n") == pytest.approx(24.0, rel=3e-3)


def moment_at(trace: Trace, node: str, share_v: float) -> float:
    """Return when a rising wave passes a level."""
    return float(np.interp(share_v, trace.volts[node], trace.time_s))


def test_rc_step() -> None:
    """A 10 kohm, 1 nF line is at half after 0.6931 of its 10 us, at nine tenths after 2.3026."""
    line = [Resistance("r", "a", "b", 1e4), Capacitance("c", "b", "0", 1e-9)]
    circuit = network(steady("a", 1.0), *line)
    trace, t = simulate(circuit, 60e-6, 10e-9), 10e-6
    assert moment_at(trace, "b", 0.5) == pytest.approx(0.6931 * t, rel=1e-4)
    assert moment_at(trace, "b", 0.9) == pytest.approx(2.3026 * t, rel=1e-4)
    assert moment_at(trace, "b", 0.9) - moment_at(trace, "b", 0.1) == pytest.approx(2.1972 * t, rel=1e-4)
    assert np.abs(trace.volts["b"] - (1 - np.exp(-trace.time_s / t))).max() < 1e-6


def test_rl_step() -> None:
    """The current of a 24 ohm, 0.12 H coil on 12 V climbs as 0.5 A (1 - exp(-t/5 ms))."""
    coil = [Winding("l", "a", "0", 24.0, 0.12)]
    circuit = network(steady("a", 12.0), *coil)
    trace = simulate(circuit, 25e-3, 5e-6)
    assert np.abs(trace.current_a("l") - 0.5 * (1 - np.exp(-trace.time_s / 5e-3))).max() < 1e-6


def test_pulse_edges_are_felt_where_they_are() -> None:
    """A jump on the grid, and one between two samples, both start the RC curve at their own moment."""
    for delay_s in (20e-6, 20.025e-6):
        source = PulseSource("s", "a", "0", IDEAL_OHM, 0.0, 1.0, 1.0, delay_s)
        circuit = network(source, Resistance("r", "a", "b", 1e4), Capacitance("c", "b", "0", 1e-9))
        trace = simulate(circuit, 80e-6, 50e-9)
        exact = 1 - np.exp(-np.maximum(trace.time_s - delay_s, 0) / 10e-6)
        assert np.abs(trace.volts["b"] - exact).max() < 3e-3


def test_lc_rings_at_its_frequency() -> None:
    """10 mH and 10 uF ring at 503.29 Hz, and a hundred periods do not cost a thousandth of the height."""
    circuit = network(
        Winding("l", "a", "0", IDEAL_OHM, 10e-3), Capacitance("c", "a", "0", 10e-6, initial_v=1.0)
    )
    trace = simulate(circuit, 0.2, 5e-6)
    rising = np.flatnonzero((trace.volts["a"][:-1] < 0) & (trace.volts["a"][1:] >= 0))
    v0, v1 = trace.volts["a"][rising], trace.volts["a"][rising + 1]
    zeros = trace.time_s[rising] + 5e-6 * -v0 / (v1 - v0)
    assert (len(zeros) - 1) / (zeros[-1] - zeros[0]) == pytest.approx(503.292, rel=1e-4)
    assert np.abs(trace.volts["a"][-400:]).max() == pytest.approx(1.0, rel=1e-3)


def test_damped_rlc() -> None:
    """5 ohm, 10 mH and 10 uF on a 12 V step follow the underdamped closed form."""
    circuit = network(
        steady("a", 12.0),
        Winding("l", "a", "c", 5.0, 10e-3),
        Capacitance("c", "c", "0", 10e-6),
    )
    trace = simulate(circuit, 10e-3, 1e-6)
    decay, omega = 250.0, math.sqrt(1e7 - 250.0**2)
    t = trace.time_s
    exact = 12 * (1 - np.exp(-decay * t) * (np.cos(omega * t) + decay / omega * np.sin(omega * t)))
    assert np.abs(trace.volts["c"] - exact).max() < 12e-4


def test_closing_a_coil_on_a_sine() -> None:
    """R and L closed at 40 degrees carry the settled sine plus a decaying offset."""
    ohms, henries, angle = 10.0, 0.1, math.radians(40)
    coil = [Winding("l", "a", "0", ohms, henries)]
    trace = simulate(network(sine("a", 40.0), *coil), 0.1, 10e-6)
    w, t = 2 * math.pi * 60, trace.time_s
    phi, size = math.atan2(w * henries, ohms), PEAK_V / math.hypot(ohms, w * henries)
    exact = size * (np.sin(w * t + angle - phi) - math.sin(angle - phi) * np.exp(-t * ohms / henries))
    assert np.abs(trace.current_a("l") - exact).max() < 1e-4 * size


@pytest.mark.parametrize("ratio", [0.05, 0.2, 0.5, 1.0])
def test_worst_closing_peak_against_the_standard(ratio: float) -> None:
    """Closed at the worst angle, which is the volts' zero, the first peak is kappa times the settled one."""
    x_ohm = 40.0
    found = coil_inrush(range(-90, 90, 10), r_ohm=ratio * x_ohm, l_henry=x_ohm / (2 * math.pi * 60))
    assert found.worst_deg == 0
    assert found.ratio == pytest.approx(1.02 + 0.98 * math.exp(-3 * ratio), rel=0.015)


@pytest.mark.parametrize("l_henry", [0.05, 0.2, 0.6])
def test_half_wave_into_a_coil(l_henry: float) -> None:
    """The coil draws the diode's conduction past the zero, to the extinction angle of the textbook."""
    r = 160.0
    circuit = network(
        sine("r"),
        near_ideal("d", "r", "x"),
        Winding("coil", "x", "0", r, l_henry),
    )
    trace = simulate(circuit, 2 * CYCLE_S, CYCLE_S / 4000).last_cycles(60)
    phi = math.atan(2 * math.pi * 60 * l_henry / r)

    def current(b: float) -> float:
        return math.sin(b - phi) + math.sin(phi) * math.exp(-b / math.tan(phi))

    beta = brentq(current, math.pi, 2 * math.pi)
    conducting = np.count_nonzero(trace.current_a("coil") > 1e-6) / 4000 * 2 * math.pi
    assert conducting == pytest.approx(beta, rel=2e-3)
    mean_a = PEAK_V / (2 * math.pi) * (1 - math.cos(beta)) / r
    assert trace.mean_a("coil") == pytest.approx(mean_a, rel=3e-3)


@pytest.mark.parametrize("volts", [0.3, 0.8, 5.0, 24.0, 170.0])
def test_diode_behind_a_resistor(volts: float) -> None:
    """The operating point meets Shockley's equation, solved with the Lambert W function."""
    diode = Diode("d", "a", "0", saturation_a=7e-9, emission=1.8, r_ohm=0.04)
    circuit = network(steady("p", volts), Resistance("r", "p", "a", 100.0), diode)
    trace = simulate(circuit, 1e-3, 1e-3, start="dc")
    ohms, scale, leak = 100.04, 1.8 * THERMAL_V, 7e-9
    inner = leak * ohms / scale * math.exp((volts + leak * ohms) / scale) if volts < 20 else None
    if inner is None:
        # exp() overflows here, so W(x) comes from its logarithm: w + ln w = ln x.
        log_x = math.log(leak * ohms / scale) + (volts + leak * ohms) / scale
        w = brentq(lambda y: y + math.log(y) - log_x, 1e-6, 2 * log_x)
    else:
        w = float(lambertw(inner).real)
    amperes = scale / ohms * w - leak
    assert trace.current_a("d")[0] == pytest.approx(amperes, rel=1e-7, abs=2 * LEAKAGE_S)


def test_thermal_voltage() -> None:
    """kT/q is 25.85 mV at 300 K (any textbook on semiconductors), here taken at 300.15 K."""
    assert pytest.approx(25.852e-3 * 300.15 / 300, rel=1e-4) == THERMAL_V
