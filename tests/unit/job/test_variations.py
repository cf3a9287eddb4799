"""A job with something changed, in one call."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lessonkit.errors import BadParameter, LessonError
from lessonkit.job.faults import fault_parts
from lessonkit.job.model import LinkSettings
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


def test_one_stage_has_neither_the_terminal_nor_the_coil_of_the_second() -> None:
    """Y2 and the unloader belong to two stages alone; the unused valve letter is no terminal."""
    one, two = (demo_job("two-run").with_equipment(stages=stages) for stages in (1, 2))
    assert set(two.call_terminals) - set(one.call_terminals) == {"Y2"}
    assert ("O" in one.call_terminals, "B" in one.call_terminals) == (True, False)
    assert "out.unloader" in fault_parts(two)
    assert "out.unloader" not in fault_parts(one)


def test_a_poll_that_begins_with_the_last_reply_is_refused() -> None:
    """An interval has to be longer than frame and reply, not just as long."""
    exchange_s = LinkSettings().exchange_s
    assert LinkSettings(interval_s=1.001 * exchange_s).exchange_s == exchange_s
    with pytest.raises(BadParameter, match="interval_s"):
        LinkSettings(interval_s=exchange_s)


def test_an_outdoor_thermostat_is_added_in_one_line() -> None:
    """Lockouts are given by their names, and those that leave no heat are refused."""
    job = demo_job("full-cable").with_outdoor_thermostat(auxiliary_above_c=4.0, compressor_below_c=2.0)
    assert job.outdoor_thermostat is not None
    assert job.outdoor_thermostat.closed(3.0) == {"auxiliary", "compressor"}
    with pytest.raises(BadParameter, match="no heat"):
        job.with_outdoor_thermostat(auxiliary_above_c=-4.0, compressor_below_c=2.0)
