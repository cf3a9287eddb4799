"""What the settled circuit does to a frame: levels, shift, noise, and pools of trials that repeat."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lessonkit.bench.bench import Bench
from lessonkit.bench.settling import Settled
from lessonkit.bench.signal_path import (
    POOL,
    SignalPath,
    SignalPaths,
    noise_on,
    read_inputs,
    receiver_of,
    tried,
    ways,
    ways_many,
)
from lessonkit.bench.wiring import Wiring
from lessonkit.errors import BadParameter
from lessonkit.job.faults import as_faults
from lessonkit.job.model import Job, LinkSettings
from lessonkit.job.parts import INPUT_LIVE_V
from lessonkit.job.toml import demo_job
from lessonkit.signal.channel import Line
from lessonkit.studies.cases import Case, if_held, rest


def settled(job: Job, call: str = "cool-2", *faults: str) -> tuple[Wiring, Settled]:
    """Return a job's wiring and its circuit with everything on that is called."""
    found = as_faults(faults, job)
    (held,) = if_held(job, [Case(call, found)])
    return Wiring(job, found), held.settled


def way_of(
    job: Job, run: str = "outdoor", way: str = "down", call: str = "cool-2", *faults: str
) -> SignalPath:
    """Return one way over a link of that circuit."""
    wiring, end = settled(job, call, *faults)
    return ways(wiring, end.on, end.latches.awake)[run, way]


@pytest.mark.parametrize("name", ["earth-return", "wire-return", "two-run"])
@pytest.mark.parametrize("way", ["down", "up"])
def test_a_sound_link_has_the_levels_of_its_divider(name: str, way: str) -> None:
    """A mark is the drive behind its resistor into both receivers' inputs; a space is next to nothing."""
    job = demo_job(name)
    link = job.outdoor_run.link
    got = way_of(job, way=way)
    # Both ends hang on the conductor: the driver's own input loads it as much as the far one.
    load_ohm = link.load_ohm / 2
    assert got.high_v == pytest.approx(link.drive_v * load_ohm / (load_ohm + link.drive_ohm), rel=2e-3)
    assert got.low_v == pytest.approx(0.0, abs=0.05)
    assert got.line.line_ohm == pytest.approx(job.outdoor_run.conductor_ohm)


def test_the_shift_is_the_phasor_at_the_receiver() -> None:
    """The hum is the signal's volts at the supply frequency against the receiver's own common, in RMS."""
    wiring, end = settled(demo_job("earth-return"))
    got = ways(wiring, end.on, end.latches.awake)["outdoor", "down"]
    phasor = end.solution.v("out:SIG", "out:C")
    assert got.hum_v == pytest.approx(abs(phasor))
    assert got.hum_phase_rad == pytest.approx(np.angle(phasor))
    # Nearly all of it is what parts the commons, as driver and receiver share it; R beside SIG adds a little.
    link = wiring.job.outdoor_run.link
    share = link.load_ohm / (link.load_ohm + 1 / (1 / link.drive_ohm + 1 / link.load_ohm))
    assert got.hum_v == pytest.approx(share * abs(end.solution.v("out:C", "air:C")), rel=0.1)


def test_many_ways_are_what_each_gives() -> None:
    """Circuits read side by side, of several shapes, give what each gives by itself."""
    job = demo_job("two-run")
    cases = [
        settled(job, call, *faults)
        for call in ("off", "cool-2")
        for faults in ((), ("outdoor.SIG=short:R",), ("thermostat.R=resistance:3",))
    ]
    together = ways_many([(wiring, end.on, end.latches.awake) for wiring, end in cases])
    for (wiring, end), many in zip(cases, together, strict=True):
        alone = ways(wiring, end.on, end.latches.awake)
        assert set(alone) == set(many) == {(r, w) for r in ("thermostat", "outdoor") for w in ("down", "up")}
        for key, one in alone.items():
            assert (many[key].low_v, many[key].high_v) == pytest.approx((one.low_v, one.high_v), abs=1e-9)
            assert many[key].hum_v == pytest.approx(one.hum_v, abs=1e-9)


def test_an_edge_sees_both_inputs_and_what_lies_beside() -> None:
    """The sender's own input shares its resistor, and a spare beside SIG weighs half: it hangs free."""
    job = demo_job("two-run")
    link, run = job.thermostat_run.link, job.thermostat_run
    line = way_of(job, "thermostat").line
    assert line.source_ohm == pytest.approx(link.drive_ohm * link.load_ohm / (link.drive_ohm + link.load_ohm))
    assert run.conductors == ("R", "C", "SIG", "spare")
    assert line.line_farad == pytest.approx(1.5 * run.pair_farad)
    wired = way_of(demo_job("wire-return")).line
    assert wired.line_farad == pytest.approx(2 * demo_job("wire-return").outdoor_run.pair_farad)


def test_no_link_no_ways() -> None:
    """A job without a link has nothing to receive, alone and among many."""
    wiring, end = settled(demo_job("full-cable"))
    assert ways_many([(wiring, end.on, end.latches.awake)] * 2) == [{}, {}]
    assert ways_many([]) == []


def test_a_dead_board_drives_nothing() -> None:
    """Without a relay board nobody answers: mark and space are the same on the way up."""
    wiring, end = settled(demo_job("earth-return"), "cool-2", "out.relay-board=dead")
    awake = end.latches.awake - {"out:relay-board"}
    up = ways(wiring, end.on, awake)["outdoor", "up"]
    assert up.high_v == pytest.approx(up.low_v, abs=1e-9)
    assert tried(wiring, "outdoor", up, frozenset(), np.random.default_rng(0)).odds == 0


def test_a_broken_signal_brings_no_level() -> None:
    """Behind a break the far end's input pulls the line to its own common."""
    got = way_of(demo_job("earth-return"), "outdoor", "down", "cool-2", "outdoor.SIG=open")
    assert abs(got.high_v) < 0.01
    assert got.high_v - got.low_v < 1e-3


@pytest.mark.parametrize(
    ("shift_v", "lowest", "highest"), [(0.0, 1.0, 1.0), (1.5, 1.0, 1.0), (6.0, 0.0, 0.05)]
)
def test_the_shift_decides(shift_v: float, lowest: float, highest: float) -> None:
    """Frames pass while the shift leaves both thresholds alone, and none passes far beyond."""
    job = demo_job("earth-return")
    wiring = Wiring(job)
    way = SignalPath(0.0, 10.0, shift_v, 0.0, Line(0.0, 10.0, 1000.0, 0.6, 5e-9, 10e3))
    got = tried(wiring, "outdoor", way, frozenset({"Y1"}), np.random.default_rng(1))
    assert got.pool.shape == (POOL,)
    assert lowest <= got.odds <= highest


def test_reversed_levels_bring_nothing() -> None:
    """Where a space is higher than a mark, no frame is read."""
    way = SignalPath(10.0, 0.0, 0.0, 0.0, Line(10.0, 0.0, 1000.0, 0.6, 5e-9, 10e3))
    assert (
        tried(Wiring(demo_job("earth-return")), "outdoor", way, frozenset(), np.random.default_rng(1)).odds
        == 0
    )


def test_noise_adds_in_power() -> None:
    """Two noises that know nothing of each other add as their squares."""
    job = demo_job("earth-return").with_run("outdoor", link=LinkSettings(noise_v=1.5))
    faults = as_faults(["outdoor.SIG=noise:2"], job)
    assert noise_on(Wiring(job, faults), "outdoor").rms_v == pytest.approx(2.5)
    assert noise_on(Wiring(job), "outdoor").rms_v == 1.5


def test_switching_costs_frames() -> None:
    """What a contactor throws at the signal spoils some of the frames that it falls on, and not all."""
    wiring, end = settled(demo_job("earth-return"))
    way = ways(wiring, end.on, end.latches.awake)["outdoor", "down"]
    quiet, loud = (
        tried(wiring, "outdoor", way, frozenset({"Y1"}), np.random.default_rng(2), switching).odds
        for switching in (False, True)
    )
    assert quiet == 1
    assert 0 < loud < 1


@pytest.mark.parametrize(("clock_error", "sure", "shaky"), [(0.05, "up", "down"), (-0.05, "down", "up")])
def test_a_clock_that_is_off_hurts_one_way_more(clock_error: float, sure: str, shaky: str) -> None:
    """A slow receiver bears 7/152, a fast one up to 5.3 %: a far clock that is off breaks one way first.

    It starts a look late at most, which comes on top of slow and off fast.
    """
    job = demo_job("earth-return").with_run("outdoor", link=LinkSettings(clock_error=clock_error))
    (held,) = if_held(job, [Case("cool-1")])
    assert held.ways["outdoor", sure].odds == 1
    assert held.ways["outdoor", shaky].odds < 1
    # The ways that a bench keeps, for its odds and for its frames.
    paths = SignalPaths(Wiring(job), 3)
    on, awake = held.settled.on, held.settled.latches.awake
    assert paths.way(on, awake, "outdoor", sure, frozenset()).odds == 1
    assert paths.way(on, awake, "outdoor", shaky, frozenset()).odds < 1
    for way in ("down", "up"):
        over = paths.conditions(on, awake, "outdoor", way, False).channel
        clocks = (over.receiver.clock_error, over.sender_clock_error)
        assert clocks == ((clock_error, 0.0) if way == "down" else (0.0, clock_error))


def test_each_state_is_tried_once() -> None:
    """The same state gives the same pool again, and the same seed gives it to another bench."""
    job = demo_job("earth-return")
    wiring, end = settled(job, "cool-2", "outdoor.earth=resistance:2")
    asked = (end.on, end.latches.awake, "outdoor", "down", frozenset({"Y1"}))
    first, other = (SignalPaths(wiring, 7) for _ in range(2))
    pool = first.way(*asked)
    assert first.way(*asked) is pool
    # What else was looked at meanwhile doesn't matter.
    other.way(end.on, end.latches.awake, "outdoor", "up", frozenset())
    assert np.array_equal(other.way(*asked).pool, pool.pool)
    assert 0 < pool.odds < 1, "a marginal state, so that equal pools say something"


def test_inputs_are_read_at_the_near_end() -> None:
    """The encoder reads what is live against its own common, from half the rated volts on."""
    job = demo_job("earth-return")
    for call in ("off", "cool-1", "cool-2", "heat-2"):
        (end,) = rest(job, [Case(call)])
        solution = end.settled.solution
        live, wants_heat = read_inputs(Wiring(job), solution, "outdoor", INPUT_LIVE_V)
        bench = Bench(job)
        bench.set_call(call)
        assert live == bench.called & set(job.outdoor_terminals)
        assert not wants_heat
    assert read_inputs(Wiring(job), solution, "outdoor", 30.0)[0] == frozenset()


def test_the_receiver_has_the_links_thresholds() -> None:
    """Both ends of a link decide with the thresholds and the clock of its settings."""
    settings = LinkSettings(low_v=2.0, high_v=6.0, clock_error=0.01)
    receiver = receiver_of(settings)
    assert (receiver.low_threshold_v, receiver.high_threshold_v) == (2.0, 6.0)
    assert (receiver.clock_error, receiver.supply_v) == (0.01, settings.drive_v)


@pytest.mark.parametrize(
    ("settings", "named"),
    [
        ({"baud": 0.0}, "baud is 0.0, but must be a number above 0"),
        ({"high_v": 13.0}, r"low_v and high_v is \(3.5, 13.0\), but must be in the order .* drive_v, 12 V"),
        ({"noise_v": -1.0}, "noise_v is -1.0, but must be from 0 to 100 V"),
        ({"clock_error": 0.5}, "clock_error is 0.5, but must be a fraction between -0.2 and 0.2"),
        ({"drive_ohm": math.inf}, "drive_ohm is inf, but must be from 0.0001 to"),
    ],
)
def test_bad_link_settings_are_named(settings: dict[str, float], named: str) -> None:
    """Zero baud, a threshold above the supply and the like: parameter, value, what is allowed."""
    with pytest.raises(BadParameter, match=named):
        LinkSettings(**settings)  # type: ignore[arg-type]


@pytest.mark.parametrize("fault", ["thermostat.C=resistance:20", "thermostat.SIG=noise:3"])
def test_odds_are_those_of_the_frames_that_are_sent(fault: str) -> None:
    """The odds of a link that loses many frames are the share that gets through of a thousand polls.

    Both are counted shares, and stray as such: the bound is four standard deviations of their difference.
    """
    bench = Bench(demo_job("two-run"), seed=4, faults=[fault], call="cool-2")
    bench.advance(1024.5)
    link = bench.link_state("thermostat")
    share = link.accepted / link.sent
    assert link.sent > 1000
    sigma = math.sqrt(share * (1 - share) * (1 / 64 + 1 / link.sent))
    assert abs(link.odds - share) < 4 * sigma, (link.odds, share)
