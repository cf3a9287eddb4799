"""Near misses: numbers close to the right one and outside its tolerance.

Where half a class is near, the exercise is understood, and what wants teaching is rounding or reading off.
"""

from __future__ import annotations

from typing import Any

from lessonkit.exercises.compare import Count, Number, WrongForm
from lessonkit.exercises.core import Exercise, Givens, solution

__all__ = ["near_miss"]

TIMES = 3.0
"""A number is near within so many times its tolerance; a count when it is one off."""


def near_miss(exercise: Exercise, givens: Givens, answer: Any) -> bool:
    """Tell whether an answer that is not right is close to it."""
    form = exercise.form(givens)
    if not isinstance(form, Number | Count):
        return False
    try:
        right, given = form.read(solution(exercise, givens)), form.read(answer)
    except WrongForm:
        return False
    if isinstance(form, Count):
        return abs(right - given) == 1
    return abs(right - given) <= TIMES * max(form.rel * abs(right), form.absolute)
