"""Counted error rates against closed forms, tables and scipy.

Sources: bit error rates at Eb/N0 from texts on digital transmission (3.9e-6 at 10 dB in a satellite
communications text, 0.078 and 0.158 at 0 dB on a teaching page); Eb/N0 for given rates worked out with
scipy elsewhere; scipy.stats for the normal and binomial distributions; E. B. Wilson, JASA 1927, for the
interval.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import optimize, stats

from lessonkit.signal.error_rates import (
    LINE_CODES,
    LineCode,
    closed_form,
    count_errors,
    count_margin_errors,
    lean_on_errors,
    margin_error_rate,
    q_function,
    wilson_interval,
)
from lessonkit.signal.receiver import Receiver

# Eb/N0 in dB -> antipodal, on-off, non-coherent.
TABLE = {
    0: (7.865e-2, 1.587e-1, 3.033e-1),
    4: (1.250e-2, 5.650e-2, 1.424e-1),
    6: (2.388e-3, 2.301e-2, 6.831e-2),
    8: (1.909e-4, 6.004e-3, 2.132e-2),
    9.6: (9.736e-6, 1.264e-3, 5.231e-3),
    10: (3.872e-6, 7.827e-4, 3.369e-3),
    12: (9.006e-9, 3.430e-5, 1.809e-4),
}
# A count should lie within four sigmas of the truth: once in 16 000 honest counts it does not.
SIGMAS = 4.0


@pytest.mark.parametrize(("decibels", "rates"), TABLE.items())
def test_closed_forms_are_the_tables(decibels: float, rates: tuple[float, ...]) -> None:
    """The three closed forms give the table's rates to its four figures."""
    assert [closed_form(code, decibels) for code in LINE_CODES] == pytest.approx(rates, rel=5e-4)


def test_published_anchors() -> None:
    """Antipodal 3.9e-6 at 10 dB (satellite text), 0.078 at 0 dB; on-off 0.158 at 0 dB (teaching page)."""
    assert closed_form("antipodal", 10) == pytest.approx(3.9e-6, rel=0.01)
    assert closed_form("antipodal", 0) == pytest.approx(0.0786, abs=1e-4)
    assert closed_form("on-off", 0) == pytest.approx(0.158, abs=1e-3)


def test_on_off_costs_three_decibels() -> None:
    """On-off needs exactly twice the energy of antipodal: 10 log10 2 = 3.0103 dB at every rate."""
    for rate, needed_db in ((1e-3, 6.79), (1e-5, 9.59), (1e-6, 10.53), (1e-9, 12.55)):
        found = {
            code: optimize.brentq(lambda db, c=code, r=rate: math.log(closed_form(c, db) / r), 0, 20)
            for code in ("antipodal", "on-off")
        }
        assert found["antipodal"] == pytest.approx(needed_db, abs=0.006)
        assert found["on-off"] - found["antipodal"] == pytest.approx(3.0103, abs=1e-4)


def test_q_function_is_the_normal_tail() -> None:
    """Q(x) is scipy's survival function of the normal distribution, far into the tail."""
    for x in (-3.0, 0.0, 1.0, 4.7, 8.0, 20.0):
        assert q_function(x) == pytest.approx(stats.norm.sf(x), rel=1e-9)


@pytest.mark.parametrize("code", LINE_CODES)
@pytest.mark.parametrize("decibels", [0.0, 4.0, 8.0])
def test_counts_agree_with_closed_forms(code: LineCode, decibels: float) -> None:
    """A million bits through the receiver's decision agree with theory within the count's own interval."""
    counted = count_errors(code, decibels, 1_000_000, np.random.default_rng(2024), sigmas=SIGMAS)
    assert counted.bits == 1_000_000
    assert counted.errors > 50
    assert counted.covers(closed_form(code, decibels))
    assert not counted.covers(2 * closed_form(code, decibels))


def test_interval_covers_as_often_as_it_says() -> None:
    """Of 400 counts, the 95 per cent interval holds the truth in 92 to 98 of a hundred."""
    rng = np.random.default_rng(77)
    truth = closed_form("antipodal", 2.0)
    held = sum(count_errors("antipodal", 2.0, 4000, rng).covers(truth) for _ in range(400))
    assert 0.92 <= held / 400 <= 0.98


def test_wilson_interval_is_scipys() -> None:
    """Bounds of a share agree with scipy's Wilson interval, at the ends too."""
    for hits, tries in ((0, 50), (1, 50), (17, 400), (50, 50)):
        theirs = stats.binomtest(hits, tries).proportion_ci(0.95, method="wilson")
        ours = wilson_interval(hits, tries, float(stats.norm.ppf(0.975)))
        assert ours == pytest.approx((theirs.low, theirs.high), abs=1e-9)


@pytest.mark.parametrize("sigma_off", [4.0, 6.0, 8.0])
def test_rare_errors_by_leaning(sigma_off: float) -> None:
    """Importance sampling finds tails down to 6e-16 with 20 000 bits, within its own interval and 5 %."""
    for level in (0.0, 2.0):
        rng = np.random.default_rng(9)
        found = lean_on_errors(level, 1.0 / sigma_off, Receiver(1.0, 1.0), 20_000, rng, SIGMAS)
        truth = float(stats.norm.sf(sigma_off))
        assert found.covers(truth)
        assert found.high - found.low < 0.2 * truth
        assert found.rate == pytest.approx(truth, rel=0.05)


@pytest.mark.parametrize("thresholds", [(2.5, 2.5), (1.5, 3.5), (1.0, 3.0)])
def test_hysteresis_against_its_chain(thresholds: tuple[float, float]) -> None:
    """With hysteresis the counted rate is that of a two-state chain, built here on scipy's tails."""
    low_v, high_v, noise_v = 0.2, 4.6, 1.0
    receiver = Receiver(*thresholds)
    tail = stats.norm(scale=noise_v)
    up = [tail.sf(thresholds[1] - level) for level in (low_v, high_v)]
    down = [tail.cdf(thresholds[0] - level) for level in (low_v, high_v)]
    # Transition matrix of (decided level) under random bits, and its settled state.
    step = np.array([[1 - np.mean(up), np.mean(up)], [np.mean(down), 1 - np.mean(down)]])
    values, vectors = np.linalg.eig(step.T)
    settled = np.real(vectors[:, np.argmax(np.real(values))])
    ones = (settled / settled.sum())[1]
    zero_read_as_one = up[0] + (1 - up[0] - down[0]) * ones
    one_read_as_zero = down[1] + (1 - up[1] - down[1]) * (1 - ones)
    truth = (zero_read_as_one + one_read_as_zero) / 2
    assert margin_error_rate(low_v, high_v, noise_v, receiver) == pytest.approx(truth, rel=1e-9)
    counted = count_margin_errors(low_v, high_v, noise_v, receiver, 1_000_000, np.random.default_rng(4))
    # Kept samples tie neighbours together, so the interval is a little wider than Wilson's.
    assert counted.rate == pytest.approx(truth, rel=0.03)
