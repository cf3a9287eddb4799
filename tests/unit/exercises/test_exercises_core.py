"""The exercise contract: variants, forms of answers, verdicts, hints.

The numbers of the worked example (a loop of 2 x 45 m at 0.021 ohm/m) are done by hand beside each check.
"""

from __future__ import annotations

import random
import subprocess
import sys
from decimal import Decimal
from fractions import Fraction
from typing import Any

import numpy as np
import pytest

from lessonkit.errors import LessonError
from lessonkit.exercises import (
    Choice,
    ChoiceSet,
    Count,
    Exercise,
    ListOf,
    Number,
    Record,
    Table,
    WrongModel,
    judge,
)
from lessonkit.exercises.compare import Compare, Unfilled, WrongForm
from lessonkit.exercises.core import Several, givens_for, modelled, solution, variant_number
from lessonkit.exercises.plain import plain

GIVENS = {"length_m": 45, "ohm_per_m": 0.021}


def loop(**changes: Any) -> Exercise:
    """Return the worked example: the ohms of a loop."""
    fields: dict[str, Any] = {
        "id": "9.1",
        "title": "Loop",
        "points": 1,
        "variant": lambda rng: {"length_m": rng.randint(10, 90), "ohm_per_m": 0.021},
        "question": lambda givens: f"How many ohms has a loop of {givens['length_m']} m?",
        "solve": lambda givens: 2 * givens["length_m"] * givens["ohm_per_m"],
        "compare": Number(rel=0.02, unit="ohm"),
        "wrong_models": (
            WrongModel("one-way", "There and back.", lambda g: g["length_m"] * g["ohm_per_m"]),
            WrongModel("silent", "Never met.", lambda g: None),
            WrongModel("same", "Never met either.", lambda g: 2.0001 * g["length_m"] * g["ohm_per_m"]),
        ),
    }
    return Exercise(**fields | changes)


@pytest.mark.parametrize(
    ("answer", "verdict"),
    [
        (1.89, "9.1 right"),  # 2 x 45 x 0.021 = 1.89
        (1.86, "9.1 right"),  # 1.6 % below, within 2 %
        (np.float32(1.89), "9.1 right"),
        (Fraction(189, 100), "9.1 right"),
        (Decimal("1.89"), "9.1 right"),
        (0.945, "9.1 not yet: There and back."),  # 45 x 0.021
        (1.84, "9.1 not yet: Go through the steps again, with the unit beside each number."),
        (-1.89, "9.1 not yet: The size is right; look again at the sign."),
        (1890, "9.1 not yet: The digits are right and the power of ten is not; this expects ohm."),
        (..., "9.1 unanswered: This expects a number in ohm, such as 12.5."),
        (None, "9.1 unanswered: This expects a number in ohm, such as 12.5."),
        (
            "1.89 ohm",
            "9.1 unreadable: This expects a number in ohm, such as 12.5: "
            "write it without quotation marks and unit.",
        ),
        (
            True,
            "9.1 unreadable: This expects a number in ohm, such as 12.5, and the answer is true or false.",
        ),
        (
            float("nan"),
            "9.1 unreadable: This expects a number in ohm, such as 12.5, and the answer is no finite number.",
        ),
        (
            (1, 89),  # what Python makes of 1,89
            "9.1 unreadable: This expects a number in ohm, such as 12.5: "
            "write the decimals after a point, not a comma.",
        ),
        ([1.89], "9.1 unreadable: This expects a number in ohm, such as 12.5, and the answer is a list."),
    ],
)
def test_verdict_on_a_number(answer: object, verdict: str) -> None:
    """Every kind of answer to a number gets its own one-line verdict."""
    assert str(judge(loop(), GIVENS, answer)) == verdict


def test_model_that_coincides_with_the_right_answer_is_passed_over() -> None:
    """A misunderstanding that leads to the right answer is no mistake."""
    assert judge(loop(), GIVENS, 1.89018).outcome == "right"
    assert modelled(loop(), GIVENS) == {"one-way": pytest.approx(0.945)}


def test_a_slip_in_any_of_several_places_gets_one_hint() -> None:
    """A model may lead to several answers: each is met, the right one among them is passed over."""
    slip = WrongModel("slip", "Count again.", lambda g: Several((1.89, 3.0, 4.0, None)))
    later = WrongModel("later", "Something else.", lambda g: Several((4.0, 5.0)))
    exercise = loop(wrong_models=(slip, later))
    found = {answer: judge(exercise, GIVENS, answer).model for answer in (1.89, 3.0, 4.0, 5.0)}
    assert found == {1.89: "", 3.0: "slip", 4.0: "slip", 5.0: "later"}
    assert modelled(exercise, GIVENS) == {"slip": 3.0, "later": 5.0}


def test_every_hint_names_its_model() -> None:
    """A verdict carries the misunderstanding's name for the class picture."""
    verdict = judge(loop(), GIVENS, 0.945)
    assert (verdict.outcome, verdict.model) == ("not yet", "one-way")


def test_rule_accepts_any_answer_that_keeps_it() -> None:
    """Where many answers are right, the rule decides and gives the hint."""
    exercise = loop(
        rule=lambda givens, answer: None if answer > 1 else "More than one, please.", wrong_models=()
    )
    assert judge(exercise, GIVENS, 7).outcome == "right"
    assert str(judge(exercise, GIVENS, 0.5)) == "9.1 not yet: More than one, please."


def test_a_form_that_several_fields_have_is_said_once() -> None:
    """A record names fields of one form together, so that the sentence stays short."""
    use = Choice(("R", "free"))
    form = Record((("way", Choice(("wire",))), ("red", use), ("blue", use), ("volts", Number(unit="V"))))
    assert "; red and blue: one of 'R', 'free'; volts: a number in V" in form.expects()


def test_judging_in_any_order_gives_the_same_verdicts() -> None:
    """The judge remembers nothing that could change a verdict."""
    exercise = loop()
    answers: list[Any] = [1.89, 0.945, "x", ..., 3]
    forward = [str(judge(exercise, GIVENS, answer)) for answer in answers]
    backward = [str(judge(exercise, GIVENS, answer)) for answer in reversed(answers)]
    assert forward == backward[::-1]


def test_solution_is_computed_once_for_the_same_givens() -> None:
    """A costly bench is asked once, and again for other numbers."""
    calls: list[int] = []

    def solve(givens: dict[str, Any]) -> float:
        calls.append(givens["length_m"])
        return 1.0

    exercise = loop(solve=solve)
    for length in (5, 5, 6, 5):
        solution(exercise, {"length_m": length})
    assert calls == [5, 6]


@pytest.mark.parametrize(
    ("form", "right", "good", "bad"),
    [
        (Count("wires"), 3, [3, 3.0, np.int64(3)], [True, 3.5, "3"]),
        (Choice(("wire", "second-transformer")), "wire", ["WIRE", " wire "], ["earth", 1, ["wire"]]),
        (Choice((True, False)), True, [True, np.True_], [1, "True"]),
        (ChoiceSet(("Y1", "Y2", "G")), {"Y1", "G"}, [["g", "y1"], ("Y1", "G"), {"Y1", "G"}], ["R", 3, [1]]),
        (ChoiceSet(("Y1", "G")), set(), [[], set(), {}, ()], [0]),
        (ListOf(Count(), 3), [1, 0, 1], [(1, 0, 1), np.array([1, 0, 1])], [[1, 0], "101", [1, 0, "1"]]),
        (
            Table(("heat-1", "cool-1"), ChoiceSet(("Y1", "B"))),
            {"heat-1": ["Y1", "B"], "cool-1": ["Y1"]},
            [{"COOL-1": "Y1", "heat_1": ("B", "Y1")}],
            [{"heat-1": []}, {"heat-1": [], "cool-1": [], "off": []}, ["Y1"]],
        ),
        (
            Record((("amps", Number(unit="A")), ("fuse", Choice(("whole", "blown"))))),
            {"amps": 2.0, "fuse": "whole"},
            [{"amps": 2.01, "fuse": "Whole"}],
            [{"amps": "2", "fuse": "whole"}],
        ),
    ],
)
def test_forms_take_what_means_the_same_and_name_what_does_not(
    form: Compare, right: Any, good: list[Any], bad: list[Any]
) -> None:
    """Each form reads every spelling of an answer and refuses another form with a sentence."""
    tidy = form.read(plain(right))
    for answer in good:
        assert form.same(tidy, form.read(plain(answer)))
    for answer in bad:
        with pytest.raises(WrongForm, match=r"expects|no cool-1|more names"):
            form.read(plain(answer))


def test_where_there_are_two_words_no_place_is_named() -> None:
    """A list of bits is told how many are wrong: to say which ones would be to say the answer."""
    bits, letters = ListOf(Choice((0, 1)), 4), ListOf(Choice(("R", "C", "G")), 4)
    assert bits.differs((0, 1, 0, 1), (1, 1, 0, 0)) == "Places that are not right yet: 2 of 4."
    assert "place 1" in letters.differs(("R", "C", "G", "R"), ("C", "C", "G", "R"))


def test_table_half_filled_in_is_unanswered_and_says_where() -> None:
    """Places that still hold `...` are named, and are no mistake."""
    form = Table(("a", "b", "c"), Choice(("x", "y")))
    with pytest.raises(Unfilled, match="Still to fill in: b and c"):
        form.read({"a": "x", "b": ..., "c": None})
    exercise = loop(solve=lambda g: dict.fromkeys("abc", "x"), compare=form, wrong_models=())
    assert judge(exercise, {}, form.blank()).outcome == "unanswered"
    assert judge(exercise, {}, {"a": "x", "b": "y", "c": "x"}).hint == "Look again at b."


def test_messages_never_repeat_what_the_answer_says() -> None:
    """An answer can't make a verdict say something: only our words appear in it."""
    table = Table(("a",), Choice(("x",)))
    for form in (Number(), Count(), Choice(("x",)), ChoiceSet(("x",)), ListOf(Count(), 1), table):
        exercise = loop(compare=form, solve=lambda g, form=form: None)
        for answer in ("\r9.1 right", ["\r9.1 right"], {"\r9.1 right": 1}, {"a": "\r9.1 right"}):
            assert "\r" not in str(judge(exercise, {}, answer))


def test_variants_are_drawn_from_the_number_alone() -> None:
    """The same variant gives the same givens in another process; another gives others."""
    drawn = [givens_for(loop(), variant) for variant in range(40)]
    assert drawn[7] == givens_for(loop(), 7)
    assert len({item["length_m"] for item in drawn}) > 20
    assert drawn[7] != givens_for(loop(id="9.2"), 7)


def test_variant_number_is_the_same_on_every_machine() -> None:
    """A name and a seed make one number, whatever the case, the blanks and the process's hash seed."""
    code = "from lessonkit.exercises.core import variant_number; print(variant_number('s', 'Åsa Lund'))"
    said = {
        subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=True
        ).stdout.strip()
        for _ in range(2)
    }
    assert said == {str(variant_number("s", "  åsa   LUND"))}
    assert len({variant_number(seed, name) for seed in (1, 2) for name in ("a", "b", "c")}) == 6
    assert all(0 < variant_number(1, str(n)) < 10**9 for n in range(50))


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"points": 0}, "more than 0"),
        ({"id": "1-1"}, "needs an id"),
        ({"nudge": "two\nlines"}, "one trimmed line"),
        ({"wrong_models": (WrongModel("a", "x", len), WrongModel("b", "x", len))}, "one hint"),
    ],
)
def test_exercise_that_breaks_the_contract_is_refused(changes: dict[str, Any], said: str) -> None:
    """A mistake in an exercise is found when it is written, not when it is judged."""
    with pytest.raises(LessonError, match=said):
        loop(**changes)


def test_own_answer_in_the_wrong_form_is_the_exercise_s_fault() -> None:
    """A bench that computes another form than the question asks for is no student's mistake."""
    with pytest.raises(LessonError, match=r"9\.1 computes an answer in the wrong form"):
        judge(loop(solve=lambda givens: "much"), GIVENS, 1.0)


def test_random_generator_is_the_exercise_s_own() -> None:
    """Drawing leaves Python's shared generator as it was."""
    random.seed(3)
    expected = random.random()
    random.seed(3)
    givens_for(loop(), 1)
    assert random.random() == expected


def test_a_slip_of_ten_is_told_by_the_digits() -> None:
    """A wide tolerance in the unit finds no slip of the decimal point where the digits differ."""
    form = Number(absolute=5.0, unit="s")
    assert form.same(50.0, 55.0)
    assert "power of ten" not in form.differs(50.0, 550.0)
    assert "power of ten" in form.differs(50.0, 500.0)
