"""The bench at rest: what a call and a fault make of a job, read at its terminals and its equipment."""

from __future__ import annotations

import math

import pytest

from lessonkit.bench import signal_path
from lessonkit.bench.bench import Bench
from lessonkit.bench.state import State
from lessonkit.errors import BadParameter
from lessonkit.job.calls import CALLS, terminals_for
from lessonkit.job.faults import BadFault, single_faults
from lessonkit.job.model import BadJob, Job
from lessonkit.job.toml import demo_job, demo_names, job_from_toml
from lessonkit.studies.cases import Case, rest

#: The heat pumps with two stages and electric heat; `test_new_equipment` has the others.
JOBS = {name: demo_job(name) for name in demo_names()[:4]}
by_job = pytest.mark.parametrize("job", JOBS.values(), ids=JOBS)


def after(job: str | Job, call: str, *faults: str, seconds: float = 40.0, sound_s: float = 10.0) -> State:
    """Let a job run sound under a call, break it, wait, and return what it shows."""
    bench = Bench(JOBS[job] if isinstance(job, str) else job)
    bench.set_call(call)
    bench.advance(sound_s)
    bench.set_faults(faults)
    return bench.advance(seconds)


def running(state: State) -> set[str]:
    """Return the names of the equipment that does something."""
    return {name for name, words in state.responding.items() if words != "off"}


# ---- sound jobs ----


@by_job
@pytest.mark.parametrize("call", CALLS)
def test_every_sound_job_does_what_is_called(job: Job, call: str) -> None:
    """Without a fault, exactly the coils of the call's terminals pull in, on every kind of wiring."""
    state = after(job, call)
    called = terminals_for(call, job.equipment.valve)
    behind = {
        "G": "air:blower-relay", "W1": "air:sequencer", "E": "air:emergency-relay",
        "Y1": "out:contactor", "Y2": "out:unloader", "O": "out:reversing-valve", "B": "out:reversing-valve",
    }  # fmt: skip
    assert {name for name, coil in state.coils.items() if coil.sealed} == {behind[t] for t in called}
    assert all(state.coils[behind[t]].volts > 20.4 for t in called), "85 % of 24 V at every coil"
    assert state.chatter == ()
    assert state.fuse == "whole"
    assert state.energised("stat") == called | {"R"}
    assert all(link.state == "working" for link in state.links.values())


@by_job
def test_delivery_in_words(job: Job) -> None:
    """What the house gets follows the call."""
    got = {call: after(job, call, seconds=5).delivering for call in CALLS}
    assert got == {
        "off": "nothing",
        "fan": "air only",
        "cool-1": "cooling, stage 1",
        "cool-2": "cooling, stage 2",
        "heat-1": "heating, stage 1",
        "heat-2": "heating, stage 2",
        "heat-aux": "heating, stage 2, with auxiliary heat",
        "emergency": "auxiliary heat alone, emergency heat on",
    }


# ---- every single fault ----


@by_job
def test_every_single_fault_settles_under_every_call(job: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    """A job with any one fault comes to rest under any call: finite volts, sane coils, no error."""
    monkeypatch.setattr(signal_path, "POOL", 2)
    ceiling = 2.5 * job.supply.open_v
    for fault in single_faults(job):
        bench = Bench(job, faults=[fault])
        for call in CALLS:
            bench.set_call(call)
            state = bench.advance(2.5)
            assert all(math.isfinite(v) and v < ceiling for v in state.volts.values()), (fault, call)
            for name, coil in state.coils.items():
                at = bench.wiring.coils[name].coil
                kept_out = name in state.chatter or fault.kind == "burnt-out"
                assert coil.volts < at.pickup_v or coil.sealed or kept_out, (fault, call, name)
                assert coil.volts >= at.dropout_v or not coil.sealed, (fault, call, name)
            for name, board in state.boards.items():
                assert board.volts >= bench.wiring.boards[name].electronics.brownout_v or not board.awake


@by_job
def test_side_by_side_is_what_each_bench_shows(job: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    """Cases solved in one batch end as a bench of their own ends that is given time."""
    monkeypatch.setattr(signal_path, "POOL", 16)
    faults = list(single_faults(job))[::7]
    cases = [Case(call, (fault,)) for fault in faults for call in ("cool-2", "heat-aux")]
    compared = 0
    for case, end in zip(cases, rest(job, cases), strict=True):
        bench = Bench(job, faults=case.faults)
        bench.set_call(case.call)
        bench.advance(3.0)
        bench.skip_delay()
        state = bench.advance(25.0)
        if state.chatter:
            continue
        compared += 1
        assert set(state.volts) <= set(end.volts)
        for node, volts in ((node, end.volts[node]) for node in state.volts):
            assert volts == pytest.approx(state.volts[node], rel=1e-6, abs=1e-6), (case, node)
    assert compared > 0.9 * len(cases), "chatter, which has no one end, is the exception"


# ---- faults that a technician meets ----


def test_a_broken_signal_conductor_releases_the_outdoor_unit() -> None:
    """With SIG open the outdoor unit falls silent and rests, while the blower still runs."""
    state = after("two-run", "cool-2", "outdoor.SIG=open", seconds=60)
    assert state.links["outdoor"].state == "silent"
    assert running(state) == {"blower"}
    assert state.links["outdoor"].sent > state.links["outdoor"].accepted > 0


def test_a_broken_signal_to_the_thermostat_stops_everything() -> None:
    """With SIG of the thermostat run open no call passes; the outdoor link works on, with nothing to say."""
    state = after("two-run", "cool-2", "thermostat.SIG=open", seconds=60)
    assert running(state) == set()
    assert state.links["thermostat"].state == "silent"
    assert state.links["outdoor"].state == "working"
    assert state.energised("stat") == {"R", "Y1", "Y2", "G", "O"}


@by_job
def test_hot_to_common_blows_the_fuse(job: Job) -> None:
    """R that touches C anywhere on a run that has both blows the fuse and leaves everything dead."""
    run = next(name for name, run in job.runs.items() if {"R", "C"} <= set(run.conductors))
    state = after(job, "cool-2", f"{run}.R=short:C")
    assert state.fuse == "blown"
    assert running(state) == set()
    # Behind the fuse nothing is left but what leaks over insulation.
    assert max(volts for node, volts in state.volts.items() if node != "air:XFMR") < 1e-3
    assert state.volts["air:XFMR"] == pytest.approx(job.supply.open_v, rel=1e-3)


def test_hot_to_grounded_metal_blows_the_fuse() -> None:
    """R that touches grounded metal is a short as well, since C is bonded."""
    for job, place in (("full-cable", "thermostat"), ("earth-return", "outdoor")):
        assert after(job, "off", f"{place}.R=earth").fuse == "blown"


def test_hot_on_the_outdoor_cabinet_without_its_bond() -> None:
    """With the bond lost, R on the outdoor cabinet blows no fuse: the cabinet stands at 24 volts instead."""
    state = after("full-cable", "off", "outdoor.R=earth@1", "outdoor.earth=open")
    assert state.fuse == "whole"
    assert state.volts["out:GND"] > 24
    assert after("full-cable", "off", "outdoor.R=earth@1").fuse == "blown"


def test_a_fuse_stays_blown_until_replaced() -> None:
    """Mending the short does not mend the fuse; a new fuse in a mended job lets it run again."""
    bench = Bench(JOBS["full-cable"])
    bench.set_call("cool-1")
    bench.advance(5)
    bench.set_faults(["outdoor.R=short:C"])
    assert bench.advance(5).fuse == "blown"
    bench.replace_fuse()
    assert bench.advance(5).fuse == "blown", "the short is still there"
    bench.set_faults([])
    bench.set_call("off")
    assert bench.advance(600).fuse == "blown"
    bench.replace_fuse()
    bench.set_call("cool-1")
    state = bench.advance(400)
    assert state.fuse == "whole"
    assert "compressor stage 1" in running(state)


def test_a_fuse_that_was_blown_before() -> None:
    """The fault `blown` is an open fuse: clearing it puts a whole one in, replacing alone does not help."""
    bench = Bench(JOBS["full-cable"], faults=["air.fuse=blown"])
    assert bench.state.fuse == "blown"
    bench.replace_fuse()
    assert bench.advance(5).fuse == "blown"
    bench.set_faults([])
    assert bench.advance(5).fuse == "whole"
    assert bench.state.volts["air:R"] > 24


def test_a_shorted_call_terminal_blows_only_under_that_call() -> None:
    """Y1 touching C is harmless until Y1 is called: then the contact feeds a short."""
    assert after("full-cable", "fan", "outdoor.Y1=short:C").fuse == "whole"
    assert after("full-cable", "cool-1", "outdoor.Y1=short:C").fuse == "blown"


def test_hot_on_a_call_terminal_calls_by_itself() -> None:
    """R touching Y1 runs the compressor with nothing called, and without air."""
    state = after("full-cable", "off", "thermostat.R=short:Y1")
    assert "compressor stage 1" in running(state)
    assert "blower" not in running(state)
    assert state.delivering == "heating, stage 1, but no air moves"


def test_a_lost_earth_bond_lifts_the_outdoor_common() -> None:
    """On an earth return the lost bond leaves R and C of the outdoor unit live, with no volts between."""
    state = after("earth-return", "cool-2", "outdoor.earth=open", seconds=60)
    assert running(state) == {"blower"}
    assert state.volts["out:R"] > 24
    assert state.volts["out:C"] > 24, "the common floats up through everything connected to it"
    assert state.volts["out:GND"] > 24, "and so does the cabinet"
    assert state.between("out:R", "out:C") < 2
    assert state.links["outdoor"].state == "dead"
    assert "relay-board at out does nothing" in state.links["outdoor"].why


def test_a_wire_return_does_not_care_about_the_bond() -> None:
    """With a conductor for C, losing the earth bond changes nothing that a trainee can see."""
    sound, lost = (after("wire-return", "heat-2", *faults) for faults in ((), ("outdoor.earth=open",)))
    assert lost.responding == sound.responding
    for name, coil in sound.coils.items():
        assert lost.coils[name].volts == pytest.approx(coil.volts, rel=1e-6, abs=1e-6)


def test_a_worse_and_worse_bond() -> None:
    """From good to lost, coil volts fall and the reference shift grows, until frames or boards give up."""
    ohms = (0.05, 0.5, 1.0)
    states = [after("earth-return", "cool-2", f"outdoor.earth=resistance:{ohm}") for ohm in ohms]
    volts = [state.coils["out:contactor"].volts for state in states]
    hum = [state.links["outdoor"].hum_v for state in states]
    assert volts == sorted(volts, reverse=True)
    assert hum == sorted(hum)
    assert hum[-1] == pytest.approx(states[-1].between("out:C", "air:C"), rel=0.15)
    poor = after("earth-return", "cool-2", "outdoor.earth=resistance:4", seconds=90)
    assert "out:relay-board" in poor.chatter, "it drops its load, recovers, and drops it again"
    assert "compressor stage 1" not in running(poor)
    rod = after("earth-return", "cool-2", "outdoor.earth=resistance:50", seconds=90)
    assert running(rod) == {"blower"}


def test_hot_on_the_signal_conductor() -> None:
    """R touching SIG swamps the signal: 24 volts at 60 Hz at both ends, no frame, safe state, fuse whole."""
    state = after("earth-return", "cool-2", "outdoor.R=short:SIG", seconds=60)
    assert state.volts["air:SIG-out"] > 24
    assert state.links["outdoor"].state == "silent"
    assert state.links["outdoor"].hum_v > 24
    assert running(state) == {"blower"}
    assert state.fuse == "whole"


def test_signal_to_common_is_silence() -> None:
    """SIG touching C holds the line at a space: no level, no frame."""
    state = after("wire-return", "heat-2", "outdoor.SIG=short:C", seconds=60)
    assert state.links["outdoor"].high_v < 0.1
    assert state.links["outdoor"].state == "silent"


def test_swapped_calls_answer_crosswise() -> None:
    """Y1 and G changed over: a call for the fan runs the compressor, and R and C changed over run nothing."""
    state = after("full-cable", "fan", "thermostat.Y1=swapped:G")
    assert running(state) == {"compressor stage 1", "outdoor fan"}
    state = after("full-cable", "cool-2", "thermostat.R=swapped:C")
    assert running(state) == set()
    assert state.fuse == "whole"
    assert state.between("stat:R", "stat:C") > 24, "the thermostat is alive, the wrong way round"
    assert state.volts["stat:C"] > 24


def test_a_broken_common_reads_by_its_reference() -> None:
    """With C broken outdoors R reads full volts against ground and none against its own C, which is live."""
    for job in ("full-cable", "wire-return"):
        state = after(job, "heat-2", "outdoor.C=open", seconds=60)
        assert state.between("out:R", "out:GND") > 24
        assert state.between("out:R", "out:C") < 2
        assert running(state) == {"blower"}


def test_a_board_fed_through_a_coil() -> None:
    """Y1 and C changed over outdoors: with nothing called the board is fed through the contactor coil."""
    state = after("full-cable", "off", "outdoor.Y1=swapped:C")
    assert state.boards["out:defrost-board"].awake
    coil_v = state.coils["out:contactor"].volts
    assert 1 < coil_v < 3, "the coil is in the way back, far below its pick-up"
    assert coil_v == pytest.approx(state.volts["out:C"], rel=0.05)
    assert running(state) == set()


def test_power_that_comes_with_the_call_only() -> None:
    """R and Y1 changed over outdoors: the board lives while Y1 is called, and dies with the call."""
    bench = Bench(JOBS["full-cable"], faults=["outdoor.R=swapped:Y1"])
    assert not bench.advance(5).boards["out:defrost-board"].awake
    bench.set_call("cool-1")
    assert bench.advance(5).boards["out:defrost-board"].awake
    bench.set_call("off")
    assert not bench.advance(5).boards["out:defrost-board"].awake


def test_swapped_power_outdoors_on_the_earth_return() -> None:
    """R and SIG changed over outdoors: the board hangs on the signal driver and starves."""
    state = after("earth-return", "cool-2", "outdoor.R=swapped:SIG", seconds=60)
    assert state.links["outdoor"].state == "dead"
    assert state.between("out:R", "out:C") < 1
    assert running(state) == {"blower"}


@pytest.mark.parametrize(("job", "letter"), [("full-cable", "O"), ("wire-return", "B")])
def test_valve_set_wrong(job: str, letter: str) -> None:
    """A thermostat set for the other valve type heats when it should cool and cools when it should heat."""
    assert JOBS[job].equipment.valve == letter
    assert after(job, "cool-1", "stat.valve=reversed").delivering == "heating, stage 1"
    assert after(job, "heat-1", "stat.valve=reversed").delivering == "cooling, stage 1"


def test_an_open_valve_conductor_leaves_the_valve_at_rest() -> None:
    """With the valve's wire open an O unit heats always, and a B unit cools always."""
    assert after("full-cable", "cool-1", "outdoor.O=open").delivering == "heating, stage 1"
    assert after("wire-return", "heat-1", "out.relay-B=stuck-open").delivering == "cooling, stage 1"


@pytest.mark.parametrize("job", ["full-cable", "two-run"])
def test_a_weak_supply(job: str) -> None:
    """At two thirds, coils that are in stay in but nothing pulls in anew; at half the boards fall silent."""
    held = after(job, "cool-1", "air.transformer=weak:0.65")
    assert "compressor stage 1" in running(held)
    bench = Bench(JOBS[job], faults=["air.transformer=weak:0.65"])
    bench.set_call("cool-1")
    assert running(bench.advance(20)) == set()
    dead = after(job, "cool-1", "air.transformer=weak:0.5")
    assert running(dead) == set()
    assert not any(board.awake for board in dead.boards.values())


@pytest.mark.parametrize(
    ("fault", "silent"),
    [
        ("stat.encoder=dead", {"thermostat"}),
        ("air.relay-board=dead", {"thermostat"}),
        ("air.encoder=dead", {"outdoor"}),
        ("out.relay-board=dead", {"outdoor"}),
    ],
)
def test_dead_boards(fault: str, silent: set[str]) -> None:
    """A dead encoder or relay board kills its own link, which ends in the safe state and says which."""
    state = after("two-run", "cool-2", fault, seconds=60)
    for run, link in state.links.items():
        assert (link.state == "dead") == (run in silent)
        assert (fault.partition(".")[2].partition("=")[0] in link.why) == (run in silent)
        assert bool(link.outputs) == (run not in silent and "thermostat" not in silent)
    assert running(state) == (set() if "thermostat" in silent else {"blower"})


def test_a_dead_thermostat_and_a_dead_transformer() -> None:
    """Without a thermostat nothing is called; without a transformer nothing has volts."""
    assert running(after("full-cable", "cool-2", "stat.thermostat=dead")) == set()
    state = after("two-run", "cool-2", "air.transformer=dead")
    assert running(state) == set()
    assert max(state.volts.values()) == 0


def test_stuck_relays() -> None:
    """A welded contact calls for ever, an open one never; the others do as they are told."""
    state = after("two-run", "off", "out.relay-Y1=stuck-closed")
    assert "compressor stage 1" in running(state)
    assert "blower" not in running(state)
    state = after("two-run", "cool-2", "out.relay-Y1=stuck-open")
    assert running(state) == {"blower", "reversing valve"}
    assert state.links["outdoor"].outputs == {"Y1", "Y2", "O"}, "the board thinks that it holds Y1"
    state = after("two-run", "cool-1", "air.relay-D=stuck-closed")
    assert "auxiliary heat" in running(state), "D feeds W1 over the jumper: heat against cooling"


def test_burnt_out_and_welded_outdoors() -> None:
    """A burnt-out contactor coil never closes; welded contacts run the compressor with nothing called."""
    state = after("full-cable", "cool-2", "out.contactor=burnt-out")
    assert "compressor stage 1" not in running(state)
    assert state.volts["out:CC"] > 24, "the volts are there: it is the coil"
    state = after("full-cable", "off", "out.contactor=stuck-closed")
    assert running(state) == {"compressor stage 1", "outdoor fan"}
    assert state.coils["out:contactor"].volts < 1


def test_noise_loses_frames_and_then_the_link() -> None:
    """Some noise costs frames but not the link; a lot of it ends in the safe state."""
    some = after("earth-return", "cool-1", "outdoor.SIG=noise:3", seconds=200)
    link = some.links["outdoor"]
    assert link.sent > link.accepted > link.replies > 0.2 * link.sent
    loud = after("earth-return", "cool-1", "outdoor.SIG=noise:8", seconds=60)
    assert loud.links["outdoor"].state == "silent"
    assert running(loud) == {"blower"}


def test_a_splice_in_the_hot_wire_starves_the_outdoor_unit() -> None:
    """A bad splice in R costs as many volts as its ohms and the current make, seen only under load."""
    quiet = after("full-cable", "off", "outdoor.R=resistance:20")
    loaded = after("wire-return", "heat-2", "outdoor.R=resistance:3")
    assert quiet.between("out:R", "out:C") > 24
    drop = loaded.between("air:R", "out:R")
    run = JOBS["wire-return"].outdoor_run
    assert drop == pytest.approx(loaded.amps["outdoor.R"] * (3 + run.conductor_ohm), rel=1e-6)


# ---- second transformer ----

SECOND = """
name = "far-barn"
title = "Sallowmere Dairy, far barn"

[supply]
rated_va = 40.0
fuse_a = 3.0
interconnection_listed = true

[runs.outdoor]
arrangement = "link"
return = "second-transformer"
length_m = 60.0
conductors = ["SIG", "C", "spare"]
far_in_phase = {in_phase}

[runs.outdoor.far_supply]
rated_va = 40.0
fuse_a = 3.0
interconnection_listed = true
"""


@pytest.mark.parametrize("in_phase", [True, False])
def test_second_transformer_runs_either_way_round(in_phase: bool) -> None:
    """With its own transformer the outdoor unit works in either phase: only the signal shares the return."""
    job = job_from_toml(SECOND.format(in_phase=str(in_phase).lower()))
    state = after(job, "cool-2")
    assert state.delivering == "cooling, stage 2"
    assert state.links["outdoor"].state == "working"
    assert state.amps["outdoor.C"] < 0.01, "no load current comes back this way"
    assert state.links["outdoor"].hum_v < 0.1


def test_the_phase_of_a_second_transformer_is_seen_between_the_hot_sides() -> None:
    """Between the two R terminals a meter reads next to nothing in phase, and the sum out of phase."""
    between = {
        in_phase: after(job_from_toml(SECOND.format(in_phase=in_phase)), "off").between("air:R", "out:R")
        for in_phase in ("true", "false")
    }
    assert between["true"] < 1
    assert between["false"] == pytest.approx(2 * 27.2, rel=0.02)


def test_a_second_transformer_has_its_own_fuse_and_faults() -> None:
    """A dead far transformer or far fuse stops the outdoor unit and leaves the house its blower."""
    job = job_from_toml(SECOND.format(in_phase="true"))
    state = after(job, "cool-2", "out.transformer=dead", seconds=60)
    assert running(state) == {"blower"}
    assert state.links["outdoor"].state == "dead"
    state = after(job, "cool-2", "out.fuse=blown", seconds=60)
    assert running(state) == {"blower"}
    assert state.volts["air:R"] > 24
    assert state.between("out:XFMR", "out:C") > 24


# ---- wrong input ----


def test_wrong_input_is_refused_and_changes_nothing() -> None:
    """Calls, faults, seeds, temperatures and times that can't be are refused in one sentence."""
    bench = Bench(JOBS["two-run"], faults=["outdoor.SIG=open"])
    before = bench.state
    for act in (
        lambda: bench.set_call("cool-3"),
        lambda: bench.set_call(None),  # type: ignore[arg-type]
        lambda: bench.set_outdoor_c(math.nan),
        lambda: bench.set_outdoor_c(80),
        lambda: bench.advance(-1),
        lambda: bench.advance(math.inf),
        lambda: bench.advance("60"),  # type: ignore[arg-type]
        lambda: Bench(JOBS["two-run"], seed=-1),
        lambda: Bench(JOBS["two-run"], seed=0.5),  # type: ignore[arg-type]
        lambda: Bench(JOBS["two-run"], outdoor_c=math.nan),
    ):
        with pytest.raises(BadParameter, match="but must be"):
            act()
    with pytest.raises(BadFault, match="can't be read"):
        bench.set_faults(["nonsense"])
    with pytest.raises(BadFault, match="has no outdoor.Y1"):
        bench.add_fault("outdoor.Y1=open")
    with pytest.raises(BadJob, match="no such file"):
        Bench("nowhere.toml")
    assert bench.state == before


def test_faults_come_and_go_one_by_one() -> None:
    """Adding and clearing a fault leaves the others; a cut cable leaves both ends their own."""
    bench = Bench(JOBS["two-run"])
    for conductor in ("R", "C", "SIG", "spare"):
        bench.add_fault(f"thermostat.{conductor}=open")
    state = bench.advance(30)
    assert state.between("stat:R", "stat:C") < 1e-9
    assert state.volts["air:R"] > 24
    bench.clear_fault("thermostat.SIG=open")
    assert bench.state.faults == ("thermostat.R=open", "thermostat.C=open", "thermostat.spare=open")


@pytest.mark.parametrize("terminal", ["Y1", "Y2", "O"])
def test_a_called_wire_on_metal_outdoors_blows_the_fuse(terminal: str) -> None:
    """A live conductor that touches the outdoor cabinet takes the fuse, whatever the thermostat does."""
    bench = Bench("full-cable")
    bench.set_call("cool-2")
    bench.advance(20)
    bench.set_faults([f"outdoor.{terminal}=earth"])
    assert bench.advance(5).fuse == "blown"


def test_a_link_that_works_by_luck_is_called_poor() -> None:
    """A link that hears some of its frames holds its relays by luck: it is neither working nor silent."""
    bench = Bench("two-run", seed=1)
    bench.set_call("cool-2")
    bench.advance(20)
    assert bench.state.links["thermostat"].state == "working"
    bench.set_faults(["thermostat.C=resistance:20"])
    link = bench.advance(5).links["thermostat"]
    assert (link.state, link.outputs) == ("poor", {"Y1", "Y2", "G", "O"})
    assert 0 < link.odds * link.reply_odds < 0.9


def test_the_emergency_relay_alone_makes_no_heat() -> None:
    """Emergency heat is on only where W1 has its sequencer in; the relay alone is said to ask for it."""
    bench = Bench("full-cable", faults=["thermostat.W1=open"])
    bench.set_call("emergency")
    state = bench.advance(20)
    assert state.coils["air:emergency-relay"].sealed
    assert state.responding["emergency heat"] == "asked for, no heat"
    assert "no heat" in state.delivering


@pytest.mark.parametrize(
    ("broken_at", "touch_at", "runs"),
    [(0.2, 0.7, True), (0, 0.3, True), (0.8, 0.3, False), (1, 0.3, False)],
)
def test_which_piece_of_a_broken_conductor_is_touched(broken_at: float, touch_at: float, runs: bool) -> None:
    """R on Y1 between its break and the unit runs the compressor; between break and house, nothing."""
    faults = [f"outdoor.Y1=open@{broken_at}", f"outdoor.Y1=short:R@{touch_at}"]
    state = Bench("full-cable", faults=faults).state
    assert state.coils["out:contactor"].sealed == runs
    assert (state.volts["out:Y1"] > 24) == runs
    assert (state.volts["air:Y1"] > 24) != runs
