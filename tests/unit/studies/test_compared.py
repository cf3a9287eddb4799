"""Seasons side by side: each number is the season's own, in lines and as a table."""

from __future__ import annotations

import pytest

from lessonkit.errors import BadParameter
from lessonkit.studies.compared import compare_seasons
from lessonkit.studies.season import season


def test_the_table_holds_each_season_s_own_numbers() -> None:
    """A column for each season under its name, a row for each thing, and the same words when printed."""
    now = season("quern-hill", "cold-valley")
    set_right = season(now.house.with_lockouts(compressor_below_c=-20.0), "cold-valley")
    table = compare_seasons(as_found=now, set_right=set_right)
    rows = {name: cells for name, *cells in table.rows}
    assert rows["bill of the year"] == [f"${one.cost:,.0f}" for one in (now, set_right)]
    assert rows["warmest air in which it ran, °C"] == ["2.0", "-4.2"]
    assert rows["heat missing, kWh"][0] == f"{now.unmet_kwh:,.0f}"
    assert "bill of the year: as found $3,811, set right $2,048" in repr(table)
    lines = table._repr_markdown_().splitlines()
    assert lines[0] == "| one year | as found | set right |"
    assert {line.count("|") for line in lines} == {4}
    # A page takes what stands between two signs of dollars for a formula.
    assert lines[2] == r"| bill of the year | \$3,811 | \$2,048 |"


def test_a_year_in_which_nothing_helps_has_dashes() -> None:
    """Where nothing ever helps, there is no warmest air for it."""
    mild = season(
        season("quern-hill", "mild-coast").house.with_lockouts(compressor_below_c=-20.0), "mild-coast"
    )
    assert mild.warmest_backup_c is None
    assert ("warmest air in which it ran, °C", "-") in compare_seasons(coast=mild).rows


def test_no_season_at_all_is_refused() -> None:
    """A table without a season says what to give."""
    with pytest.raises(BadParameter, match="at least one"):
        compare_seasons()
