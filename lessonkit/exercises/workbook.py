"""A workbook opened in a notebook: ask, answer, check.

    import lessonkit as lk
    workbook = lk.open_workbook("01", variant=0)
    workbook.ask("1.1")                  # shows the question with this variant's numbers
    answer_1_1 = 24.0
    workbook.check("1.1", answer_1_1)    # prints one line: the verdict

A workbook's exercises are a room of this floor, `workbook_01`, with a `TITLE` and a tuple `EXERCISES`. A
school's own workbook is named by the dotted name of its module: `lk.open_workbook("ourschool.workbook_a")`.
"""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass
from functools import lru_cache
from importlib import import_module
from pkgutil import iter_modules

from lessonkit.errors import LessonError
from lessonkit.exercises import series
from lessonkit.exercises.core import (
    NOT_YET,
    NOTED,
    RIGHT,
    Answer,
    Exercise,
    Givens,
    Verdict,
    givens_for,
    judge,
    solution,
)

__all__ = [
    "UnknownWorkbook",
    "Workbook",
    "known_workbooks",
    "load_exercises",
    "open_workbook",
    "right_answers",
]


class UnknownWorkbook(LessonError, ValueError):
    """There is no workbook, or no exercise, of that name."""


def known_workbooks() -> tuple[str, ...]:
    """Return the ids of the series' workbooks that have exercises."""
    names = (module.name for module in iter_modules(series.__path__))
    return tuple(sorted(match[1] for name in names if (match := re.fullmatch(r"workbook_(\d\d)", name))))


def load_exercises(workbook_id: str) -> tuple[str, tuple[Exercise, ...]]:
    """Return the title and the exercises of a workbook.

    `workbook_id` is two digits, or the dotted name of a module. Raises `UnknownWorkbook`.
    """
    name = str(workbook_id)
    if re.fullmatch(r"\d\d", name):
        name = f"{series.__name__}.workbook_{name}"
    elif not all(part.isidentifier() for part in name.split(".")):
        raise UnknownWorkbook(f"There is no workbook {name!r}; its name is two digits, such as '01'.")
    try:
        room = import_module(name)
    except ModuleNotFoundError as error:
        if not (error.name and (name == error.name or name.startswith(error.name + "."))):
            raise  # the room is there, and something that it needs is not
        known = ", ".join(known_workbooks()) or "none yet"
        raise UnknownWorkbook(f"There is no workbook {workbook_id!r}; there are {known}.") from None
    exercises = getattr(room, "EXERCISES", None)
    if not isinstance(exercises, tuple):
        raise UnknownWorkbook(f"{name} has no tuple EXERCISES, so it is no workbook.")
    ids = [exercise.id for exercise in exercises]
    if len(set(ids)) != len(ids):
        raise LessonError(f"{name} has two exercises with one id: {', '.join(ids)}.")
    return str(getattr(room, "TITLE", workbook_id)), exercises


def open_workbook(workbook_id: str, variant: int = 0, *, marking: bool = False) -> Workbook:
    """Open a workbook of the series with the numbers of a variant.

    Variant 0 is for self-study; a school hands out others. `marking` is for whoever marks: checks then say
    the verdict also where a student is only told that the answer is noted. Raises `UnknownWorkbook`.
    """
    if type(variant) is not int or variant < 0:
        raise UnknownWorkbook(f"The variant is {variant!r}, but must be a whole number, 0 or above.")
    title, exercises = load_exercises(workbook_id)
    return Workbook(str(workbook_id), title, exercises, variant, marking)


def right_answers(workbook: Workbook) -> dict[str, Answer]:
    """Return the right answer to every exercise, for teachers and tests.

    It stands beside the workbook and not on it: whoever looks at what `workbook.` offers finds no key.
    """
    return {item.id: solution(item, workbook.givens(item.id)) for item in workbook.exercises}


@lru_cache(maxsize=1024)
def _asked(exercise: Exercise, variant: int) -> str:
    """Return what an exercise asks in a variant; a bench may have to run for its numbers, so once."""
    return exercise.question(givens_for(exercise, variant)).strip()


@dataclass(frozen=True)
class Workbook:
    """One workbook with one variant's numbers."""

    id: str
    title: str
    exercises: tuple[Exercise, ...]
    variant: int = 0
    marking: bool = False

    def __repr__(self) -> str:
        return f"Workbook {self.id}, {self.title}: {len(self.exercises)} exercises, variant {self.variant}"

    def exercise(self, exercise_id: str) -> Exercise:
        """Return an exercise by its id, such as "1.1"."""
        for exercise in self.exercises:
            if exercise.id == exercise_id:
                return exercise
        ids = ", ".join(exercise.id for exercise in self.exercises)
        raise UnknownWorkbook(f"Workbook {self.id} has no exercise {exercise_id!r}; it has {ids}.")

    def givens(self, exercise_id: str) -> Givens:
        """Return an exercise's numbers, as a mapping to compute with."""
        return givens_for(self.exercise(exercise_id), self.variant)

    def question(self, exercise_id: str) -> str:
        """Return an exercise's question as Markdown."""
        exercise = self.exercise(exercise_id)
        points = f"{exercise.points:g} point" + ("" if exercise.points == 1 else "s")
        return f"**{exercise.id} {exercise.title}** ({points})\n\n{_asked(exercise, self.variant)}"

    def ask(self, exercise_id: str) -> None:
        """Show an exercise's question: as Markdown in a notebook, else as text."""
        text = self.question(exercise_id)
        # A notebook's own process has IPython loaded; nothing here loads it.
        ipython = sys.modules.get("IPython")
        if ipython is not None and ipython.get_ipython() is not None:
            from IPython.display import Markdown, display

            display(Markdown(text))
        else:
            print(text)  # noqa: T201  the question is what was asked for

    def verdict(self, exercise_id: str, answer: object) -> Verdict:
        """Return the verdict on an answer; of a test that must not teach, that the answer is noted."""
        exercise = self.exercise(exercise_id)
        verdict = judge(exercise, self.givens(exercise_id), answer)
        if exercise.noted and not self.marking and verdict.outcome in (RIGHT, NOT_YET):
            return Verdict(exercise_id, NOTED)
        return verdict

    def check(self, exercise_id: str, answer: object) -> None:
        """Print the verdict on an answer, in one line."""
        print(self.verdict(exercise_id, answer))  # noqa: T201  the line is what was asked for

    def __dir__(self) -> list[str]:
        """Name what an apprentice uses; completion in a notebook shows no more."""
        return ["ask", "check", "exercises", "givens", "id", "title", "variant"]

    def _repr_markdown_(self) -> str:
        total = sum(exercise.points for exercise in self.exercises)
        numbers = "self-study numbers" if self.variant == 0 else f"variant {self.variant}"
        size = f"{len(self.exercises)} exercises, {total:g} points, {numbers}"
        return f"**Workbook {self.id}: {self.title}** ({size})"
