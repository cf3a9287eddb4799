"""A class of thirty with every workbook: nobody can copy, every slip is met with its own hint, no hint tells.

Workbooks are found by themselves. Thirty students get their numbers as a school would hand them out, and do
every exercise: rightly, with each known misunderstanding, and with every wrong option of a choice.

Where an exercise may do otherwise, it stands in `EXCEPTIONS` with the reason.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from typing import Any, NamedTuple

import pytest

from lessonkit.bench.reading import Reading
from lessonkit.exercises import Exercise, core, judge, known_workbooks, load_exercises
from lessonkit.exercises.compare import (
    Choice,
    ChoiceSet,
    Compare,
    Count,
    ListOf,
    Number,
    Record,
    Table,
    WrongForm,
)
from lessonkit.exercises.core import Givens, givens_for, modelled, solution, variant_number


def student_number(n: int) -> int:
    """Return the variant number of student n, the first of whom is 1."""
    return variant_number("autumn", f"Trainee {n}")


STUDENTS = tuple(map(student_number, range(1, 31)))
#: A class of forty: these and ten more.
FORTY = tuple(map(student_number, range(1, 41)))
#: So many students are looked at before a wrong model counts as one that nobody could meet.
SOMEBODY = 400
#: So many of the thirty may have one right answer: one in five.
MOST = len(STUDENTS) // 5
#: So many of them also make every mistake; more of them would only make the same ones with other numbers.
CLUMSY = STUDENTS[:8]
#: A tolerance leaves room for so many of the last digit on a meter's display.
DIGITS = 3

#: Exercise and rule -> why it may break the rule.
EXCEPTIONS: dict[tuple[str, str], str] = {
    (f"{form}.{question}", "shared"): "one in four is the least that a choice of four answers can be"
    for form in ("20", "21")
    for question in range(1, 21)
}

EXERCISES = [exercise for number in known_workbooks() for exercise in load_exercises(number)[1]]


def each_exercise(rule: str) -> Any:
    """Run a test for every exercise that has to keep a rule."""
    held = [exercise for exercise in EXERCISES if (exercise.id, rule) not in EXCEPTIONS]
    return pytest.mark.parametrize("exercise", held, ids=lambda exercise: exercise.id)


@pytest.fixture(scope="module", autouse=True)
def room_for_a_class() -> Iterator[None]:
    """Let what was computed for a class be remembered until the last test has marked it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(core, "_memory", core._Memory(1_000_000))
        yield


class Desk(NamedTuple):
    """One student's numbers of an exercise, the form of the answer, and the right answer in that form."""

    givens: Givens
    form: Compare
    right: Any
    answer: Any


@cache
def drawn(exercise: Exercise, student: int) -> Givens:
    """Draw a student's numbers once."""
    return givens_for(exercise, student)


@cache
def desks(exercise: Exercise) -> tuple[Desk, ...]:
    """Return what each student has in front of them."""
    made = []
    for student in STUDENTS:
        givens = drawn(exercise, student)
        form, answer = exercise.form(givens), solution(exercise, givens)
        made.append(Desk(givens, form, form.read(answer), answer))
    return tuple(made)


@cache
def slips(exercise: Exercise) -> tuple[tuple[Desk, dict[str, Any]], ...]:
    """Return the desks at which every mistake is made, with what each mistake leads to there."""
    return tuple((desk, modelled(exercise, desk.givens)) for desk in desks(exercise)[: len(CLUMSY)])


def counts_for(exercise: Exercise, desk: Desk, answer: Any) -> bool:
    """Tell whether an answer, copied from a neighbour, is right at this desk."""
    try:
        tidy = desk.form.read(answer)
    except WrongForm:
        return False
    if exercise.rule is not None:
        return exercise.rule(desk.givens, tidy) is None
    return desk.form.same(desk.right, tidy)


def leaves(form: Compare, right: Any, rows: bool = True) -> Iterator[tuple[Compare, Any]]:
    """Yield each single thing that an answer is made of, with its form, rows too if asked."""
    if isinstance(form, Record) or (rows and isinstance(form, Table)):
        for name, inner in form.fields_():
            yield from leaves(inner, right[name])
    elif rows and isinstance(form, ListOf):
        for item in right:
            yield from leaves(form.item, item)
    elif rows or not isinstance(form, (Table, ListOf)):
        yield form, right


@pytest.mark.parametrize("exercise", EXERCISES, ids=lambda exercise: exercise.id)
def test_right_answer_is_right(exercise: Exercise) -> None:
    """What the bench computes is right for every student, and a blank is unanswered."""
    for desk in desks(exercise):
        assert judge(exercise, desk.givens, desk.answer).outcome == "right"
        assert judge(exercise, desk.givens, desk.form.blank()).outcome == "unanswered"


@pytest.mark.parametrize("exercise", EXERCISES, ids=lambda exercise: exercise.id)
def test_an_exercise_varies(exercise: Exercise) -> None:
    """In a class of forty an exercise comes in many variants."""
    assert len({repr(sorted(drawn(exercise, student).items())) for student in FORTY}) >= 12


@pytest.mark.parametrize("number", known_workbooks())
def test_no_two_students_share_a_workbook(number: str) -> None:
    """In a class of forty no two students have the same numbers in every exercise of a workbook."""
    exercises = load_exercises(number)[1]
    notebooks = {repr([drawn(exercise, student) for exercise in exercises]) for student in FORTY}
    assert len(notebooks) == len(FORTY)


@each_exercise("shared")
def test_no_answer_serves_more_than_one_in_five(exercise: Exercise) -> None:
    """Whoever copies a neighbour's right answer is right at no more than six desks of thirty."""
    class_ = desks(exercise)
    answers = {repr(desk.answer): desk.answer for desk in class_}.values()
    shared = {
        repr(answer)[:120]: count
        for answer in answers
        if (count := sum(counts_for(exercise, desk, answer) for desk in class_)) > MOST
    }
    assert shared == {}


@each_exercise("hints")
def test_each_slip_gets_its_hint(exercise: Exercise) -> None:
    """Each misunderstanding that a student's numbers allow is met with the hint for that one."""
    assert exercise.wrong_models or exercise.rule, "no known misunderstanding"
    hints = {model.name: model.hint for model in exercise.wrong_models}
    assert all(hint.strip() for hint in hints.values())
    for desk, met in slips(exercise):
        for name, answer in met.items():
            verdict = judge(exercise, desk.givens, answer)
            assert (verdict.outcome, verdict.model, verdict.hint) == ("not yet", name, hints[name]), answer


@pytest.mark.parametrize("exercise", EXERCISES, ids=lambda exercise: exercise.id)
def test_each_wrong_model_gets_its_own_hint(exercise: Exercise) -> None:
    """Each misunderstanding, those that few students can meet too, is met by somebody, and gets its hint."""
    hints = {model.name: model.hint for model in exercise.wrong_models}
    unmet = set(hints) - {name for _, met in slips(exercise) for name in met}
    for n in range(len(CLUMSY) + 1, SOMEBODY):
        if not unmet:
            break
        givens = drawn(exercise, student_number(n))
        met = modelled(exercise, givens)
        for name in unmet & set(met):
            verdict = judge(exercise, givens, met[name])
            assert (verdict.outcome, verdict.model, verdict.hint) == ("not yet", name, hints[name])
        unmet -= set(met)
    assert not unmet, f"no student of {SOMEBODY} can meet this"


@each_exercise("distractors")
def test_each_wrong_option_gets_a_hint(exercise: Exercise) -> None:
    """Whoever chooses a wrong option is told something about that option, not just to look again."""
    for desk in desks(exercise):
        if not isinstance(desk.form, Choice) or exercise.rule is not None:
            continue
        for option in desk.form.options:
            if not desk.form.same(desk.right, option):
                assert judge(exercise, desk.givens, option).model, (
                    f"{option!r}, where {desk.right!r} is right"
                )


def names(option: object, hint: str) -> bool:
    """Tell whether a hint names an option, as a word or words of its own."""
    words = " ".join(re.findall(r"\w+", str(option).casefold()))
    return f" {words} " in f" {' '.join(re.findall(chr(92) + 'w+', hint.casefold()))} "


def tells(form: Compare, right: Any, hint: str, question: str) -> bool:
    """Tell whether a hint names the right answer: its number, or its words and no others."""
    if isinstance(form, (Number, Count)):
        numbers = set(re.findall(r"\d+(?:\.\d+)?", hint)) - set(re.findall(r"\d+(?:\.\d+)?", question))
        return any(form.same(right, form.read(float(number))) for number in numbers)
    if isinstance(form, (Choice, ChoiceSet)):
        named = {option for option in form.options if names(option, hint)}
        return bool(named) and named == (set(right) if isinstance(form, ChoiceSet) else {right})
    return False


@each_exercise("tells")
def test_no_hint_gives_the_answer_away(exercise: Exercise) -> None:
    """No hint that a student can meet holds the right number, or the right words and no others."""
    for desk, met in slips(exercise):
        question = exercise.question(desk.givens)
        hints = [model.hint for model in exercise.wrong_models if model.name in met]
        for hint in (*hints, exercise.nudge):
            for form, right in leaves(desk.form, desk.right, rows=False):
                assert not tells(form, right, hint, question), (right, hint)


@each_exercise("tolerance")
def test_tolerance_is_above_the_meter_s_resolution(exercise: Exercise) -> None:
    """What is asked for in volts, amperes or ohms need not be truer than a few last digits of a meter."""
    for desk in desks(exercise):
        for form, right in leaves(desk.form, desk.right):
            if isinstance(form, Number) and form.unit in ("V", "A", "ohm"):
                tolerance = max(form.rel * abs(right), form.absolute)
                digit = Reading(abs(right), form.unit).digit
                assert tolerance >= 0.999 * DIGITS * digit, f"{right} {form.unit}, within {tolerance}"


def is_trivial(form: Compare, right: Any) -> bool:
    """Tell whether an answer is nothing, or the same in every row."""
    if isinstance(form, Number):
        return right == 0.0
    if isinstance(form, ChoiceSet):
        return not right
    if isinstance(form, (Table, ListOf)):
        rows = [repr(row) for row in (right.values() if isinstance(form, Table) else right)]
        return len(rows) > 2 and len(set(rows)) == 1
    return False


@each_exercise("trivial")
def test_no_right_answer_is_trivial(exercise: Exercise) -> None:
    """Nobody is asked for zero, for nothing at all, or for a table whose rows are all the same."""
    found = [desk.givens for desk in desks(exercise) if is_trivial(desk.form, desk.right)]
    assert found == []


def test_exceptions_are_needed_and_have_a_reason() -> None:
    """Each exception names an exercise and a rule that there are, and says why."""
    rules = {"shared", "hints", "distractors", "tells", "tolerance", "trivial"}
    ids = {exercise.id for exercise in EXERCISES}
    for (number, rule), reason in EXCEPTIONS.items():
        assert number in ids
        assert rule in rules
        assert len(reason.split()) >= 5
