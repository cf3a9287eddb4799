"""Benches that do not say what they are set to, and the trial of a learner's own reader."""

from __future__ import annotations

import pytest

from lessonkit.errors import BadParameter
from lessonkit.studies.secrets import secret_bench, try_reader

NAMES = ("Y1", "Y2", "G", "O", "B", "W1", "E")


def reader(levels: list[int]) -> list[str]:
    """Read the third character of a frame."""
    return [name for name, level in zip(NAMES, levels[21:28], strict=True) if level]


def test_a_seed_draws_the_same_again_and_seeds_differ() -> None:
    """One seed gives one call; over some seeds every call that reaches the outdoor unit turns up."""
    assert secret_bench("kiln-room", 7).call == secret_bench("kiln-room", 7).call
    calls = {secret_bench("kiln-room", seed).call for seed in range(25)}
    assert calls == {"cool-1", "cool-2", "heat-1", "heat-2", "heat-aux"}


def test_a_fault_is_drawn_from_the_suspects() -> None:
    """With suspects one of them is present, the call is the one asked for, and each can be drawn."""
    suspects = ["thermostat.Y2=open", "out.unloader=burnt-out"]
    drawn = [secret_bench("kiln-room", seed, "cool-2", suspects) for seed in range(12)]
    assert {bench.call for bench in drawn} == {"cool-2"}
    assert {bench.state.faults for bench in drawn} == {(one,) for one in suspects}
    with pytest.raises(BadParameter, match="a whole number, 0 or more"):
        secret_bench("kiln-room", -1)


def test_a_right_reader_reads_every_call() -> None:
    """Ten right lines read the frames of all calls."""
    trial = try_reader(reader)
    assert (trial.right, trial.frames, trial.first_wrong) == (8, 8, "")


def test_wrong_words_are_told_with_the_first_trouble() -> None:
    """A reader that is one place off, or stops, is told at which call, and nothing is raised."""
    early = try_reader(
        lambda levels: [name for name, level in zip(NAMES, levels[20:27], strict=True) if level]
    )
    assert early.right < 8
    assert "First trouble with the call cool-1" in str(early)
    assert "a stop (IndexError" in str(try_reader(lambda levels: levels[99]))
    with pytest.raises(BadParameter, match="a function of yours"):
        try_reader("called_in")  # type: ignore[arg-type]
