"""The channel: edges, shift, noise and clocks, each alone, and one path for one frame and for many."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import linalg

from lessonkit.errors import BadParameter
from lessonkit.signal.channel import Line, Noise, Receiver, Shift, read_many, receive, try_many, waveform
from lessonkit.signal.edges import step_modes
from lessonkit.signal.frames import Frame, frame_levels

FRAME = Frame(1, 0b0011_0101, 7)
DATA = FRAME.to_bytes()
LEVELS = frame_levels(DATA)
LINE = Line(0.2, 4.6, source_ohm=1000.0, line_ohm=3.0, line_farad=6e-9, load_ohm=10e3)
EARS = Receiver(1.5, 3.5)
BAUD = 1200.0


def share(
    line: Line = LINE,
    peak_v: float = 0.0,
    noise: Noise | None = None,
    ears: Receiver = EARS,
    count: int = 400,
    **more: float,
) -> float:
    """Share of frames that get through."""
    rng = np.random.default_rng(12)
    return float(try_many(DATA, BAUD, line, peak_v, 60.0, noise or Noise(), ears, count, rng, **more).mean())


def test_clean_frame_is_read() -> None:
    """A clean waveform gives the frame back, with a sample in the middle of each bit."""
    got = receive(waveform(LEVELS, BAUD, LINE), EARS, BAUD)
    assert got.frame == FRAME
    assert got.error == ""
    assert got.characters == DATA
    assert got.sample_levels.reshape(-1).astype(int).tolist() == LEVELS.tolist()
    middles = (np.arange(50) + 0.5) / BAUD
    # Noticed up to a tick late, plus the point of the waveform nearest to the look.
    assert np.abs(got.sample_times_s.reshape(-1) - middles).max() < 1.2 / 16 / BAUD
    assert got.framing_errors == got.parity_errors == 0


def test_waveform_settles_at_the_circuits_levels() -> None:
    """In mid-bit the volts are the settled levels, before and behind the frame the resting level."""
    wave = waveform(LEVELS, BAUD, LINE)
    middles = np.interp((np.arange(50) + 0.5) / BAUD, wave.time_s, wave.volts)
    assert middles == pytest.approx(np.where(LEVELS, 4.6, 0.2), abs=1e-3)
    assert wave.volts[0] == wave.volts[-1] == pytest.approx(4.6)
    assert wave.time_s[0] < 0.0 < wave.time_s[-1]


def test_slow_edges_agree_with_a_ladder() -> None:
    """Edges so slow that bits run into each other agree with a ladder solved by matrix exponentials."""
    sections, source, ohm, farad, load = 120, 500.0, 1000.0, 1e-6, 3000.0
    bit_s = 0.4e-3  # less than half of RC
    levels = np.array([0, 1, 1, 0, 1, 0, 0, 1], dtype=np.uint8)
    # Sections in pi: half a section's farads at either end.
    caps = np.full(sections + 1, farad / sections)
    caps[[0, -1]] /= 2
    between = np.full(sections, sections / ohm)
    across = np.diag([1 / source] + [0.0] * (sections - 1) + [1 / load])
    for k, siemens in enumerate(between):
        across[[k, k + 1, k, k + 1], [k, k + 1, k + 1, k]] += [siemens, siemens, -siemens, -siemens]
    decay = -across / caps[:, np.newaxis]
    drive = np.zeros(sections + 1)
    drive[0] = 1 / source / caps[0]
    settled = np.linalg.solve(decay, -drive)  # for one volt
    step = linalg.expm(decay * bit_s / 8)
    state, ladder = settled * 1.0, []
    for level in levels:
        for _ in range(8):
            state = settled * level + step @ (state - settled * level)
            ladder.append(state[-1])
    gain = load / (source + ohm + load)
    line = Line(0.0, gain, source, ohm, farad, load)
    times = np.arange(1, 8 * len(levels) + 1) * bit_s / 8
    # A look exactly at an edge belongs to the next bit, whose step has not moved anything yet.
    assert line.volts(levels, bit_s, times) == pytest.approx(np.array(ladder), abs=2e-4)
    assert step_modes(source, ohm, farad, load).gain == pytest.approx(gain)


def test_turned_round_line_is_never_read() -> None:
    """Low above high, as swapped conductors give it, is no frame, and the reason is told."""
    turned = Line(4.6, 0.2)
    got = receive(waveform(LEVELS, BAUD, turned), EARS, BAUD)
    assert got.frame is None
    assert got.error
    assert share(turned) == 0.0


def test_dead_line_says_so() -> None:
    """No swing, no start bit: a sentence about the line."""
    got = receive(waveform(LEVELS, BAUD, Line(4.6, 4.6)), EARS, BAUD)
    assert got.characters == b""
    assert "never fell below the low threshold" in got.error


def test_shift_eats_the_margin_and_then_the_frame() -> None:
    """Peak shift under the smaller margin is harmless; far above it nothing gets through."""
    # A one has to rise above 3.5 V and has 4.6 - 3.5 = 1.1 V to spare; a zero has 1.5 - 0.2 = 1.3 V.
    assert share(peak_v=1.0) == 1.0
    shares = [share(peak_v=peak) for peak in (1.0, 1.15, 1.25, 1.35, 4.0)]
    assert shares == sorted(shares, reverse=True)
    assert shares[-1] == 0.0


def test_shift_phase_decides_near_the_limit() -> None:
    """Near the limit some phases of the sine let the same frame through and others do not."""
    peak = 1.2
    verdicts = {
        receive(waveform(LEVELS, BAUD, LINE, Shift(peak, 60.0, phase)), EARS, BAUD).frame == FRAME
        for phase in np.linspace(0, 2 * math.pi, 24)
    }
    assert verdicts == {True, False}
    assert 0.0 < share(peak_v=peak) < 1.0


def test_more_noise_fewer_frames() -> None:
    """The share of good frames falls as noise rises, from all to none."""
    shares = [share(noise=Noise(rms)) for rms in (0.0, 0.2, 0.5, 0.7, 1.0, 3.0)]
    assert shares[0] == shares[1] == 1.0
    assert shares == sorted(shares, reverse=True)
    assert shares[-1] == 0.0


def test_bursts_break_the_frames_they_hit() -> None:
    """Rare long bursts break about as many frames as they touch; none when there are none."""
    noise = Noise(burst_peak_v=12.0, burst_s=0.004, bursts_per_s=6.0)
    looks_s = (2.0 + 50 + 1.5) / BAUD
    touched = 1.0 - math.exp(-6.0 * (looks_s + 0.004))
    assert share(noise=noise, count=3000) == pytest.approx(1.0 - touched, abs=0.06)
    assert share(noise=Noise(burst_peak_v=12.0, burst_s=0.004)) == 1.0


def test_noise_has_the_size_it_says() -> None:
    """Gaussian noise has its RMS, and bursts stay within their peak."""
    rng = np.random.default_rng(3)
    assert Noise(0.7).volts(50, 1000, 1e-4, rng).std() == pytest.approx(0.7, rel=0.02)
    bursts = Noise(0.0, 5.0, 1e-3, 50.0).volts(50, 1000, 1e-4, rng)
    assert 0 < np.count_nonzero(bursts) < 0.2 * bursts.size
    assert np.abs(bursts).max() <= 5.0


def test_one_and_many_take_the_same_decision() -> None:
    """For a frame with a shift and no noise, the scope's reader and the link's agree phase by phase."""
    rng = np.random.default_rng(21)
    for peak in (0.5, 1.15, 1.3, 2.5):
        many = share(peak_v=peak, count=512)
        phases = rng.uniform(0, 2 * math.pi, 128)
        waves = [waveform(LEVELS, BAUD, LINE, Shift(peak, 60.0, phase)) for phase in phases]
        single = np.mean([receive(wave, EARS, BAUD).frame == FRAME for wave in waves])
        assert many == pytest.approx(single, abs=0.12)


def test_same_seed_same_frames() -> None:
    """A seed repeats its frames exactly, and another does not."""

    def run(seed: int) -> list[bool]:
        rng = np.random.default_rng(seed)
        return try_many(DATA, BAUD, LINE, 1.2, 60.0, Noise(0.3), EARS, 64, rng).tolist()

    assert run(5) == run(5)
    assert run(5) != run(6)


def test_fast_baud_runs_into_the_copper() -> None:
    """A slow driver on a long cable is fine at 1200 baud and hopeless at eight times that."""
    slow = Line(0.2, 4.6, source_ohm=10e3, line_ohm=10.0, line_farad=20e-9, load_ohm=1e6)
    rng = np.random.default_rng(0)
    shares = [try_many(DATA, baud, slow, 0, 60, Noise(), EARS, 16, rng).mean() for baud in (300, 1200, 9600)]
    assert shares == [1.0, 1.0, 0.0]


def test_parity_goes_through_both_paths() -> None:
    """With a parity bit, one frame and many are read as well."""
    wave = waveform(frame_levels(DATA, "odd"), BAUD, LINE)
    assert receive(wave, EARS, BAUD, "odd").frame == FRAME
    rng = np.random.default_rng(0)
    assert try_many(DATA, BAUD, LINE, 0, 60, Noise(), EARS, 8, rng, parity="odd").all()
    assert receive(wave, EARS, BAUD, "even").parity_errors > 0


def test_damage_is_counted_as_it_shows() -> None:
    """A fast clock gives framing errors; the bytes that came are kept for the picture."""
    got = receive(waveform(LEVELS, BAUD, LINE), Receiver(1.5, 3.5, 0.06), BAUD)
    assert got.frame is None
    assert got.framing_errors > 0
    assert "framing errors" in got.error
    assert got.sample_volts.shape == got.sample_levels.shape == (len(got.characters), 10)


def test_undetected_frames_can_be_counted() -> None:
    """`read_many` hands over the bytes, so that a lesson can count what fooled the check."""
    read = read_many(DATA, BAUD, LINE, 0.0, 60.0, Noise(1.1), EARS, 300, np.random.default_rng(2))
    assert read.values.shape == (300, 5)
    right = (read.values == np.frombuffer(DATA, np.uint8)).all(axis=1)
    assert 0 < right.sum() < 300


def test_rows_in_turn_are_each_row_alone() -> None:
    """Looks that take turns give each row what it gives alone, with quick edges and with slow ones."""
    rng = np.random.default_rng(4)
    levels = rng.integers(0, 2, (7, 20), dtype=np.uint8)
    time_s = (np.arange(400) + rng.uniform(0, 1, (3, 1))) / 16 / BAUD - 2 / BAUD
    for farad in (0.0, 2e-9, 4e-7):
        line = Line(0.4, 4.4, 900.0, 40.0, farad, 1e4)
        seen = line.volts_in_turn(levels, 1 / BAUD, time_s)
        for row, sent in enumerate(levels):
            assert np.allclose(seen[row], line.volts(sent, 1 / BAUD, time_s[row % 3]), rtol=0, atol=1e-12)


def test_noise_asks_for_its_chance_and_silence_for_none() -> None:
    """A picture with noise needs a generator, so that it can be drawn again; one without ignores it."""
    with pytest.raises(BadParameter, match="rng"):
        waveform(LEVELS, BAUD, LINE, noise=Noise(0.3))
    silent = waveform(LEVELS, BAUD, LINE, rng=np.random.default_rng(1))
    assert np.array_equal(silent.volts, silent.clean_v)
