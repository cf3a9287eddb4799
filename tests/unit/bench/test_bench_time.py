"""The bench through time: links, watchdogs, delays, defrost, chatter, and histories that repeat."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.bench.bench import Bench
from lessonkit.bench.link import Ends, Listener
from lessonkit.bench.outdoor_board import FROST_CLOSES_C, FROST_OPENS_C
from lessonkit.bench.settling import Latches, settle
from lessonkit.bench.state import State
from lessonkit.bench.wiring import Wiring
from lessonkit.copper.network import Solution
from lessonkit.job.calls import CALLS
from lessonkit.job.faults import as_faults
from lessonkit.job.model import Job, LinkSettings
from lessonkit.job.toml import demo_job, demo_names

JOBS = {name: demo_job(name) for name in demo_names()[:4]}
by_job = pytest.mark.parametrize("job", JOBS.values(), ids=JOBS)


def started(job: str, call: str, seconds: float = 10.0, outdoor_c: float = 8.0) -> Bench:
    """Return a bench that has run sound under a call for a while."""
    bench = Bench(JOBS[job], outdoor_c=outdoor_c)
    bench.set_call(call)
    bench.advance(seconds)
    return bench


def first_time(bench: Bench, seen: object, within_s: float, step_s: float = 0.05) -> float:
    """Advance in small steps until something is seen; return how long that took."""
    start_s = bench.time_s
    while bench.time_s - start_s < within_s:
        if seen(bench.advance(step_s)):  # type: ignore[operator]
            return bench.time_s - start_s
    raise AssertionError(f"not seen within {within_s} s")


def is_on(state: State, name: str) -> bool:
    """Return whether a piece of equipment does something."""
    return state.responding[name] != "off"


# ---- histories ----


def history(job: Job, seed: int, steps: tuple[float, ...], peek: bool = False) -> State:
    """Run a fixed story with noise and a poor return, in steps of the given lengths."""
    bench = Bench(job, seed=seed)
    bench.set_call("cool-2")
    for step in steps:
        bench.advance(step)
    run = job.links[-1] if job.links else None
    faults = [f"{run}.SIG=noise:3"] if run else ["air.transformer=weak:0.7"]
    if run and job.runs[run].return_by == "earth":
        faults.append("outdoor.earth=resistance:1.5")
    bench.set_faults(faults)
    for step in steps:
        bench.advance(step)
        if peek:
            _ = bench.state, bench.chatter, bench.to_spice()
    return bench.state


@by_job
def test_same_seed_same_history(job: Job) -> None:
    """The same steps with the same seed give the same state to the last bit, noise and all."""
    assert history(job, 7, (20.0, 13.0)) == history(job, 7, (20.0, 13.0))


def test_a_history_does_not_hang_on_the_process() -> None:
    """Two processes that order their sets differently tell the same history."""
    code = (
        "import json; from lessonkit.bench.bench import Bench; b = Bench('two-run', seed=5); "
        "b.set_call('cool-2'); "
        "b.advance(10); b.set_faults(['outdoor.SIG=noise:3', 'outdoor.earth=resistance:2']); "
        "print(json.dumps(b.advance(60).to_dict(), sort_keys=True))"
    )
    said = {
        subprocess.run(
            [sys.executable, "-c", code],
            env=os.environ | {"PYTHONHASHSEED": number},
            capture_output=True,
            check=True,
        ).stdout
        for number in ("1", "2")
    }
    assert len(said) == 1


def test_another_seed_loses_other_frames() -> None:
    """With noise, another seed gives another history."""
    counts = {history(JOBS["earth-return"], seed, (60.0,)).links["outdoor"].replies for seed in range(5)}
    assert len(counts) > 1


@by_job
@pytest.mark.parametrize("steps", [(5.0, 28.0), (0.01, 32.99), (1.0,) * 33])
def test_time_in_pieces_is_time(job: Job, steps: tuple[float, ...]) -> None:
    """Letting time pass in pieces ends where letting it pass at once ends, frames lost to noise included."""
    whole, pieces = history(job, 3, (33.0,)), history(job, 3, steps)
    assert pieces.responding == whole.responding
    assert pieces.links == whole.links
    assert pieces.chatter == whole.chatter
    assert dict(pieces.volts) == pytest.approx(dict(whole.volts), rel=1e-9, abs=1e-9)
    assert pieces.coil_c == pytest.approx(whole.coil_c, abs=1e-9)
    assert pieces.time_s == pytest.approx(whole.time_s)


@by_job
def test_looking_changes_nothing(job: Job) -> None:
    """A bench that is looked at after every second has the same history as one that is left alone."""
    assert history(job, 3, (1.0,) * 30, peek=True) == history(job, 3, (1.0,) * 30)


@settings(max_examples=25, deadline=None)
@given(
    st.sampled_from(list(JOBS.values())),
    st.lists(st.tuples(st.sampled_from(CALLS), st.floats(0.0, 700.0)), min_size=1, max_size=5),
)
def test_any_story_of_calls_ends_in_order(job: Job, story: list[tuple[str, float]]) -> None:
    """Whatever is called in whatever order, the clock is right and sound equipment obeys the last call."""
    bench = Bench(job, outdoor_c=20.0)
    for call, seconds in story:
        bench.set_call(call)
        bench.advance(seconds)
    state = bench.advance(job.equipment.short_cycle_s + 20)
    assert state.time_s == pytest.approx(sum(s for _, s in story) + job.equipment.short_cycle_s + 20)
    last = story[-1][0]
    assert is_on(state, "compressor stage 1") == (last not in ("off", "fan", "emergency"))
    assert is_on(state, "blower") == (last != "off")
    assert is_on(state, "auxiliary heat") == (last in ("heat-aux", "emergency"))
    assert state.chatter == ()


# ---- the link ----


def test_two_equal_frames_are_needed() -> None:
    """A new call acts on the second frame that carries it, and not on the first."""
    bench = started("wire-return", "off", 10.5)
    link = bench.job.outdoor_run.link
    bench.set_call("heat-1")
    sent = bench.state.links["outdoor"].sent
    took_s = first_time(bench, lambda s: "Y1" in s.links["outdoor"].outputs, 5.0, 0.01)
    assert bench.state.links["outdoor"].sent == sent + 2
    assert link.interval_s < took_s < 2 * link.interval_s + link.exchange_s + 0.02


def test_two_links_take_twice_as_long() -> None:
    """Over two runs the outdoor unit waits for both links, one after the other."""
    bench = started("two-run", "off", 10.5)
    bench.set_call("cool-1")
    stat_s = first_time(bench, lambda s: "Y1" in s.links["thermostat"].outputs, 5.0, 0.01)
    out_s = first_time(bench, lambda s: "Y1" in s.links["outdoor"].outputs, 5.0, 0.01)
    assert 1.0 <= stat_s <= 2.2
    assert out_s >= 1.0


@by_job
def test_the_watchdog_runs_from_the_last_good_frame(job: Job) -> None:
    """With SIG broken, outputs hold until the watchdog runs out and are then all released at once."""
    for run in job.links:
        bench = started(job.name, "cool-2", 20.0)
        before = bench.state.links[run]
        assert before.outputs
        assert before.last_good_s is not None
        bench.set_faults([f"{run}.SIG=open"])
        due_s = before.last_good_s + job.runs[run].link.watchdog_s
        held = bench.advance(due_s - bench.time_s - 0.01).links[run]
        assert held.outputs == before.outputs
        let_go = bench.advance(0.02).links[run]
        assert let_go.outputs == frozenset()
        assert let_go.state == "silent"


def test_a_mended_link_comes_back_by_itself() -> None:
    """Once SIG is whole again two equal frames bring the outputs back, and the compressor after its delay."""
    bench = started("earth-return", "cool-2", 20.0)
    bench.set_faults(["outdoor.SIG=open"])
    assert bench.advance(30).links["outdoor"].state == "silent"
    bench.set_faults([])
    state = bench.advance(3)
    assert state.links["outdoor"].outputs == {"Y1", "Y2", "O"}
    assert not is_on(state, "compressor stage 1")
    assert 270 < state.waiting_s < 300
    assert is_on(bench.advance(state.waiting_s + 0.1), "compressor stage 1")


def test_polls_count() -> None:
    """One frame an interval is sent; each good one is accepted and answered."""
    link = started("two-run", "fan", 100.0).state.links["outdoor"]
    assert link.sent == link.accepted == link.replies == 100


def test_a_board_that_was_without_power_answers_again() -> None:
    """After a power cut the far board wakes and answers, even if someone looked while it slept."""
    bench = started("two-run", "off", 5.0)
    bench.set_power(False)
    assert not any(board.awake for board in bench.advance(3).boards.values())
    bench.set_power(True)
    for _ in range(30):
        state = bench.advance(0.2)
    assert all(link.reply_odds == 1.0 for link in state.links.values())
    replies = state.links["outdoor"].replies
    assert bench.advance(10).links["outdoor"].replies == replies + 10


settings_of_a_link = LinkSettings()


@given(
    st.lists(
        st.tuples(st.frozensets(st.sampled_from(["Y1", "Y2", "O"])), st.booleans(), st.booleans()),
        max_size=40,
    )
)
def test_outputs_are_only_ever_what_was_sent_twice(frames: list[tuple[frozenset[str], bool, bool]]) -> None:
    """Whatever is lost, the far end only ever acts on a set that came in two good frames in a row."""
    ends, heard = Ends("outdoor"), [frozenset({"?"})]
    for k, (live, down, up) in enumerate(frames):
        ends, frame = ends.polls(live)
        if down:
            ends, reply = ends.hears(frame, False, float(k), settings_of_a_link)
            ends = ends.hears_reply(reply, float(k), settings_of_a_link) if up else ends
        if down:
            heard.append(live)
        pairs = {one for one, two in pairwise(heard) if one == two}
        assert ends.far.outputs in pairs | {frozenset()}
    assert ends.sent == len(frames)
    assert ends.accepted == sum(down for _, down, _ in frames)
    assert ends.replies == sum(down and up for _, down, up in frames)
    assert ends.accepted == len(heard) - 1


def test_three_equal_frames_where_three_are_asked_for() -> None:
    """With acceptance 3 the second equal frame changes nothing; a different one starts the count again."""
    strict, y1, y2 = LinkSettings(acceptance=3), frozenset({"Y1"}), frozenset({"Y2"})
    listener = Listener()
    for terminals, held in ((y1, ()), (y1, ()), (y2, ()), (y1, ()), (y1, ()), (y1, y1), (y2, y1)):
        listener = listener.hears(terminals, 0.0, strict)
        assert listener.outputs == frozenset(held)


# ---- delays ----


def test_no_restart_within_the_short_cycle_delay() -> None:
    """A compressor that stopped stays off for the whole delay, while everything else answers at once."""
    bench = started("full-cable", "cool-2", 60)
    bench.set_call("off")
    bench.advance(2)
    bench.set_call("cool-2")
    state = bench.advance(290)
    assert not is_on(state, "compressor stage 1")
    assert is_on(state, "reversing valve")
    assert is_on(state, "blower")
    assert state.volts["out:Y1"] > 24, "the call is there"
    assert state.volts["out:CC"] < 1, "the board holds it back"
    assert state.waiting_s == pytest.approx(8.0)
    took_s = first_time(bench, lambda s: is_on(s, "compressor stage 1"), 20)
    assert took_s == pytest.approx(8.0, abs=0.1)


def test_the_delay_can_be_skipped() -> None:
    """The test pins let the compressor start at once."""
    bench = started("full-cable", "cool-1", 60)
    bench.set_call("off")
    bench.advance(2)
    bench.set_call("cool-1")
    bench.skip_delay()
    assert is_on(bench.advance(0), "compressor stage 1")


def test_the_delay_follows_a_loss_of_power() -> None:
    """Power that comes back starts the delay anew, and every board takes its time to start."""
    bench = started("full-cable", "cool-1", 60)
    bench.set_power(False)
    state = bench.advance(400)
    assert max(state.volts.values()) == 0
    bench.set_power(True)
    assert not is_on(bench.advance(0.5), "blower"), "the thermostat is still starting"
    assert is_on(bench.advance(1.0), "blower")
    assert not is_on(bench.advance(280), "compressor stage 1")
    assert is_on(bench.advance(25), "compressor stage 1")


def test_a_job_without_a_delay_restarts_at_once() -> None:
    """With a short-cycle delay of zero the compressor comes back with the call."""
    job = JOBS["full-cable"]
    bench = Bench(replace(job, equipment=replace(job.equipment, short_cycle_s=0.0)))
    for call in ("cool-1", "off", "cool-1"):
        bench.set_call(call)
        bench.advance(1)
    assert is_on(bench.state, "compressor stage 1")


def test_emergency_rests_the_compressor() -> None:
    """Going over to emergency stops the compressor and the valve, and heats with the strips."""
    bench = started("two-run", "heat-2", 30)
    bench.set_call("emergency")
    state = bench.advance(10)
    assert state.delivering == "auxiliary heat alone, emergency heat on"
    assert not is_on(state, "compressor stage 1")
    assert is_on(state, "blower")


# ---- defrost ----


@by_job
def test_a_defrost_from_beginning_to_end(job: Job) -> None:
    """In frost, after its interval, the board cools the house, rests the fan and asks for heat indoors."""
    bench = started(job.name, "heat-1", 30, outdoor_c=-5.0)
    every_s, limit_s = job.equipment.defrost_every_s, job.equipment.defrost_limit_s
    first_time(bench, lambda s: is_on(s, "defrost"), every_s + 900, 1.0)
    assert every_s <= bench.time_s <= every_s + 10, "the interval counts frosted run, here from the start"
    state = bench.advance(10)
    assert is_on(state, "compressor stage 1")
    assert not is_on(state, "outdoor fan")
    assert is_on(state, "auxiliary heat"), "D came back indoors"
    assert state.energised("out") >= {"D"}
    assert state.volts["air:W1"] > 24
    valve_energised = state.coils["out:reversing-valve"].sealed
    assert valve_energised == (job.equipment.valve == "O"), (
        "an O valve is driven to cool, a B valve is let go"
    )
    assert state.delivering == "defrost, the indoor coil cold, with auxiliary heat"
    if "outdoor" in state.links:
        assert state.links["outdoor"].wants_heat
    # The thermostat still shows a plain heat call; only over a direct run does W1 show there as well.
    assert ("W1" in state.energised("stat")) == ("thermostat" not in job.links)
    lasted_s = 10 + first_time(bench, lambda s: not is_on(s, "defrost"), limit_s + 1, 1.0)
    assert lasted_s <= limit_s + 1
    after = bench.advance(30)
    assert not is_on(after, "auxiliary heat")
    assert is_on(after, "outdoor fan")
    assert after.delivering == "heating, stage 1"
    assert after.chatter == ()


def test_the_thermostat_never_sees_the_defrost_over_a_link() -> None:
    """Over two links D stops at the air handler: the thermostat's terminals show the plain heat call."""
    bench = started("two-run", "heat-2", 10, outdoor_c=-5.0)
    bench.force_defrost()
    state = bench.advance(10)
    assert is_on(state, "defrost")
    assert is_on(state, "auxiliary heat")
    assert state.energised("stat") == {"R", "Y1", "Y2", "G"}


def test_a_warm_coil_ends_the_defrost_early() -> None:
    """In mild air the coil reaches 57 F before the limit, and the frost switch ends the defrost."""
    bench = started("full-cable", "heat-1", 300, outdoor_c=2.0)
    bench.force_defrost()
    lasted_s = first_time(bench, lambda s: not is_on(s, "defrost"), 601, 1.0)
    assert lasted_s < bench.job.equipment.defrost_limit_s - 30
    assert bench.state.coil_c == pytest.approx(FROST_OPENS_C, abs=0.5)


def test_in_great_cold_the_limit_ends_the_defrost() -> None:
    """Where the coil never gets warm the clock ends the defrost."""
    bench = started("full-cable", "heat-1", 900, outdoor_c=-25.0)
    bench.force_defrost()
    lasted_s = first_time(bench, lambda s: not is_on(s, "defrost"), 700, 1.0)
    assert lasted_s == pytest.approx(bench.job.equipment.defrost_limit_s, abs=1.1)
    assert bench.state.coil_c < FROST_OPENS_C


@pytest.mark.parametrize(("call", "outdoor_c"), [("heat-2", 12.0), ("cool-2", -5.0), ("emergency", -5.0)])
def test_no_defrost_without_frost_and_heating(call: str, outdoor_c: float) -> None:
    """Mild air, cooling, or a resting compressor never defrost."""
    bench = started("full-cable", call, 10, outdoor_c=outdoor_c)
    assert not any(is_on(bench.advance(600), "defrost") for _ in range(20))


def test_frosted_time_adds_up_over_pauses() -> None:
    """Pauses do not start the interval anew: run time with a frosted coil is what counts."""
    bench = started("full-cable", "heat-1", 1800, outdoor_c=-10.0)
    bench.set_call("off")
    assert bench.advance(320).coil_c < FROST_CLOSES_C
    bench.set_call("heat-1")
    took_s = first_time(bench, lambda s: is_on(s, "defrost"), 3600, 5.0)
    assert 1750 < took_s < 2300


def test_a_broken_request_wire_leaves_the_defrost_cold() -> None:
    """With D broken the outdoor unit defrosts all the same, and the house gets cold air."""
    for job, fault in (("full-cable", "outdoor.D=open"), ("two-run", "air.relay-D=stuck-open")):
        bench = started(job, "heat-1", 10, outdoor_c=-5.0)
        bench.set_faults([fault])
        bench.force_defrost()
        state = bench.advance(10)
        assert is_on(state, "defrost")
        assert not is_on(state, "auxiliary heat")
        assert state.delivering == "defrost, the indoor coil cold"


def test_a_stopped_compressor_ends_the_defrost() -> None:
    """When the call goes away in the middle of a defrost, the defrost is over."""
    bench = started("two-run", "heat-1", 10, outdoor_c=-5.0)
    bench.force_defrost()
    assert is_on(bench.advance(20), "defrost")
    bench.set_call("off")
    state = bench.advance(20)
    assert not is_on(state, "defrost")
    assert not is_on(state, "auxiliary heat")
    assert not state.links["outdoor"].wants_heat


def test_a_dead_board_defrosts_nothing() -> None:
    """A dead defrost board with a welded contactor gathers frost for ever: nothing warms that coil."""
    bench = started("full-cable", "heat-1", 10, outdoor_c=-5.0)
    bench.set_faults(["out.defrost-board=dead", "out.contactor=stuck-closed"])
    coldest = [bench.advance(600).coil_c for _ in range(15)]
    assert max(coldest[2:]) < -9
    assert not is_on(bench.state, "defrost")


def test_two_defrosts_by_hand_are_no_chatter() -> None:
    """Someone who forces a defrost twice within a quarter of an hour did it: that is not chatter."""
    bench = started("two-run", "heat-1", 10, outdoor_c=0.0)
    for _ in range(2):
        bench.force_defrost()
        bench.advance(400)
    assert bench.state.chatter == ()


# ---- chatter ----


def test_chatter_that_has_no_rest_is_named() -> None:
    """A coil that breaks its own supply, as in a buzzer, finds no rest: it is named and held open."""
    wiring = Wiring(JOBS["full-cable"])
    asks = {"power air": "", "call stat:G": "", "call stat:W1": ""}

    def buzzer(on: frozenset[str]) -> Solution:
        """Solve the circuit as if the blower relay's own contact sat in its feed."""
        closed = on - {"call stat:G"} if "coil air:blower-relay" in on else on
        return wiring.solve([closed], 60.0)[0]

    settled = settle(wiring, Latches(awake=frozenset(wiring.boards)), asks, buzzer)
    assert settled.chattering == {"air:blower-relay"}
    assert settled.latches.sealed == {"air:sequencer"}
    assert "air:blower-relay" in settled.released


def test_a_sagging_supply_chatters_through_time() -> None:
    """A poor return pulls the relay board down each time its loads come in: it is named as chattering."""
    bench = started("earth-return", "cool-2", 10)
    bench.set_faults(["outdoor.earth=resistance:5"])
    state = bench.advance(60)
    assert "out:relay-board" in state.chatter
    bench.set_faults([])
    assert bench.advance(30).chatter == ()


def test_chatter_is_forgotten_after_a_while() -> None:
    """What has been quiet for a quarter of an hour is not called chatter any more."""
    bench = started("earth-return", "cool-2", 10)
    bench.set_faults(["outdoor.earth=resistance:5"])
    assert bench.advance(30).chatter
    bench.set_faults(["outdoor.earth=resistance:5", "outdoor.SIG=open"])
    assert bench.advance(1200).chatter == ()


def test_faults_at_the_start_and_faults_that_strike() -> None:
    """A board that could not have started on its volts sleeps from the start; one that runs may hang on."""
    fault = ["air.transformer=weak:0.58"]
    asleep = Bench(JOBS["full-cable"], faults=fault).state
    assert not any(board.awake for board in asleep.boards.values())
    bench = Bench(JOBS["full-cable"])
    bench.set_faults(fault)
    assert all(board.awake for board in bench.state.boards.values())
    assert bench.state.faults == tuple(map(str, as_faults(fault, bench.job)))
