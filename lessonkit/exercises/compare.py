"""What form an answer has, and when two answers are the same.

Each class here describes one form: a number with its tolerance, a choice among words, a set of them, a list,
a table. It answers four questions and knows nothing about exercises:

    expects()            the form in words, for the sentence that a wrong form gets
    read(answer)         the answer in that form, tidied; `WrongForm` or `Unfilled` when it has another
    same(right, answer)  do two tidied answers agree?
    differs(right, answer)  where they don't, without giving the right one away

Answers come as plain data (`lessonkit.exercises.plain`). Words are compared without regard to case, and with
blanks, hyphens and underscores taken as one; the number of a quantity is written alone, its unit being part
of the question. Text in messages is ours, never the answer's: a verdict can't be made to say something.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any, Protocol

from lessonkit.errors import LessonError
from lessonkit.exercises.plain import kind

__all__ = [
    "Choice",
    "ChoiceSet",
    "Compare",
    "Count",
    "ListOf",
    "Number",
    "Record",
    "Table",
    "Unfilled",
    "WrongForm",
]

Word = str | int | bool


class WrongForm(LessonError, ValueError):
    """An answer that has not the form that the question asks for."""


class Unfilled(WrongForm):
    """An answer that has places still holding `...`."""


class Compare(Protocol):
    """One form of answer."""

    def expects(self) -> str:
        """Say the form in words, so that "expects ..." is a sentence."""

    def read(self, answer: Any) -> Any:
        """Return the answer tidied into this form, or raise `WrongForm`."""

    def same(self, right: Any, answer: Any) -> bool:
        """Tell whether two tidied answers agree."""

    def differs(self, right: Any, answer: Any) -> str:
        """Say where to look again, in one sentence."""

    def blank(self) -> Any:
        """Return what stands in the answer cell before there is an answer."""


def _wrong(form: Compare, answer: Any) -> WrongForm:
    return WrongForm(f"This expects {form.expects()}, and the answer is {kind(answer)}.")


def _words(words: Sequence[object]) -> str:
    shown = [str(word) for word in words]
    return shown[0] if len(shown) == 1 else ", ".join(shown[:-1]) + " and " + shown[-1]


@dataclass(frozen=True)
class Number:
    """A number, right within a tolerance.

    `rel` is a share of the right answer, `absolute` an amount in the unit; the larger counts. A right answer
    of zero needs `absolute`. `unit` is the sign of the unit, "" for a plain ratio.
    """

    rel: float = 0.02
    absolute: float = 0.0
    unit: str = ""

    def expects(self) -> str:
        """Say the form in words."""
        return f"a number in {self.unit}, such as 12.5" if self.unit else "a number, such as 12.5"

    def read(self, answer: Any) -> float:
        """Return the answer as a float."""
        if type(answer) is str:
            raise WrongForm(f"This expects {self.expects()}: write it without quotation marks and unit.")
        if type(answer) in (list, tuple) and [type(part) for part in answer] == [int, int]:  # 26,4
            raise WrongForm(f"This expects {self.expects()}: write the decimals after a point, not a comma.")
        if type(answer) not in (int, float):
            raise _wrong(self, answer)
        number = float(answer)
        if not math.isfinite(number):
            raise WrongForm(f"This expects {self.expects()}, and the answer is no finite number.")
        return number

    def same(self, right: float, answer: float) -> bool:
        """Tell whether the two lie within the tolerance."""
        return abs(right - answer) <= max(self.rel * abs(right), self.absolute, 1e-12 * abs(right))

    def differs(self, right: float, answer: float) -> str:
        """Point at the sign or the power of ten, where only that is wrong."""
        if right and self.same(right, -answer):
            return "The size is right; look again at the sign."
        digits = Number(self.rel)  # a wide absolute tolerance says nothing about digits: 550 is no slip of 50
        if any(digits.same(right, answer * 10.0**power) for power in (-6, -3, -2, -1, 1, 2, 3, 6)):
            where = f"; this expects {self.unit}" if self.unit else ""
            return f"The digits are right and the power of ten is not{where}."
        return "Go through the steps again, with the unit beside each number."

    def blank(self) -> Any:
        """Return `...`."""
        return ...


@dataclass(frozen=True)
class Count:
    """A whole number that has to be met exactly."""

    unit: str = ""

    def expects(self) -> str:
        """Say the form in words."""
        return f"a whole number of {self.unit}, such as 3" if self.unit else "a whole number, such as 3"

    def read(self, answer: Any) -> int:
        """Return the answer as an int; 3.0 counts as 3."""
        if type(answer) is float and answer.is_integer():
            return int(answer)
        if type(answer) is not int:
            raise _wrong(self, answer)
        return answer

    def same(self, right: int, answer: int) -> bool:
        """Tell whether the two are equal."""
        return right == answer

    def differs(self, right: int, answer: int) -> str:
        """Ask for a recount."""
        return "Count again, and write down what you count."

    def blank(self) -> Any:
        """Return `...`."""
        return ...


def _key(word: Any) -> Any:
    if type(word) is not str:
        return type(word), word
    return "".join(sign if sign.isalnum() else "-" for sign in word.strip().casefold())


@dataclass(frozen=True)
class Choice:
    """One of a few words (or of a few whole numbers, or of True and False)."""

    options: tuple[Word, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "options", tuple(self.options))
        if len({_key(word) for word in self.options}) != len(self.options) or not self.options:
            raise LessonError(f"A choice needs options that differ, and has {self.options}.")

    def expects(self) -> str:
        """Say the form in words."""
        return "one of " + ", ".join(repr(word) for word in self.options)

    def read(self, answer: Any) -> Word:
        """Return the option that the answer names, as the options spell it."""
        found = {_key(word): word for word in self.options}.get(_key(answer) if _is_word(answer) else None)
        if found is None:
            if type(answer) is str:
                raise WrongForm(f"This expects {self.expects()}; the answer is another word.")
            raise _wrong(self, answer)
        return found

    def same(self, right: Word, answer: Word) -> bool:
        """Tell whether both name the same option."""
        return bool(_key(right) == _key(answer))

    def differs(self, right: Word, answer: Word) -> str:
        """Ask to try it."""
        return "Try it on the bench, and compare what you see with what you chose."

    def blank(self) -> Any:
        """Return `...`."""
        return ...


def _is_word(value: Any) -> bool:
    return type(value) in (str, int, bool)


@dataclass(frozen=True)
class ChoiceSet:
    """Any number of words out of a few, in any order; none is allowed."""

    options: tuple[Word, ...]

    def __post_init__(self) -> None:
        Choice(self.options)
        object.__setattr__(self, "options", tuple(self.options))

    def expects(self) -> str:
        """Say the form in words."""
        return "a list of some of " + ", ".join(repr(word) for word in self.options) + ", or []"

    def read(self, answer: Any) -> frozenset[Word]:
        """Return the options that the answer names."""
        if type(answer) is str:  # one word is a list of one
            answer = [answer]
        if type(answer) is dict and not answer:  # {} is how Python spells what looks like an empty set
            answer = []
        if type(answer) not in (list, tuple, set):
            raise _wrong(self, answer)
        if any(item is ... for item in answer):
            raise Unfilled("The list has a place still to fill in.")
        one = Choice(self.options)
        found = []
        for item in answer:
            try:
                found.append(one.read(item))
            except WrongForm:
                raise WrongForm(f"This expects {self.expects()}; the answer names something else.") from None
        return frozenset(found)

    def same(self, right: frozenset[Word], answer: frozenset[Word]) -> bool:
        """Tell whether both name the same options."""
        return right == answer

    def differs(self, right: frozenset[Word], answer: frozenset[Word]) -> str:
        """Say whether something is missing, too much, or both."""
        missing, extra = bool(right - answer), bool(answer - right)
        if missing and extra:
            return "Something is missing, and something is there that does not belong."
        return "Something is missing." if missing else "Something is there that does not belong."

    def blank(self) -> Any:
        """Return `...`."""
        return ...


@dataclass(frozen=True)
class ListOf:
    """A list whose items have one form, in the order that the question gives."""

    item: Compare
    length: int | None = None

    def expects(self) -> str:
        """Say the form in words."""
        many = "" if self.length is None else f" of {self.length}"
        return f"a list{many}, each item {self.item.expects()}"

    def read(self, answer: Any) -> tuple[Any, ...]:
        """Return the tidied items."""
        if type(answer) not in (list, tuple):
            raise _wrong(self, answer)
        if any(item is ... for item in answer):
            raise Unfilled("The list has a place still to fill in.")
        if self.length is not None and len(answer) != self.length:
            raise WrongForm(f"This expects {self.expects()}; the answer has {len(answer)}.")
        return tuple(self.item.read(item) for item in answer)

    def same(self, right: tuple[Any, ...], answer: tuple[Any, ...]) -> bool:
        """Tell whether both agree, item by item."""
        return len(right) == len(answer) and all(map(self.item.same, right, answer))

    def differs(self, right: tuple[Any, ...], answer: tuple[Any, ...]) -> str:
        """Name the places that don't agree, counted from 1."""
        if len(right) != len(answer):
            return "The list has too many items." if len(answer) > len(right) else "The list is too short."
        places = [n for n, pair in enumerate(zip(right, answer, strict=True), 1) if not self.item.same(*pair)]
        if len(getattr(self.item, "options", ())) == 2:  # to name the places would be to give the answer
            return f"Places that are not right yet: {len(places)} of {len(right)}."
        return f"Look again at place {_words(places[:5])}, counted from 1."

    def blank(self) -> Any:
        """Return `...`, or a list of them when the length is known."""
        return ... if self.length is None else [...] * self.length


class _Keyed:
    """What a record and a table share: a mapping with known names."""

    def fields_(self) -> tuple[tuple[str, Compare], ...]:
        raise NotImplementedError

    def expects(self) -> str:
        """Say the form in words."""
        fields = self.fields_()
        forms = {form for _, form in fields}
        if len(forms) == 1:
            return f"a table with {_words([name for name, _ in fields])}, each {fields[0][1].expects()}"
        alike = groupby(fields, key=lambda field: field[1])  # a form that several have is said once
        return "a table with " + "; ".join(
            f"{_words([name for name, _ in some])}: {form.expects()}" for form, some in alike
        )

    def read(self, answer: Any) -> dict[str, Any]:
        """Return the tidied values under the names as we spell them."""
        fields = self.fields_()
        if type(answer) is not dict:
            raise _wrong(self, answer)
        given = {_key(str(name)): value for name, value in answer.items()}
        if missing := [name for name, _ in fields if _key(name) not in given]:
            raise WrongForm(f"The table has no {_words(missing)}.")
        if len(given) > len(fields) or len(answer) > len(fields):
            raise WrongForm(f"The table has more names than {_words([name for name, _ in fields])}.")
        if empty := [name for name, _ in fields if given[_key(name)] is ... or given[_key(name)] is None]:
            raise Unfilled(f"Still to fill in: {_words(empty)}.")
        tidy = {}
        for name, form in fields:
            try:
                tidy[name] = form.read(given[_key(name)])
            except WrongForm as error:
                raise type(error)(f"At {name}: {error}") from None
        return tidy

    def same(self, right: dict[str, Any], answer: dict[str, Any]) -> bool:
        """Tell whether both agree under every name."""
        return all(form.same(right[name], answer[name]) for name, form in self.fields_())

    def differs(self, right: dict[str, Any], answer: dict[str, Any]) -> str:
        """Name what does not agree."""
        names = [name for name, form in self.fields_() if not form.same(right[name], answer[name])]
        if len(names) == len(self.fields_()) > 2:
            return "None of the rows agrees yet."
        return f"Look again at {_words(names)}."

    def blank(self) -> Any:
        """Return the mapping with `...` under every name."""
        return {name: form.blank() for name, form in self.fields_()}


@dataclass(frozen=True)
class Record(_Keyed):
    """A mapping whose values have forms of their own.

    >>> Record((("amperes", Number(unit="A")), ("fuse", Choice(("whole", "blown"))))).blank()
    {'amperes': Ellipsis, 'fuse': Ellipsis}
    """

    fields: tuple[tuple[str, Compare], ...]

    def fields_(self) -> tuple[tuple[str, Compare], ...]:
        """Return names and forms."""
        return self.fields


@dataclass(frozen=True)
class Table(_Keyed):
    """A mapping from row names to values of one form; a mode table or a wire schedule.

    A table with columns is a `Table` whose `item` is a `Record` or another `Table`.
    """

    rows: tuple[str, ...]
    item: Compare

    def fields_(self) -> tuple[tuple[str, Compare], ...]:
        """Return names and forms."""
        return tuple((row, self.item) for row in self.rows)
