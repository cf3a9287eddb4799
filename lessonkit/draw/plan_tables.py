"""A survey and its plans as tables in a notebook: what was found, which ways there are, who serves what.

    show_survey(survey)      each conductor with its readings and the verdict on it
    show_plans(planned)      the plans in their order, a column for each criterion
    show_schedule(plan)      which conductor serves which terminal, the same at both ends
    show_coils(plan)         each coil's volts at the bad corner, and what it has to spare
    show_breaks(plan)        what stops when one conductor breaks, whether that starts nothing, what it harms

Each returns a `Listing`: shown last in a cell it is a table, printed it is lines of text.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from lessonkit.draw.plan_page import broken_rows
from lessonkit.errors import require
from lessonkit.studies.arrangements import NEW
from lessonkit.studies.plan import Plan, Planned
from lessonkit.studies.survey import Survey, load_survey

__all__ = ["Listing", "show_breaks", "show_coils", "show_plans", "show_schedule", "show_survey"]


@dataclass(frozen=True)
class Listing:
    """A table: a sentence above it, its heads, its rows."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    def at(self, head: str, *starts: str) -> str:
        """Return the cell under a head, in the row that begins with these words."""
        require(head in self.heads, "head", head, f"one of {', '.join(self.heads)}")
        row = next((row for row in self.rows if row[: len(starts)] == starts), None)
        require(row is not None, "row", ", ".join(starts), "how a row of the table begins")
        assert row is not None  # for the type checker
        return row[self.heads.index(head)]

    def __repr__(self) -> str:
        """Return a line for each row, as a notebook without tables shows it."""
        return "\n".join([self.caption, *("  ".join(row) for row in (self.heads, *self.rows))])

    def _repr_markdown_(self) -> str:
        lines = [self.heads, ("---",) * len(self.heads), *self.rows]
        return f"{self.caption}\n\n" + "\n".join(f"| {' | '.join(line)} |" for line in lines)


def _listing(caption: str, heads: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> Listing:
    return Listing(caption, heads, tuple(rows))


def show_survey(survey: Survey | str) -> Listing:
    """Return what a survey found, with the verdict on each conductor."""
    site = survey if isinstance(survey, Survey) else load_survey(survey)
    rows = []
    for run in site.runs:
        for found in run.conductors:
            verdict, why = run.verdict(found)
            whole = {True: "yes", False: "no", None: "unknown"}[found.continuous]
            loop = "not read" if found.loop_ohm is None else f"{found.loop_ohm:.2f} ohm"
            held = "not read" if found.insulation_mohm is None else f"{found.insulation_mohm:g} Mohm"
            rows.append((run.name, found.label, whole, loop, held, f"{verdict}: {why}" if why else verdict))
    heads = ("run", "label", "continuous", "loop", "insulation", "verdict")
    return _listing(f"Survey: {site.title}.", heads, rows)


def show_plans(planned: Planned) -> Listing:
    """Return the plans of a survey in their order."""
    rows = []
    for order, one in enumerate(planned.plans, 1):
        unsafe = sum(not lost.safe for lost in one.lost_if_broken.values())
        pulled = any(served.label.startswith(NEW) for served in one.arrangement.schedule)
        rows.append(
            (
                f"{order}",
                one.arrangement.name,
                "yes" if one.works else f"no: {one.why[0]}",
                f"{one.earth_a:.2f} A" if one.earth_a > 0.001 else "none",
                f"{unsafe}" if unsafe else "none",
                "yes" if pulled else "no",
                "yes" if one.arrangement.unproven else "no",
                ", ".join(one.lost) or "nothing",
                f"{one.minutes:.0f}",
            )
        )
    heads = (
        "order", "way", "works", "current on ground", "breaks that start something", "new cable", "unproven",
        "given up", "minutes",
    )  # fmt: skip
    first = f"Refused: {planned.why}." if planned.refused else f"{len(rows)} ways, the best first."
    return _listing(f"{planned.survey.title}. {first}", heads, rows)


def show_schedule(plan: Plan) -> Listing:
    """Return which conductor serves which terminal at both ends."""
    rows = (
        (served.run, served.label, served.terminal or "free", served.terminal or "free")
        for served in plan.arrangement.schedule
    )
    return _listing(f"Schedule: {plan.arrangement.name}.", ("run", "label", "near end", "far end"), rows)


def show_coils(plan: Plan) -> Listing:
    """Return each coil's volts at the bad corner."""
    rows = ((name, f"{coil.volts:.1f} V", f"{coil.margin_v:+.1f} V") for name, coil in plan.coils.items())
    links = "".join(f", {run} link {margin:.1f} V to spare" for run, (margin, _) in plan.links.items())
    caption = f"At the bad corner: {plan.va:.0f} VA of {plan.rated_va:g} VA{links}."
    return _listing(caption, ("coil", "volts", "to spare"), rows)


def show_breaks(plan: Plan) -> Listing:
    """Return what each broken conductor stops, and its harm.

    Safe is a break that starts nothing.
    """
    rows = (
        (label, stops, "yes" if plan.lost_if_broken[label].safe else "NO", harm)
        for label, stops, _, harm in broken_rows(plan)
    )
    heads = ("conductor", "stops", "safe", "harm")
    return _listing(f"One conductor breaks: {plan.arrangement.name}.", heads, rows)
