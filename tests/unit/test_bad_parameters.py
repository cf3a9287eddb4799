"""Bad parameters of the signal rooms: one sentence with name, value and what is allowed."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from lessonkit import errors
from lessonkit.copper import wire
from lessonkit.signal import channel, crc, distance, edges, error_rates, frames
from lessonkit.signal.channel import Line, Noise, Receiver, Shift

RNG = np.random.default_rng(0)
FRAME = frames.Frame(1, 2, 3).to_bytes()
LEVELS = frames.frame_levels(FRAME)
LINE = Line(0.0, 5.0)
EARS = Receiver(1.5, 3.5)

# What is done, the parameter that the sentence must name, the value it must show, a word of what is allowed.
CASES: dict[str, tuple[Callable[[], object], str, str, str]] = {
    "negative length": (lambda: wire.loop_ohm(-3.0, 18), "length_m", "-3.0", "zero or above"),
    "gauge 99": (lambda: wire.resistance_per_m(99), "gauge_awg", "99", "0000"),
    "hot copper": (lambda: wire.resistance_per_m(18, 900), "temp_c", "900", "-80 to 200"),
    "touching wires": (lambda: wire.pair_capacitance_per_m(18, 1e-3), "spacing_m", "0.001", "diameter"),
    "permittivity": (lambda: wire.pair_capacitance_per_m(18, 1.0, 0.5), "permittivity", "0.5", "1 (air)"),
    "length in words": (lambda: wire.loop_ohm("long", 18), "length_m", "'long'", "metres"),  # type: ignore[arg-type]
    "not a number": (lambda: wire.loop_ohm(math.nan, 18), "length_m", "nan", "metres"),
    "endless": (lambda: wire.loop_ohm(math.inf, 18), "length_m", "inf", "metres"),
    "zero baud": (lambda: channel.waveform(LEVELS, 0, LINE), "baud", "0", "above 0"),
    "zero baud, many": (
        lambda: channel.try_many(FRAME, 0, LINE, 0, 60, Noise(), EARS, 1, RNG), "baud", "0", "above 0",
    ),
    "no frames": (
        lambda: channel.try_many(FRAME, 1200, LINE, 0, 60, Noise(), EARS, 0, RNG), "count", "0", "one frame",
    ),
    "frame time": (lambda: frames.frame_seconds(-1), "baud", "-1", "1200"),
    "threshold above supply": (
        lambda: Receiver(1.0, 6.0, supply_v=5.0), "high_threshold_v", "6.0", "below supply_v, here 5 V",
    ),
    "thresholds crossed": (lambda: Receiver(3.0, 2.0), "low_threshold_v", "3.0", "here 2 V"),
    "clock": (lambda: Receiver(1.0, 2.0, clock_error=2.0), "clock_error", "2.0", "0.02"),
    "ticks": (lambda: Receiver(1.0, 2.0, ticks_per_bit=7), "ticks_per_bit", "7", "even"),
    "line ohms": (lambda: Line(0, 5, line_ohm=-1), "line_ohm", "-1", "ohms zero or above"),
    "line farads": (lambda: Line(0, 5, line_farad=-1e-9), "line_farad", "-1e-09", "farads"),
    "load": (lambda: Line(0, 5, load_ohm=0), "load_ohm", "0", "math.inf"),
    "level": (lambda: Line(math.nan, 5), "low_v", "nan", "finite"),
    "edge load": (lambda: edges.step_modes(0, 1, 1, -2), "load_ohm", "-2", "above 0"),
    "edge share": (lambda: edges.step_modes(0, 1, 1).time_to(1.0), "share", "1.0", "between 0 and 1"),
    "shift": (lambda: Shift(-1.0), "peak_v", "-1.0", "volts zero or above"),
    "noise": (lambda: Noise(-0.1), "rms_v", "-0.1", "volts"),
    "noise without a source": (
        lambda: channel.waveform(LEVELS, 1200, LINE, noise=Noise(0.1)), "rng", "None", "generator",
    ),
    "points": (lambda: channel.waveform(LEVELS, 1200, LINE, points_per_bit=1), "points_per_bit", "1", "4"),
    "parity": (lambda: frames.frame_levels(b"a", "mark"), "parity", "'mark'", "'even' or 'odd'"),
    "stop bits": (lambda: frames.character_levels(1, stop_bits=3), "stop_bits", "3", "1 or 2"),
    "address": (lambda: frames.Frame(300, 0, 0), "address", "300", "0 to 255"),
    "call bits": (lambda: frames.Frame(1, -1, 0), "call_bits", "-1", "0 to 255"),
    "sequence": (lambda: frames.Frame(1, 0, 1.5), "sequence", "1.5", "whole number"),  # type: ignore[arg-type]
    "crc name": (lambda: crc.crc("CRC-8/OURS"), "name", "'CRC-8/OURS'", "CRC-8/AUTOSAR"),
    "flips": (lambda: crc.try_flips(crc.FRAME_CRC, 99, 5, RNG), "flips", "99", "32 bits"),
    "burst": (lambda: crc.try_bursts(crc.FRAME_CRC, 0, 5, RNG), "length", "0", "32 bits"),
    "chance": (lambda: crc.try_noise(crc.FRAME_CRC, 1.5, 5, RNG), "bit_error_rate", "1.5", "0 to 1"),
    "polynomial": (lambda: distance.hamming_distance(0x12E, 24), "full_poly", "302", "+1"),
    "line code": (lambda: error_rates.closed_form("duo", 3), "code", "'duo'", "antipodal"),  # type: ignore[arg-type]
    "decibels": (lambda: error_rates.closed_form("antipodal", 900), "eb_n0_db", "900", "60"),
    "hysteresis leaned on": (
        lambda: error_rates.lean_on_errors(0, 1, EARS, 1000, RNG), "receiver", "Receiver(", "hysteresis",
    ),
    "no bits": (lambda: error_rates.count_errors("antipodal", 1, 0, RNG), "bits", "0", "one bit"),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_one_sentence_names_all_three(case: str) -> None:
    """The sentence names the parameter, its value and what is allowed."""
    act, name, value, allowed = CASES[case]
    with pytest.raises(errors.BadParameter) as caught:
        act()
    sentence = str(caught.value)
    assert caught.value.name == name
    assert sentence.startswith(f"{name} is {value}")
    assert allowed in sentence.split("but must be")[1]
    assert sentence.endswith(".")
    assert "\n" not in sentence


def test_family() -> None:
    """Every error is a LessonError, and the builtin that a programmer would expect."""
    for kind in (errors.BadParameter, frames.FrameError, frames.CharacterError, frames.ManchesterError):
        assert issubclass(kind, errors.LessonError)
        assert issubclass(kind, ValueError)


def test_long_values_are_cut() -> None:
    """A huge value does not drown the sentence."""
    assert len(str(errors.BadParameter("levels", list(range(10_000)), "short"))) < 150
