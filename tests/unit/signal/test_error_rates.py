"""What an error rate says of itself; its outside checks are in `tests/outside/test_error_rates.py`."""

from __future__ import annotations

from lessonkit.signal.error_rates import ErrorRate


def test_an_interval_covers_what_lies_within_its_ends() -> None:
    """Both ends count, and nothing below or above them does."""
    found = ErrorRate(rate=0.2, low=0.1, high=0.3, errors=20, bits=100)
    assert [found.covers(rate) for rate in (0.09, 0.1, 0.2, 0.3, 0.31)] == [False, True, True, True, False]
