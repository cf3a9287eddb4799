"""The time-domain solver: laws that hold for every circuit, and mistakes that get a sentence."""

from __future__ import annotations

import cmath
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.copper.elements import (
    BadNetwork,
    Branch,
    Capacitance,
    Diode,
    PulseSource,
    Resistance,
    Source,
    Switch,
    Winding,
)
from lessonkit.copper.network import FloatingNode, Network
from lessonkit.copper.spice import transient_netlist
from lessonkit.copper.traces import Trace, mean_of, rms_of
from lessonkit.copper.transient import simulate
from lessonkit.errors import BadParameter, LessonError

STEP_S = 1 / 60 / 200
NODES = ("0", "a", "b", "c")
PAIRS = [(x, y) for x in NODES for y in NODES if x < y]

#: As good as no resistance beside the ohms of these circuits.
IDEAL_OHM = 1e-9

sizes = st.floats(0.1, 10.0)


def network(*branches: Branch) -> Network:
    """Return a network whose reference is node 0."""
    return Network(branches, "0")


def supply(rms_v: float, r_ohm: float, phase_deg: float = 0.0) -> Source:
    """Return a sine between node a and the reference."""
    return Source("supply", "a", "0", r_ohm, cmath.rect(rms_v, math.radians(phase_deg)))


@st.composite
def parts(draw: st.DrawFn, *, diodes: bool) -> list[Branch]:
    """Draw passive elements between four nodes, each of which a resistor joins to common."""
    made: list[Branch] = [Resistance(f"leak {n}", n, "0", 1000.0 * draw(sizes)) for n in NODES[1:]]
    kinds = st.sampled_from(["r", "c", "l", "d"] if diodes else ["r", "c", "l"])
    for k in range(draw(st.integers(2, 6))):
        a, b = draw(st.sampled_from(PAIRS))
        if draw(st.booleans()):
            a, b = b, a
        size, kind = draw(sizes), draw(kinds)
        if kind == "r":
            made.append(Resistance(f"r{k}", a, b, 100.0 * size))
        elif kind == "c":
            made.append(Capacitance(f"c{k}", a, b, 10e-6 * size, initial_v=draw(st.floats(-20, 20))))
        elif kind == "l":
            made.append(Winding(f"l{k}", a, b, 5.0, 0.1 * size, initial_a=draw(st.floats(-0.2, 0.2))))
        else:
            made.append(Diode(f"d{k}", a, b))
    return made


def stored_j(trace: Trace) -> np.ndarray:
    """Return the energy in all capacitors and inductors at each sample."""
    total = np.zeros_like(trace.time_s)
    for e in trace.network.branches:
        if isinstance(e, Capacitance):
            total += 0.5 * e.c_farad * trace.across(e.a, e.b) ** 2
        elif isinstance(e, Winding):
            total += 0.5 * e.l_henry * trace.current_a(e.name) ** 2
    return total


def at_rest(elements: list[Branch]) -> list[Branch]:
    """Return the same elements without anything stored in them."""
    empty = {Capacitance: "initial_v", Winding: "initial_a"}
    return [replace(e, **{empty[type(e)]: 0.0}) if type(e) in empty else e for e in elements]


@settings(max_examples=25, deadline=None)
@given(parts(diodes=True), st.floats(1, 30), st.floats(0, 360))
def test_currents_add_up_at_every_node(elements: list[Branch], rms_v: float, phase_deg: float) -> None:
    """Kirchhoff's current law holds at every node and moment, common included."""
    trace = simulate(network(supply(rms_v, 2.0, phase_deg), *elements), 2 / 60, STEP_S)
    for node in NODES:
        total, size = np.zeros_like(trace.time_s), np.zeros_like(trace.time_s)
        for e in trace.network.branches:
            leaving = trace.current_a(e.name)
            total += leaving * ((e.a == node) - (e.b == node))
            size = np.maximum(size, np.abs(leaving))
        # The first sample is an almost infinitely short step, where capacitors are almost infinitely stiff.
        assert np.abs(total[1:]).max() < 1e-9 * max(1.0, float(size.max()))


@settings(max_examples=25, deadline=None)
@given(parts(diodes=True))
def test_a_circuit_without_source_only_loses(elements: list[Branch]) -> None:
    """Stored energy never rises, at no step, with diodes or without."""
    energy = stored_j(simulate(network(*elements), 0.05, STEP_S))
    # The first sample shows what capacitors in a loop share at once; from there on it only falls.
    assert (np.diff(energy[1:]) <= 1e-12 + 1e-9 * energy[1:-1]).all()


@settings(max_examples=20, deadline=None)
@given(parts(diodes=True), st.floats(1, 30))
def test_energy_is_accounted_for(elements: list[Branch], rms_v: float) -> None:
    """What the supply gives is what resistors and diodes took and coils and capacitors hold."""
    trace = simulate(network(supply(rms_v, 50.0), *at_rest(elements)), 2 / 60, STEP_S / 4)
    length = trace.time_s[-1]
    given_j = -mean_of(trace.absorbed_w("supply")) * length
    lost = [e.name for e in trace.network.branches if isinstance(e, Resistance | Diode)]
    taken_j = sum(mean_of(trace.absorbed_w(name)) * length for name in lost)
    for e in trace.network.branches:
        if isinstance(e, Winding):
            taken_j += e.r_ohm * trace.rms_a(e.name) ** 2 * length
    assert given_j == pytest.approx(taken_j + stored_j(trace)[-1], rel=5e-3, abs=1e-7)


@settings(max_examples=20, deadline=None)
@given(parts(diodes=False), st.floats(1, 30), st.floats(-20, 20), st.floats(-3, 3))
def test_without_diodes_causes_superpose(elements: list[Branch], rms_v: float, dc_v: float, k: float) -> None:
    """Two sources together do what each does alone, added; k times a source does k times as much."""
    rest = at_rest(elements)

    def run(sine_v: float, steady_v: float) -> Trace:
        steady = Source("steady", "b", "0", 7.0, dc_v=steady_v)
        return simulate(network(supply(sine_v, 5.0, 30.0), steady, *rest), 1 / 60, STEP_S)

    both, first, second, more = run(rms_v, dc_v), run(rms_v, 0.0), run(0.0, dc_v), run(0.0, k * dc_v)
    for node in NODES[1:]:
        assert np.allclose(both.volts[node], first.volts[node] + second.volts[node], rtol=1e-8, atol=1e-8)
        assert np.allclose(more.volts[node], k * second.volts[node], rtol=1e-8, atol=1e-8)


@settings(max_examples=15, deadline=None)
@given(parts(diodes=True), st.floats(-20, 20))
def test_an_operating_point_stays(elements: list[Branch], dc_v: float) -> None:
    """Started from its direct operating point, a circuit with steady sources does not move."""
    source = Source("s", "a", "0", 5.0, dc_v=dc_v)
    trace = simulate(network(source, *elements), 5e-3, STEP_S, start="dc")
    for wave in trace.volts.values():
        assert np.abs(wave - wave[0]).max() < 1e-6


def half_wave_coil() -> Network:
    """Return a coil behind a diode, without anything that takes over its current."""
    return network(
        Source("supply", "r", "0", 2.7, 24.0),
        Diode("steer", "r", "x"),
        Resistance("copper", "x", "y", 159.0),
        Winding("coil", "y", "0", 1.0, 0.6),
    )


def test_a_coil_let_go_does_not_ring() -> None:
    """After a diode has stopped a coil, the coil's volts are still, not swinging from step to step."""
    trace = simulate(half_wave_coil(), 3 / 60, STEP_S)
    dead = np.abs(trace.current_a("coil")) < 1e-6
    # Leave out the samples beside a beginning or an end of conduction.
    inside = dead & np.roll(dead, 2) & np.roll(dead, -2)
    inside[:2] = False
    assert inside.sum() > 20
    assert np.abs(trace.volts["y"][inside]).max() < 1e-3


def test_the_error_shrinks_with_the_square_of_the_step() -> None:
    """Half the step, a quarter of the error: the rule is of second order where nothing jerks."""
    tank = [Winding("l", "a", "0", IDEAL_OHM, 0.1, initial_a=1.0), Capacitance("c", "a", "0", 1e-5)]
    circuit = network(*tank, Resistance("r", "a", "0", 300.0))
    fine = simulate(circuit, 8e-3, 1e-6).volts["a"]
    errors = []
    for step in (64, 32, 16):
        coarse = simulate(circuit, 8e-3 // (step * 1e-6) * step * 1e-6, step * 1e-6).volts["a"]
        errors.append(np.abs(coarse - fine[::step][: len(coarse)]).max())
    assert errors[0] / errors[1] == pytest.approx(4, rel=0.15)
    assert errors[1] / errors[2] == pytest.approx(4, rel=0.15)


def test_the_two_methods_meet() -> None:
    """Backward Euler and the trapezoidal rule come to the same half-wave."""
    sharp = simulate(half_wave_coil(), 2 / 60, STEP_S / 8, method="trapezoidal")
    blunt = simulate(half_wave_coil(), 2 / 60, STEP_S / 8, method="backward-euler")
    assert sharp.rms_a("coil") == pytest.approx(blunt.rms_a("coil"), rel=2e-3)


def test_a_switch_acts_when_told() -> None:
    """A contact that closes at 2 ms and opens at 5 ms puts volts on the load between, sample for sample."""
    circuit = network(
        Source("s", "p", "0", IDEAL_OHM, dc_v=24.0),
        Switch("contact", "p", "x", toggles_s=(2e-3, 5e-3)),
        Resistance("r", "x", "0", 100.0),
    )
    trace = simulate(circuit, 8e-3, 1e-3)
    assert (trace.volts["x"] > 12).tolist() == [False, False, False, True, True, True, False, False, False]


def test_a_jump_shows_just_after_its_moment() -> None:
    """A pulse from 2 to 4 ms, every 5 ms: its first sample is after the rise, its last at the fall."""
    source = PulseSource("s", "a", "0", IDEAL_OHM, 0.0, 1.0, width_s=2e-3, delay_s=2e-3, period_s=5e-3)
    trace = simulate(network(source, Resistance("r", "a", "0", 1.0)), 12e-3, 1e-3)
    assert trace.volts["a"].round().tolist() == [0, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0]


def test_a_pulse_has_its_corners() -> None:
    """Rise, top and fall of a repeated pulse, and the moments where its slope changes."""
    shape = {"width_s": 2.0, "delay_s": 1.0, "rise_s": 1.0, "fall_s": 2.0, "period_s": 6.0}
    source = PulseSource("s", "a", "0", IDEAL_OHM, 1.0, 3.0, **shape)
    seen = dict(zip([0.0, 1.0, 1.5, 2.0, 4.0, 5.0, 6.0, 7.0, 7.5], [1, 1, 2, 3, 3, 2, 1, 1, 2], strict=True))
    assert source.volts_at(np.array(list(seen)), 60.0).tolist() == list(seen.values())
    assert source.corners_s(8.0) == (1.0, 2.0, 4.0, 6.0, 7.0, 8.0)


def test_a_run_repeats_to_the_bit() -> None:
    """The same circuit gives the same trace."""
    first, second = (simulate(half_wave_coil(), 1 / 60, STEP_S).volts["y"] for _ in range(2))
    assert (first == second).all()


def test_mean_and_rms_weigh_a_whole_cycle_evenly() -> None:
    """Both ends of a cycle are in the samples, and count half each."""
    wave = np.sin(np.linspace(0, 2 * math.pi, 101)) + 3.0
    assert mean_of(wave) == pytest.approx(3.0, abs=1e-12)
    assert rms_of(wave) == pytest.approx(math.sqrt(9.5), abs=1e-12)


def test_a_window_keeps_its_ends() -> None:
    """One cycle of a trace has both its ends; the rest of the trace is left alone."""
    trace = simulate(half_wave_coil(), 3 / 60, STEP_S)
    assert len(trace.last_cycles(60).time_s) == 201
    assert len(trace.window(1 / 60, 2 / 60).time_s) == 201
    assert len(trace.time_s) == 601


LOAD = Resistance("load", "r", "0", 100.0)
WRONG_NETWORKS = {
    "name used twice": ([LOAD, LOAD], BadNetwork, "'load' is used twice"),
    "no reference": ([Resistance("r", "a", "b", 1.0)], FloatingNode, "leads from a, b back to 0"),
    "island": ([LOAD, Resistance("far", "a", "b", 1.0)], FloatingNode, "leads from a, b back to 0"),
    "open contact": ([LOAD, Resistance("far", "a", "0", math.inf)], FloatingNode, "leads from a back to 0"),
}


@pytest.mark.parametrize("what", WRONG_NETWORKS)
def test_what_is_no_network_is_refused(what: str) -> None:
    """The sentence names the element or the node."""
    branches, kind, told = WRONG_NETWORKS[what]
    with pytest.raises(kind, match=told):
        simulate(network(*branches), 1.0, 0.1)


WRONG_PARAMETERS = {
    "negative ohms": (lambda: Resistance("load", "a", "0", -5.0), "r_ohm of load is -5.0"),
    "negative farads": (lambda: Capacitance("c", "a", "0", -1.0), "c_farad of c is -1.0"),
    "endless henries": (lambda: Winding("coil", "a", "0", 1.0, math.inf), "l_henry of coil is inf"),
    "dead diode": (lambda: Diode("d", "a", "0", saturation_a=0.0), "saturation_a of d is 0.0"),
    "short on itself": (lambda: Resistance("r", "a", "a", 1.0), "b of r is 'a'"),
    "text": (lambda: Source("s", "a", "0", 1.0, "24"), "ac_v of s is '24'"),
    "no number": (lambda: Source("s", "a", "0", 1.0, complex(math.nan, 0)), "ac_v of s is (nan+0j)"),
    "ideal source": (lambda: Source("s", "a", "0", 0.0), "r_ohm of s is 0.0"),
    "no frequency": (lambda: simulate(network(LOAD), 1.0, 0.1, freq_hz=0.0), "freq_hz is 0.0"),
    "backwards": (lambda: Switch("k", "a", "0", toggles_s=(2.0, 1.0)), "toggles_s of k"),
    "crowded": (lambda: PulseSource("p", "a", "0", 1.0, 0.0, 1.0, 2.0, period_s=1.0), "at least 2 s"),
    "no step": (lambda: simulate(network(LOAD), 1.0, 0.0), "step_s is 0.0"),
    "step past the end": (lambda: simulate(network(LOAD), 1.0, 2.0), "stop_s is 1.0"),
    "tiny step": (lambda: simulate(network(LOAD), 1.0, 1e-12), "step_s is 1e-12"),
    "odd start": (lambda: simulate(network(LOAD), 1.0, 0.1, start="warm"), "'rest' or 'dc'"),
    "odd method": (lambda: simulate(network(LOAD), 1.0, 0.1, method="magic"), "method is 'magic'"),
    "unknown node": (lambda: simulate(network(LOAD), 1.0, 0.1).mean_v("q"), "must be one of 0, r"),
    "unknown element": (lambda: simulate(network(LOAD), 1.0, 0.1).mean_a("q"), "branch is 'q'"),
    "too many cycles": (lambda: simulate(network(LOAD), 1.0, 0.1).last_cycles(60, 61), "at most 60 cycles"),
    "empty window": (lambda: simulate(network(LOAD), 1.0, 0.1).window(2.0), "inside 0 to 1 s"),
}


@pytest.mark.parametrize("what", WRONG_PARAMETERS)
def test_a_bad_parameter_gets_one_sentence(what: str) -> None:
    """It names the parameter, its value and what is allowed."""
    attempt, told = WRONG_PARAMETERS[what]
    with pytest.raises(BadParameter, match="but must be") as caught:
        attempt()
    assert told in str(caught.value)
    assert str(caught.value).count("\n") == 0


def test_no_operating_point_is_told_apart() -> None:
    """A node behind capacitance alone has no direct volts; from rest there is nothing wrong with it."""
    hung = network(LOAD, Capacitance("c", "r", "x", 1e-6), Capacitance("d", "x", "0", 1e-6))
    with pytest.raises(FloatingNode, match="leads from x back to 0"):
        simulate(hung, 1.0, 0.1, start="dc")
    assert simulate(hung, 1.0, 0.1).peak_v("x") == pytest.approx(0.0, abs=1e-9)


def test_names_that_clash_in_a_netlist_are_refused() -> None:
    """`out:Y1` and `out_y1` are one name in SPICE."""
    circuit = network(Resistance("r", "out:Y1", "0", 1.0), Resistance("s", "out_y1", "0", 1.0))
    with pytest.raises(LessonError, match="share a netlist name"):
        transient_netlist(circuit, 1.0, 0.1)


@pytest.mark.parametrize("delay_s", [10 * STEP_S, 10.4 * STEP_S])
def test_a_jump_of_a_pulse_rings_on_no_quick_circuit(delay_s: float) -> None:
    """A capacitor that fills in a fiftieth of a step is full after the jump, and stays within 0.2 %."""
    pulse = PulseSource("pulse", "a", "0", 1.0, 0.0, 10.0, width_s=1.0, delay_s=delay_s)
    found = simulate(network(pulse, Capacitance("c", "a", "0", STEP_S / 50)), 1 / 60, STEP_S, start="rest")
    assert np.allclose(found.volts["a"][found.time_s > delay_s + 1.1 * STEP_S], 10.0, rtol=2e-3)
