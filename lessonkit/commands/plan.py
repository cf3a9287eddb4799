"""`lessonkit plan SURVEY.toml`: from what is in the wall to what to connect.

    lessonkit plan tannery-row
    lessonkit plan survey.toml --json
    lessonkit plan survey.toml --job chosen.toml
    lessonkit plan survey.toml --html plan.html

Every arrangement that has conductors enough is run on the bench, in every call and at every corner of what is
uncertain. The best that works comes first; `--job` writes it as a job for the bench, for `find` and for
`prove`, and `--html` as a page to print.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING

from lessonkit.commands.words import write_file
from lessonkit.errors import LessonError
from lessonkit.studies.customary import FOOT_M

if TYPE_CHECKING:
    from lessonkit.studies.plan import Plan, Planned

__all__ = ["add_arguments", "run"]

_SHOWN = 4


class NothingWorks(LessonError, RuntimeError):
    """A job was wanted of a survey for which nothing works."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments."""
    parser.add_argument("survey", metavar="SURVEY", help="a survey file (TOML) or the name of an example")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--html", metavar="FILE", help="write the plan as a page to print (A4 or Letter)")
    parser.add_argument("--job", type=Path, metavar="FILE", help="write the best plan as a job file")


def run(options: argparse.Namespace) -> int:
    """Print the plans, the best first."""
    from lessonkit.files import write_whole
    from lessonkit.job.toml import job_to_toml
    from lessonkit.studies.arrangements import job_of
    from lessonkit.studies.plan import plan

    planned = plan(options.survey)
    if options.job is not None:
        if planned.refused:
            raise NothingWorks(
                f"{options.survey}: no job is written, for nothing in the wall works: {planned.why}."
            )
        write_whole(options.job, job_to_toml(job_of(planned.plans[0].arrangement)).encode())
    if options.html is not None:
        from lessonkit.draw.plan_page import plan_page

        write_file(options.html, plan_page(planned), "page")
    if options.json:
        print(json.dumps(planned.to_dict(), indent=2))
    else:
        _tell(planned)
    return 0


def _tell(planned: Planned) -> None:
    print(planned.survey.title)
    for words in planned.inferred:
        print(f"  {words}")
    if planned.refused:
        print(f"Nothing in the wall works: {planned.why}.")
    working = [one for one in planned.plans if one.works]
    for number, one in enumerate(working[:_SHOWN], 1):
        _tell_plan(number, one)
    if len(working) > _SHOWN:
        print(f"{len(working) - _SHOWN} more work; --json shows all.")
    for one in [one for one in planned.plans if not one.works][:_SHOWN]:
        print(f"Does not work: {one.arrangement.name}: {one.why[0]}.")
    print(
        "Disconnect and prove dead before you touch a wire. Local codes, makers' instructions and licensed "
        "practice come first."
    )


def _tell_plan(number: int, one: Plan) -> None:
    how = one.arrangement
    print(f"Plan {number}: {how.name} ({one.minutes:.0f} min)")
    for run in ("thermostat", "outdoor"):
        served = ", ".join(f"{s.label} = {s.terminal or 'free'}" for s in how.schedule if s.run == run)
        print(f"  {run}: {served}")
    if one.coils:
        name, coil = min(one.coils.items(), key=lambda item: item[1].margin_v)
        print(
            f"  weakest coil: {name}, {coil.volts:.1f} V at the worst corner, {coil.margin_v:+.1f} V to spare"
        )
    print(f"  supply: {one.va:.0f} VA of {one.rated_va:g} VA")
    for pair in one.shared:
        print(
            f"  {pair.pair.run} {pair.pair.name} by half-waves: the relay of {pair.weaker} gets a mean of "
            f"{pair.least_v:.1f} V at the worst corner, {pair.margin_v:+.1f} V to spare; it reaches "
            f"{pair.reach_m:.0f} m ({pair.reach_m / FOOT_M:.0f} ft); a coil gets up to {pair.most_w:.1f} W, "
            f"and the transformer carries {1000 * pair.direct_a:.0f} mA of direct current"
        )
    for run, (margin, share) in one.links.items():
        print(f"  {run} link: {margin:.1f} V to spare, {share:.0%} of the frames get through")
    if one.earth_a > 0.001:
        print(f"  EQUIPMENT GROUND CARRIES {one.earth_a:.2f} A at all times that the unit runs")
    for words in how.unproven:
        print(f"  unproven: {words}")
    for words in one.lost:
        print(f"  given up: {words}")
    for label, lost in one.lost_if_broken.items():
        if not lost.safe:
            print(f"  NOT SAFE if {label} breaks: {lost.words}")
        if lost.harm_words:
            print(f"  harm if {label} breaks: {lost.harm_words}")
    for words in one.needs:
        print(f"  needs {words}")
