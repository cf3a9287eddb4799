"""Stories of faults that do what nobody expects: each turn of them comes out of the bench."""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.bench.meter import Meter
from lessonkit.errors import BadParameter
from lessonkit.job.faults import BadFault, Fault, as_faults
from lessonkit.job.toml import demo_job
from lessonkit.studies.cases import Case, if_held, rest
from lessonkit.studies.stories import STORIES, Chapter, hidden_behind, retell, tell, watch, way_home


@cache
def told(name: str) -> tuple[Chapter, ...]:
    """Tell each story once."""
    return tell(name)


# The marginal earth.


def test_the_marginal_earth_passes_every_test_at_rest() -> None:
    """With nothing called, the volts are there, the loop is low, and every poll is answered."""
    resting = told("marginal-earth")[0]
    link = resting.end.links["outdoor"]
    assert link.sent == link.accepted == link.replies == 60
    assert (link.odds, link.reply_odds) == (1, 1)
    assert resting.end.between("out:R", "out:C") > 24
    bench = Bench("earth-return", faults=resting.end.faults)
    bench.set_power(False)
    # 2 ohm of bad bond, 0.2 of good copper and a strap at each end, with the boards' feed beside them.
    assert Meter(bench).ohms("out:C", "air:C").value == pytest.approx(2.24, abs=0.05)


def test_the_marginal_earth_carries_the_first_stage() -> None:
    """The first stage runs to its end without a frame lost."""
    first = told("marginal-earth")[1].end
    assert first.delivering == "cooling, stage 1"
    assert first.links["outdoor"].sent == first.links["outdoor"].accepted
    assert not first.chatter


def test_the_second_stage_breaks_the_frames_that_hold_it() -> None:
    """It comes on, frames break, the watchdog lets everything go, frames are sound, and it starts again."""
    second = told("marginal-earth")[2]
    starts = [state for state in second.changes if state.delivering == "cooling, stage 2"]
    stops = [s for s in second.changes if s.delivering == "air only" and not s.links["outdoor"].outputs]
    assert len(starts) >= 3
    assert len(stops) >= 3
    watchdog_s = demo_job("earth-return").outdoor_run.link.watchdog_s
    for start, stop in zip(starts, stops, strict=False):
        assert stop.time_s - start.time_s >= watchdog_s - 1
        lost = stop.links["outdoor"].sent - stop.links["outdoor"].accepted
        lost -= start.links["outdoor"].sent - start.links["outdoor"].accepted
        assert lost >= watchdog_s - 1
        assert stop.links["outdoor"].state == "silent"
        assert stop.links["outdoor"].odds == 1, "with the load gone, the link is sound: it mends itself"
    for stop, start in zip(stops, starts[1:], strict=False):
        held_off = demo_job("earth-return").equipment.short_cycle_s
        assert start.time_s - stop.time_s == pytest.approx(held_off, abs=2)
        between = start.links["outdoor"].sent - stop.links["outdoor"].sent
        assert start.links["outdoor"].accepted - stop.links["outdoor"].accepted == between
    assert "out:contactor" in second.end.chatter


def test_the_marginal_earth_runs_a_small_part_of_the_time() -> None:
    """The second stage runs less than a tenth of the time in which it is called."""
    second = told("marginal-earth")[2]
    changes = [*second.changes, second.end]
    runs_s = sum(
        after.time_s - before.time_s
        for before, after in pairwise(changes)
        if before.delivering == "cooling, stage 2"
    )
    assert 0 < runs_s < 0.1 * second.step.seconds


def test_the_marginal_earth_works_again_under_less_load() -> None:
    """Back at the first stage everything runs as before: nothing was ever worn or wet."""
    back = told("marginal-earth")[3].end
    assert back.delivering == "cooling, stage 1"


def test_the_load_decides_and_not_the_noise() -> None:
    """Under the load of each stage, with all relays held, the frames pass or break for every seed."""
    job, poor = demo_job("earth-return"), (Fault("outdoor", "earth", "resistance", 2.0),)
    for seed in range(5):
        one, two = if_held(job, [Case("cool-1", poor), Case("cool-2", poor)], seed)
        assert one.ways["outdoor", "down"].odds == 1
        assert two.ways["outdoor", "down"].odds < 0.4


# The masked break.


def test_a_touch_shares_the_current_and_stops_nothing() -> None:
    """C on metal outdoors leaves everything running, with near half of the current over the earth."""
    sound, touched = (chapter.end for chapter in told("masked-break")[:2])
    assert sound.delivering == touched.delivering == "cooling, stage 2"
    assert sound.amps["outdoor.earth"] < 1e-3
    total = touched.amps["outdoor.C"] + touched.amps["outdoor.earth"]
    assert total == pytest.approx(sound.amps["outdoor.C"], rel=0.02)
    assert 0.4 < touched.amps["outdoor.earth"] / total < 0.6


def test_a_break_behind_a_touch_shows_nowhere() -> None:
    """With C broken as well, the same equipment runs, no frame is lost, and the earth carries it all."""
    broken = told("masked-break")[2].end
    assert broken.delivering == "cooling, stage 2"
    assert broken.links["outdoor"].sent == broken.links["outdoor"].accepted
    assert broken.amps["outdoor.C"] < 1e-3
    assert broken.amps["outdoor.earth"] == pytest.approx(broken.amps["outdoor.R"], rel=0.01)


def test_mending_the_touch_kills_the_job() -> None:
    """Without its touch the broken C is a broken C: no board outdoors, no answer."""
    mended = told("masked-break")[3].end
    assert mended.delivering == "air only"
    assert mended.links["outdoor"].state == "dead"


def test_a_masked_break_needs_a_good_earth() -> None:
    """The same pair of faults on a poor earth is the marginal earth once more."""
    job = demo_job("wire-return")
    pair = ("outdoor.C=earth@1", "outdoor.C=open@0.2")
    good, poor = rest(
        job,
        [
            Case("cool-2", as_faults(pair, job)),
            Case("cool-2", as_faults((*pair, "outdoor.earth=resistance:3"), job)),
        ],
    )
    assert good.delivering == "cooling, stage 2"
    assert not good.chatter
    assert poor.chatter


# The live cabinet.


def test_a_live_cabinet_is_silent() -> None:
    """Bond lost and R on the metal: all runs, no fuse blows, and a low-impedance meter finds 26 V there."""
    sound, unbonded, live = (chapter.end for chapter in told("live-cabinet")[:3])
    for state in (sound, unbonded, live):
        assert (state.delivering, state.fuse) == ("cooling, stage 2", "whole")
    assert unbonded.volts["out:GND"] < 1
    bench = Bench("wire-return", faults=live.faults)
    meter = Meter(bench)
    high, low = (meter.volts("out:GND", "air:GND", setting).value for setting in ("high", "low"))
    assert low > 25, "no ghost: what it shows can deliver"
    assert high - low < 0.1


def test_mending_the_bond_blows_the_fuse() -> None:
    """With its bond back, the touch is a short circuit, and the fuse does what it is there for."""
    mended = told("live-cabinet")[3].end
    assert (mended.delivering, mended.fuse) == ("nothing", "blown")
    assert mended.volts["out:GND"] < 0.1


# Telling, watching, searching.


@pytest.mark.parametrize("name", STORIES)
def test_stories_are_told_step_by_step(name: str) -> None:
    """Every step has its chapter, with its call and its faults, and time runs through them."""
    story = STORIES[name]
    assert story.name == name
    chapters = told(name)
    assert [chapter.step for chapter in chapters] == list(story.steps)
    job, now_s = demo_job(story.job), 0.0
    for chapter in chapters:
        now_s += chapter.step.seconds
        assert chapter.end.time_s == pytest.approx(now_s)
        assert chapter.end.call == chapter.step.call
        assert chapter.end.faults == tuple(map(str, as_faults(chapter.step.faults, job)))
        assert story.question.endswith("?")


def test_a_story_is_told_alike_twice() -> None:
    """The same seed gives the same story, word by word."""
    assert retell(tell("marginal-earth")) == retell(told("marginal-earth"))


def test_retelling_names_what_happened() -> None:
    """The words hold each step, what the house gets, the fuse, and the way home."""
    words = retell(told("live-cabinet"))
    assert "R touches the cabinet. (called: cool-2)" in words
    assert "the metal outdoors stands at 26.6 V" in words
    assert "nothing, fuse blown" in words
    assert "over the earth" in way_home(told("marginal-earth")[0].end)
    assert "by C" not in way_home(told("marginal-earth")[0].end), "that job has no conductor C"


def test_watching_keeps_changes_only() -> None:
    """A job that only waits is seen once, and the time is over at its end."""
    bench = Bench("full-cable")
    assert [state.time_s for state in watch(bench, 100.0)] == [1.0]
    assert bench.time_s == 100
    assert watch(bench, 0.0) == ()


@pytest.mark.parametrize(
    ("name", "fault", "hidden"),
    [
        ("wire-return", "outdoor.C=earth@1", "outdoor.C=open"),
        ("wire-return", "outdoor.C=earth@1", "outdoor.C=resistance:20"),
        ("wire-return", "outdoor.earth=open", "outdoor.R=earth:0.5"),
        ("full-cable", "out.contactor=burnt-out", "thermostat.Y1=open"),
    ],
)
def test_what_could_come_to_light(name: str, fault: str, hidden: str) -> None:
    """The search finds each pair of the stories, and that a dead coil hides the wire that leads to it."""
    found = hidden_behind(demo_job(name), fault, ("cool-2", "heat-1"))
    assert hidden in map(str, found)


def test_hidden_faults_are_hidden_indeed() -> None:
    """What is found shows alone, and a bench that lives through both shows the first fault only."""
    job = demo_job("full-cable")
    screen = "outdoor.D=open"
    (sound,) = rest(job, [Case("cool-2")])
    for fault in hidden_behind(job, screen, ("cool-2",)):
        (alone,) = rest(job, [Case("cool-2", (fault,))])
        assert (alone.responding, alone.fuse, alone.chatter) != (sound.responding, sound.fuse, ())
        bench = Bench(job, faults=[screen, fault])
        bench.set_call("cool-2")
        assert dict(bench.advance(30.0).responding) == dict(sound.responding)


def test_a_harmless_fault_hides_nothing() -> None:
    """A fault that stops nothing and touches nothing hides nothing: noise that the link outlives."""
    assert hidden_behind(demo_job("earth-return"), "outdoor.SIG=noise:0.1", ("cool-2",)) == ()


def test_bad_stories_are_named() -> None:
    """A story or a fault that doesn't exist is named, with what there is."""
    with pytest.raises(BadParameter, match="story is 'ghost-ship', but must be one of marginal-earth"):
        tell("ghost-ship")
    with pytest.raises(BadParameter, match="every_s is 0, but must be a number above 0"):
        watch(Bench("full-cable"), 1.0, every_s=0)
    with pytest.raises(BadFault, match="this job has no outdoor.C"):
        hidden_behind(demo_job("earth-return"), "outdoor.C=open")
