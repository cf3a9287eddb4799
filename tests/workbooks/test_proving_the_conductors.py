"""What is particular to workbook 03: its prose against the bench, and right work by hand.

Each number of the lesson that the bench can compute is computed here again, and must stand in the text as it
comes out, so that a change of the model can't leave the lesson behind.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import permutations
from pathlib import Path

import pytest
from lesson import assert_right_by_hand, words_of

from lessonkit.bench.bench import Bench
from lessonkit.bench.hands import Hands
from lessonkit.bench.meter import Meter
from lessonkit.copper.wire import loop_ohm, resistance_per_m
from lessonkit.exercises.core import Exercise, Givens, givens_for, judge, solution
from lessonkit.exercises.series.workbook_03 import BREAK, LABELS, LOOP, TOUCH
from lessonkit.exercises.series.workbook_03_sheet import CHOOSE, SHEET, TERMINALS
from lessonkit.exercises.series.workbook_03_tests import BOXES
from lessonkit.job.toml import demo_job
from lessonkit.studies.cable import (
    half_split,
    locate_open,
    locate_short,
    prove_insulation,
    ring_out,
    short_distance,
)

NOTEBOOK = Path(__file__).resolve().parents[2] / "notebooks" / "03_proving_the_conductors.ipynb"
STUDENTS = range(40)
SITE = "net-loft"
BROKEN = "outdoor.Y2=open@0.28"


def text() -> str:
    """Return the words of the workbook."""
    return words_of("03")


def cooling() -> Bench:
    """Return the net loft with its broken conductor, some seconds into cool-2."""
    bench = Bench(SITE, faults=[BROKEN], call="cool-2")
    bench.advance(15)
    return bench


# The lesson ------------------------------------------------------------------------------------------------


def test_what_is_said_of_halving() -> None:
    """Three readings, none outdoors, and the second stage is off while all else runs."""
    points = ["air:XFMR", "air:R", "stat:R", "stat:Y2", "air:Y2", "out:Y2"]
    bench = cooling()
    found = half_split(points, Meter(bench))
    assert "Three readings, and none of them outdoors" in text()
    assert len(found.read) == len(found.readings) == 3
    assert found.between == ("air:Y2", "out:Y2")
    assert bench.state.responding["compressor stage 1"] == "on"
    assert bench.state.responding["compressor stage 2"] == "off"
    eight = [len(half_split(range(9), lambda k, lost=lost: k <= lost).read) for lost in range(8)]  # type: ignore[misc]
    assert set(eight) == {3}


def test_what_is_said_of_ghosts() -> None:
    """The loose wire shows 26.6 V or 0.07 V by its meter, and a sound spare three things by its call."""
    bench = cooling()
    hands = Hands(bench)
    hands.power(False)
    hands.lift("outdoor.Y2", "out")
    hands.power(True)
    bench.advance(15)
    meter = Meter(bench)
    assert (
        f"{meter.volts('out:outdoor.Y2', 'out:C').value:.1f} V, on a piece of wire that is joined to nothing"
        in text()
    )
    assert f"takes the ghost away: {meter.volts('out:outdoor.Y2', 'out:C', 'low')}." in text()
    sound = Bench(SITE)
    spare = Meter(sound)
    read = []
    for call in ("off", "cool-1", "cool-2"):
        sound.set_call(call)
        read.append(spare.volts("out:spare", "out:C").value)
    assert "{:.0f} V, {:.1f} V and {:.1f} V: one conductor".format(*read) in text()
    beside = {other for pair in demo_job(SITE).outdoor_run.neighbours() if "spare" in pair for other in pair}
    assert beside == {"spare", "Y1", "Y2"}


def test_what_is_said_of_loops() -> None:
    """By bench and by table, the limit of 120 %, the bad conductor and the minutes."""
    rung = ring_out(Bench(SITE, faults=[BROKEN]), "outdoor")
    by_table = loop_ohm(32, 18)
    assert f"{rung.loops['R', 'C']}, and {by_table:.2f} ohm by the table" in text()
    assert f"120 % of {by_table:.2f}, that is {1.2 * round(by_table, 2):.2f} ohm" in text()
    assert rung.opens == ("Y2",)
    assert len(rung.sound) == 7
    assert f"took {rung.minutes:g} minutes" in text()
    assert round(20 * resistance_per_m(18), 2) == 0.42


def test_what_is_said_of_the_break() -> None:
    """Both readings, nine metres, and the second way by a sound conductor of the same cable."""
    found = locate_open(Bench(SITE, faults=[BROKEN]), "outdoor", "Y2")
    assert f"{found.near} at the near end and {found.far} at the far end" in text()
    assert f"32 x {found.near.value * 1e9:.2f} / {(found.near + found.far) * 1e9:.2f} = **9.0 m**" in text()
    assert found.distance_m == pytest.approx(9.0, abs=0.05)
    whole = Bench(SITE)
    hands = Hands(whole)
    hands.power(False)
    names = demo_job(SITE).outdoor_run.conductors
    for name in names:
        hands.lift(f"outdoor.{name}", "air")
        hands.lift(f"outdoor.{name}", "out")
    hands.twist("air", *(f"outdoor.{name}" for name in names if name != "Y1"))
    nanofarad = Meter(whole).capacitance("air:outdoor.Y1", "air:outdoor.R").value * 1e9
    assert f"a sound conductor of the same cable reads {nanofarad:.2f} nF" in text()
    assert f"one metre has {nanofarad / 32:.3f} nF" in text()
    assert found.near * 1e9 / (nanofarad / 32) == pytest.approx(9.0, abs=0.05)


def test_what_is_said_of_the_touch() -> None:
    """The case by hand, the bench's readings, and heat that comes while it cools."""
    bench = Bench(SITE, faults=["outdoor.D=short:O@0.7"])
    found = locate_short(bench, "outdoor", "D", "O")
    assert f"The bench reads {found.near} at the near end" in text()
    assert f"the far end reads {found.far}?" in text()
    assert f"{found.distance_m:.1f} m from the near end, by the readings of both ends" in text()
    assert "moves it by 12 m" in text()
    assert 0.5 / (2 * resistance_per_m(18)) == pytest.approx(12.0, abs=0.1)
    assert found.distance_m + 12 > 32
    hot = Bench(SITE, faults=["outdoor.D=short:O@0.7"], call="cool-2").advance(15).responding
    assert hot["auxiliary heat"] != "off"
    assert hot["reversing valve"] == "on, cooling"
    assert short_distance(0.9, 1.3, 30, 0.02) == pytest.approx(10.0)


def test_what_is_said_of_insulation() -> None:
    """Ringing out passes the damp spare, the tester does not, and here an ohmmeter to ground shows it too."""
    damp = Bench(SITE, faults=["outdoor.spare=earth:200000@0.3"])
    assert ring_out(damp, "outdoor").found("spare") == "sound"
    tested = prove_insulation(damp, "outdoor")
    assert tested.weak == ("spare",)
    assert f"it is weak: {tested.to_ground['spare']} to ground" in text()
    assert Meter(damp).ohms("air:spare-out", "air:GND").fits(tested.to_ground["spare"].value)


# The exercises ---------------------------------------------------------------------------------------------


def said(exercise: Exercise, givens: Givens, answer: object) -> str:
    """Return what an exercise's rule says of an answer."""
    assert exercise.rule is not None
    return exercise.rule(givens, answer) or ""


def numbers_in(exercise: Exercise, givens: Givens) -> list[float]:
    """Return the readings that a question prints in bold."""
    bold = exercise.question(givens).split("**")[1::2]
    return [float(word.split()[0]) for word in bold]


def by_hand_loop(givens: Givens) -> float:
    """Take off the leads, halve, divide by the ohms of a metre."""
    loop, leads = numbers_in(LOOP, givens)
    return round((loop - leads) / 2 / round(resistance_per_m(givens["gauge_awg"]), 4), 1)


def by_hand_break(givens: Givens) -> float:
    """Take the near reading's share of the length."""
    near, far = numbers_in(BREAK, givens)
    return round(givens["length_m"] * near / (near + far), 1)


def by_hand_touch(givens: Givens) -> float:
    """Take half the length, and the difference over four times the ohms of a metre."""
    near, far = numbers_in(TOUCH, givens)
    return round(
        givens["length_m"] / 2 + (near - far) / (4 * round(resistance_per_m(givens["gauge_awg"]), 4)), 1
    )


BY_HAND = ((LOOP, by_hand_loop), (BREAK, by_hand_break), (TOUCH, by_hand_touch))


@pytest.mark.parametrize(("exercise", "by_hand"), BY_HAND, ids=[exercise.id for exercise, _ in BY_HAND])
def test_right_hand_work_is_right(exercise: Exercise, by_hand: Callable[[Givens], float]) -> None:
    """From the numbers printed in the question alone, hand work is within the tolerance for every student."""
    assert_right_by_hand(exercise, by_hand, STUDENTS)


def test_two_walks_leave_one_answer() -> None:
    """Of the 720 ways to match six ends, one alone fits what was twisted and what closed."""
    givens = givens_for(LABELS, 0)
    lines = [line for line in LABELS.question(givens).splitlines() if line.startswith("* ")]
    walks = []
    for line in lines:
        twisted = {frozenset(group) for group in line.split("`")[1::2]}
        closed = {frozenset(group.split("-")) for group in line.rpartition(": ")[2].split("; ")}
        walks.append((twisted, closed))
    fits = []
    for letters in permutations("abcdef"):
        letter = dict(zip("123456", letters, strict=True))
        if all(
            {frozenset(letter[tag] for tag in group) for group in closed} == twisted
            for twisted, closed in walks
        ):
            fits.append(letter)
    assert fits == [solution(LABELS, givens)]


def test_halving_takes_either_box_near_the_middle() -> None:
    """Both middles are right, a box that tells nothing new is not, and too few or too many are said."""
    givens = {"boxes": 10, "lost_after": 3}
    assert judge(BOXES, givens, [5, 2, 3, 4]).outcome == "right"
    assert judge(BOXES, givens, [6, 3, 4]).outcome == "right"
    assert (
        judge(BOXES, givens, [5, 7, 3]).hint
        == "Place 2: you know already what this box reads. Which half is still open?"
    )
    assert judge(BOXES, givens, [4, 2, 3]).hint.startswith("Place 1: this box is not in the middle")
    assert judge(BOXES, givens, [6, 3, 4, 5]).hint.startswith("You know already")
    assert judge(BOXES, givens, [6, 3]).outcome == "not yet"


def test_the_sheet_is_read_by_its_limits() -> None:
    """What is printed on the sheet alone gives each conductor's word, for every student."""
    for student in range(6):
        givens = givens_for(SHEET, student)
        rows = [
            line.strip("| ").split(" | ") for line in SHEET.question(givens).splitlines() if "ohm |" in line
        ]
        limit = 1.2 * 2 * givens["length_m"] * 0.021
        read = {}
        for name, closes, loop, ground in rows:
            number, unit = ground.split()
            weak = unit == "kohm" or (unit == "Mohm" and float(number) < 0.5)
            poor = loop != "OL ohm" and float(loop.split()[0]) > limit
            read[name] = (
                "touches"
                if closes != "none"
                else "open"
                if loop == "OL ohm"
                else "poor"
                if poor
                else "weak"
                if weak
                else "sound"
            )
        assert read == solution(SHEET, givens), student


@pytest.mark.parametrize("student", range(8))
def test_many_schedules_are_right_and_c_decides(student: int) -> None:
    """Any order of the rest is right once C is thick, and wrong once C is thin; bad ones are never right."""
    givens = givens_for(CHOOSE, student)
    good = [label for label in "12345678" if label not in givens["bad"]]
    thick = [label for label in good if label in givens["thick"]]
    thin = [label for label in good if label not in thick]
    for shift in range(5):
        rest = [*thin, thick[1]]
        others = rest[shift:] + rest[:shift]
        answer = dict(zip(("R", "Y1", "Y2", "O", "D"), others, strict=True)) | {"C": thick[0]}
        assert judge(CHOOSE, givens, answer).outcome == "right", shift
        swapped = {
            terminal: {thick[0]: thin[0], thin[0]: thick[0]}.get(label, label)
            for terminal, label in answer.items()
        }
        assert judge(CHOOSE, givens, swapped).outcome == "not yet"
        assert "too few volts" in said(CHOOSE, givens, swapped)
    with_bad = dict(zip(TERMINALS, [thick[1], thick[0], *thin[:3], givens["bad"][1]], strict=True))
    assert "not sound" in said(CHOOSE, givens, with_bad)
    assert "two terminals" in said(CHOOSE, givens, dict.fromkeys(TERMINALS, thick[0]))
