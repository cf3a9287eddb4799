"""The search for a fault on a job: what is told and read narrows it, and looks at a bench lead it home."""

from __future__ import annotations

import copy
import json

import numpy as np
import pytest

from lessonkit.__main__ import main
from lessonkit.bench.bench import Bench
from lessonkit.bench.meter import Meter
from lessonkit.errors import BadParameter, LessonError
from lessonkit.studies.dictionary import COMES_AND_GOES
from lessonkit.studies.find import NotUnderstood, Search


@pytest.fixture(scope="module")
def built() -> Search:
    """Return a fresh search of the two-run job; tests take a copy."""
    return Search("two-run")


@pytest.fixture
def search(built: Search) -> Search:
    """Return a search that a test may lead."""
    return copy.copy(built)


def test_beliefs_are_probabilities(search: Search) -> None:
    """Before and after what is told, the suspects' probabilities sum to 1."""
    assert search.belief.sum() == pytest.approx(1.0)
    search.told("cool-2: compressor stage 1 off")
    assert search.belief.sum() == pytest.approx(1.0)
    assert all(0 <= candidate.probability <= 1 for candidate in search.candidates)


def test_what_is_told_narrows(search: Search) -> None:
    """A compressor that never starts can't be a burnt-out blower relay; a broken R explains it well."""
    search.told("cool-2: compressor stage 1 off")
    likely = {str(c.faults[0]): c.probability for c in search.candidates if not c.comes_and_goes}
    assert likely["thermostat.R=open"] > 20 * likely["air.blower-relay=burnt-out"]


def test_what_is_told_by_telephone_costs_no_walk(search: Search) -> None:
    """A customer's word moves nobody and takes no minutes; a reading outdoors does."""
    search.told("cool-2: compressor stage 1 off")
    assert (search.minutes, search.here, search.call, search.looked) == (0.0, "stat", "off", [])
    search.read("cool-2: out:R out:C 26.1 V")
    assert search.minutes >= 3.0
    assert (search.here, search.call) == ("out", "cool-2")


def test_a_reading_narrows(search: Search) -> None:
    """Full volts between R and C outdoors acquit the outdoor R; none convict it."""
    search.told("cool-2: compressor stage 1 off")
    alive, dead = copy.copy(search), copy.copy(search)
    alive.read("cool-2: out:R out:C 26.1 V")
    dead.read("cool-2: out:R out:C 0,0 V")

    def chance(of: Search) -> float:
        return next(c.probability for c in of.candidates if str(c.faults[0]) == "outdoor.R=open")

    assert chance(alive) < chance(search) < chance(dead)


def test_suspects_that_nothing_parts_stand_together(search: Search) -> None:
    """A blown fuse and the shorts that blow it look alike from everywhere."""
    together = next(group for group in search.groups if "air.fuse=blown" in group)
    assert {"thermostat.R=short:C", "outdoor.R=earth:0.5"} <= set(together)


def test_the_next_look_teaches_most_for_its_minutes(search: Search) -> None:
    """No other look gives more bits per minute than the one that is proposed."""
    search.told("heat-1: compressor stage 1 off")
    step = search.next
    assert step is not None
    gains = search._stack.gains(search.belief)
    rates = [g / search.minutes_for(look) for g, look in zip(gains, search.pages, strict=True)]
    assert step.bits / step.minutes == pytest.approx(max(rates))
    assert set(step.rules_out) <= set(search.pages[step.look].words)


def test_walking_counts(search: Search) -> None:
    """The same reading costs more from farther away, and a new call costs a walk to the thermostat."""
    look = next(look for look in search.pages if look.place == "out" and look.call == "off")
    near = copy.copy(search)
    near.here = "out"
    assert near.minutes_for(look) < search.minutes_for(look)
    other = next(one for one in search.pages if one.place == "out" and one.call == "cool-2")
    assert near.minutes_for(other) > near.minutes_for(look)


def test_direct_volts_part_a_broken_signal_conductor_from_dead_boards(search: Search) -> None:
    """The mark is there at the near end and not at the far one: broken; at neither: the encoder is dead."""
    group = next(group for group in search.groups if "air.encoder=dead" in group)
    assert not {"outdoor.SIG=open", "out.relay-board=dead"} & set(group)
    for near_v, far_v, culprit in ((9.6, 0.0, "outdoor.SIG=open"), (0.0, 0.0, "air.encoder=dead")):
        led = copy.copy(search)
        led.told("cool-2: compressor stage 1 off")
        led.read(f"off: air:SIG-out air:C {near_v} VDC")
        led.read(f"off: out:SIG out:C {far_v} V DC")
        chances = {str(c.faults[0]): c.probability for c in led.candidates if not c.comes_and_goes}
        other = "air.encoder=dead" if culprit == "outdoor.SIG=open" else "outdoor.SIG=open"
        assert chances[culprit] > 10 * chances[other]


def led_home(search: Search, fault: str) -> int | None:
    """Let a bench with a hidden fault answer every look; return the looks until the fault is named."""
    bench = Bench(search.job)
    bench.advance(15)
    bench.set_faults([fault])
    for looks in range(16):
        if search.found is not None:
            return looks if any(fault in map(str, c.faults) for c in search.found) else None
        step = search.next
        if step is None:
            return None
        bench.set_call(step.look.call)
        state = bench.advance(900)
        if step.look.is_volts:
            meter, probes = Meter(bench), step.look.act.removeprefix("direct ").split()
            reads = meter.dc_volts if step.look.is_direct else meter.volts
            search.measured(step.look, abs(reads(*probes).value))
        elif step.look.act.endswith(" link"):
            lamp = state.links[step.look.act.split()[0]].state
            search.saw(step.look, {"working": "answers", "poor": "comes and goes"}.get(lamp, "silent"))
        else:
            search.saw(step.look, state.responding[step.look.act])
    return None


@pytest.mark.parametrize(
    "fault",
    [
        "thermostat.R=open",
        "outdoor.R=open",
        "outdoor.SIG=open",
        "air.fuse=blown",
        "out.reversing-valve=burnt-out",
    ],
)
def test_a_hidden_fault_is_found(search: Search, fault: str) -> None:
    """A bench that answers the proposed looks leads to its fault, or to the group that holds it."""
    assert led_home(search, fault) is not None


@pytest.mark.parametrize(
    ("act", "text", "says"),
    [
        ("told", "compressor off", "begin with a call"),
        ("told", "cool-3: compressor stage 1 off", "begin with a call"),
        ("told", "cool-2: toaster off", "name what was seen"),
        ("told", "cool-2: compressor stage 1 sideways", "none of its words"),
        ("read", "cool-2: out:R out:C", "CALL: RED BLACK VOLTS"),
        ("read", "cool-2: out:Q out:C 3 V", "there is no"),
    ],
)
def test_what_can_t_be_read_is_said(search: Search, act: str, text: str, says: str) -> None:
    """A text that means nothing gets one sentence, and changes nothing."""
    before = search.belief.copy()
    with pytest.raises(NotUnderstood, match=says):
        getattr(search, act)(text)
    assert (search.belief == before).all()


def test_impossible_volts_are_refused(search: Search) -> None:
    """No 24-volt circuit gives 400 V."""
    with pytest.raises(BadParameter, match="from 0 to 60 V"):
        search.read("cool-2: out:R out:C 400 V")


def test_the_command_prints_the_contract(capsys: pytest.CaptureFixture[str]) -> None:
    """`find --json` has candidates, groups, next and minutes_expected."""
    assert main(["find", "full-cable", "--told", "cool-1: blower off", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert set(told) == {"candidates", "groups", "next", "minutes_expected"}
    assert set(told["next"]) >= {"call", "act", "minutes", "bits", "rules_out"}
    assert {"faults", "probability"} <= set(told["candidates"][0])


def test_the_command_says_what_it_means(capsys: pytest.CaptureFixture[str]) -> None:
    """Without --json a person reads suspects, the next look and the caution."""
    assert main(["find", "full-cable", "--told", "cool-1: blower off"]) == 0
    out = capsys.readouterr().out
    assert "Suspects" in out
    assert "Look next at" in out
    assert "prove dead" in out


SIX = [
    "outdoor.R=open",
    "outdoor.SIG=open",
    "outdoor.SIG=open (comes and goes)",
    "out.contactor=burnt-out",
    "outdoor.SIG=short:C",
    "air.encoder=dead",
]


@pytest.fixture(scope="module")
def six() -> Search:
    """Return a search among six named suspects; tests take a copy."""
    return Search("wire-return", suspects=SIX, calls=["cool-1"], call="cool-1", here="air")


def test_suspects_by_name_are_as_likely_as_their_kinds(six: Search) -> None:
    """Named suspects keep their names, and the odds that the kinds of fault have."""
    assert [str(one) for one in six.suspects] == SIX
    weights = np.array([6.0, 6.0, 6.0 * COMES_AND_GOES, 1.0, 2.0, 1.0])
    assert six.belief == pytest.approx(weights / weights.sum())


def test_an_unknown_suspect_is_refused() -> None:
    """A name that is no fault of the job is answered with what the job allows."""
    with pytest.raises(LessonError, match="outdoor"):
        Search("wire-return", suspects=["outdoor.Z=open"], calls=["cool-1"])


def test_the_steps_of_a_search_are_kept(six: Search) -> None:
    """Each thing learnt adds a step; a copy's steps stay its own, and a trial run leaves none."""
    led = copy.copy(six)
    led.read("cool-1: air:SIG-out air:C 0.0 VDC")
    led.minutes_expected()
    assert len(led.beliefs) == len(led.looked) + 1 == 2
    assert led.beliefs[-1] is led.belief
    assert len(six.beliefs) == 1
    assert six.looked == []


def test_scores_are_the_best_looks_for_their_minutes(six: Search) -> None:
    """The first of the scores is the next look, and what follows teaches less a minute."""
    scores = six.scores(4)
    step = six.next
    assert step is not None
    assert (scores[0].test, scores[0].bits) == (str(step.look), pytest.approx(step.bits))
    each = [score.bits_a_minute for score in scores]
    assert each == sorted(each, reverse=True)
    assert len(scores) == 4


def test_a_search_is_shown_as_a_table(six: Search) -> None:
    """Printed and in a notebook, it names suspects in percent, the minutes, and the next look if any."""
    led = copy.copy(six)
    assert "next cool-1:" in str(led)
    led.read("cool-1: air:SIG-out air:C 0.0 VDC")
    led.read("cool-1: out:R out:C 27.0 V")
    assert "2 looks, 4 min so far; no look tells much more" in str(led)
    assert "| outdoor.SIG=short:C | 66." in led._repr_markdown_()


def test_a_reading_that_tells_nothing_is_said_as_such(six: Search) -> None:
    """Y1 has the same volts with each of the six, which is another matter than no such points."""
    with pytest.raises(NotUnderstood, match="tells nothing"):
        copy.copy(six).read("cool-1: air:Y1 air:C 27.0 V")
    with pytest.raises(NotUnderstood, match="there is no"):
        copy.copy(six).read("cool-1: air:Z air:C 27.0 V")
