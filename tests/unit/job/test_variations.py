"""A job with something changed, in one call."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lessonkit.errors import LessonError
from lessonkit.job.toml import demo_job


def test_one_field_changes_and_nothing_else() -> None:
    """Each call changes the field that it names, and leaves the job it came from alone."""
    job = demo_job("full-cable")
    assert job.with_supply(rated_va=75.0) == replace(job, supply=replace(job.supply, rated_va=75.0))
    kit = job.equipment
    strong = replace(kit, contactor=replace(kit.contactor, r_ohm=12.0))
    assert job.with_coil("contactor", r_ohm=12.0) == replace(job, equipment=strong)
    assert job.with_equipment(short_cycle_s=180.0).equipment == replace(kit, short_cycle_s=180.0)
    board = replace(job.defrost_board, load_va=4.0)
    assert job.with_electronics("defrost-board", load_va=4.0) == replace(job, defrost_board=board)
    assert job == demo_job("full-cable")


def test_another_valve_is_another_wire() -> None:
    """Conductors are named after their terminals, so the valve's letter changes in both cables."""
    job = demo_job("full-cable").with_equipment(valve="B")
    for run in job.runs.values():
        assert "B" in run.conductors
        assert "O" not in run.conductors


def test_names_that_there_are_not_get_the_list() -> None:
    """A coil or a board that no job has is refused with those that there are."""
    job = demo_job("full-cable")
    with pytest.raises(LessonError, match="one of contactor, reversing-valve"):
        job.coil("relay")
    with pytest.raises(LessonError, match="one of thermostat, encoder"):
        job.with_electronics("contactor", load_va=1.0)
