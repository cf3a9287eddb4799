"""Frames in noise, checks put to the proof, and conductors broken in turn."""

from __future__ import annotations

import math

import pytest

from lessonkit.errors import BadParameter
from lessonkit.job.toml import demo_job
from lessonkit.signal.crc import FRAME_CRC
from lessonkit.signal.distance import undetected_patterns
from lessonkit.studies.broken import OUTCOMES, break_each
from lessonkit.studies.check_trials import count_slips
from lessonkit.studies.experiment import experiment
from lessonkit.studies.noisy_frames import count_frames


def test_every_frame_is_counted_once() -> None:
    """What became of the frames adds up to all of them, and more noise lets fewer through."""
    counts = [count_frames("forge-office", noise_v, 600) for noise_v in (0.0, 2.0, 3.0, 5.0)]
    for one in counts:
        assert one.good + one.no_frame + one.sync + one.check + one.slipped == one.frames == 600
    assert [one.good for one in counts] == sorted((one.good for one in counts), reverse=True)
    assert counts[0].heard_percent == 100.0
    assert count_frames("forge-office", 3.0, 600) == counts[2]


def test_counted_frames_are_those_of_the_bench() -> None:
    """The share heard is the bench's own odds, within what chance allows."""
    bench = experiment("forge-office", "cool-2", ["outdoor.SIG=noise:2.5"], before_s=15, after_s=0).bench()
    odds = bench.state.links["outdoor"].odds
    counted = count_frames("forge-office", 2.5, 2000).heard_percent / 100
    assert counted == pytest.approx(odds, abs=4 * math.sqrt(0.25 / 64))


def test_a_job_without_a_link_has_no_frames_to_count() -> None:
    """Where nothing is sent, the sentence asks for a job with a link."""
    with pytest.raises(BadParameter, match="a job with a link"):
        count_frames("full-cable", 1.0)
    with pytest.raises(BadParameter, match="from 1 to 1 000 000"):
        count_frames("forge-office", 1.0, 0)


def test_slips_are_counted_and_exhausted() -> None:
    """A parity bit misses every even number of wrong bits, and counting follows what fools the CRC."""
    slips = count_slips(4000, seed=3)
    for damage, share in (("1 bit", 0.0), ("2 bits", 1.0), ("3 bits", 0.0), ("4 bits", 1.0)):
        assert slips.share(damage, "one parity bit") == share
    every = undetected_patterns(FRAME_CRC.full_poly, 24, 4)
    assert slips.exhausted("4 bits") == (every, math.comb(32, 4))
    assert slips.share("4 bits", "CRC-8") == pytest.approx(every / math.comb(32, 4), rel=0.5)
    assert "| 2 bits | 4000 |" in slips._repr_markdown_()
    with pytest.raises(BadParameter, match="one of 1 bit, 2 bits"):
        slips.share("5 bits", "sum")


@pytest.mark.parametrize(
    ("job", "call", "unsafe"),
    [
        ("forge-office", "cool-1", ["thermostat.G", "thermostat.O"]),
        ("forge-office", "heat-2", ["thermostat.G"]),
        ("wire-return", "heat-1", ["thermostat.G", "thermostat.B"]),
        ("full-cable", "cool-2", ["thermostat.G", "thermostat.O", "outdoor.O"]),
    ],
)
def test_unsafe_breaks_are_the_valve_and_the_blower(job: str, call: str, unsafe: list[str]) -> None:
    """The valve's conductor turns the mode where the call energises it, and G leaves a coil without air."""
    table = break_each(job, call)
    assert table.unsafe == unsafe
    assert set(table.outcomes.values()) <= set(OUTCOMES)


def test_a_break_is_what_the_bench_lives_through() -> None:
    """What `break_each` says of a conductor is what a bench gives a minute after it broke."""
    table = break_each("forge-office", "cool-2")
    for row in table.rows:
        bench = experiment("forge-office", "cool-2", [f"{row.conductor}=open"], before_s=0).bench()
        assert bench.state.delivering == row.delivering, row.conductor


def test_only_one_run_is_broken_where_one_is_named() -> None:
    """A run that is named alone is the only one that breaks; another word is refused."""
    table = break_each(demo_job("forge-office"), "cool-1", "outdoor")
    assert [row.conductor for row in table.rows] == ["outdoor.R", "outdoor.SIG", "outdoor.C"]
    with pytest.raises(BadParameter, match="one of thermostat, outdoor"):
        break_each("forge-office", "cool-1", "indoor")
