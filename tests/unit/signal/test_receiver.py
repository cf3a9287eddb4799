"""The receiver: quick array code against a slow reading of the same rules, look by look."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.signal.frames import character_levels, frame_levels
from lessonkit.signal.receiver import Receiver, find_characters


def plain_decide(volts: list[float], low_v: float, high_v: float, before: int) -> list[int]:
    """Hysteresis, said with a loop."""
    level, levels = before, []
    for value in volts:
        if value >= high_v:
            level = 1
        elif value <= low_v:
            level = 0
        levels.append(level)
    return levels


def plain_characters(levels: list[int], count: int, ticks: int, bits: int) -> list[tuple[int, list[int]]]:
    """Start edge, half a bit, samples in mid-bit, and on from the stop bit: said with a loop."""
    found: list[tuple[int, list[int]]] = []
    look = 0
    while len(found) < count:
        look = max(look, 1)
        while look + ticks // 2 < len(levels) and not (
            levels[look - 1] and not levels[look] and not levels[look + ticks // 2]
        ):
            look += 1
        samples = [look + ticks // 2 + ticks * k for k in range(bits)]
        if look + ticks // 2 >= len(levels) or samples[-1] >= len(levels):
            break
        found.append((look, [levels[k] for k in samples]))
        look = samples[-1]
    return found


@given(st.lists(st.sampled_from([0.0, 1.0, 2.0, 3.0, 4.0]), max_size=60), st.integers(0, 1))
def test_hysteresis_is_the_plain_loop(volts: list[float], before: int) -> None:
    """Any volts: the array code decides as the loop does, from either level before."""
    receiver = Receiver(1.0, 3.0)
    decided = receiver.decide(np.array([volts, volts[::-1]]), before)
    assert decided[0].tolist() == plain_decide(volts, 1.0, 3.0, before)
    assert decided[1].tolist() == plain_decide(volts[::-1], 1.0, 3.0, before)


def test_slow_shaky_edge_counts_once() -> None:
    """What hysteresis is for: noise on a slow edge makes one threshold chatter and two stay calm."""
    rng = np.random.default_rng(8)
    volts = np.linspace(0.0, 5.0, 400) + rng.normal(0, 0.25, 400)
    one, two = (Receiver(*pair).decide(volts, 0) for pair in ((2.5, 2.5), (1.5, 3.5)))
    assert np.count_nonzero(np.diff(one)) > 3
    assert np.count_nonzero(np.diff(two)) == 1


def test_thresholds_belong_to_the_levels() -> None:
    """At the high threshold exactly it is 1, at the low one exactly 0; between, what it was."""
    assert Receiver(1.0, 3.0).decide(np.array([3.0, 2.9, 1.0, 1.1])).tolist() == [True, True, False, False]
    assert Receiver(2.0, 2.0).decide(np.array([2.0, 1.9])).tolist() == [True, False]


@given(st.integers(0, 2**32 - 1), st.sampled_from([None, "odd"]), st.sampled_from([2, 4, 16]))
@settings(max_examples=60)
def test_characters_are_the_plain_loop(seed: int, parity: str | None, ticks: int) -> None:
    """On lines half characters and half rubbish, the array code finds what the loop finds."""
    rng = np.random.default_rng(seed)
    bits = 10 if parity is None else 11
    rows = []
    for _ in range(3):
        levels = np.repeat(frame_levels(rng.bytes(3), parity), ticks)
        levels = np.concatenate([np.ones(rng.integers(0, 2 * ticks)), levels, np.ones(ticks)])
        rubbish = rng.random(len(levels)) < rng.choice([0.0, 0.02, 0.3])
        rows.append(np.where(rubbish, 1 - levels, levels)[: 3 * ticks * bits].astype(bool))
    shortest = min(map(len, rows))
    lines = np.stack([row[:shortest] for row in rows])
    found = find_characters(lines, 4, Receiver(1, 1, ticks_per_bit=ticks), parity)
    for row in range(3):
        plain = plain_characters(lines[row].astype(int).tolist(), 4, ticks, bits)
        there = found.found[row]
        assert there.tolist() == [True] * len(plain) + [False] * (4 - len(plain))
        assert found.start_tick[row][there].tolist() == [start for start, _ in plain]
        assert found.levels[row][there].astype(int).tolist() == [samples for _, samples in plain]


def test_spike_is_no_start() -> None:
    """A dip shorter than half a bit is passed over; the character behind it is read."""
    spike = np.concatenate([np.ones(8), np.zeros(5), np.ones(40)])
    levels = np.concatenate([spike, np.repeat(character_levels(0xC3), 16), np.ones(16)])[np.newaxis, :] > 0.5
    found = find_characters(levels, 1, Receiver(1, 1))
    assert found.values[0, 0] == 0xC3
    assert found.start_tick[0, 0] == len(spike)


def test_break_and_silence() -> None:
    """A line that stays low is one framing error, one that stays high is nothing; neither raises."""
    low = np.zeros((1, 400), dtype=bool)
    low[0, :20] = True
    found = find_characters(low, 2, Receiver(1, 1))
    assert found.framing_errors.tolist() == [[True, False]]
    assert not find_characters(np.ones((2, 400), dtype=bool), 2, Receiver(1, 1)).found.any()
    assert not find_characters(np.ones((1, 5), dtype=bool), 1, Receiver(1, 1)).found.any()


@pytest.mark.parametrize("parity", ["even", "odd"])
def test_parity_errors(parity: str) -> None:
    """A data bit turned round is a parity error, and the character is not good."""
    levels = character_levels(0x35, parity)
    levels[3] ^= 1
    line = np.concatenate([np.ones(16), np.repeat(levels, 16), np.ones(16)])[np.newaxis, :] > 0.5
    found = find_characters(line, 1, Receiver(1, 1), parity)
    assert found.parity_errors.all()
    assert not found.good.any()
