"""What is particular to workbook 04: its prose against the bench, and right work by hand.

Each number of the lesson that the bench can compute is computed here again, and must stand in the text as it
comes out, so that a change of the model can't leave the lesson behind.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from itertools import permutations
from pathlib import Path

import pytest
from lesson import words_of

from lessonkit.bench.bench import Bench
from lessonkit.bench.meter import Meter
from lessonkit.copper.wire import loop_ohm
from lessonkit.exercises.core import givens_for, judge, solution
from lessonkit.exercises.series.workbook_04 import COUNT
from lessonkit.exercises.series.workbook_04_half_wave import FAILED, MEAN, METERS
from lessonkit.exercises.series.workbook_04_schedule import SCHEDULE
from lessonkit.exercises.trials import try_calls
from lessonkit.job.model import Job
from lessonkit.job.toml import demo_job
from lessonkit.studies.plan import Planned
from lessonkit.studies.steering import DcCoil, Steering, longest_loop_ohm, steer

NOTEBOOK = Path(__file__).resolve().parents[2] / "notebooks" / "04_too_few_conductors.ipynb"
STUDENTS = range(40)
SITE = "warden-flat"
COIL = DcCoil(freewheel=True)
PAIR = Steering(first=COIL, second=COIL, supply_v=27.6, supply_ohm=1.15, loop_ohm=loop_ohm(24, 18))


def text() -> str:
    """Return the words of the workbook."""
    return words_of("04")


def with_conductors(*names: str) -> Job:
    """Return the warden's flat with other conductors to the thermostat."""
    return demo_job(SITE).with_run("thermostat", conductors=names)


# The lesson ------------------------------------------------------------------------------------------------


def test_what_is_said_of_the_count() -> None:
    """Eight are needed, five are there, and the three without one are those named."""
    job = demo_job(SITE)
    needed = {"R", "C", *job.call_terminals}
    assert "R, C, Y1, Y2, G, O, W1 and E: eight" in text()
    assert len(needed) == 8
    assert needed - set(job.thermostat_run.conductors) == {"Y2", "G", "E"}
    gets = try_calls(SITE).house_gets
    assert gets["cool-1"] == "cooling, stage 1, but no air moves"
    assert gets["cool-2"] == gets["cool-1"]
    assert gets["heat-aux"] == "heating, stage 1, with auxiliary heat"
    assert gets["emergency"] == "auxiliary heat alone"


def test_what_is_said_of_leaving_out() -> None:
    """With O's conductor on G, a call for cold heats, with air; the table of prices is the bench's."""
    assert try_calls(with_conductors("R", "C", "Y1", "G", "W1")).house_gets["cool-1"] == "heating, stage 1"
    every = ("R", "C", "Y1", "Y2", "G", "O", "W1", "E")
    whole = try_calls(with_conductors(*every)).house_gets
    changed = {}
    for gone in ("Y2", "G", "W1", "E"):
        gets = try_calls(with_conductors(*(name for name in every if name != gone))).house_gets
        changed[gone] = {call for call in whole if gets[call] != whole[call]}
    assert changed["Y2"] == {"cool-2", "heat-2", "heat-aux"}
    assert changed["G"] == {"fan", "cool-1", "cool-2", "heat-1", "heat-2"}
    assert changed["W1"] == {"heat-aux", "emergency"}
    assert changed["E"] == {"emergency"}


def test_what_is_said_of_the_ground() -> None:
    """From R to metal in a wall without C, the volts of the text, on either setting."""
    meter = Meter(Bench("old-cable"))
    for setting in ("high", "low"):
        assert f"{meter.volts('stat:R', 'stat:C', setting).value:.1f} V, even on low impedance" in text()


def test_what_is_said_of_half_a_wave() -> None:
    """Both hand cases, the bench's mean, its swing, and what is lost without freewheel diodes."""
    by_hand = (24 * math.sqrt(2) / math.pi - 1.125) / 160
    assert "the peak divided by 3.14, here 10.8 V" in text()
    assert f"9.7 V / 160 ohm = **{1000 * by_hand:.0f} mA**" in text()
    flat = (27.6 * math.sqrt(2) / math.pi - 1.125) / 160
    coil = steer(PAIR, "first").coils["first"]
    assert f"By hand {1000 * flat:.0f} mA, by the bench {1000 * coil.mean_a:.0f} mA" in text()
    assert f"between {1000 * coil.least_a:.0f} and {1000 * coil.most_a:.0f} mA" in text()
    assert f"must have {1000 * COIL.pick_up_a:.0f} mA" in text()
    bare = steer(replace(PAIR, first=DcCoil(), second=DcCoil()), "first").coils
    assert f"the first coil has {1000 * bare['first'].mean_a:.0f} mA here" in text()
    assert f"and {1000 * bare['second'].mean_a:.0f} mA go through the other coil" in text()
    assert demo_job(SITE).supply.transformer.r_ohm == pytest.approx(PAIR.supply_ohm, abs=0.005)
    assert demo_job(SITE).supply.open_v == PAIR.supply_v


def test_what_is_said_of_meters() -> None:
    """Each meter's number, with one call and with both, and with a shorted diode."""
    first, both = steer(PAIR, "first"), steer(PAIR, "both")
    assert f"**Direct** volts are the mean, {first.meter_v('dc'):.1f} V" in text()
    assert f"shows the rest, {first.meter_v('true-rms'):.1f} V" in text()
    assert f"even wave: it shows {first.meter_v('average'):.1f} V" in text()
    assert first.meter_v("half-wave") > 0.95 * 27.6
    assert f"{both.meter_v('true-rms'):.1f} V, as on any live conductor, and 0 V direct" in text()
    assert abs(both.meter_v("dc")) < 0.05
    site = Steering(first=COIL, second=COIL, supply_v=27.6, supply_ohm=1.15, shorted=("near-first",))
    hurt = steer(site, "first")
    assert all(coil.state == "pulled in" for coil in hurt.coils.values())
    assert f"the meter shows {hurt.meter_v('true-rms'):.1f} V, as if both" in text()


def test_what_is_said_of_the_reach() -> None:
    """Sixty ohm at full volts, some thirty at a tenth less; by gauge that is no cable of a house."""
    assert "room up to 60 ohm" in text()
    assert longest_loop_ohm(PAIR, "first", within=0.05) == pytest.approx(60, abs=4)
    assert "its limit near 30 ohm" in text()
    low = longest_loop_ohm(replace(PAIR, supply_v=0.9 * 27.6), "first", within=0.05)
    assert low == pytest.approx(30, abs=3)
    assert low > loop_ohm(500, 18)


def test_what_is_said_of_the_plan(plan_of: Callable[[str], Planned]) -> None:
    """The best plan is a link on the thermostat run that loses nothing; a new cable works, too."""
    found = plan_of(SITE)
    best = found.plans[0]
    assert (best.works, best.arrangement.thermostat, best.arrangement.outdoor, best.lost) == (
        True,
        "link",
        "direct",
        (),
    )
    served = [s for s in best.arrangement.schedule if s.run == "thermostat" and s.terminal]
    assert {s.terminal for s in served} == {"R", "C", "SIG"}
    assert "three of the five conductors, and nothing is lost" in text()
    assert any(one.works and one.arrangement.thermostat == "new cable" for one in found.plans)


# The exercises ---------------------------------------------------------------------------------------------


def test_counting_by_the_steps_is_right() -> None:
    """The steps of the lesson, followed by hand, give the terminals and the number for every student."""
    for student in STUDENTS:
        givens = givens_for(COUNT, student)
        needed = ["R", *(["C"] if givens["power"] == "common" else []), "Y1", "G", givens["valve"], "W1"]
        needed += ["Y2"] if givens["stages"] == 2 else []
        needed += ["W2"] if givens["heat_stages"] == 2 else []
        needed += ["E"] if givens["emergency_by"] == "E" else []
        answer = {"needed": needed, "missing": len(needed) - givens["sound"]}
        assert judge(COUNT, givens, answer).outcome == "right", student
        assert answer["missing"] >= 1


def test_a_mean_by_hand_is_right() -> None:
    """Peak, mean, diodes, ohms: within the tolerance of what the circuit gives, for every student."""
    for student in STUDENTS:
        givens = givens_for(MEAN, student)
        milliamps = 1000 * (1.41 * givens["supply_v"] / 3.14 - 1.125) / givens["r_ohm"]
        assert judge(MEAN, givens, round(milliamps, 1)).outcome == "right", student


def test_meters_by_their_rules_are_right() -> None:
    """Sign of the direct volts, and a half or the whole on the alternating range, give every row."""
    for student in STUDENTS:
        givens = givens_for(METERS, student)
        lines = [line for line in METERS.question(givens).splitlines() if line.startswith("* ")]
        answer = {}
        for line in lines:
            row, volts = line.split("`")[1], float(line.rpartition(": ")[2].split()[0])
            if "direct" in line:
                answer[row] = "none or both" if abs(volts) < 1 else "first" if volts > 0 else "second"
            else:
                answer[row] = "none" if volts < 1 else "both" if volts > 20 else "first or second"
        assert judge(METERS, givens, answer).outcome == "right", (student, answer)


def test_no_two_failed_diodes_look_alike() -> None:
    """Eight failures, eight different tables: each can be told from what is printed."""
    seen = {}
    for student in range(200):
        givens = givens_for(FAILED, student)
        parts = FAILED.question(givens).split("house:")[1:]
        for part, failed in zip(parts, givens["failed"], strict=True):
            rows = tuple(line for line in part.splitlines() if line.startswith("| `"))
            assert seen.setdefault(rows, failed) == failed
    assert len(set(seen.values())) == len(seen) == 8


def test_many_schedules_are_right() -> None:
    """Whichever jackets serve, and jumper or relay where no G is there, the family gets what it must have."""
    for student in range(10):
        givens = givens_for(SCHEDULE, student)
        right = solution(SCHEDULE, givens)
        jackets, terminals = list(givens["jackets"]), [right[j] for j in givens["jackets"]]
        for order in list(permutations(terminals))[:: max(1, math.factorial(len(terminals)) // 7)]:
            for added in ("jumper Y1-G", "relay Y1-G") if "G" not in terminals else ("nothing", "relay Y1-G"):
                answer = dict(zip(jackets, order, strict=True)) | {"added": added}
                assert judge(SCHEDULE, givens, answer).outcome == "right", (student, answer)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"red": "C"}, "on one terminal"),
        ({"blue": "free"}, "live on"),
        ({"added": "nothing"}, "no air moves"),
        ({"green": "free"}, "valve stands the wrong way"),
        ({"added": "jumper Y1-Y2"}, "no air moves"),
        ({"white": "E"}, "stays off"),
    ],
)
def test_a_wrong_schedule_is_told_why(change: dict[str, str], says: str) -> None:
    """Each way to go wrong has its own sentence."""
    givens = {
        "jackets": ("red", "white", "green", "blue", "yellow"),
        "calls": ("cool-1", "heat-1", "heat-aux"),
        "valve": "O",
    }
    answer = {"red": "R", "blue": "C", "yellow": "Y1", "green": "O", "white": "W1", "added": "relay Y1-G"}
    assert SCHEDULE.rule is not None
    assert SCHEDULE.rule(givens, answer) is None
    assert says in (SCHEDULE.rule(givens, answer | change) or "")


def test_a_jumper_beside_a_conductor_is_found_by_the_fan() -> None:
    """G served and joined to Y1 starts the compressor for the fan alone, wished for or not."""
    jackets = ("red", "white", "green", "blue", "yellow", "brown")
    givens = {"jackets": jackets, "calls": ("cool-1", "heat-1", "heat-2", "cool-2"), "valve": "B"}
    answer = dict(zip(jackets, ("R", "C", "Y1", "Y2", "B", "G"), strict=True))
    assert SCHEDULE.rule is not None
    assert SCHEDULE.rule(givens, answer | {"added": "nothing"}) is None
    assert "`fan` something runs" in (SCHEDULE.rule(givens, answer | {"added": "jumper Y1-G"}) or "")
