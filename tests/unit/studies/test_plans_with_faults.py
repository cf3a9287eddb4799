"""A plan's job with a hidden fault: found by measuring, within the optimum plus one measurement."""

from __future__ import annotations

import runpy
from pathlib import Path

from lessonkit.job.faults import parse_fault
from lessonkit.studies.arrangements import arrangements
from lessonkit.studies.find import Search
from lessonkit.studies.survey import load_survey

SCRIPT = runpy.run_path(str(Path(__file__).parents[2] / "speed" / "plans_with_faults.py"))
SUSPECTS = (
    "outdoor.R=open", "outdoor.C=open", "outdoor.Y1=open", "out.contactor=burnt-out", "outdoor.Y1=swapped:Y2",
    "outdoor.R=resistance:20",
)  # fmt: skip


def test_a_fault_of_a_plan_is_found_within_the_optimum_plus_one() -> None:
    """Each of six suspects is named, no later than one measurement after the tree of fewest measurements."""
    how = next(one for one in arrangements(load_survey("warden-flat")) if one.outdoor == "direct")
    search = Search(how.job, comes_and_goes=False, calls=("off", "cool-1"), suspects=SUSPECTS)
    found = [SCRIPT["hunted"](search, parse_fault(text, how.job)) for text in SUSPECTS]
    assert [one.fault for one in found if not one.within] == []
    assert max(one.taken for one in found) >= 1
