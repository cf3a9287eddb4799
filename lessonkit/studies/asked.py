"""A question for a class: put in words, answered by hands going up, then by the bench.

    question = ask_class("SIG breaks. What does the outdoor unit do?", what_follows("two-run", "cool-2", ...))
    question.among          the answers to choose from, the same before and after
    question.told           what the bench says: which answer is right, and what to show of it

Nothing of `told` is shown before hands are counted; the panel (`panels/votes.py`) sees to that. A question
may find its answer only when it is asked for, so that a long study costs nothing before the class has voted.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from lessonkit.errors import require, require_finite, require_text

__all__ = ["Asked", "Rows", "Told", "ask_class"]


@dataclass(frozen=True)
class Rows:
    """A small table to show: a caption, the heads, and rows of texts."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    def __str__(self) -> str:
        lines = [self.caption, "  ".join(self.heads), *("  ".join(row) for row in self.rows)]
        return "\n".join(lines)

    __repr__ = __str__

    def _repr_markdown_(self) -> str:
        head = f"**{self.caption}**\n\n| {' | '.join(self.heads)} |\n|{' --- |' * len(self.heads)}\n"
        return head + "\n".join(f"| {' | '.join(row)} |" for row in self.rows)


@dataclass(frozen=True)
class Told:
    """What the bench says: the right answer, a sentence, and what to show (experiments, rows, texts)."""

    right: str
    said: str = ""
    shows: tuple[object, ...] = ()


@dataclass(frozen=True)
class Asked:
    """One question for a class, with the answers to choose from. Printed, it does not tell the right one."""

    words: str
    among: tuple[str, ...]
    find: Callable[[], Told] = field(repr=False)

    def __post_init__(self) -> None:
        """Refuse a question that nobody can vote on."""
        require(len(set(self.among)) == len(self.among) >= 2, "among", self.among, "two answers or more")

    @cached_property
    def told(self) -> Told:
        """Return what the bench says; it is found once, when it is first asked for."""
        told = self.find()
        require(told.right in self.among, "the bench's answer", told.right, f"one of {', '.join(self.among)}")
        return told

    def __repr__(self) -> str:
        return "\n".join([self.words, *(f"  - {answer}" for answer in self.among)])

    def _repr_markdown_(self) -> str:
        return "\n".join([f"**{self.words}**", "", *(f"* {answer}" for answer in self.among)])


def ask_class(
    words: str,
    found: Any,
    among: tuple[str, ...] | Mapping[str, float] = (),
    show: object = (),
) -> Asked:
    """Return a question for a class.

    `found` is what the bench says: a word of `among`; a number, where `among` maps each answer to a number
    (the nearest one is right); or what a study returns that has a `word`, the words it is `among`, and
    itself to show. `show` is what else is shown afterwards: one thing, or a tuple of several.
    """
    require_text("words", words, "a question in quotation marks")
    things = show if isinstance(show, tuple) else (show,)
    if hasattr(found, "word") and hasattr(found, "among"):
        told = Told(found.word, getattr(found, "said", ""), (*getattr(found, "shows", ()), *things))
        return Asked(words, tuple(among) or tuple(found.among), lambda: told)
    if isinstance(among, Mapping):
        number = require_finite("found", found)
        right = min(among, key=lambda answer: abs(among[answer] - number))
        told = Told(right, f"The bench says {found}.", things)
        return Asked(words, tuple(among), lambda: told)
    told = Told(require_text("found", found, "a word, a number or a study"), "", things)
    return Asked(words, tuple(among), lambda: told)
