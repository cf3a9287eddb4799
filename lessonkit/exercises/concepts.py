"""The concept test: twenty ideas, each asked before the course and once more, in other words, after it.

No question asks for a number. Each wrong answer is what a known misunderstanding would say, and both forms
of a question offer the same three misunderstandings, so that one form is as hard as the other as far as that
can be arranged. Which answer is right the bench says, where it can (`concept_bench.py`); the texts, and what
the others rest on, are plain data: `concepts.toml`.

The answers of a question stand in another order for each student. The test does not teach: its checks say
`noted`, and no more. The verdict and the hint are for whoever marks, and for the class after the second form.
"""

from __future__ import annotations

import random
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from lessonkit.exercises.compare import Choice
from lessonkit.exercises.concept_bench import BENCH, RIGHT, bench_says
from lessonkit.exercises.core import Exercise, Givens, WrongModel

__all__ = ["FORMS", "Idea", "concept_exercises", "ideas"]

#: The two forms of the test.
FORMS = ("before", "after")
#: How many answers each question offers.
CHOICES = 4


@dataclass(frozen=True)
class Idea:
    """One idea: its `title`, the three misunderstandings (name, hint), and its texts in both forms.

    `forms` maps "before" and "after" to the question, the right answer, then the wrong ones in the order of
    `wrong`. `fact` is what the right answer rests on where the bench can't say it, else "".
    """

    key: str
    title: str
    wrong: tuple[tuple[str, str], ...]
    forms: dict[str, tuple[str, ...]]
    fact: str = ""

    @property
    def by_bench(self) -> bool:
        """Tell whether the bench says which answer is right."""
        return self.key in BENCH

    def right(self, form: str) -> int:
        """Return the place of the right answer among the texts of a form: 0 if the bench agrees with them."""
        says = bench_says(self.key, form)
        return 0 if says == RIGHT else 1 + [name for name, _ in self.wrong].index(says)


@cache
def ideas() -> tuple[Idea, ...]:
    """Return the ideas in the order of the test."""
    text = (Path(__file__).parent / "concepts.toml").read_text(encoding="utf-8")
    return tuple(
        Idea(
            key,
            one["title"],
            tuple((name, hint) for name, hint in one["wrong"]),
            {form: tuple(one[form]) for form in FORMS},
            one.get("fact", ""),
        )
        for key, one in tomllib.loads(text).items()
    )


def concept_exercises(workbook_id: str, form: str) -> tuple[Exercise, ...]:
    """Return the exercises of one form of the test."""
    return tuple(_exercise(f"{workbook_id}.{k}", idea, form) for k, idea in enumerate(ideas(), 1))


def _exercise(exercise_id: str, idea: Idea, form: str) -> Exercise:
    return Exercise(
        id=exercise_id,
        # The title is the same for every question: an idea's own would help.
        title=f"Question {exercise_id.partition('.')[2]}",
        points=1,
        variant=_order,
        question=lambda givens: _question(idea, form, givens),
        solve=lambda givens: _place(idea.right(form), givens),
        compare=Choice(tuple(range(1, CHOICES + 1))),
        wrong_models=tuple(
            WrongModel(name, hint, _placed(k)) for k, (name, hint) in enumerate(idea.wrong, 1)
        ),
        nudge="Read the question again, and say in your own words what flows where.",
        noted=True,
    )


def _order(rng: random.Random) -> Givens:
    order = list(range(CHOICES))
    rng.shuffle(order)
    return {"order": order}


def _place(answer: int, givens: Givens) -> int:
    """Return the number under which an answer stands in a student's order."""
    return int(givens["order"].index(answer)) + 1


def _placed(answer: int) -> Callable[[Givens], int]:
    return lambda givens: _place(answer, givens)


def _question(idea: Idea, form: str, givens: Givens) -> str:
    asked, *answers = idea.forms[form]
    lines = [f"{number}. {answers[place]}" for number, place in enumerate(givens["order"], 1)]
    return "\n".join([asked, "", *lines, "", "Write the number of the answer that you think is right."])
