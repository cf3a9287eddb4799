"""The VA budget, and the places of a ghost: tables that a lesson shows."""

from __future__ import annotations

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.errors import LessonError
from lessonkit.job.toml import demo_job
from lessonkit.studies.budget import va_budget
from lessonkit.studies.ghosts import ghost_places


def test_nameplates_add_up() -> None:
    """Contactor 10, valve 7, unloader 7, blower relay 3 and boards 3.5 make 30.5 VA under cool-2."""
    rows = {row.name: row for row in va_budget("full-cable").rows}
    assert rows["cool-2"].sealed_va == pytest.approx(10 + 7 + 7 + 3 + 3.5)
    assert rows["cool-2"].coils == ("blower relay", "contactor", "reversing valve", "unloader")
    assert rows["cool-2"].inrush_va == pytest.approx(30 + 9 + 9 + 5)


def test_the_hungriest_state_is_a_defrost() -> None:
    """In a defrost the supply gives more than under any call, as the bench measures it."""
    budget = va_budget("full-cable")
    bench = Bench("full-cable", call="heat-aux", outdoor_c=-2.0)
    bench.advance(20)
    bench.force_defrost()
    assert budget.hungriest.name == "defrost"
    assert budget.hungriest.bench_va == pytest.approx(float(bench.advance(30).va["air"]))
    assert all(row.bench_va > row.sealed_va for row in budget.rows)  # the volts are above 24
    assert "| defrost |" in budget._repr_markdown_()


def test_a_b_valve_rests_in_a_defrost() -> None:
    """With a B valve the solenoid is energised to heat, so the defrost gives its VA back."""
    job = demo_job("full-cable").with_equipment(valve="B")
    coils = {row.name: row.coils for row in va_budget(job).rows}
    assert "reversing valve" in coils["heat-2"]
    assert "reversing valve" not in coils["defrost"]


def test_a_ghost_tells_of_its_neighbours() -> None:
    """Between two live conductors it has all their volts, beside one of them half, between dead ones none.

    Equal capacitance on both sides is a divider: with one neighbour live and the other at 0 V, one half.
    """
    table = ghost_places("full-cable", "cool-2")
    volts = {(one, other): (float(high), float(low)) for one, other, high, low in table.rows}
    live = Bench("full-cable", call="cool-2").state.volts["stat:Y1"]
    assert volts["Y1", "Y2"][0] == pytest.approx(live, rel=0.01)
    assert volts["C", "Y1"][0] == pytest.approx(live / 2, rel=0.01)
    assert volts["O", "W1"][0] == pytest.approx(live / 2, rel=0.01)
    assert volts["W1", "E"][0] < 0.1
    assert all(low < 0.2 for _, low in volts.values())
    assert "| Y1 and Y2 | 26.5" in table._repr_markdown_()
    assert "between W1 and E" in str(table)
    assert table.between("Y2", "Y1") == volts["Y1", "Y2"][0]
    with pytest.raises(LessonError, match="side by side"):
        table.between("Y1", "E")
