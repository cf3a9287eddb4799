"""Single slips in all workbooks: each is met with a hint that helps, not with a place alone."""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest
from lesson import assert_each_slip_has_its_hint

from lessonkit.exercises.compare import Choice, Table
from lessonkit.exercises.core import Exercise, givens_for, judge, solution
from lessonkit.exercises.series.workbook_00 import READING, TOLERANCE_V
from lessonkit.exercises.series.workbook_01 import MODE_TABLE, READ_BACK
from lessonkit.exercises.series.workbook_01_equipment import ONE_FAULT
from lessonkit.exercises.series.workbook_03 import LABELS
from lessonkit.exercises.series.workbook_04_half_wave import FAILED
from lessonkit.exercises.trials import EQUIPMENT
from lessonkit.exercises.workbook import load_exercises

STUDENTS = range(2)
SERIES = [f"{number:02d}" for number in range(13)]


#: So many exercises at least ask for a word in each row of a table.
TABLES = 19


@cache
def tables(number: str) -> list[Exercise]:
    """Return a workbook's exercises that ask for a word in each row of a table, and have one right answer."""
    forms = [(one, one.form(givens_for(one, 0))) for one in load_exercises(number)[1] if one.rule is None]
    return [one for one, form in forms if isinstance(form, Table) and isinstance(form.item, Choice)]


# Numbers are drawn when a test runs, not when tests are listed: each worker lists them all.
@pytest.mark.parametrize("number", SERIES)
def test_one_wrong_row_has_a_hint_of_its_own(number: str) -> None:
    """Whichever row is taken for whichever other word, the hint belongs to that slip."""
    for exercise in tables(number):
        assert_each_slip_has_its_hint(exercise, STUDENTS)


def test_tables_are_found() -> None:
    """Exercises with a word in each row of a table are there to be tried."""
    assert sum(len(tables(number)) for number in SERIES) >= TABLES


def test_two_letters_in_each_other_s_place_have_a_hint() -> None:
    """Whichever two ends of 3.2 are taken for each other, that is what the hint says."""
    givens = givens_for(LABELS, 0)
    right: dict[str, str] = solution(LABELS, givens)
    for one in right:
        for other in right:
            if one < other:
                swapped = {**right, one: right[other], other: right[one]}
                assert judge(LABELS, givens, swapped).model


def test_one_wrong_field_of_a_failed_diode_has_a_hint() -> None:
    """Any wrong diode, or the wrong kind of failure, in one house alone has a hint that names the house."""
    for student in STUDENTS:
        givens = givens_for(FAILED, student)
        right: dict[str, dict[str, str]] = solution(FAILED, givens)
        for house, found in right.items():
            slips = [{**found, "how": {"open": "shorted", "shorted": "open"}[found["how"]]}]
            diodes = ("near-first", "near-second", "far-first", "far-second")
            slips += [{**found, "diode": name} for name in diodes if name != found["diode"]]
            for slip in slips:
                verdict = judge(FAILED, givens, {**right, house: slip})
                assert verdict.model.endswith(f"{house} house"), (student, house, slip)
                assert verdict.hint.startswith(house.capitalize())


def test_one_call_misread_in_the_mode_table_has_its_hint() -> None:
    """A misreading that is made in one row only is met with the hint for that misreading."""
    met = 0
    for student in range(6):
        givens = givens_for(MODE_TABLE, student)
        right: dict[str, list[str]] = solution(MODE_TABLE, givens)
        for call, letters in right.items():
            if "Y2" in letters:
                slip = {**right, call: [letter for letter in letters if letter != "Y2"]}
                assert judge(MODE_TABLE, givens, slip).model == "stage-forgotten"
                met += 1
            if "G" in letters and letters != ["G"]:
                slip = {**right, call: [letter for letter in letters if letter != "G"]}
                assert judge(MODE_TABLE, givens, slip).model == "no-blower"
    assert met >= 2


def test_what_fits_no_slip_gets_a_way_to_go() -> None:
    """An answer that fits no known slip is told what to do, and not just where to look."""
    for exercise in (MODE_TABLE, READ_BACK, ONE_FAULT):
        givens = givens_for(exercise, 1)
        answers: dict[str, Any] = {
            "1.2": {call: ["E", "R"] for call in givens.get("calls", ())},
            "1.3": ["emergency", "emergency"],
            "1.6": {"responds": [EQUIPMENT[1], EQUIPMENT[3], EQUIPMENT[6]], "house": "heated"},
        }
        verdict = judge(exercise, givens, answers[exercise.id])
        assert verdict.outcome == "not yet"
        if not verdict.model:
            assert verdict.hint == exercise.nudge
            assert len(verdict.hint.split()) > 12


def test_hints_of_a_reading_are_true_of_every_slip_that_leads_there() -> None:
    """In 0.1 a probe indoors and a missing splice read alike at times; the hint then names both."""
    both = 0
    for student in range(6):
        givens = givens_for(READING, student)
        right = solution(READING, givens)
        models = {model.name: model for model in READING.wrong_models}
        indoors: tuple[float, ...] = tuple(models["probe-indoors"].compute(givens))
        sound: float = models["no-splice"].compute(givens)
        for slip, others in [(sound, indoors), *((volts, (sound,)) for volts in indoors)]:
            if abs(slip - right) <= TOLERANCE_V:
                continue
            verdict = judge(READING, givens, slip)
            if any(abs(slip - other) <= TOLERANCE_V for other in others):
                assert verdict.model in ("splice-not-in-it", "peak", "nominal"), (student, slip)
                both += 1
    assert both >= 3
