"""How fast the signal rooms are: bits decided a second, frames tried, distances ranked.

Run `pytest tests/speed/test_error_rate_speed.py`. Nothing here fails for being slow; the report names the aim
beside each figure. One core: numpy's element-wise work uses no more.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from lessonkit.signal.channel import Line, Noise, Receiver, _clean_looks, try_many
from lessonkit.signal.crc import FRAME_CRC, try_bursts
from lessonkit.signal.distance import _lightest_by_length, rank_polynomials
from lessonkit.signal.edges import step_modes
from lessonkit.signal.error_rates import LINE_CODES, LineCode, closed_form, count_errors, count_margin_errors
from lessonkit.signal.frames import Frame

BITS = 4_000_000


@pytest.mark.parametrize("code", LINE_CODES)
def test_bits_a_second(benchmark: Any, code: LineCode) -> None:
    """Bits through noise and the receiver's decision; the aim is 5 million a second."""
    rng = np.random.default_rng(1)
    counted = benchmark.pedantic(count_errors, (code, 4.0, BITS, rng), rounds=5, warmup_rounds=1)
    assert counted.rate == pytest.approx(closed_form(code, 4.0), rel=0.05)
    _report(benchmark, f"{code}", BITS / 1e6, "million bits/s", "aim 5")


def test_bits_a_second_with_hysteresis(benchmark: Any) -> None:
    """The same with two thresholds, where each decision may depend on the one before."""
    rng = np.random.default_rng(1)
    receiver = Receiver(1.5, 3.5)
    counted = benchmark.pedantic(
        count_margin_errors, (0.2, 4.6, 0.8, receiver, BITS, rng), rounds=5, warmup_rounds=1
    )
    assert counted.bits == BITS
    _report(benchmark, "hysteresis", BITS / 1e6, "million bits/s", "aim 5")


@pytest.mark.parametrize("line_is_new", [True, False], ids=["new line", "same line"])
def test_a_pool_of_frames(benchmark: Any, line_is_new: bool) -> None:
    """Sixty-four whole frames as waveforms through the receiver: what a settled state costs the link."""
    rng = np.random.default_rng(1)
    data = Frame(1, 0x35, 7).to_bytes()
    line = Line(0.2, 4.6, 1000.0, 3.0, 6e-9, 10e3)
    receiver, noise = Receiver(1.5, 3.5), Noise(0.1)

    def forget() -> None:
        if line_is_new:
            _clean_looks.cache_clear()
            step_modes.cache_clear()

    benchmark.pedantic(
        lambda: try_many(data, 1200, line, 1.0, 60.0, noise, receiver, 64, rng), setup=forget, rounds=50
    )
    _report(benchmark, "pool of 64 frames", None, "ms", "aim under 5 ms")


def test_ranking_of_all_polynomials(benchmark: Any) -> None:
    """Hamming distance and escapes of all 128 eight-bit polynomials at our length, exhaustively."""
    ranked = benchmark.pedantic(rank_polynomials, (24,), setup=_lightest_by_length.cache_clear, rounds=3)
    assert len(ranked) == 128
    _report(benchmark, "ranking of 128 polynomials", None, "ms", "no aim")


def test_burst_experiment(benchmark: Any) -> None:
    """Words with a burst, checked by the frame's CRC."""
    rng = np.random.default_rng(1)
    benchmark.pedantic(try_bursts, (FRAME_CRC, 9, 100_000, rng), rounds=3)
    _report(benchmark, "burst experiment", 0.1, "million words/s", "no aim")


def _report(benchmark: Any, what: str, work: float | None, unit: str, aim: str) -> None:
    """Print the median; nothing when benchmarks are switched off."""
    if not benchmark.stats:
        return
    seconds = benchmark.stats.stats.median
    figure = seconds * 1e3 if work is None else work / seconds
    benchmark.extra_info[unit] = figure
    print(f"\n{what}: {figure:.3g} {unit} ({aim})")
