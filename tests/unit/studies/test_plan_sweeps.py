"""Plans at their bad corner, and swept: the same bench as the planner, seen along one quantity."""

from __future__ import annotations

import numpy as np
import pytest

from lessonkit.errors import LessonError
from lessonkit.studies.arrangements import arrangements
from lessonkit.studies.cases import Case, rest
from lessonkit.studies.plan import Plan, first_plan
from lessonkit.studies.plan_sweeps import (
    bad_corner,
    bad_corner_of,
    conductor_sweep,
    least_margin,
    margin_sweep,
)
from lessonkit.studies.survey import load_survey

SITE = "tannery-row"


@pytest.fixture(scope="module")
def best() -> Plan:
    """Return the best plan of the example site."""
    found = first_plan(SITE)
    assert found is not None
    return found


def test_the_bad_corner_is_where_the_planner_reads(best: Plan) -> None:
    """A bench on that job has the planner's volts at its weakest coil, and the line's 95 %."""
    corner = bad_corner(best)
    assert corner.supply.open_v == pytest.approx(0.95 * 27.6)
    name, weakest = min(best.coils.items(), key=lambda item: item[1].volts)
    assert name == "out:reversing-valve"
    end = rest(corner, [Case("cool-2")])[0]
    assert abs(end.settled.solution.v("out:RV", "out:C")) == pytest.approx(weakest.volts, rel=1e-6)
    assert least_margin(best.arrangement.job) == (pytest.approx(weakest.margin_v, abs=1e-6), name)


def test_ground_counts_only_where_current_comes_home_by_it() -> None:
    """An earth return is five times as poor at its bad corner, and no other arrangement has one."""
    for how in arrangements(load_survey(SITE)):
        ohm = bad_corner_of(how.job).outdoor_run.earth_ohm
        by_ground = how.outdoor == "link" and how.return_by == "earth"
        assert ohm == pytest.approx((5 if by_ground else 1) * 0.2)


def test_a_margin_falls_with_length_and_then_a_coil_stays_open(best: Plan) -> None:
    """The margin falls; where it is below 0, the compressor no longer starts at that corner."""
    sweep = margin_sweep(best, (30.0, 50.0, 65.0))
    assert list(np.diff(sweep.margin_v) < 0) == [True, True]
    assert sweep.works_to_m == 50.0
    job = best.arrangement.job
    assert sweep.margin_v[0] == pytest.approx(least_margin(job)[0])
    for length_m, runs in ((50.0, True), (65.0, False)):
        ohms = tuple(ohm * length_m / 30.0 for ohm in job.outdoor_run.ohms)
        corner = bad_corner_of(job.with_run("outdoor", length_m=length_m, ohms=ohms))
        assert (rest(corner, [Case("cool-2")])[0].responding["compressor stage 1"] != "off") is runs


def test_what_one_conductor_more_is_worth() -> None:
    """One sound conductor leaves a new cable, three are a link by wire; the ways are those of the planner."""
    sweep = conductor_sweep(SITE, most=3)
    assert [name.split(", ")[1].removesuffix(" on the outdoor run") for name in sweep.best] == [
        "new cable",
        "new cable",
        "link by wire",
    ]
    assert list(sweep.ways) == [2, 4, 6]
    assert list(sweep.minutes) == [280, 280, 122]


@pytest.mark.parametrize(("run", "most"), [("cellar", 3), ("outdoor", 0), ("outdoor", 13)])
def test_a_sweep_takes_no_nonsense(run: str, most: int) -> None:
    """A run that is not there, and no conductors or too many, are refused."""
    with pytest.raises(LessonError, match="must be"):
        conductor_sweep(SITE, run, most)
