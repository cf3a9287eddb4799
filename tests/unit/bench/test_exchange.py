"""One frame: what was sent, decided, drawn, acted on and counted is the same one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.bench.bench import Bench
from lessonkit.bench.exchange import FIRST_BATCH, REMEMBERED, FrameBook, FrameSeen
from lessonkit.bench.link import Ends, down_frame, is_for, up_frame
from lessonkit.bench.signal_path import Conditions
from lessonkit.draw.frames_view import last_frame
from lessonkit.draw.scope import scope_svg
from lessonkit.job.calls import CALLS, from_bits
from lessonkit.job.model import LinkSettings
from lessonkit.job.toml import demo_job
from lessonkit.signal import channel
from lessonkit.signal.arrivals import Arrivals, Channel
from lessonkit.signal.frames import Frame, FrameError, frame_levels

JOBS = {name: demo_job(name) for name in ("earth-return", "wire-return", "two-run")}

noisy = st.one_of(
    st.floats(0.5, 5.0).map(lambda v: f"outdoor.SIG=noise:{v:.2f}"),
    st.floats(0.5, 9.0).map(lambda ohm: f"outdoor.{{way_back}}=resistance:{ohm:.2f}"),
    st.sampled_from(
        ["outdoor.SIG=open", "outdoor.SIG=earth:400", "out.relay-board=dead", "air.encoder=dead"]
    ),
)


def noisy_bench(name: str, seed: int, call: str, fault: str, acceptance: int) -> Bench:
    """Return a bench that ran sound, and in which a fault has now struck the outdoor link."""
    job = JOBS[name]
    back = "earth" if job.outdoor_run.return_by == "earth" else "C"
    link = replace(job.runs["outdoor"].link, acceptance=acceptance)
    bench = Bench(job.with_run("outdoor", link=link), seed=seed)
    bench.set_call(call)
    bench.advance(4.0)
    bench.set_faults([fault.format(way_back=back)])
    return bench


def read_again(seen: FrameSeen) -> Frame | None:
    """Decide a drawn waveform afresh: threshold with hysteresis, then sample at the times that were shown."""
    receiver, level, levels = seen.conditions.channel.receiver, True, []
    for volts in seen.wave.volts.tolist():
        level = volts >= receiver.high_threshold_v or (level and volts > receiver.low_threshold_v)
        levels.append(level)
    tick_s = seen.conditions.channel.tick_s
    at = np.rint((seen.reading.sample_times_s - seen.wave.time_s[0]) / tick_s).astype(int)
    bits = [[levels[k] for k in row] for row in at.tolist()]
    assert bits == seen.reading.sample_levels.tolist()
    if any(row[0] or not row[9] for row in bits):
        return None
    data = bytes(sum(bit << k for k, bit in enumerate(row[1:9])) for row in bits)
    try:
        return Frame.from_bytes(data)
    except FrameError:
        return None


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(sorted(JOBS)),
    st.integers(0, 2**16),
    st.sampled_from(CALLS),
    noisy,
    st.integers(1, 3),
    st.lists(st.sampled_from([1.0, 2.0, 7.0, 25.0]), min_size=1, max_size=2),
)
def test_scope_counters_and_relays_tell_of_one_frame(
    name: str, seed: int, call: str, fault: str, acceptance: int, waits: list[float]
) -> None:
    """What the scope draws is what was decided, for frame and reply; counters and relays follow from it."""
    bench = noisy_bench(name, seed, call, fault, acceptance)
    for wait_s in waits:
        bench.advance(wait_s)
        for way in ("down", "up"):
            seen = bench.last_frame("outdoor", way)
            view = last_frame(bench, "outdoor", way)
            if seen is None or view.silent:
                assert "No frame: " in scope_svg(view)
                continue
            assert view.frame is seen
            assert seen.heard == seen.reading.frame == read_again(seen)
            assert seen.taken == (seen.heard is not None and is_for("outdoor", way, seen.heard))
            assert (">good frame<" in scope_svg(view)) is seen.taken
    frames = [one for one in bench.frames if one.run == "outdoor"]
    link = bench.state.links["outdoor"]
    down, up = ([one for one in frames if one.way == way] for way in ("down", "up"))
    assert len(bench.frames) < REMEMBERED, "none is forgotten, so that counts are whole"
    assert link.sent == len(down)
    assert link.accepted == sum(one.taken for one in down)
    assert link.replies == sum(one.taken for one in up)
    assert len(up) == link.accepted
    assert all(one.heard == one.reading.frame for one in frames)
    # What the relay board holds is the latest call bits that came often enough in a row.
    if link.state == "working" and link.outputs and "dead" not in fault:
        heard = [from_bits(one.heard.call_bits) for one in down if one.taken and one.heard]
        runs = [heard[k : k + acceptance] for k in range(len(heard) - acceptance + 1)]
        assert link.outputs == [run[-1] for run in runs if len(set(run)) == 1][-1]


def test_frames_are_lost_and_found_in_that_property() -> None:
    """In a noisy hour some frames get through and some do not, so there is something to hold together."""
    bench = noisy_bench("earth-return", 1, "cool-2", "outdoor.SIG=noise:3", 2)
    bench.advance(120.0)
    fates = {(one.way, one.taken) for one in bench.frames}
    assert fates == {("down", True), ("down", False), ("up", True), ("up", False)}
    assert any(one.conditions.sure is None for one in bench.frames)


def _conditions(noise_v: float = 3.0, sure: bool | None = None) -> Conditions:
    link = LinkSettings()
    over = Channel(
        channel.Line(0.0, 10.0, 900.0, 0.6, 5e-9, 10e3),
        channel.Shift(1.0, 60.0, 0.5),
        channel.Noise(noise_v),
        channel.Receiver(link.low_v, link.high_v),
        link.baud,
    )
    return Conditions("a state", 7, over, sure, channel.Shift(2.0, 60.0, 0.25))


def test_looking_or_not_a_frame_fares_the_same() -> None:
    """Two benches with one seed send the same frames, however often one of them is looked at."""
    looked, alone = (noisy_bench("earth-return", 5, "cool-1", "outdoor.SIG=noise:2.5", 2) for _ in range(2))
    for _ in range(40):
        looked.advance(1.0)
        scope_svg(last_frame(looked, "outdoor"))
        assert looked.state.links["outdoor"].odds >= 0
    alone.advance(40.0)
    assert looked.frames == alone.frames
    assert looked.state.to_dict() == alone.state.to_dict()


def test_frames_decided_ahead_are_those_that_are_sent() -> None:
    """A batch is used for the frame it was made for alone: number, bytes and circuit all have to fit."""
    book, conditions = FrameBook(3), _conditions()
    frames = [down_frame("outdoor", frozenset({"Y1"}), k) for k in range(1, 40)]
    seen = [book.carry(conditions, "outdoor", "down", k, f, True, 0.0) for k, f in enumerate(frames, 1)]
    assert [one.sent for one in seen] == frames
    assert all(one.arrivals.sent[one.row] == one.sent for one in seen)
    assert [one.row for one in seen[: FIRST_BATCH + 2]] == [*range(FIRST_BATCH), 0, 1]
    assert len(seen[FIRST_BATCH].arrivals.sent) == 2 * FIRST_BATCH, "more ahead while nothing changes"
    other = book.carry(conditions, "outdoor", "down", 40, down_frame("outdoor", frozenset(), 40), True, 0.0)
    assert other.arrivals is not seen[-1].arrivals
    assert other.arrivals.sent[other.row] == other.sent
    stray = down_frame("outdoor", frozenset({"Y1"}), 99)
    again = book.carry(conditions, "outdoor", "down", 39, stray, True, 0.0)
    assert again.arrivals.sent[again.row] == again.sent
    book.forget_ahead()
    fresh = book.carry(conditions, "outdoor", "down", 41, frames[0], True, 0.0)
    assert fresh.row == 0


def test_a_board_that_sleeps_or_is_not_meant_leaves_a_good_frame() -> None:
    """A frame is taken only by a board that is awake, and only if it is addressed to it; it says why not."""
    book, sure = FrameBook(1), _conditions(0.0, sure=True)
    frame = down_frame("outdoor", frozenset({"Y1"}), 1)
    taken = book.carry(sure, "outdoor", "down", 1, frame, True, 0.0)
    asleep = book.carry(sure, "outdoor", "down", 2, frame, False, 0.0)
    astray = book.carry(sure, "outdoor", "down", 3, down_frame("thermostat", frozenset(), 3), True, 0.0)
    reply = book.carry(sure, "outdoor", "up", 3, up_frame("outdoor", frozenset(), False, 3), True, 0.0)
    echo = book.carry(sure, "outdoor", "up", 3, frame, True, 0.0)
    assert [one.taken for one in (taken, asleep, astray, reply, echo)] == [True, False, False, True, False]
    assert taken.why == ""
    assert asleep.why == "The board at this end does nothing."
    assert astray.why == echo.why == "The frame is addressed to somebody else."
    assert str(taken) == f"    0.00 s  outdoor down 1: {frame.to_bytes().hex(' ')} taken"
    assert "left: The board" in str(asleep)


def test_a_frame_begins_anywhere_between_two_looks() -> None:
    """Of eight frames each begins an eighth of a look later than another, which way round they come."""
    over = _conditions(0.0).channel
    arrivals = Arrivals(over, tuple(Frame(2, 0, k) for k in range(8)), (5,))
    first_s = sorted(arrivals.waveform(row).time_s[0] for row in range(8))
    assert np.diff(first_s) == pytest.approx(over.tick_s / 8)
    assert len({arrivals.supply_rad(row) for row in range(8)}) == 8
    assert all(0 <= arrivals.supply_rad(row) < 2 * np.pi for row in range(8))


def test_a_frame_knows_its_two_ends() -> None:
    """A poll goes from the near end of its run to the far one, and the reply the other way."""
    bench = Bench(JOBS["two-run"])
    bench.advance(3.0)
    ends = {
        (run, way): (seen.other, seen.at)
        for run in ("thermostat", "outdoor")
        for way in ("down", "up")
        if (seen := bench.last_frame(run, way))
    }
    assert ends == {
        ("thermostat", "down"): ("stat", "air"), ("thermostat", "up"): ("air", "stat"),
        ("outdoor", "down"): ("air", "out"), ("outdoor", "up"): ("out", "air"),
    }  # fmt: skip


def test_a_damaged_frame_that_passes_its_check_acts_as_it_was_read() -> None:
    """The far end acts on the bits that it read, right or wrong: that is all it has."""
    link = LinkSettings(acceptance=1)
    wrong = down_frame("outdoor", frozenset({"Y2", "B"}), 7)
    ends, reply = Ends("outdoor").hears(wrong, True, 1.0, link)
    assert ends.far.outputs == {"Y2", "B"}
    assert reply == up_frame("outdoor", frozenset({"Y2", "B"}), True, 7)
    assert ends.hears_reply(reply, 1.0, link).near.outputs == {"D"}


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 255), st.integers(0, 2**16), st.floats(0.0, 3.0), st.floats(-0.03, 0.03))
def test_arrivals_are_what_the_channel_makes_of_a_frame(
    bits: int, seed: int, shift_v: float, clock: float
) -> None:
    """Without noise the volts at the looks are line plus shift, each at its own moment."""
    over = replace(
        _conditions(0.0).channel, shift=channel.Shift(shift_v, 60.0, 0.3), sender_clock_error=clock
    )
    frames = tuple(Frame(2, bits, k % 256) for k in range(11))
    arrivals = Arrivals(over, frames, (seed,))
    for row, frame in enumerate(frames):
        wave, levels = arrivals.waveform(row), frame_levels(frame.to_bytes())
        assert np.array_equal(wave.levels, levels)
        clean = over.line.volts(levels, over.bit_s, wave.time_s)
        phase = 0.3 + arrivals.supply_rad(row)
        expected = clean + channel.Shift(shift_v, 60.0, phase).volts(wave.time_s)
        assert np.allclose(wave.clean_v, clean, rtol=0, atol=1e-9)
        assert np.allclose(wave.volts, expected, rtol=0, atol=1e-4)
        assert -2.0 * over.bit_s <= wave.time_s[0] <= -2.0 * over.bit_s + over.tick_s
        assert wave.time_s[-1] >= 50.5 * over.bit_s
