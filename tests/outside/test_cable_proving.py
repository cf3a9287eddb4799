"""Cables proved with hands and a meter, against worked examples.

Sources:

* Open by the readings of both ends: 240 ft and 110 ft on a line of 290 ft lie 91.14 ft from the second end (a
  telephone-cable fault locator's manual, worked there); 100 pF and 400 pF on 10 m lie at 2.0 m (a forum's
  worked answer, by the same ratio).
* Short from both ends: d = L/2 + (R_A - R_B)/(4 r), by hand from Ohm's law, for 100 ft of 18 AWG (6.385 ohm
  for 1000 ft, copper wire tables at 20 C) touching at 30 ft through 0, 0.5 and 5 ohm.
* Loop of 18 AWG twisted at the far end: 1.28 to 1.31 ohm for 100 ft of run, from the same tables; a loop
  above 120 % of what is calculated is rejected (a guide specification, as quoted by others).
* Half-split of N equal pieces: 2.000, 2.8571, 3.000, 3.6667, 4.000 readings on average for N = 4, 7, 8, 12,
  16 (dynamic programming by hand; halving is told in many courses on fault finding).
"""

from __future__ import annotations

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.bench.meter import Meter
from lessonkit.job.toml import demo_job
from lessonkit.studies.cable import (
    half_split,
    locate_open,
    locate_short,
    open_distance,
    ring_out,
    short_distance,
)

FOOT_M = 0.3048


def test_an_open_by_its_two_capacitances() -> None:
    """The printed examples come out, counted from either end."""
    assert open_distance(110.0, 240.0, 290.0) == pytest.approx(91.14, abs=0.01)
    assert open_distance(240.0, 110.0, 290.0) == pytest.approx(290 - 91.14, abs=0.01)
    assert open_distance(100e-12, 400e-12, 10.0) == pytest.approx(2.0)


@pytest.mark.parametrize(("near_ohm", "far_ohm"), [(0.3831, 0.8939), (0.8831, 1.3939), (5.3831, 5.8939)])
def test_a_short_from_both_ends(near_ohm: float, far_ohm: float) -> None:
    """The touch's own ohms fall out: 30 ft in each row, where one end alone says 30, 69 and 421 ft."""
    assert short_distance(near_ohm, far_ohm, 100.0, 6.385e-3) == pytest.approx(30.0, abs=0.02)


@pytest.mark.parametrize("touch_ohm", [0.0, 50.0])
@pytest.mark.parametrize(
    ("loop_ohm", "share", "ohm_a_length", "answer"),
    [
        # Hawkins Electrical Guide, vol. 3, fig. 597 (seen in a copy): ohms a mile; printed 1.09 miles.
        (54.07, 0.332, 16.46, 1.0906),
        # An examination key (seen): a cable of 600 m and its equal, arms 3 to 1; 1 ohm stands for a metre.
        (1200.0, 0.25, 1.0, 300.0),
    ],
)
def test_a_loop_through_a_good_conductor_finds_what_a_murray_bridge_does(
    loop_ohm: float, share: float, ohm_a_length: float, answer: float, touch_ohm: float
) -> None:
    """With a good conductor joined at the far end, both ends are here, and the touch's ohms fall out."""
    near_ohm, far_ohm = (part * loop_ohm + touch_ohm for part in (share, 1 - share))
    # A touch to ground is read against ground: one way each, where `short_distance` reads there and back.
    found = short_distance(2 * near_ohm, 2 * far_ohm, loop_ohm / ohm_a_length, ohm_a_length)
    assert found == pytest.approx(answer, rel=5e-4)


@pytest.mark.parametrize(("pieces", "readings"), [(4, 2.0), (7, 2.8571), (8, 3.0), (12, 3.6667), (16, 4.0)])
def test_half_split_takes_as_many_readings_as_it_must(pieces: int, readings: float) -> None:
    """Every place for the fault, one after the other, and the mean over them."""
    points = [f"p{k}" for k in range(pieces + 1)]
    taken = []
    for lost in range(pieces):
        found = half_split(points, lambda point, lost=lost: int(point[1:]) <= lost)  # type: ignore[misc]
        assert found.between == (f"p{lost}", f"p{lost + 1}")
        taken.append(len(found.read))
    assert sum(taken) / pieces == pytest.approx(readings, abs=1e-4)


@pytest.mark.parametrize("at", [0.2, 0.3, 0.75])
def test_hands_and_an_ohmmeter_find_a_short(at: float) -> None:
    """On the bench a short of 18 AWG is found where it is, whatever its own ohms."""
    job = demo_job("full-cable").with_run("outdoor", length_m=100 * FOOT_M)
    found = locate_short(Bench(job, faults=[f"outdoor.Y1=short:R@{at}"]), "outdoor", "R", "Y1")
    assert found.distance_m == pytest.approx(at * 100 * FOOT_M, rel=0.01)
    assert found.minutes > 10


@pytest.mark.parametrize("at", [0.2, 0.5, 0.9])
def test_hands_and_a_capacitance_range_find_a_break(at: float) -> None:
    """On the bench a broken conductor is found by the capacitance of its two pieces."""
    job = demo_job("full-cable").with_run("outdoor", length_m=100 * FOOT_M)
    bench = Bench(job, faults=[f"outdoor.Y1=open@{at}"])
    found = locate_open(bench, "outdoor", "Y1")
    assert found.distance_m == pytest.approx(at * 100 * FOOT_M, rel=0.02)
    assert bench.hands == ()


def test_ringing_out_a_sound_run_reads_the_wire_tables() -> None:
    """Every loop of 100 ft of 18 AWG reads 1.28 to 1.31 ohm, and nothing is held against any conductor."""
    job = demo_job("full-cable").with_run("outdoor", length_m=100 * FOOT_M, gauge_awg=18, temp_c=20.0)
    found = ring_out(Bench(job), "outdoor")
    assert all(1.27 <= ohm <= 1.31 for ohm in found.loops.values())
    assert all(ohm == pytest.approx(0.6385, rel=0.02) for ohm in found.ohms.values())
    assert (found.opens, found.poor, found.shorts) == ((), (), ())
    assert found.sound == job.outdoor_run.conductors


@pytest.mark.parametrize("name", ["R", "C", "Y1", "Y2", "O", "D"])
def test_ringing_out_names_the_bad_conductor(name: str) -> None:
    """A broken one, one with a poor splice, and one that touches its neighbour, each by its name."""
    job = demo_job("full-cable")
    broken = ring_out(Bench(job, faults=[f"outdoor.{name}=open@0.4"]), "outdoor")
    assert (broken.opens, broken.poor, broken.shorts) == ((name,), (), ())
    poor = ring_out(Bench(job, faults=[f"outdoor.{name}=resistance:3"]), "outdoor")
    assert (poor.opens, poor.poor, poor.shorts) == ((), (name,), ())
    other = "C" if name == "R" else "R"
    short = ring_out(Bench(job, faults=[f"outdoor.{name}=short:{other}"]), "outdoor")
    assert [set(pair) for pair in short.shorts] == [{name, other}]
    assert short.opens == ()


def test_half_split_on_a_live_chain() -> None:
    """Volts are followed from the transformer to the contactor, and lost over the broken conductor."""
    bench = Bench("full-cable", call="cool-1", faults=["outdoor.Y1=open"])
    bench.advance(400)
    meter = Meter(bench)
    chain = ["air:XFMR", "air:R", "stat:R", "stat:Y1", "air:Y1", "out:Y1", "out:CC"]
    found = half_split(chain, lambda point: meter.volts(point, setting="low") > 20)
    assert found.between == ("air:Y1", "out:Y1")
    assert len(found.read) <= 3
