"""What is particular to workbook 11: its prose against the planner, and right work by hand.

Each number of the lesson that survey, planner or bench can compute is computed here again, and must stand in
the text as it comes out, so that a change of the model can't leave the lesson behind.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import permutations
from pathlib import Path

import pytest
from lesson import words_of

from lessonkit.bench.bench import Bench
from lessonkit.bench.meter import Meter
from lessonkit.copper.wire import resistance_per_m
from lessonkit.exercises.core import givens_for, judge, solution
from lessonkit.exercises.series.workbook_11 import VOLTS, WHICH_WAYS
from lessonkit.exercises.series.workbook_11_design import DESIGN
from lessonkit.exercises.series.workbook_11_plans import MISTAKE, ORDER
from lessonkit.exercises.series.workbook_11_refusal import REFUSAL
from lessonkit.studies.arrangements import arrangements
from lessonkit.studies.plan import Planned, first_plan
from lessonkit.studies.plan_sweeps import bad_corner, margin_sweep
from lessonkit.studies.survey import Survey, WallConductor, WallRun, load_survey

NOTEBOOK = Path(__file__).resolve().parents[2] / "notebooks" / "11_planning_a_retrofit.ipynb"
STUDENTS = range(40)
SITE = load_survey("tannery-row")
PROVED = SITE.with_conductor("outdoor", "c", continuous=True, loop_ohm=1.28, insulation_mohm=25.0)


def text() -> str:
    """Return the words of the workbook."""
    return words_of("11")


@pytest.fixture(scope="module")
def found(plan_of: Callable[[str], Planned]) -> Planned:
    """Return the plans of the site."""
    return plan_of("tannery-row")


# The lesson ------------------------------------------------------------------------------------------------


def test_what_is_said_of_the_survey() -> None:
    """The lines shown are those of the survey, and the limits those of its verdicts."""
    outdoor = SITE.run("outdoor")
    for found in outdoor.conductors[:2]:
        line = f'label = "{found.label}", continuous = true, loop_ohm = {found.loop_ohm:.2f}'
        assert line in text()
    loop_ohm = 2 * 30 * resistance_per_m(18)
    assert f"0.63 ohm and a loop {loop_ohm:.2f} ohm" in text()
    assert f"More than 120 % of that, {1.2 * loop_ohm:.2f} ohm" in text()
    assert [SITE.verdict("outdoor", label) for label in "abc"] == ["sound", "sound", "unproven"]
    assert SITE.run("outdoor").inferred()[1] == 18
    inside = [SITE.verdict("thermostat", c.label) for c in SITE.run("thermostat").conductors]
    assert inside.count("sound") == 4


def test_what_is_said_of_the_plans(found: Planned) -> None:
    """Six ways; the three that are compared have their minutes, order, amperes and proof."""
    assert len(found.plans) == 6
    assert "Two times three is **six**" in text()
    by_way = {one.arrangement.name.split(", ")[1].split(" on the ")[0]: one for one in found.plans[::-1]}
    wire, earth, new = by_way["link by wire"], by_way["link by earth"], by_way["new cable"]
    assert [one for one in found.plans if one in (wire, earth, new)] == [wire, new, earth]
    assert f"unproven: {wire.minutes:.0f} minutes, its proof included" in text()
    assert f"two sound conductors: {earth.minutes:.0f} minutes" in text()
    assert f"a new cable outdoors: {new.minutes:.0f} minutes" in text()
    assert f"sends {earth.earth_a:.2f} A home" in text()
    assert min(found.plans, key=lambda one: one.minutes) is earth
    assert all(one.works for one in found.plans)


def test_what_is_said_of_the_schedules(found: Planned) -> None:
    """Before the proof c carries the signal, after it C; four lies beside one, with the ohms by hand."""
    best = found.plans[0]
    served = {(s.run, s.label): s.terminal for s in best.arrangement.schedule}
    assert [served["thermostat", label] for label in ("three", "one", "two", "four")] == [
        "R",
        "C",
        "SIG",
        "C",
    ]
    assert [served["outdoor", label] for label in "bac"] == ["R", "C", "SIG"]
    assert f"= {best.arrangement.job.thermostat_run.ohms[1]:.2f} ohm." in text()
    now = first_plan(PROVED)
    assert now is not None
    after = {s.label: s.terminal for s in now.arrangement.schedule if s.run == "outdoor"}
    assert after == {"b": "R", "c": "C", "a": "SIG"}
    assert f"The work is {now.minutes:.0f} minutes" in text()
    assert found.plans[0].minutes - now.minutes == 6
    assert not now.arrangement.unproven


def test_what_is_said_of_the_bad_corner(found: Planned) -> None:
    """By hand, on the bench and in the planner's table there are the volts of the text."""
    bench = Bench(bad_corner(found.plans[0]), call="cool-2")
    bench.advance(20.0)
    meter = Meter(bench)
    air_v, amps = meter.volts("air:R", "air:C").value, meter.amps("outdoor.R").value
    lost = round(0.5 * amps * (0.625 + 0.65) * 1.05 * 1.16, 2)
    by_hand = round(air_v, 2) - lost
    assert f"{air_v:.2f} V less {lost:.2f} V is **{by_hand:.2f} V**" in text()
    assert by_hand == pytest.approx(meter.volts("out:R", "out:C").value, abs=0.03)
    coil = found.plans[0].coils["out:contactor"]
    assert (
        f"The contactor has {coil.volts:.1f} V in the planner's table, and a margin of {coil.margin_v:.1f} V"
        in text()
    )
    assert f"Times {amps:.2f} A" in text()
    assert f"{found.plans[0].va:.0f} VA" in text()
    assert f"and {0.95 * 27.6:.1f} V with the line at 95 %" in text()
    assert pytest.approx(1.16, abs=0.005) == 1 + 0.00393 * 40


def test_what_is_said_of_the_cliff(found: Planned) -> None:
    """The margins at 60 and 72 m are those of the text, and the new cable reaches farther."""
    now = first_plan(PROVED)
    assert now is not None
    sweep = margin_sweep(now, (60.0, 72.0))
    assert f"By wire there are {sweep.margin_v[0]:.1f} V to spare at 60 m" in text()
    assert sweep.margin_v[1] < 0 < margin_sweep(found.plans[1], (72.0,)).margin_v[0]


# The exercises ---------------------------------------------------------------------------------------------


def test_a_pencil_is_right_about_volts() -> None:
    """The steps of the lesson, with the printed numbers, are within the tolerance for every student."""
    for student in STUDENTS:
        givens = givens_for(VOLTS, student)
        words = VOLTS.question(givens)
        air_v, amps = (float(part.split()[0]) for part in words.split("**")[1::2])
        lost = 0.5 * amps * (givens["r_ohm"] + givens["c_ohm"]) / 2 * 1.05 * 1.16
        answer = {"volts": round(air_v - lost, 2), "to_spare": round(air_v - lost - 20.4, 2)}
        assert judge(VOLTS, givens, answer).outcome == "right", student


def test_the_ways_are_the_planner_s() -> None:
    """What the exercise calls a way is one that the planner tries, for the same site."""
    names = {
        ("direct", ""): "direct",
        ("direct", "D"): "direct without D",
        ("direct", "Y2"): "direct without Y2",
        ("link", "wire"): "link by wire",
        ("link", "earth"): "link by earth",
        ("link", "second-transformer"): "link by second transformer",
        ("new cable", ""): "new cable",
    }
    for student in range(6):
        givens = givens_for(WHICH_WAYS, student)
        count = givens["sound"] + givens["unproven"]
        outside = tuple(WallConductor(f"{k}", True, 1.0, 50.0) for k in range(count))
        inside = tuple(WallConductor(f"{k}", True, 0.8, 50.0) for k in range(3))
        survey = Survey(
            "Tannery Row 3",
            (WallRun("thermostat", inside, 20.0, 18), WallRun("outdoor", outside, 24.0, 18)),
            stages=givens["stages"],
            valve=givens["valve"],
            bonded=None if givens["bonded"] == "unknown" else givens["bonded"],
            second_possible=givens["second"],
        )
        tried = set()
        for one in arrangements(survey):
            gone = ", ".join(terminal for run, terminal in one.given_up if run == "outdoor")
            tried.add(names.get((one.outdoor, one.return_by if one.outdoor == "link" else gone)))
        assert tried - {None} == set(solution(WHICH_WAYS, givens)["ways"]), student


@pytest.mark.parametrize(
    ("sound", "unproven", "bonded", "word"),
    [(3, 0, True, "plan"), (2, 1, False, "prove first"), (2, 0, True, "ask first"), (2, 0, False, "refuse")],
)
def test_plan_or_refuse_is_what_the_planner_says(sound: int, unproven: int, bonded: bool, word: str) -> None:
    """Without a new cable the planner's ways are sound, unproven, along the ground, or none at all."""
    outside = [WallConductor(f"{k}", True, 1.2, 50.0) for k in range(sound)]
    outside += [WallConductor(f"x{k}") for k in range(unproven)]
    inside = tuple(WallConductor(f"{k}", True, 0.9, 50.0) for k in range(4))
    runs = (WallRun("thermostat", inside, 20.0, 18), WallRun("outdoor", tuple(outside), 28.0, 18))
    survey = Survey("Tannery Row 5", runs, rated_va=75.0, bonded=bonded, ground_ohm=0.2 if bonded else None)
    in_wall = [one for one in arrangements(survey) if "new cable" not in one.name]
    off_ground = [one for one in in_wall if one.return_by != "earth"]
    says = "ask first" if in_wall else "refuse"
    if off_ground:
        says = "prove first" if all(one.unproven for one in off_ground) else "plan"
        best = first_plan(survey)
        assert best is not None
        assert best.works
        assert best.arrangement in off_ground
    assert says == word


def test_striking_out_gives_the_order() -> None:
    """Reading the printed table line by line, from the first criterion on, gives every student's order."""
    for student in STUDENTS:
        givens = givens_for(ORDER, student)
        lines = [line for line in ORDER.question(givens).splitlines() if line.startswith("|")][2:]
        keys = {}
        for letter, _, works, ground, a_break, new, unproven, lost, minutes in (
            line.strip("| ").split(" | ") for line in lines
        ):
            keys[letter] = (
                *(
                    works != "yes",
                    ground != "none",
                    a_break != "starts nothing",
                    new == "yes",
                    unproven == "yes",
                ),
                *(lost != "nothing", int(minutes)),
            )
        assert judge(ORDER, givens, sorted(keys, key=lambda letter: keys[letter])).outcome == "right", student


def test_a_mistake_is_the_only_one() -> None:
    """In every student's schedule one conductor in use fails a test, or C has the most ohms, never both."""
    for student in range(100):
        givens = givens_for(MISTAKE, student)
        limit = 1.2 * 2 * givens["length_m"] * resistance_per_m(18)
        used = [row for row in givens["rows"] if row[1] != "free"]
        failed = [row for row in used if row[2] is None or row[2] > limit or row[3] < 0.5]
        highest = max(used, key=lambda row: row[2] or 0.0)
        right = solution(MISTAKE, givens)
        assert len(failed) + (highest[1] == "C" and highest not in failed) == 1, student
        assert right["label"] == (failed[0] if failed else highest)[0]


def test_many_schedules_for_a_long_cable_are_right() -> None:
    """Whichever of the sound conductors carries the signal, and whichever are paired, the coils pull in."""
    givens = givens_for(DESIGN, 1)
    right = solution(DESIGN, givens)
    labels = [label for label, use in right.items() if use != "free"]
    orders = sorted(set(permutations(("R", "R", "C", "C", "SIG"))))
    for order in orders[:: len(orders) // 6]:
        assert judge(DESIGN, givens, right | dict(zip(labels, order, strict=True))).outcome == "right", order
    without = {label: "free" if use == "SIG" else use for label, use in right.items()}
    assert "needs three things" in judge(DESIGN, givens, without).hint
    bad = next(label for label, use in right.items() if use == "free")
    assert "not sound" in judge(DESIGN, givens, right | {bad: "R"}).hint


def test_a_small_transformer_is_refused_by_its_va() -> None:
    """The VA of the question are the bench's: more than 40 with two stages, less with one."""
    for student in STUDENTS:
        givens = givens_for(REFUSAL, student)
        asked = float(REFUSAL.question(givens).split("up to ")[1].split()[0])
        if "small transformer" in givens["kinds"]:
            row = "abcde"[givens["kinds"].index("small transformer")]
            wanted = "refuse" if asked > givens["rated_va"] else "plan"
            assert solution(REFUSAL, givens)[row] == wanted
        assert (asked > 40) == (givens["stages"] == 2)
