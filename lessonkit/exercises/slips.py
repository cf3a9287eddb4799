"""Single slips in a table: one row taken for something else, and the hint for it.

A table with four rows has many wrong answers.  The commonest are wrong in one row only, and each deserves a
hint that fits it.  `row_slips` makes a wrong model for each row and each word that can stand there, so that
every word that misleads has its own sentence, and the class picture can say which one did.

    row_slips(solve, 3, {"in phase": "...", "out of phase": "..."})

The rows are counted, not named: names of rows change with the numbers, and a wrong model has one name.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from lessonkit.exercises.core import Givens, WrongModel

__all__ = ["row_slips"]

_ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth")


def row_slips(
    solve: Callable[[Givens], dict[str, Any]], rows: int, hints: Mapping[Any, str]
) -> tuple[WrongModel, ...]:
    """Return a wrong model for each row of a table and each word of `hints`.

    `solve(givens)` is the right table; a model gives it with one row changed to that word, or None where the
    word is right there.
    """

    def slip(row: int, word: Any) -> Callable[[Givens], dict[str, Any] | None]:
        def wrong(givens: Givens) -> dict[str, Any] | None:
            right = solve(givens)
            name = list(right)[row]
            return None if right[name] == word else {**right, name: word}

        return wrong

    return tuple(
        WrongModel(
            f"{word} in the {_ORDINALS[row]} row",
            f"{_ORDINALS[row].capitalize()} row: {hint}",
            slip(row, word),
        )
        for word, hint in hints.items()
        for row in range(rows)
    )
