"""Hunts of a few suspects: bits, minutes and orders of looks, against hand work and the general search."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lessonkit.errors import LessonError
from lessonkit.studies.hunt import Hunt, LookAt, NoSuchLook, box_hunt, hunt, job_hunt, still_likely
from lessonkit.studies.search import cheapest_tree

FAULTS = ("outdoor.R=open", "outdoor.SIG=open", "outdoor.C=open", "out.contactor=burnt-out")
LOOKS = ("out:R out:C", "direct out:SIG out:C", "out:C out:GND", "air:Y1 air:C", "outdoor link")


@pytest.fixture(scope="module")
def site() -> Hunt:
    """Return a hunt on a bench, among three broken conductors and a coil."""
    return job_hunt("wire-return", FAULTS, LOOKS[:3], "cool-1", here="air")


def test_half_of_the_odds_is_one_bit() -> None:
    """Odds of 1 and 3 with a box between: 0.25 x 2 + 0.75 x 0.415 bits; equal odds give one bit."""
    assert box_hunt([1, 3]).bits_of("box 1") == pytest.approx(0.8113, abs=1e-4)
    assert box_hunt([2, 2]).bits_of("box 1") == pytest.approx(1.0)


def test_a_look_narrows() -> None:
    """Behind a look only the suspects that would show its word are left, with chances that sum to 1."""
    left = box_hunt([1, 1, 2]).after("box 1", "volts")
    assert left.chance == {"piece 2": pytest.approx(1 / 3), "piece 3": pytest.approx(2 / 3)}
    assert left.bits_of("box 1") == 0.0
    with pytest.raises(NoSuchLook, match="it shows volts"):
        left.after("box 1", "no volts")


def test_an_order_leaves_out_what_tells_nothing() -> None:
    """Going along eight pieces takes 1 to 7 looks, 35 eighths on average; a look twice costs nothing."""
    names = [f"box {k}" for k in range(1, 8)]
    along = box_hunt([1] * 8).follow([*names, "box 1"])
    assert [len(row.looks) for row in along.rows] == [1, 2, 3, 4, 5, 6, 7, 7]
    assert along.looks == along.minutes == pytest.approx(35 / 8)


def test_walks_cost_minutes() -> None:
    """From the thermostat to the unit it is 4 minutes; there the next look costs half a minute only."""
    looks = {
        "far": LookAt({"a": "0", "b": "1", "c": "1"}, 0.5, "out"),
        "far too": LookAt({"a": "0", "b": "0", "c": "1"}, 0.5, "out"),
    }
    found = Hunt({"a": 0.5, "b": 0.25, "c": 0.25}, looks, "stat")
    route = found.follow(["far", "far too"])
    assert [row.minutes for row in route.rows] == [4.5, 5.0, 5.0]
    assert route.minutes == pytest.approx(4.75)


@given(
    st.lists(st.integers(1, 9), min_size=3, max_size=6).flatmap(
        lambda odds: st.tuples(
            st.just(odds), st.lists(st.integers(1, 12), min_size=len(odds) - 1, max_size=len(odds) - 1)
        )
    )
)
def test_the_best_route_is_the_cheapest_tree(case: tuple[list[int], list[int]]) -> None:
    """Without walks the best route costs what the general search finds, and no rule of choice costs less."""
    odds, minutes = case
    run = box_hunt(odds, minutes)
    outcomes = {
        name: [int(look.words[piece] == "volts") for piece in run.chance] for name, look in run.looks.items()
    }
    cost = dict(zip(run.looks, minutes, strict=True))
    best = run.best().minutes
    assert best == pytest.approx(cheapest_tree(list(run.chance.values()), outcomes, cost).cost)
    for rule in ("bits a minute", "bits", "count", "minutes"):
        assert run.greedy(rule).minutes >= best - 1e-9


def test_best_beats_every_list_on_a_job(site: Hunt) -> None:
    """With walks, no list of looks that parts as much takes fewer minutes than the best route."""
    lists = [site.follow(order).minutes for order in itertools.permutations(site.looks)]
    assert site.best().minutes <= min(lists) + 1e-9


def test_a_job_shows_what_its_bench_shows(site: Hunt) -> None:
    """A broken R takes the volts outdoors, a broken C lifts it off the metal, a broken SIG takes the mark."""
    assert site.looks["out:R out:C"].words == dict(zip(FAULTS, ("0 V", "27 V", "0 V", "27 V"), strict=True))
    assert site.looks["out:C out:GND"].words == dict(zip(FAULTS, ("0 V", "0 V", "27 V", "0 V"), strict=True))
    assert site.looks["direct out:SIG out:C"].words["outdoor.SIG=open"] == "0 V"
    assert site.cost("out:R out:C") == 3.5


def test_suspects_that_no_look_parts_stay_together() -> None:
    """By the lamp of the link alone, three broken conductors are alike, and the row says so."""
    lamp = job_hunt("wire-return", FAULTS, ["outdoor link"], "cool-1")
    rows = {row.suspect: row for row in lamp.best().rows}
    assert rows["outdoor.C=open"].alike == FAULTS[:2]
    assert rows["out.contactor=burnt-out"].alike == ()


def test_sound_looks_by_hand() -> None:
    """50 and 50, shown in half of the looks: 25 of 75, then 12.5 of 62.5, then 6.25 of 56.25 percent."""
    by_hand = [50, 100 * 25 / 75, 100 * 12.5 / 62.5, 100 * 6.25 / 56.25]
    assert list(still_likely(50, 2, 3)) == pytest.approx(by_hand)


def test_tables_say_bits_and_minutes() -> None:
    """A hunt and a route print what they know, as text and as a table."""
    run = box_hunt([1, 3], 2)
    assert "0.81 bits" in str(run)
    assert "| box 1 | no volts: 25.0 %, volts: 75.0 % | 0.81 | 2 | 0.41 |" in run._repr_markdown_()
    assert "| piece 2 | 75.0 % | box 1 | 2.0 |" in run.best()._repr_markdown_()
    assert "on average 1.00 looks, 2.0 min" in str(run.best())


def test_mistakes_are_named() -> None:
    """Wrong names, lengths and numbers are refused with what would be right."""
    run = box_hunt([1, 1])
    for wrong, match in (
        (lambda: run.follow(["box 9"]), "there is box 1"),
        (lambda: run.among(["piece 9"]), "there is piece 1"),
        (lambda: run.greedy("luck"), "bits a minute"),
        (lambda: box_hunt([1]), "two pieces"),
        (lambda: box_hunt([1, 1], [1, 2]), "one for each of 1"),
        (lambda: hunt({"a": 1, "b": 0}, {}), "more than 0"),
        (lambda: hunt({"a": 1, "b": 1}, {"t": "0"}), "one for each of 2"),
        (lambda: job_hunt("wire-return", FAULTS[:2], ["air:Y1 air:C"], "cool-1"), "tells nothing"),
        (lambda: still_likely(50, 1, 2), "come and go"),
    ):
        with pytest.raises(LessonError, match=match):
            wrong()
