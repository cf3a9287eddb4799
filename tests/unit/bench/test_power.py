"""Disconnects, hold-up, transformers that burn out and breakers that trip, and two supplies in one job."""

from __future__ import annotations

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.bench.power import BURNS_AT, WINDING_TAU_S, Load, Power
from lessonkit.bench.remarks import earth_words, second_transformer_words, supply_words
from lessonkit.errors import BadParameter
from lessonkit.job.model import BadJob, Supply
from lessonkit.job.toml import demo_job, job_from_toml, job_to_toml

CYCLE_S = 1 / 60


def running(job: str, *faults: str, call: str = "cool-1", seconds: float = 30.0) -> Bench:
    """Return a bench under a call for a while, then broken."""
    bench = Bench(job, call=call)
    bench.advance(seconds)
    bench.set_faults(faults)
    return bench


# ---- disconnects ----


@pytest.mark.parametrize("wrong", [None, 0, 1, "off", 1.0, []])
def test_power_is_on_or_off(wrong: object) -> None:
    """A disconnect takes True or False, of a place that has one, and nothing else."""
    bench = running("full-cable")
    before = bench.state
    with pytest.raises(BadParameter, match="True to close the disconnect or False to open it"):
        bench.set_power(wrong)  # type: ignore[arg-type]
    with pytest.raises(BadParameter, match="air, out, or None for both"):
        bench.set_power(False, place="stat")
    assert bench.state is before


def test_the_disconnect_indoors_leaves_a_second_transformer_live() -> None:
    """With the air handler switched off, the outdoor unit still has its own 24 V: the trap of two sources."""
    bench = running("second-transformer")
    bench.set_power(False, "air")
    state = bench.advance(15)
    assert state.power == {"air": False, "out": True}
    assert state.powered
    assert state.between("air:R", "air:C") < 0.1
    assert state.between("out:R", "out:C") > 24
    assert state.boards["out:relay-board"].awake
    assert not state.boards["stat:thermostat"].awake
    bench.set_power(False, "out")
    assert bench.advance(5).between("out:R", "out:C") < 0.1
    assert not bench.state.powered


def test_an_ohmmeter_wants_both_disconnects_open() -> None:
    """While one of two sources is on, ohms are refused."""
    from lessonkit.bench.meter import LiveCircuit, Meter

    bench = running("second-transformer")
    bench.set_power(False, "air")
    with pytest.raises(LiveCircuit):
        Meter(bench).ohms("air:R", "air:C")
    bench.set_power(False)
    assert Meter(bench).ohms("air:R", "air:C") > 0


def test_a_welded_compressor_runs_until_its_line_is_cut() -> None:
    """Contacts that are welded need no 24 V: the disconnect indoors stops nothing, the one outdoors does."""
    bench = running("full-cable", "out.contactor=stuck-closed")
    bench.set_power(False, "air")
    state = bench.advance(60)
    assert state.responding["compressor stage 1"] == "on"
    assert state.responding["outdoor fan"] == "on"
    bench.set_power(False, "out")
    state = bench.advance(1)
    assert state.responding["compressor stage 1"] == state.responding["outdoor fan"] == "off"
    rests_c = bench.advance(36000).coil_c
    assert rests_c == pytest.approx(bench.outdoor_c, abs=0.1), "a compressor that stands still warms no coil"


def test_the_disconnect_outdoors_leaves_the_control_circuit_live() -> None:
    """With one transformer, indoors, the contactor stays in while the compressor has no line power."""
    bench = running("full-cable")
    bench.set_power(False, "out")
    state = bench.advance(1)
    assert state.coils["out:contactor"].sealed
    assert state.responding["compressor stage 1"] == "off"
    assert state.delivering == "air only"


# ---- hold-up ----


@pytest.mark.parametrize("job", ["full-cable", "two-run"])
def test_half_a_cycle_restarts_nothing(job: str) -> None:
    """A supply that misses half a cycle leaves coils, boards and links as they were."""
    bench = running(job)
    told = len(bench.log)
    bench.set_power(False)
    bench.advance(CYCLE_S / 2)
    bench.set_power(True)
    state = bench.advance(30)
    assert len(bench.log) == told
    assert state.responding["compressor stage 1"] == "on"
    assert state.waiting_s == 0


def test_a_board_holds_up_for_a_tenth_of_a_second() -> None:
    """Six cycles without power: armatures let go, and boards fall asleep at the end of their hold-up."""
    bench = running("full-cable")
    bench.set_power(False)
    bench.advance(0.05)
    assert {e.what for e in bench.log.since(30)} == {"lets go"}
    bench.advance(0.1)
    slept = [event.time_s for event in bench.log if event.what == "falls asleep"]
    assert slept == pytest.approx([30.1, 30.1])


def test_a_longer_hold_up_is_a_matter_of_the_part() -> None:
    """Electronics say how long they hold up, and a file keeps it."""
    job = demo_job("full-cable").with_electronics("thermostat", hold_up_s=2.0)
    assert job_from_toml(job_to_toml(job)) == job
    bench = Bench(job, call="fan")
    bench.set_power(False)
    assert bench.advance(1.9).boards["stat:thermostat"].awake
    assert not bench.advance(0.2).boards["stat:thermostat"].awake


# ---- overload ----


def test_a_load_is_told_in_volt_amperes() -> None:
    """VA is the transformer's volts times its amperes, in the state and in JSON, beside what it may give."""
    state = running("second-transformer", call="cool-2").state
    for place in ("air", "out"):
        volts = state.between(f"{place}:XFMR", f"{place}:C")
        assert state.va[place] == pytest.approx(volts * state.amps[f"{place}:fuse"])
    seen = state.to_dict()
    assert seen["rated_va"] == {"air": 40.0, "out": 40.0}
    assert set(seen["va"]) == {"air", "out"}
    assert seen["overloaded"] == []
    assert seen["earth_a"] == pytest.approx(state.amps["outdoor.earth"], abs=1e-6)


def test_a_small_transformer_burns_out() -> None:
    """A 20 VA unit at 144 % is overloaded at once and burns out within the hour; a new one does it again."""
    job = demo_job("full-cable").with_supply(rated_va=20.0)
    bench = Bench(job, call="cool-2")
    state = bench.advance(30)
    assert state.overloaded == ("air",)
    share = state.amps["air:fuse"] / job.supply.transformer.rated_a
    assert share == pytest.approx(1.44, abs=0.01)
    state = bench.advance(3600)
    assert (state.transformers["air"], state.fuse, state.delivering) == ("burnt-out", "whole", "nothing")
    (burnt_s,) = [e.time_s for e in bench.log if e.what == "burns out"]
    bench.replace_transformer()
    assert bench.advance(400).responding["compressor stage 1"] == "on"
    again = bench.advance(3600)
    assert again.transformers["air"] == "burnt-out"
    assert 3000 < burnt_s < 3100


def test_an_overload_that_comes_and_goes_lasts_longer() -> None:
    """What cools in between is not what it was: the same load with pauses burns nothing."""
    bench = Bench(demo_job("full-cable").with_supply(rated_va=20.0).with_equipment(short_cycle_s=0.0))
    for _ in range(12):
        bench.set_call("cool-2")
        bench.advance(1200)
        bench.set_call("off")
        bench.advance(1200)
    assert bench.state.transformers["air"] == "whole"


def test_time_on_a_warm_transformer_can_be_cut_anywhere() -> None:
    """Heat after a stretch of time is the heat after its pieces, and it burns when it says."""
    load = {"air": Load(1.5)}
    whole = Power().after(load, 1000.0)
    pieces = Power().after(load, 300.0).after(load, 700.0)
    assert whole.windings["air"] == pytest.approx(pieces.windings["air"])
    wait_s = Power().due_s(load)
    assert not Power().after(load, wait_s - 1).burnt
    assert Power().after(load, wait_s).burnt == {"air"}
    assert Power().due_s({"air": Load(BURNS_AT**0.5 - 1e-6)}) == float("inf")
    assert wait_s < 2 * WINDING_TAU_S


def test_a_breaker_trips_in_its_time_and_is_reset() -> None:
    """The breaker saves the transformer that a fuse of the same rating would have let burn."""
    job = demo_job("full-cable").with_supply(rated_va=40.0, fuse_a=1.6, protector="breaker")
    bench = Bench(job, call="cool-2")
    bench.advance(30)
    bench.set_faults(["thermostat.R=earth:9"])
    state = bench.advance(1)
    assert state.overloaded == ("air",)
    assert state.fuse == "whole", "it takes its time"
    state = bench.advance(600)
    assert (state.fuses["air"], state.transformers["air"]) == ("tripped", "whole")
    assert bench.log.of("fuse air")[-1].what == "trips"
    bench.set_faults([])
    bench.replace_fuse()
    assert bench.log.of("fuse air")[-1].what == "is reset"
    assert bench.advance(400).responding["compressor stage 1"] == "on"


def test_what_class_2_allows() -> None:
    """An inherently limited source gives at most 8 A into a short, and only that may go without a fuse."""
    assert Supply(rated_va=20.0, limited="inherently", protector="none").holds_a == float("inf")
    with pytest.raises(BadParameter, match=r"12\.8 A into a short"):
        Supply(rated_va=40.0, limited="inherently")
    with pytest.raises(BadParameter, match="fuse or breaker, unless limited is inherently"):
        Supply(protector="none")
    for name in ("protector", "limited"):
        with pytest.raises(BadParameter, match=name):
            Supply(**{name: "string"})
    with pytest.raises(BadParameter, match="interconnection_listed"):
        Supply(interconnection_listed="yes")  # type: ignore[arg-type]


def test_an_unprotected_source_burns_on_a_short() -> None:
    """Inherently limited means that the cable lives; a short that stays burns the transformer."""
    job = demo_job("full-cable").with_supply(rated_va=20.0, limited="inherently", protector="none")
    bench = Bench(job, faults="thermostat.R=short:C@0")
    state = bench.advance(600)
    assert (state.fuse, state.transformers["air"]) == ("whole", "burnt-out")


# ---- two supplies ----


def test_commons_are_joined_only_where_both_sources_are_listed() -> None:
    """The refusal names what is not listed, and the other honest form."""
    job = demo_job("second-transformer")
    with pytest.raises(BadJob, match=r"listed for .* interconnection_listed = true for supply if"):
        job.with_supply(interconnection_listed=False)
    with pytest.raises(BadJob, match='keep them apart by runs.outdoor.receiver = "isolated"'):
        job.with_run("outdoor", far_supply=Supply())
    with pytest.raises(BadJob, match="receiver is isolated, which only"):
        demo_job("wire-return").with_run("outdoor", receiver="isolated")
    with pytest.raises(BadParameter, match="receiver"):
        job.with_run("outdoor", receiver="deaf")


@pytest.mark.parametrize("name", ["second-transformer", "out-of-phase", "isolated-receiver"])
def test_a_second_transformer_works_in_every_form(name: str) -> None:
    """Joined in phase, joined out of phase and isolated, the outdoor unit does what it is told."""
    state = running(name, call="cool-2").state
    assert state.delivering == "cooling, stage 2"
    assert state.links["outdoor"].state == "working"
    assert state.amps["outdoor.C"] < 0.01, "no load current comes back this way"


def test_an_isolated_receiver_joins_nothing() -> None:
    """A bridge from the far hot side to a near terminal finds no way back, where joined commons give one."""
    current = {}
    for name in ("second-transformer", "isolated-receiver"):
        bench = running(name)
        solution = bench.solution
        current[name] = abs(solution.thevenin("out:R", "air:C").z_ohm)
    assert current["second-transformer"] < 10
    assert current["isolated-receiver"] > 5e4


def test_a_broken_signal_wire_silences_an_isolated_receiver() -> None:
    """Either wire of the isolated loop, broken, ends the link, and its watchdog lets everything go."""
    for conductor in ("SIG", "C"):
        bench = running("isolated-receiver", f"outdoor.{conductor}=open")
        state = bench.advance(30)
        assert state.links["outdoor"].state == "silent"
        assert state.responding["compressor stage 1"] == "off"


# ---- words ----


def test_words_about_supplies() -> None:
    """VA of VA with the protector, an overload in per cent, and what a large fuse fails to protect."""
    job = demo_job("full-cable").with_supply(rated_va=20.0, fuse_a=5.0)
    bench = Bench(job, call="cool-2")
    lines = supply_words(bench.advance(30), job)
    assert lines[0] == "supply at the air handler: 29.8 of 20 VA, 5 A fuse whole"
    assert lines[1] == "overload at the air handler: 144 % of the rated 0.83 A"
    assert lines[2].startswith("the 5 A fuse at the air handler is more than the 3.6 A that Class 2 allows")
    assert "protects the cable and not the transformer: 1.08 to 6.75 A burn that out" in lines[3]
    bench.advance(3600)
    assert supply_words(bench.state, job)[0].endswith("; the transformer is burnt-out")
    sound = demo_job("full-cable")
    assert len(supply_words(Bench(sound).state, sound)) == 1


def test_words_about_two_supplies() -> None:
    """The job says which form it has, and the phase shows in volts between the hot sides."""
    words = {
        name: second_transformer_words(Bench(name).state, demo_job(name))
        for name in ("second-transformer", "out-of-phase", "isolated-receiver", "full-cable")
    }
    assert "joined to C indoors (both sources are listed for it), in phase: 0." in words["second-transformer"]
    assert "out of phase: 54." in words["out-of-phase"]
    assert "not joined to C indoors (isolated receiver)" in words["isolated-receiver"]
    assert words["full-cable"] == ""


def test_words_about_equipment_ground() -> None:
    """An earth return says how many amperes flow, with the caution; a wire return says nothing."""
    state = running("earth-return", call="cool-2").state
    words = earth_words(state, demo_job("earth-return"))
    assert words.startswith(
        f"{state.earth_a:.2f} A flow on equipment ground for as long as the outdoor unit has"
    )
    assert "Caution" in words
    assert earth_words(running("wire-return").state, demo_job("wire-return")) == ""
