"""A prediction, held against what the bench says; nothing is shown before there is one.

A lesson asks before it shows. The prediction stands in a cell of its own, and the next cell lets the bench
answer:

    prediction_1 = ...                          # the apprentice writes here
    reason_1 = ...                              # only where the reason matters

    bench = lk.Bench("full-cable", call="cool-1")
    lk.reveal(prediction_1, bench.state.delivering, because=reason_1, show=bench)

While the three dots stand there, `reveal` prints one sentence that says what to write, and shows neither the
answer nor what `show` holds. Who does not want to predict writes the word "skip"; skips are counted and said.
Nothing is marked here: a wrong prediction costs nothing.

The count needs no memory. It looks at the names of the notebook that begin with `prediction_`, so running a
cell twice counts once.
"""

from __future__ import annotations

import inspect
import math
import re
import sys
import textwrap
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

__all__ = ["Tally", "predictions", "reveal", "tally"]

SKIP = "skip"
#: Letters in a line of output on a small laptop with JupyterLab's list of files open.
WIDE = 100
#: What the names of predictions begin with.
PREDICTION = "prediction_"

_NOT_ASKED = object()
#: Words that people write for one another where a question has only two answers.
_YES = frozenset(("yes", "y", "on", "true", "live", "it-is-on", "it-runs", "runs"))
_NO = frozenset(("no", "n", "off", "false", "dead", "it-is-off", "it-rests", "rests"))
_NUMBER_WITH_UNIT = re.compile(r"\s*(-?\d+(?:[.,]\d+)?)\s*\D{0,12}")
_AGAIN = "in the cell above, and run both cells again."


@dataclass(frozen=True)
class Tally:
    """How many predictions of a notebook are written, skipped, and still open."""

    written: int
    skipped: int
    still_open: int

    def __str__(self) -> str:
        return f"Predictions: {self.written} written, {self.skipped} skipped, {self.still_open} still open."


def tally(names: Mapping[str, object]) -> Tally:
    """Count the predictions among the names of a notebook.

    >>> tally({"prediction_1": "on", "prediction_2": "skip", "prediction_3": ..., "bench": 1})
    Tally(written=1, skipped=1, still_open=1)
    """
    made = [value for name, value in names.items() if name.startswith(PREDICTION)]
    skipped = sum(_skips(value) for value in made)
    still_open = sum(_is_open(value) for value in made)
    return Tally(len(made) - skipped - still_open, skipped, still_open)


def predictions() -> None:
    """Print how many predictions are written, skipped, and open."""
    print(tally(_names_of_caller(inspect.currentframe())))  # noqa: T201  a line that was asked for


def reveal(
    prediction: object,
    bench_says: object,
    unit: str = "",
    within: float = 0.05,
    *,
    among: tuple[str, ...] = (),
    because: object = _NOT_ASKED,
    show: object = (),
) -> None:
    """Print a prediction beside what the bench says.

    Where nothing is written yet, one sentence says what to write, and nothing else is shown. `prediction` and
    `bench_says` are words, numbers (with their `unit`; a reading brings its own), or collections of words.
    Numbers agree `within` a share of what the bench says; words agree whatever their case and hyphens.
    `among` names the words to choose from, where no other makes sense. `because` is the reason, where one is
    asked for. `show` is what else is shown then: one thing, or a tuple of several. Where the words are "on"
    and "off", or "yes" and "no", the other pair is understood as well.
    """
    prediction = _as_asked(prediction, among)
    unit = unit or getattr(bench_says, "unit", "")
    if _skips(prediction):
        so_far = tally(_names_of_caller(inspect.currentframe()))
        count = f"skipped so far: {so_far.skipped}" if so_far.skipped else "skipped"
        print(f"No prediction ({count}). The bench says {_shown(bench_says, unit)}.")  # noqa: T201
    elif _is_open(prediction) or (among and not _is_among(prediction, among)):
        wanted = _wanted(bench_says, unit, among)
        first = "Predict first" if _is_open(prediction) else "Only these words count here"
        print(f'{first}: write {wanted}, or "{SKIP}", {_AGAIN}')  # noqa: T201
        return
    elif because is not _NOT_ASKED and _is_open(because):
        print(f'Say why first: write your reason in quotation marks, or "{SKIP}", {_AGAIN}')  # noqa: T201
        return
    else:
        end = "They agree." if _same(prediction, bench_says, within) else "They differ: find out why."
        said = f"You predicted {_shown(prediction, unit)}. The bench says {_shown(bench_says, unit)}. {end}"
        print(said)  # noqa: T201
        if because is not _NOT_ASKED and not _skips(because):
            print(f"Your reason: {_shown(because, '')}. Does it fit what the bench says?")  # noqa: T201
    for thing in show if isinstance(show, tuple) else (show,):
        _display(thing)


# What was written -------------------------------------------------------------------------------------------


def _is_open(value: object) -> bool:
    """Tell whether nothing is written yet: three dots, an empty text, or a list with dots left in it."""
    if value is None or value is ...:
        return True
    if isinstance(value, str):
        return not value.strip(" .\t\n")
    return isinstance(value, (list, tuple)) and any(map(_is_open, value))


def _skips(value: object) -> bool:
    return isinstance(value, str) and value.strip(" .\t\n").casefold() == SKIP


def _as_asked(prediction: object, among: tuple[str, ...]) -> object:
    """Return the word of the question that was meant: "yes" where it has "on" and "off"."""
    if len(among) != 2 or not isinstance(prediction, (str, bool)) or _is_among(prediction, among):
        return prediction
    key = _key(str(prediction).strip(" .!"))
    for alike in (_YES, _NO):
        meant = [word for word in among if _key(word) in alike]
        if key in alike and len(meant) == 1:
            return meant[0]
    return prediction


def _is_among(prediction: Any, among: tuple[str, ...]) -> bool:
    given = prediction if _is_many(prediction) else [prediction]
    return {_key(word) for word in given} <= {_key(word) for word in among}


def _wanted(truth: object, unit: str, among: tuple[str, ...]) -> str:
    """Say what form a prediction has, without saying what the bench says."""
    if among:
        words = " or ".join(f'"{word}"' for word in among)
        return f"a list of some of {words}, or []" if _is_many(truth) else words
    if isinstance(truth, bool):
        return "True or False"
    if _is_number(truth):
        return f"a number {unit}" if unit.startswith("of ") else f"a number of {unit}" if unit else "a number"
    if _is_many(truth):
        return 'a list of words, such as ["one", "two"]'
    return "a word or two in quotation marks"


def _names_of_caller(here: Any) -> Mapping[str, object]:
    """Return the names of the notebook that called; none on a Python that does not tell."""
    caller = here.f_back if here is not None else None
    return {} if caller is None else caller.f_globals


def _display(thing: object) -> None:
    """Show a thing as a cell's last line would: drawn in a notebook, else printed."""
    ipython = sys.modules.get("IPython")  # a notebook's own process has it loaded; nothing here loads it
    if not isinstance(thing, str) and ipython is not None and ipython.get_ipython() is not None:
        from IPython.display import display

        display(thing)
    else:
        # A notebook breaks a long line in the middle of a word.
        lines = str(thing).splitlines() or [""]
        wrapped = [textwrap.fill(line, WIDE, break_long_words=False) for line in lines]
        print("\n".join(wrapped))  # noqa: T201  what the lesson asked to show


# What agrees ------------------------------------------------------------------------------------------------


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _is_many(value: object) -> bool:
    return isinstance(value, (list, tuple, set, frozenset))


def _shown(value: Any, unit: str) -> str:
    if _is_many(value):
        items = [str(item) for item in value]
        return ", ".join(items if isinstance(value, (list, tuple)) else sorted(items)) or "none"
    if hasattr(value, "unit"):
        return repr(value)  # a reading: a meter's digits, the unit, both ends
    if _is_number(value):
        return f"{value:.4g} {unit}".strip()
    return str(value)[:200]


def _key(word: object) -> str:
    return "".join(sign if sign.isalnum() else "-" for sign in str(word).strip().casefold())


def _number_in(prediction: object) -> object:
    """Return the number meant by "27 V", "26,5", or 26,5 without quotation marks; else what was given."""
    if type(prediction) is tuple and [type(part) for part in prediction] == [int, int]:
        prediction = f"{prediction[0]}.{prediction[1]}"
    match = re.fullmatch(_NUMBER_WITH_UNIT, prediction) if isinstance(prediction, str) else None
    return float(match[1].replace(",", ".")) if match else prediction


def _same(prediction: Any, truth: Any, within: float) -> bool:
    if _is_number(truth):
        given: Any = _number_in(prediction)
        slack = within if truth == 0 else 0.0
        return _is_number(given) and math.isclose(given, truth, rel_tol=within, abs_tol=slack)
    if _is_many(truth):
        given = prediction if _is_many(prediction) else [prediction]
        return {_key(item) for item in given} == {_key(item) for item in truth}
    return _key(prediction) == _key(truth)
