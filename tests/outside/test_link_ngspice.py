"""A frame on the copper of a whole job against ngspice through time, live and recorded.

Source: ngspice, the open-source descendant of the Berkeley circuit simulator (version 39 for the recording).
It is given the settled circuit of a job with sines for supplies, a row of levels for the sending driver and a
ladder of 40 short pieces for the signal conductor, and steps through it. Ours adds up a step's modes and one
sine of the settled circuit's phasor: other mathematics, the same answer.

Tolerances are shares of the signal's swing of ten volts: 2 % anywhere, the edges included, which last some
microseconds; 0.2 % from a twentieth of a bit after each edge, which is where receivers look.
"""

from __future__ import annotations

import json
import runpy
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from lessonkit.bench.signal_path import receiver_of
from lessonkit.signal.channel import LEAD_BITS, TAIL_BITS, Reception, Shift, Waveform, receive

BOOK = runpy.run_path(str(Path(__file__).parent / "recorded" / "record_link.py"))
CASES: dict[str, Any] = BOOK["CASES"]

ANYWHERE, SETTLED, SETTLED_AFTER_BITS = 0.02, 0.002, 0.05
POINTS_PER_BIT = 64


def ours(case: str, time_s: np.ndarray) -> np.ndarray:
    """Return the receiver's volts as the channel has them, at some moments after the first falling edge."""
    one, job = BOOK["sent"](CASES[case]), CASES[case].job
    clean = one.way.line.volts(np.array(one.levels, dtype=np.uint8), one.bit_s, time_s)
    shift = Shift(np.sqrt(2) * one.way.hum_v, job.frequency_hz, one.way.hum_phase_rad)
    return np.asarray(clean + shift.volts(time_s))


def swing_v(case: str) -> float:
    """Return what a mark is above a space."""
    way = BOOK["sent"](CASES[case]).way
    return float(way.high_v - way.low_v)


def bits_after_edge(case: str, time_s: np.ndarray) -> np.ndarray:
    """Return how long ago the last bit began, in bits."""
    bits = time_s / BOOK["sent"](CASES[case]).bit_s
    return np.asarray(bits - np.floor(bits + 1e-9))


@pytest.mark.ngspice
@pytest.mark.parametrize("case", CASES)
def test_the_wave_at_the_receiver_is_ngspices(case: str) -> None:
    """Levels, edges and the shift between the commons run as ngspice says, through the whole frame."""
    time_s, theirs = BOOK["run_ngspice"](case, shutil.which("ngspice"))
    apart = np.abs(ours(case, time_s) - theirs) / swing_v(case)
    assert apart.max() < ANYWHERE
    assert apart[bits_after_edge(case, time_s) > SETTLED_AFTER_BITS].max() < SETTLED


@pytest.mark.parametrize("case", CASES)
def test_the_recorded_wave_is_met(case: str) -> None:
    """Without ngspice, its recorded samples are met as closely."""
    record = json.loads(BOOK["RECORD"].read_text("ascii"))
    told = "the circuit has changed since it was recorded: run tests/outside/recorded/record_link.py"
    assert record[case]["netlist"] == BOOK["fingerprint"](case), told
    apart = np.abs(ours(case, BOOK["kept"](case)) - record[case]["volts"])
    assert apart.max() < SETTLED * swing_v(case)


def decided(case: str, volts: np.ndarray, time_s: np.ndarray) -> Reception:
    """Let the link's receiver read a wave."""
    one, link = BOOK["sent"](CASES[case]), CASES[case].job.runs[CASES[case].run].link
    wave = Waveform(time_s, volts, volts, np.array(one.levels, dtype=np.uint8), one.bit_s)
    return receive(wave, receiver_of(link), link.baud)


@pytest.mark.ngspice
@pytest.mark.parametrize("case", CASES)
def test_ngspices_wave_is_read_alike(case: str) -> None:
    """The receiver makes the same frame of ngspice's wave as of ours, or breaks at the same character."""
    one = BOOK["sent"](CASES[case])
    ticks = np.arange(-LEAD_BITS * POINTS_PER_BIT, (len(one.levels) + TAIL_BITS) * POINTS_PER_BIT)
    time_s = ticks * one.bit_s / POINTS_PER_BIT
    theirs = np.interp(time_s, *BOOK["run_ngspice"](case, shutil.which("ngspice")))
    mine, got = decided(case, ours(case, time_s), time_s), decided(case, theirs, time_s)
    assert (mine.characters, mine.frame, mine.error) == (got.characters, got.frame, got.error)
    assert (got.frame is None) == case.startswith("poor bond")


def test_the_cases_differ_in_what_they_try() -> None:
    """Among the waves are large and small shifts, both ways, slow edges, and frames that break."""
    shifts = {case: BOOK["sent"](sending).way.hum_v for case, sending in CASES.items()}
    assert min(shifts.values()) < 0.01
    assert max(shifts.values()) > 2
    assert {sending.way for sending in CASES.values()} == {"down", "up"}
    assert {sending.run for sending in CASES.values()} == {"thermostat", "outdoor"}
