"""Half-wave sharing in a plan: offered where conductors are short, judged with the site around it."""

from __future__ import annotations

import json
from dataclasses import replace
from html import escape

import pytest

from lessonkit.bench.wiring import Wiring
from lessonkit.copper.wire import resistance_per_m
from lessonkit.draw.plan_page import NO_PICTURE, pair_words, plan_page
from lessonkit.errors import LessonError
from lessonkit.panels.plan import plan_html
from lessonkit.studies.arrangements import Arrangement, NoBenchJob, arrangements, job_of
from lessonkit.studies.cases import Case, rest
from lessonkit.studies.corners import LINE, at_line, unfriendly
from lessonkit.studies.half_wave import RELAY, SharedWire, failed_diodes, read_pair, stand_in, steering_of
from lessonkit.studies.plan import Plan, Planned, first_of
from lessonkit.studies.plan_ends import heats_in_defrost, wire_of
from lessonkit.studies.plan_sweeps import bad_corner
from lessonkit.studies.steering import Steering, steer
from lessonkit.studies.survey import Survey, WallConductor, WallRun


def site(inside: str, outside: str, **more: object) -> Survey:
    """Return a survey with a sound conductor for each letter."""
    runs = tuple(
        WallRun(name, tuple(WallConductor(label, True, 1.0, 50.0) for label in labels), 24.0, 18)
        for name, labels in (("thermostat", inside), ("outdoor", outside))
    )
    told = {"rated_va": 75.0, "fuse_a": 3.0, "bonded": False, **more}
    return Survey("Cooper's Yard 3", runs, **told)  # type: ignore[arg-type]


def shared_way(survey: Survey) -> Arrangement:
    """Return the way that shares in the outdoor run alone."""
    return next(
        one for one in arrangements(survey) if (one.thermostat, one.outdoor) == ("direct", "half-wave")
    )


@pytest.fixture(scope="module")
def plan() -> Plan:
    """Return a plan whose outdoor run is one conductor short of its terminals."""
    survey = site("mnopqrst", "abcde")
    found = first_of(survey, [shared_way(survey)])
    assert found is not None
    return found


def test_a_conductor_is_shared_only_where_one_is_short() -> None:
    """Six terminals on six conductors share nothing; on five one pair does, on three no pair is left."""
    for labels, pairs in (("abcdef", set()), ("abcde", {"Y1+Y2"}), ("abc", set())):
        ways = arrangements(site("mnopqrst", labels, second_possible=False))
        assert {pair.name for one in ways for pair in one.shared} == pairs
    short = next(one for one in arrangements(site("mnopqr", "abcdef")) if one.thermostat == "half-wave")
    assert [pair.name for pair in short.shared] == ["Y1+Y2", "W1+E"]
    assert not short.given_up


def test_the_shared_way_works_and_says_its_price(plan: Plan) -> None:
    """It works, with volts to spare at both ends of the line, and tells relays, diodes, makers and meters."""
    assert plan.works
    assert len([s for s in plan.arrangement.schedule if s.terminal == "Y1+Y2"]) == 1
    (pair,) = plan.shared
    assert 0 < pair.margin_v < 3
    assert 0.04 < pair.direct_a < 0.08  # one relay's mean current comes out of the transformer as it is
    assert pair.most_w < 1.5
    text = " ".join(plan.needs)
    assert all(words in text for words in ("four diodes", "two relays", "makers' word", "meters misread"))
    assert plan.to_dict()["shared"][0]["terminals"] == ["Y1", "Y2"]
    json.dumps(plan.to_dict())


def test_both_stages_stop_when_the_shared_conductor_breaks(plan: Plan) -> None:
    """A break of the shared conductor takes both calls, starts nothing, and so is safe."""
    label = next(f"outdoor {s.label}" for s in plan.arrangement.schedule if s.terminal == "Y1+Y2")
    lost = plan.lost_if_broken[label]
    assert lost.safe
    assert {"compressor stage 1", "compressor stage 2"} <= set(lost.stops)


def test_a_way_with_a_conductor_of_its_own_comes_first() -> None:
    """Between a link and a shared conductor that both work, the link is first: no diode of it can fail."""
    survey = site("mnopqrst", "abcde")
    ways = [one for one in arrangements(survey) if one.thermostat == "direct" and not one.given_up]
    best = first_of(survey, ways)
    assert best is not None
    assert (best.works, best.arrangement.outdoor) == (True, "link")


def test_a_relay_that_gets_too_little_closes_nothing(plan: Plan) -> None:
    """A contactor still pulls in on 22 V of sine; half of that sine pulls no relay in, and says which."""
    how = plan.arrangement
    low = at_line(how.job.with_supply(open_v=24.5), 0.9)
    direct, shared = (rest(low, [Case("cool-1")], wire=w)[0] for w in (Wiring, SharedWire(how.shared)))
    assert direct.responding["compressor stage 1"] != "off"
    assert shared.responding["compressor stage 1"] == "off"
    why = read_pair(how.shared[0], [shared], [direct], "line at 90%").why
    assert why == ("Y1+Y2, line at 90%: no relay pulls in",)


def test_the_stand_in_pulls_in_where_the_steered_relay_does() -> None:
    """At its pick-up volts the steered relay is just pulled in and quiet, and a volt below it is not."""
    pickup_v = stand_in(60.0).pickup_v
    for volts, state in ((pickup_v + 0.2, "pulled in"), (pickup_v - 1.0, "released")):
        seen = steer(Steering(volts, 0.01, 60.0, 0.01, RELAY, RELAY), "first", 64)
        assert seen.coils["first"].state == state


def test_the_reach_is_where_the_relay_just_pulls_in(plan: Plan) -> None:
    """With the ohms of that many metres more the weaker relay's mean current is its pick-up, to 1 %."""
    pair = plan.arrangement.shared[0]
    corner = unfriendly(plan.arrangement.job, LINE[0], 1.0)
    end = rest(corner, [Case("cool-2")], wire=SharedWire(plan.arrangement.shared))[0]
    reading = read_pair(pair, [end], [end], "line at 95%")
    more_ohm = (reading.reach_m - 24.0) * 2 * 1.05 * resistance_per_m(18, 60.0)
    site = steering_of(end, pair)
    longer = steer(replace(site, loop_ohm=site.loop_ohm + more_ohm), "both", 64)
    assert min(coil.mean_a for coil in longer.coils.values()) == pytest.approx(RELAY.pick_up_a, rel=1e-2)


def test_a_diode_that_fails_is_told() -> None:
    """A short at the near end runs the other call; at the far end the freewheel diode shorts half a sine."""
    near, far = failed_diodes()
    assert "near end" in near
    assert "nobody called" in near
    assert "far end" in far
    assert "3.8 A" in far


def test_no_bench_gets_a_job_with_diodes(plan: Plan) -> None:
    """What hands a plan's job to a bench refuses a shared conductor in one sentence that says why."""
    for refuse in (lambda: job_of(plan.arrangement), lambda: bad_corner(plan)):
        with pytest.raises(NoBenchJob, match="a job has no diodes") as caught:
            refuse()
        assert isinstance(caught.value, LessonError)


def test_the_page_has_words_instead_of_a_picture(plan: Plan) -> None:
    """The printed page says the pair's volts, reach and cautions, and why there is no picture."""
    text = plan_page(Planned(site("mnopqrst", "abcde"), False, "", (plan,), ()))
    assert NO_PICTURE in text
    assert "Y1+Y2 share a conductor of the outdoor run by half-waves" in text
    assert "misread" in text


def test_the_open_plan_of_a_panel_says_the_pair(plan: Plan) -> None:
    """The panel says what the printed page does of a shared conductor: its relays' volts and its price."""
    assert plan.shared
    for pair in plan.shared:
        assert escape(pair_words(pair)) in plan_html(plan)


def test_a_forced_defrost_goes_by_the_shared_relays() -> None:
    """Where the relays of a shared conductor get too little, no compressor runs, and nothing defrosts."""
    how = shared_way(site("mnopqrst", "abcde"))
    assert heats_in_defrost(how.job, wire_of(how), ("", "D")) == [True, False]
    low = at_line(how.job.with_supply(open_v=24.5), 0.9)
    assert heats_in_defrost(low) == [True]
    assert heats_in_defrost(low, wire_of(how)) == [False]
