"""Error rates: how often a bit goes wrong, counted and reckoned.

Three ways to the same number:

    count      send many bits through the receiver's own decision and count. Honest, with a confidence
               interval, and hopeless for rare errors: ten at one in a billion take ten billion bits
    reckon     a closed form, where the noise is Gaussian and the decision is a threshold
    lean on    importance sampling: shift the noise so that errors become common, and weigh each by how much
               commoner it was made. Rare errors in a thousandth of the bits, with an interval of its own

`Eb/N0` compares the energy of a bit with the noise density, in decibels; a link budget asks for it. Three
ways to put a bit on a line, in units in which the noise at the decision has RMS 1:

    antipodal       plus or minus sqrt(2 Eb/N0): two levels of opposite sign
    on-off          0 or 2 sqrt(Eb/N0), threshold half way; Eb is the mean over zeros and ones
    non-coherent    two tones; the stronger envelope wins, whatever its phase

Sources: any text on digital transmission for the closed forms; Wilson 1927 for the interval of a share.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from lessonkit.errors import BadParameter, require, require_finite, require_positive
from lessonkit.signal.channel import Line, Noise, read_many
from lessonkit.signal.frames import bits_per_character, character_levels
from lessonkit.signal.receiver import Receiver

__all__ = [
    "LINE_CODES",
    "ErrorRate",
    "clock_tolerance",
    "clock_tolerance_curve",
    "closed_form",
    "count_errors",
    "count_margin_errors",
    "lean_on_errors",
    "margin_error_rate",
    "q_function",
    "wilson_interval",
]

LineCode = Literal["antipodal", "on-off", "non-coherent"]

LINE_CODES: tuple[LineCode, ...] = ("antipodal", "on-off", "non-coherent")
"""Ways to put a bit on a line."""

_BATCH = 1 << 16  # bits at a time: small enough to stay in the processor's cache


@dataclass(frozen=True)
class ErrorRate:
    """A measured error rate, with its confidence interval.

    `low` and `high` bound the share of wrong bits. `errors` is how many wrong bits were seen, `bits` how
    many were sent; with importance sampling the errors are weighted, so their quotient is not the rate.
    """

    rate: float
    low: float
    high: float
    errors: int
    bits: int

    def covers(self, rate: float) -> bool:
        """Whether a rate lies within the interval."""
        return self.low <= rate <= self.high


def q_function(x: float) -> float:
    """The chance that a Gaussian of RMS 1 exceeds x."""
    return 0.5 * math.erfc(x / math.sqrt(2.0))


def wilson_interval(hits: int, tries: int, sigmas: float = 1.96) -> tuple[float, float]:
    """Bounds of a share from a count; 1.96 sigmas are 95 per cent.

    Unlike share plus or minus sigma it stays sensible at no hits at all. Source: Wilson 1927.

    >>> [round(bound, 3) for bound in wilson_interval(0, 100)]
    [0.0, 0.037]
    """
    require(tries > 0, "tries", tries, "one or more")
    require(0 <= hits <= tries, "hits", hits, f"from 0 to {tries}")
    share, z2 = hits / tries, sigmas**2
    middle = (share + z2 / (2 * tries)) / (1 + z2 / tries)
    half = sigmas / (1 + z2 / tries) * math.sqrt(share * (1 - share) / tries + z2 / (4 * tries**2))
    return (0.0 if hits == 0 else middle - half), (1.0 if hits == tries else middle + half)


def _ratio(eb_n0_db: float) -> float:
    decibels = require_finite("eb_n0_db", eb_n0_db, "a finite number of decibels")
    require(-60 <= decibels <= 60, "eb_n0_db", eb_n0_db, "from -60 to 60 decibels")
    return float(10.0 ** (decibels / 10.0))


def _known(code: str) -> None:
    require(code in LINE_CODES, "code", code, "one of " + ", ".join(LINE_CODES))


def closed_form(code: LineCode, eb_n0_db: float) -> float:
    """Bit error rate in Gaussian noise, from theory.

    >>> f"{closed_form('antipodal', 10):.3g}"
    '3.87e-06'
    """
    _known(code)
    ratio = _ratio(eb_n0_db)
    if code == "antipodal":
        return q_function(math.sqrt(2.0 * ratio))
    if code == "on-off":
        return q_function(math.sqrt(ratio))
    return 0.5 * math.exp(-0.5 * ratio)


def _count(bits: int, sigmas: float, wrong: Callable[[int], int]) -> ErrorRate:
    """Run `wrong(batch)` until enough bits have been sent."""
    require(bits > 0, "bits", bits, "one bit or more")
    errors = sum(wrong(min(_BATCH, bits - sent)) for sent in range(0, bits, _BATCH))
    low, high = wilson_interval(errors, bits, sigmas)
    return ErrorRate(errors / bits, low, high, errors, bits)


def _random_bits(count: int, rng: np.random.Generator) -> NDArray[np.bool_]:
    return np.unpackbits(np.frombuffer(rng.bytes(-(-count // 8)), np.uint8))[:count].view(np.bool_)


def count_errors(
    code: LineCode, eb_n0_db: float, bits: int, rng: np.random.Generator, sigmas: float = 1.96
) -> ErrorRate:
    """Send bits through noise and the receiver's decision, and count.

    The decision is `Receiver.decide`, with its threshold where the code wants it.
    """
    _known(code)
    ratio = _ratio(eb_n0_db)
    swing = np.float32(math.sqrt(2.0 * ratio) if code == "antipodal" else 2.0 * math.sqrt(ratio))
    threshold = float(swing) / 2 if code == "on-off" else 0.0
    receiver = Receiver(threshold, threshold)

    def wrong(batch: int) -> int:
        sent = _random_bits(batch, rng)
        if code == "non-coherent":
            # Two detectors, each a pair of noises at right angles; the tone is in one of them.
            noise = rng.standard_normal((4, batch), dtype=np.float32)
            noise[0] += swing / np.float32(math.sqrt(2.0))
            tone, quiet = np.hypot(noise[0], noise[1]), np.hypot(noise[2], noise[3])
            volts = np.where(sent, tone - quiet, quiet - tone)
        else:
            volts = rng.standard_normal(batch, dtype=np.float32)
            volts += swing * sent if code == "on-off" else swing * (2 * sent.view(np.int8) - 1)
        return int(np.count_nonzero(receiver.decide(volts) != sent))

    return _count(bits, sigmas, wrong)


def _margin_levels(low_v: float, high_v: float, noise_v: float) -> None:
    require_finite("low_v", low_v, "a finite number of volts")
    require_finite("high_v", high_v, "a finite number of volts")
    require_positive("noise_v", noise_v, unit="volts RMS")


def margin_error_rate(low_v: float, high_v: float, noise_v: float, receiver: Receiver) -> float:
    """Bit error rate of two levels in Gaussian noise, from theory.

    `noise_v` is RMS. With hysteresis a sample between the thresholds keeps the level before it, right or
    wrong; the rate is the settled one of that chain for random bits.
    """
    _margin_levels(low_v, high_v, noise_v)

    def chances(level: float) -> tuple[float, float]:
        """Chance that a sample is surely 1, and surely 0."""
        return (
            q_function((receiver.high_threshold_v - level) / noise_v),
            q_function((level - receiver.low_threshold_v) / noise_v),
        )

    (up_low, down_low), (up_high, down_high) = chances(low_v), chances(high_v)
    keep_low, keep_high = 1 - up_low - down_low, 1 - up_high - down_high
    # Share of ones decided, settled: ones = (up + keep * ones), mean over the two levels.
    ones = (up_low + up_high) / (2 - keep_low - keep_high)
    return 0.5 * (up_low + keep_low * ones + down_high + keep_high * (1 - ones))


def count_margin_errors(
    low_v: float,
    high_v: float,
    noise_v: float,
    receiver: Receiver,
    bits: int,
    rng: np.random.Generator,
    sigmas: float = 1.96,
) -> ErrorRate:
    """Random bits at two levels through a receiver's thresholds.

    Volts at the receiver; `noise_v` is RMS.
    """
    _margin_levels(low_v, high_v, noise_v)

    def wrong(batch: int) -> int:
        sent = _random_bits(batch, rng)
        volts = rng.standard_normal(batch, dtype=np.float32)
        volts *= np.float32(noise_v)
        volts += np.float32(low_v) + np.float32(high_v - low_v) * sent
        return int(np.count_nonzero(receiver.decide(volts) != sent))

    return _count(bits, sigmas, wrong)


def lean_on_errors(
    level_v: float,
    noise_v: float,
    receiver: Receiver,
    bits: int,
    rng: np.random.Generator,
    sigmas: float = 1.96,
) -> ErrorRate:
    """Rare errors of one level by importance sampling.

    The level sent is 1 if `level_v` is at or above the threshold, else 0. The noise is centred on the
    threshold, so that half of all samples err, and every error weighs the ratio of the two densities. Needs a
    receiver without hysteresis, whose decisions stand alone.
    """
    require_finite("level_v", level_v, "a finite number of volts")
    require_positive("noise_v", noise_v, unit="volts RMS")
    require(bits >= 100, "bits", bits, "100 bits or more")
    threshold = receiver.high_threshold_v
    if receiver.low_threshold_v != threshold:
        raise BadParameter("receiver", receiver, "without hysteresis (both thresholds equal)")
    sent = level_v >= threshold
    lean = (threshold - level_v) / noise_v
    unit = rng.standard_normal(bits) + lean
    wrong = receiver.decide(level_v + noise_v * unit) != sent
    weights: NDArray[Any] = np.where(wrong, np.exp(0.5 * lean**2 - lean * unit), 0.0)
    rate = float(weights.mean())
    half = sigmas * float(weights.std(ddof=1)) / math.sqrt(bits)
    return ErrorRate(rate, max(rate - half, 0.0), rate + half, int(wrong.sum()), bits)


def clock_tolerance(ticks_per_bit: int | None = None, parity: str | None = None) -> float:
    """How much two clocks may differ, as a share, from theory.

    The last sample is in the middle of the stop bit and has half a bit of room, less one tick if the start is
    noticed that much late. 8-N-1: 0.5 / 9.5 = 5.26 %, and with 16 ticks 7 / 152 = 4.61 %.
    """
    room = 0.5
    if ticks_per_bit is not None:
        require(ticks_per_bit >= 4, "ticks_per_bit", ticks_per_bit, "4 or more")
        room -= 1.0 / ticks_per_bit
    return room / (bits_per_character(parity) - 0.5)


def clock_tolerance_curve(
    errors: Sequence[float],
    *,
    ticks_per_bit: int = 16,
    parity: str | None = None,
    count: int = 64,
    rng: np.random.Generator | None = None,
) -> NDArray[np.float64]:
    """Share of characters read right, by the receiver's clock error.

    Perfect levels, no noise, two characters one behind the other; the first is judged. Positive: the
    receiver's bit is too long. The curve falls from one to zero over one tick, since the start is noticed
    up to a tick late.
    """
    require(count > 0, "count", count, "one or more")
    rng = rng or np.random.default_rng(0)
    line = Line(low_v=0.0, high_v=1.0)
    # The stop bit is sampled last and decides; it shows only if both its neighbours are 0.
    telling = [byte for byte in range(256) if character_levels(byte, parity)[-2] == 0]
    shares = []
    for error in errors:
        receiver = Receiver(0.5, 0.5, error, ticks_per_bit)
        data = bytes(rng.choice(telling, 2).tolist())
        read = read_many(data, 1200.0, line, 0.0, 60.0, Noise(), receiver, count, rng, parity=parity)
        shares.append(float((read.good & (read.values == data[0]))[:, 0].mean()))
    return np.array(shares)
