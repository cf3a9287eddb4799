"""Errors that a learner can act on: one sentence, never a stack of frames.

Every error that lessonkit raises on purpose is a `LessonError`, so a face (panel, command line, grader)
catches one type and shows its sentence. Each subclass is also the builtin that a Python programmer would
expect: a bad argument is a `ValueError` too. The message says what is wrong, where, and what is allowed.
The parts of the sentence stay on the error as fields, so that nobody has to take a message apart.

Rooms that need their own kind of trouble derive from both, as in `class FrameError(LessonError, ValueError)`.
"""

from __future__ import annotations

import math
from collections.abc import Callable

__all__ = [
    "BadParameter",
    "LessonError",
    "refused",
    "require",
    "require_finite",
    "require_positive",
    "require_text",
    "shown",
]

#: No sentence repeats more of a value than this many signs.
_SHOWN = 80


class LessonError(Exception):
    """Base of every error that lessonkit raises on purpose."""


def shown(value: object) -> str:
    """Return a value as a sentence shows it: on one line, and no more of it than a reader needs.

    >>> shown("out:R"), shown(10**9999)
    ("'out:R'", 'a number of thousands of digits')
    """
    try:
        text = " ".join(repr(value).split())
    except ValueError:  # Python writes no whole number of thousands of digits
        return "a number of thousands of digits"
    return text if len(text) <= _SHOWN else text[: _SHOWN - 3] + "..."


class BadParameter(LessonError, ValueError):
    """A parameter has a value that the model can't take.

    Fields: `name`, `value` (as given) and `allowed`, a phrase that finishes "... must be".

    >>> print(BadParameter("baud", 0, "a number above 0, such as 1200"))
    baud is 0, but must be a number above 0, such as 1200.
    """

    def __init__(self, name: str, value: object, allowed: str) -> None:
        self.name = name
        self.value = value
        self.allowed = allowed
        super().__init__(name, value, allowed)

    def __str__(self) -> str:
        return f"{self.name} is {shown(self.value)}, but must be {self.allowed}."


def require(condition: object, name: str, value: object, allowed: str) -> None:
    """Raise `BadParameter` unless the condition holds."""
    if not condition:
        raise BadParameter(name, value, allowed)


def require_text(name: str, value: object, allowed: str) -> str:
    """Return value if it is text, or raise `BadParameter`."""
    if not isinstance(value, str):
        raise BadParameter(name, value, allowed)
    return value


def require_finite(name: str, value: object, allowed: str = "a finite number") -> float:
    """Return value as a float, or raise `BadParameter`."""
    if isinstance(value, (bool, str, bytes)):
        raise BadParameter(name, value, allowed)
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, OverflowError):
        raise BadParameter(name, value, allowed) from None
    if not math.isfinite(number):
        raise BadParameter(name, value, allowed)
    return number


def require_positive(
    name: str, value: object, *, zero_ok: bool = False, endless_ok: bool = False, unit: str = ""
) -> float:
    """Return a number above zero (or at zero, or `math.inf`, if so said).

    `unit` is the unit in words ("metres"), for the sentence alone.
    """
    # What is right is let through without building a sentence: a job has hundreds of elements.
    if type(value) is float and 0.0 < value < math.inf:
        return value
    kind = "zero or above" if zero_ok else "above 0"
    allowed = f"a number of {unit} {kind}" if unit else f"a number {kind}"
    if endless_ok:
        allowed += ", or math.inf"
        if value == math.inf:
            return math.inf
    number = require_finite(name, value, allowed)
    require(number >= 0 if zero_ok else number > 0, name, value, allowed)
    return number


def refused(act: Callable[..., object], *given: object, **named: object) -> str:
    """Return the sentence with which something is refused.

    `act(*given, **named)` is tried, as in `refused(meter.ohms, "out:CC", "out:C")`. What is not refused is
    done.
    """
    try:
        done = act(*given, **named)
    except LessonError as error:
        return str(error)
    return f"It was not refused, and gave {done}."
