"""An exercise: a question with numbers drawn for each student, and its judge.

An exercise is five things, all pure functions or plain values, so that the same exercise serves self-study,
a class of thirty and a test:

    variant(rng)      draws the givens, a mapping of plain data, from a seeded `random.Random`
    question(givens)  is the question as Markdown, with the numbers and the unit of the answer in it
    solve(givens)     computes the right answer, with the bench
    compare           the form of the answer and its tolerance (`lessonkit.exercises.compare`)
    wrong_models      known misunderstandings: each computes what it would lead to, and has a hint

`judge` compares an answer with the right one, then with each wrong model, and gives a `Verdict`. It changes
nothing and remembers nothing but solutions: judging a class in any order gives the same verdicts.
"""

from __future__ import annotations

import hashlib
import random
import unicodedata
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from lessonkit.errors import LessonError
from lessonkit.exercises.compare import Compare, Unfilled, WrongForm
from lessonkit.exercises.plain import NotPlain, plain

__all__ = [
    "Answer",
    "Exercise",
    "Givens",
    "Several",
    "Verdict",
    "WrongModel",
    "givens_for",
    "judge",
    "modelled",
    "solution",
    "variant_number",
]

Givens = dict[str, Any]
Answer = Any

RIGHT, NOT_YET, UNANSWERED, UNREADABLE = OUTCOMES = ("right", "not yet", "unanswered", "unreadable")
#: What a student is told of an answer that only whoever marks may judge; no judge gives it.
NOTED = "noted"


class Several(tuple[Answer, ...]):
    """Answers to which one slip may lead: a coil forgotten, whichever it is."""

    __slots__ = ()


@dataclass(frozen=True)
class WrongModel:
    """A known misunderstanding: what it leads to, and the hint for it.

    `compute(givens)` returns the answer that the misunderstanding gives, in the form of the exercise, or None
    where it gives none; `Several` holds the answers of a slip that can be made in more than one place. Where
    it happens to give the right answer it is passed over.
    """

    name: str
    hint: str
    compute: Callable[[Givens], Answer]


@dataclass(frozen=True, eq=False)
class Exercise:
    """One question of a workbook.

    `id` is "3.1": workbook and number. `compare` is a form, or a function of the givens that returns one (for
    options that depend on the numbers). `rule`, where many answers are right, is asked instead of comparing
    with `solve`: `rule(givens, answer)` returns None for a right answer, else the hint; `solve` still gives
    one right answer. `nudge` is the hint when no wrong model fits; without it the form says where to look.
    `noted` is for a test that must not teach: a student's check says that the answer is noted, and the
    verdict is for whoever marks.
    `drawn_as` names another exercise whose draw this one shares, so that several are about one site.
    """

    id: str
    title: str
    points: float
    variant: Callable[[random.Random], Givens]
    question: Callable[[Givens], str]
    solve: Callable[[Givens], Answer]
    compare: Compare | Callable[[Givens], Compare]
    wrong_models: tuple[WrongModel, ...] = ()
    rule: Callable[[Givens, Answer], str | None] | None = None
    nudge: str = ""
    noted: bool = False
    drawn_as: str = ""

    def __post_init__(self) -> None:
        where = f"Exercise {self.id}"
        if not self.id.replace(".", "_").isidentifier() and not self.id.replace(".", "").isalnum():
            raise LessonError(f"{where} needs an id such as 3.1: letters, digits and points.")
        if not self.points > 0:
            raise LessonError(f"{where} is worth {self.points} points, but must be worth more than 0.")
        for field in ("name", "hint"):
            texts = [getattr(model, field) for model in self.wrong_models]
            if len(set(texts)) != len(texts):
                raise LessonError(f"{where} has two wrong models with one {field}; give each its own.")
        for text in (*(model.hint for model in self.wrong_models), self.nudge):
            if text != text.strip() or "\n" in text or "\r" in text:
                raise LessonError(f"{where} has a hint that is not one trimmed line: {text!r}.")

    @property
    def has_one_form(self) -> bool:
        """Tell whether the form of the answer is the same for all givens."""
        return hasattr(self.compare, "read")

    def form(self, givens: Givens) -> Compare:
        """Return the form of the answer for these givens."""
        if self.has_one_form:
            return self.compare  # type: ignore[return-value]
        return self.compare(givens)  # type: ignore[operator]


@dataclass(frozen=True)
class Verdict:
    """What the judge says: an outcome, a hint, and the model that was met.

    `outcome` is "right", "not yet", "unanswered", "unreadable" or, where a student is not told, "noted";
    `model` is the name of a wrong model or "".
    As text it is one line, the same for every right answer whatever the numbers.

    >>> print(Verdict("1.1", "not yet", "The current goes there and back."))
    1.1 not yet: The current goes there and back.
    """

    exercise: str
    outcome: str
    hint: str = ""
    model: str = ""

    def __str__(self) -> str:
        return f"{self.exercise} {self.outcome}" + (f": {self.hint}" if self.hint else "")


def _number(*parts: object) -> int:
    return int.from_bytes(hashlib.sha256("\x1f".join(map(str, parts)).encode()).digest()[:8], "big")


def givens_for(exercise: Exercise, variant: int) -> Givens:
    """Return the givens of an exercise in a variant; 0 is self-study.

    Each exercise draws from a generator of its own, so that adding one leaves the others as they are.
    """
    return exercise.variant(random.Random(_number(exercise.drawn_as or exercise.id, variant)))


def variant_number(class_seed: object, name: str, turn: int = 0) -> int:
    """Return the variant number of a student in a class, from 1 to 999 999 999.

    The same seed and name give the same number on every machine. Case, blanks and the spelling of accents in
    the name do not matter. `turn` gives another number, should two students meet in one.
    """
    tidy = " ".join(unicodedata.normalize("NFKC", name).casefold().split())
    return 1 + _number("variant", class_seed, tidy, turn) % 999_999_999


class _Memory:
    """Computed answers, the latest few hundred of them."""

    def __init__(self, size: int = 512) -> None:
        self._size = size
        self._known: OrderedDict[tuple[Any, str], Any] = OrderedDict()

    def get(self, compute: Any, givens: Givens, make: Callable[[], Any]) -> Any:
        key = (compute, repr(sorted(givens.items())))
        if key in self._known:
            self._known.move_to_end(key)
            return self._known[key]
        value = self._known[key] = make()
        if len(self._known) > self._size:
            self._known.popitem(last=False)
        return value


_memory = _Memory()


def solution(exercise: Exercise, givens: Givens) -> Answer:
    """Return the right answer as plain data, as the exercise computes it."""
    return _memory.get(exercise.solve, givens, lambda: plain(exercise.solve(givens)))


def modelled(exercise: Exercise, givens: Givens) -> dict[str, Answer]:
    """Return what each wrong model leads to, by its name, as plain data.

    Models that give no answer, the right one, or the same as a model before them are left out: what stays are
    answers that have a hint of their own, the first one of several.
    """
    form = exercise.form(givens)
    right = _own(exercise, form, solution(exercise, givens))
    kept: dict[str, Answer] = {}
    met: list[Any] = []  # what models before would give, whether kept or not: the judge asks them first
    for model in exercise.wrong_models:
        for value in _modelled(model, givens):
            tidy = _own(exercise, form, value)
            if _is_right(exercise, form, givens, right, tidy):
                continue
            if model.name not in kept and not any(form.same(other, tidy) for other in met):
                kept[model.name] = value
            met.append(tidy)
    return kept


def _modelled(model: WrongModel, givens: Givens) -> tuple[Answer, ...]:
    def compute() -> tuple[Answer, ...]:
        led_to = model.compute(givens)
        several = led_to if isinstance(led_to, Several) else (led_to,)
        return tuple(plain(answer) for answer in several if answer is not None)

    answers: tuple[Answer, ...] = _memory.get(model.compute, givens, compute)
    return answers


def _own(exercise: Exercise, form: Compare, answer: Answer) -> Any:
    try:
        return form.read(answer)
    except WrongForm as error:
        raise LessonError(f"Exercise {exercise.id} computes an answer in the wrong form: {error}") from error


def _is_right(exercise: Exercise, form: Compare, givens: Givens, right: Any, tidy: Any) -> bool:
    if exercise.rule is not None:
        return exercise.rule(givens, tidy) is None
    return form.same(right, tidy)


def _blank(answer: Any) -> bool:
    """Tell whether an answer, or every place in it, is still to be given."""
    if answer is ... or answer is None:
        return True
    if type(answer) in (list, tuple, dict) and answer:
        return all(_blank(item) for item in (answer.values() if type(answer) is dict else answer))
    return False


def judge(exercise: Exercise, givens: Mapping[str, Any], answer: object) -> Verdict:
    """Return the verdict on an answer to an exercise with these givens.

    Any object may come as the answer; what is no plain data, or has the wrong form, is "unreadable" with a
    sentence that says what is expected.
    """
    givens = dict(givens)
    form = exercise.form(givens)
    try:
        value = plain(answer)
        if _blank(value):
            return Verdict(exercise.id, UNANSWERED, f"This expects {form.expects()}.")
        tidy = form.read(value)
    except Unfilled as error:
        return Verdict(exercise.id, UNANSWERED, str(error))
    except NotPlain as error:
        return Verdict(exercise.id, UNREADABLE, f"{error} This expects {form.expects()}.")
    except WrongForm as error:
        return Verdict(exercise.id, UNREADABLE, str(error))
    right = _own(exercise, form, solution(exercise, givens))
    if _is_right(exercise, form, givens, right, tidy):
        return Verdict(exercise.id, RIGHT)
    for model in exercise.wrong_models:
        for led_to in _modelled(model, givens):
            other = _own(exercise, form, led_to)
            if form.same(other, tidy) and not _is_right(exercise, form, givens, right, other):
                return Verdict(exercise.id, NOT_YET, model.hint, model.name)
    hint = exercise.rule(givens, tidy) if exercise.rule is not None else None
    return Verdict(exercise.id, NOT_YET, exercise.nudge or hint or form.differs(right, tidy))
