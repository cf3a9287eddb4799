"""A list of acts as an answer: what somebody did, each in a few words, in the order in which it was done.

    Acts(r"loop [1-8] [1-8]|insulation [1-8]", "loop 1 2")

Whether the acts were enough, and within a budget, is for the exercise's rule.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from lessonkit.exercises.compare import Unfilled, WrongForm

__all__ = ["Acts", "over_budget"]

#: Nobody does more than this.
_MOST = 99


@dataclass(frozen=True)
class Acts:
    """A list of texts that each fit a pattern; `example` is one of them."""

    pattern: str
    example: str

    def expects(self) -> str:
        """Say the form in words."""
        return f"a list of what was done, each such as {self.example!r}"

    def read(self, answer: Any) -> tuple[str, ...]:
        """Return the acts with single blanks between their words."""
        if type(answer) not in (list, tuple):
            raise WrongForm(f"This expects {self.expects()}.")
        if any(item is ... for item in answer):
            raise Unfilled("The list has a place still to fill in.")
        if len(answer) > _MOST:
            raise WrongForm(f"This expects {self.expects()}; the answer has more than {_MOST}.")
        tidy = [" ".join(item.split()) if type(item) is str else "" for item in answer]
        for n, text in enumerate(tidy, 1):
            if not re.fullmatch(self.pattern, text):
                raise WrongForm(f"This expects {self.expects()}; number {n} is written otherwise.")
        return tuple(tidy)

    def same(self, right: tuple[str, ...], answer: tuple[str, ...]) -> bool:
        """Tell whether the same was done in the same order."""
        return right == answer

    def differs(self, right: tuple[str, ...], answer: tuple[str, ...]) -> str:
        """Ask to go through what was done."""
        return "Go through what you did, one act at a time: what did each one tell you?"

    def blank(self) -> Any:
        """Return `...`."""
        return ...


def over_budget(cost: tuple[int, float], most: tuple[int, float]) -> str | None:
    """Return a hint where acts cost more than there is, else None; both are (readings, minutes)."""
    readings, minutes = cost
    if readings <= most[0] and minutes <= most[1]:
        return None
    return f"These are {readings} readings and {minutes:g} minutes. The budget has fewer."
