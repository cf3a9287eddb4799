"""What a state holds beside volts: amperes, closed contacts, what is live, ghosts; read once a moment."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.bench.bench import Bench
from lessonkit.bench.state import GHOST_LOAD_OHM, LIVE_V
from lessonkit.copper.elements import Resistance
from lessonkit.copper.network import solve
from lessonkit.job.calls import CALLS
from lessonkit.job.faults import Fault, single_faults
from lessonkit.job.toml import demo_job, demo_names

JOBS = {name: demo_job(name) for name in demo_names()[:4]}
BROKEN = [(name, fault) for name, job in JOBS.items() for fault in single_faults(job)]


def bench_with(job: str, call: str, *faults: Fault | str, seconds: float = 20.0) -> Bench:
    """Return a bench under a call, some seconds after its faults struck."""
    bench = Bench(JOBS[job])
    bench.set_call(call)
    bench.advance(10.0)
    bench.set_faults(faults)
    bench.advance(seconds)
    return bench


@pytest.mark.parametrize("job", JOBS)
def test_a_state_is_read_once_a_moment(job: str) -> None:
    """Asking again gives the same value; anything that is done to the bench gives a new one."""
    bench = Bench(JOBS[job])
    acts = [
        lambda: bench.set_call("cool-2"),
        lambda: bench.advance(7.0),
        lambda: bench.set_faults(["air.fuse=blown"]),
        lambda: bench.set_faults([]),
        bench.replace_fuse,
        lambda: bench.set_outdoor_c(-3.0),
        bench.skip_delay,
        bench.force_defrost,
        lambda: bench.set_power(False),
    ]
    for act in acts:
        before = bench.state
        assert bench.state is before
        act()
        assert bench.state is not before
        assert bench.state.call == bench.call
        assert bench.state.time_s == bench.time_s
        assert bench.state.present == bench.faults
        assert bench.state.solution is bench.solution


@pytest.mark.parametrize("job", JOBS)
@pytest.mark.parametrize("call", CALLS)
def test_currents_meet_at_every_node(job: str, call: str) -> None:
    """What a coil and a fuse carry is what their impedance takes at their volts (Ohm's law)."""
    state = bench_with(job, call).state
    kit = JOBS[job].equipment
    coils = {
        "air:blower-relay": kit.blower_relay,
        "out:contactor": kit.contactor,
        "air:sequencer": kit.sequencer,
    }
    for name, coil in coils.items():
        va = coil.sealed_va if state.coils[name].sealed else coil.inrush_va
        assert state.amps[name] == pytest.approx(state.coils[name].volts * va / 24.0**2, rel=1e-6)
    supplies = {"air": JOBS[job].supply}
    if JOBS[job].outdoor_run.far_supply is not None:
        supplies["out"] = JOBS[job].outdoor_run.far_supply
    for place, supply in supplies.items():
        over_fuse = state.between(f"{place}:XFMR", f"{place}:R")
        assert state.amps[f"{place}:fuse"] == pytest.approx(over_fuse / supply.fuse.r_ohm, rel=1e-6)
    assert set(state.fuses) == set(supplies)
    told = state.to_dict()["amps"]
    assert set(told) == {*state.coils, *(f"{p}:fuse" for p in supplies), *_conductors(job), "outdoor.earth"}
    assert all(told[name] == pytest.approx(amps, abs=1e-6) for name, amps in state.amps.items())


def _conductors(job: str) -> set[str]:
    return {f"{name}.{conductor}" for name, run in JOBS[job].runs.items() for conductor in run.conductors}


def test_closed_contacts_follow_the_call_and_the_relays() -> None:
    """A thermostat closes what is called while awake, a relay board what it holds; a stuck contact stays."""
    state = bench_with("two-run", "cool-2").state
    called = {"Y1", "Y2", "G", "O"}
    assert state.closed == {f"stat:{t}" for t in called} | {f"air:{t}" for t in called} | {
        f"out:{t}" for t in called - {"G"}
    }
    assert bench_with("two-run", "cool-2", "stat.thermostat=dead").state.closed == frozenset()
    stuck = bench_with("two-run", "off", "out.relay-Y1=stuck-closed").state
    assert stuck.closed == {"out:Y1"}
    assert "out:Y1" not in bench_with("two-run", "cool-1", "out.relay-Y1=stuck-open").state.closed


def test_live_begins_at_half_the_rated_volts() -> None:
    """A terminal at just 12 V counts as live, and one a thousandth of a volt below it doesn't."""
    assert LIVE_V == 12.0
    state = bench_with("full-cable", "cool-1").state
    node, against = state.solution.network.index["out:Y1"], state.solution.network.index["out:C"]
    for volts, live in ((12.0, True), (11.999, False)):
        node_v = state.solution.node_v.copy()
        node_v[[node, against]] = volts, 0.0
        shown = replace(state, solution=replace(state.solution, node_v=node_v))
        assert ("Y1" in shown.energised("out")) is live


@pytest.mark.parametrize(("volts", "live"), [(12.0, True), (11.999, False)])
def test_a_common_that_is_live_is_no_reference(volts: float, live: bool) -> None:
    """Readings are told against the own C until that stands at 12 V; then against C of the air handler."""
    state = bench_with("full-cable", "off", seconds=0.0).state
    shown = replace(state, volts={**state.volts, "out:C": volts})
    assert shown.reference("out") == ("air:C" if live else "out:C")
    assert shown.reference("stat") == "stat:C"


def test_a_ghost_begins_at_half_the_rated_volts() -> None:
    """A floating conductor is a ghost from just 12 V on, and none a thousandth of a volt below."""
    state = bench_with("full-cable", "cool-2", "outdoor.Y1=open", seconds=1.0).state
    (ghost,) = state.ghosts
    index = state.solution.network.index
    for volts, found in ((12.0, {ghost}), (11.999, set())):
        node_v = state.solution.node_v * 0
        node_v[index[ghost]] = volts
        shown = replace(state, solution=replace(state.solution, node_v=node_v))
        assert shown.ghosts == found


def test_what_an_encoder_reads_is_told_by_its_link() -> None:
    """The inputs of a link are the called terminals of its run."""
    state = bench_with("two-run", "heat-aux").state
    assert state.links["thermostat"].inputs == state.called
    assert state.links["outdoor"].inputs == state.called - {"G", "W1"}


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(BROKEN), st.sampled_from(CALLS), st.data(), st.floats(1.0, 1e8))
def test_a_thevenin_source_stands_for_the_whole_circuit(
    broken: tuple[str, Fault], call: str, data: st.DataObject, load_ohm: float
) -> None:
    """Between any two points, open volts behind one impedance load down as the network itself does."""
    bench = bench_with(broken[0], call, broken[1], seconds=3.0)
    nodes = sorted(bench.state.volts)
    one, other = data.draw(st.lists(st.sampled_from(nodes), min_size=2, max_size=2, unique=True))
    source = bench.solution.thevenin(one, other)
    load = Resistance("load", one, other, load_ohm)
    loaded = solve(bench.network(extra=(load,)), bench.job.frequency_hz)
    assert source.open_v == bench.solution.v(one, other)
    assert source.loaded_v(load_ohm) == pytest.approx(loaded.v(one, other), rel=1e-5, abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from([(n, f) for n, f in BROKEN if f.kind in ("open", "stuck-open", "dead", "swapped")]),
    st.sampled_from(CALLS),
)
def test_ghosts_vanish_under_a_load(broken: tuple[str, Fault], call: str) -> None:
    """A ghost reads live and loses half its volts once 3 kilohms hang on it; what is no ghost keeps more."""
    bench = bench_with(broken[0], call, broken[1], seconds=3.0)
    state = bench.state
    for node in state.volts:
        against = state.reference(node.partition(":")[0])
        if node.endswith((":R", ":C", ":XFMR", ":GND")) or state.between(node, against) < LIVE_V:
            assert node not in state.ghosts
            continue
        load = Resistance("load", node, against, GHOST_LOAD_OHM)
        left = abs(solve(bench.network(extra=(load,)), bench.job.frequency_hz).v(node, against))
        assert (left < 0.5 * state.between(node, against)) == (node in state.ghosts)


def test_a_broken_conductor_has_ghosts_to_find() -> None:
    """The open outdoor conductor of a full cable leaves a ghost, so the search is not about nothing."""
    found = {
        node
        for name, fault in BROKEN
        if name == "full-cable" and fault.kind == "open"
        for node in bench_with(name, "cool-2", fault, seconds=1.0).state.ghosts
    }
    assert found
