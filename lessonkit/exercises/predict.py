"""A prediction, held against what the bench says.

A lesson asks before it shows. The prediction stands in a cell of its own, `prediction_1 = ...`, and the next
cell lets the bench answer. Nothing is marked here, and an open prediction stops nothing: who predicts learns
more, who doesn't can read on.
"""

from __future__ import annotations

import math
from typing import Any

__all__ = ["reveal"]


def reveal(prediction: object, bench_says: object, unit: str = "", within: float = 0.05) -> None:
    """Print a prediction beside what the bench says, in one line.

    Both are words, numbers (with their `unit`; a reading brings its own), or collections of words. Numbers
    agree `within` a share of what the bench says; words agree whatever their case and hyphens.
    """
    unit = unit or getattr(bench_says, "unit", "")
    truth = _shown(bench_says, unit)
    if prediction is None or prediction is ...:
        # From the top: a later cell may have moved this cell's bench on, or put another in its place.
        print(f"The bench says {truth}. (No prediction yet: write one above, and run all cells again.)")  # noqa: T201
        return
    agrees = _same(prediction, bench_says, within)
    end = "They agree." if agrees else "They differ: find out why before you read on."
    print(f"You predicted {_shown(prediction, unit)}. The bench says {truth}. {end}")  # noqa: T201


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _is_many(value: object) -> bool:
    return isinstance(value, (list, tuple, set, frozenset))


def _shown(value: Any, unit: str) -> str:
    if _is_many(value):
        items = [str(item) for item in value]
        return ", ".join(items if isinstance(value, (list, tuple)) else sorted(items)) or "none"
    if hasattr(value, "unit"):
        return str(value)  # a reading, with a meter's digits
    if _is_number(value):
        return f"{value:.4g} {unit}".strip()
    return str(value)[:200]


def _key(word: object) -> str:
    return "".join(sign if sign.isalnum() else "-" for sign in str(word).strip().casefold())


def _same(prediction: Any, truth: Any, within: float) -> bool:
    if _is_number(truth):
        return _is_number(prediction) and math.isclose(
            prediction, truth, rel_tol=within, abs_tol=within if truth == 0 else 0.0
        )
    if _is_many(truth):
        given = prediction if _is_many(prediction) else [prediction]
        return {_key(item) for item in given} == {_key(item) for item in truth}
    return _key(prediction) == _key(truth)
