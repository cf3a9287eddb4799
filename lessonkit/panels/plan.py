"""Planning on a panel: what is in the wall in boxes to type in, every way to use it ranked, one of them open.

    panel = lk.plan_panel("tannery-row")
    display(panel)
    panel.planned.plans[0].arrangement.job      the best plan as a job, for the bench and for lk.prove_panel

An example survey is planned as soon as it is chosen; after a change in the boxes the key plans it again.
What is shown comes from `studies.plan`; the tables are those of the printed page.
"""

from __future__ import annotations

from dataclasses import replace
from html import escape
from pathlib import Path

import ipywidgets as widgets

from lessonkit.draw.image import svg_image_html
from lessonkit.draw.plan_page import (
    BROKEN_HEADS,
    NO_PICTURE,
    broken_rows,
    coil_rows,
    pair_words,
    schedule_rows,
    way_row,
)
from lessonkit.draw.tables import table_html
from lessonkit.draw.view import show_bench
from lessonkit.errors import BadParameter, LessonError
from lessonkit.panels.keys import key, named, row, shown, typed_box
from lessonkit.panels.panel import Panel
from lessonkit.studies.commissioning import calls_of, outdoor_c_of
from lessonkit.studies.plan import Plan, Planned, plan
from lessonkit.studies.survey import Survey, WallConductor, checked_survey, load_survey, survey_names

__all__ = ["PlanPanel", "plan_html", "plan_panel"]

_WORKING = "Every way is being run on the bench, which takes some seconds (in a browser page half a minute)."
_BOXES = ("continuous", "loop_ohm", "insulation_mohm")
_TRUTH = {"yes": True, "no": False, "unknown": None}
_WAYS = ("way", "works", "minutes", "weakest coil", "ground carries", "against it")


def plan_html(one: Plan) -> str:
    """Return one plan as tables: both ends of every conductor, coils, supply, links, what a break does.

    Of terminals that share a conductor by half-waves it says what their relays get.

    A plan that does not work begins with the reasons.
    """
    told = [f"About {one.minutes:.0f} minutes of work. Supply: {one.va:.0f} VA of {one.rated_va:g} VA."]
    told += [f"Does not work: {words}." for words in one.why]
    told += [pair_words(pair) for pair in one.shared]
    told += [
        f"{run.capitalize()} link: {margin_v:.1f} V to spare, {share:.0%} of the frames get through."
        for run, (margin_v, share) in one.links.items()
    ]
    if one.earth_a > 0.001:
        told.append(f"EQUIPMENT GROUND CARRIES {one.earth_a:.2f} A of control current.")
    told += [f"Unproven: {words}." for words in one.arrangement.unproven]
    told += [f"Given up: {words}." for words in one.lost]
    told += [f"Needed: {words}." for words in one.needs]
    words = "".join(f"<li>{escape(line)}</li>" for line in told)
    schedule = [line[:-1] for line in schedule_rows(one)]
    tables = (
        table_html("Schedule", ("run", "label", "near end", "far end", "carries"), schedule, bold=False),
        table_html(
            "Coils at the worst corner", ("coil", "volts, RMS", "to spare"), coil_rows(one), bold=False
        ),
        table_html(
            "When one conductor breaks", [head.lower() for head in BROKEN_HEADS], broken_rows(one), bold=False
        ),
    )
    return f"<ul>{words}</ul>" + "".join(f'<div class="lk-wide">{table}</div>' for table in tables)


class PlanPanel(Panel):
    """A survey with boxes around it, and its plans.

    `survey` is what is in the boxes, `planned` all plans, `opened_plan` the one that is shown. The controls
    are there for tests: `sites`, `boxes` (by run, label and key of the survey), `again`, `ways`.
    """

    def __init__(self, survey: Survey) -> None:
        self.survey = survey
        self.sites = named([("choose", ""), *((name, name) for name in survey_names())], "an example survey:")
        self.sites.observe(lambda change: self._choose(change["new"]), "value")
        self.boxes: dict[tuple[str, str, str], widgets.Text | widgets.Dropdown] = {}
        self._wall = widgets.VBox([])
        self._wall.add_class("lk-group")
        self._wall.add_class("lk-typed")
        self.again = key("plan it", self.plan)
        self.news, self.ranked, self.opened = (
            shown("", "lk-news"),
            shown("", "lk-wide"),
            shown("", "lk-paper"),
        )
        self.ways = named([("none", 0)], "open:")
        self.ways.observe(lambda _: self._show_one(), "value")
        self._lay_out()
        self.plan()
        plans = [self.news, self.ranked, row(self.ways), self.opened]
        super().__init__("Plan", [row(self.sites), self._wall, row(self.again), *plans])

    # ---- what is in the wall ----

    def _lay_out(self) -> None:
        """Make a line of boxes for each conductor."""
        self.boxes, lines = {}, []
        for run in self.survey.runs:
            for conductor in run.conductors:
                lines.append(row(*self._line(run.name, conductor)))
        self._wall.children = tuple(lines)

    def _line(self, run: str, conductor: WallConductor) -> list[widgets.Widget]:
        truth = next(words for words, value in _TRUTH.items() if value is conductor.continuous)
        made: dict[str, widgets.Text | widgets.Dropdown] = {
            "continuous": named(list(_TRUTH), f"{run} {conductor.label}, continuous:", truth),
            "loop_ohm": _number(f"{conductor.label}, loop ohms:", conductor.loop_ohm),
            "insulation_mohm": _number(f"{conductor.label}, insulation Mohm:", conductor.insulation_mohm),
        }
        for field, box in made.items():
            self.boxes[run, conductor.label, field] = box
            box.observe(self._changed, "value")
        return list(made.values())

    def _choose(self, name: str) -> None:
        if name:
            self.survey = load_survey(name)
            self._lay_out()
            self.plan()

    def _changed(self, _: object) -> None:
        self._tell("The boxes have changed: plan it again.")

    def _typed(self) -> Survey:
        """Return the survey as the boxes have it."""

        def conductor(run: str, old: WallConductor) -> WallConductor:
            there = {name: self.boxes[run, old.label, name] for name in _BOXES}
            return WallConductor(
                old.label,
                _TRUTH[there["continuous"].value],
                _read(there["loop_ohm"]),
                _read(there["insulation_mohm"]),
            )

        runs = [
            replace(run, conductors=tuple(conductor(run.name, one) for one in run.conductors))
            for run in self.survey.runs
        ]
        return checked_survey(replace(self.survey, runs=tuple(runs)))

    # ---- its plans ----

    def plan(self) -> None:
        """Plan what is in the boxes; a mistake in them is said, and the plans before it stay."""
        try:
            survey = self._typed()
        except LessonError as error:
            self._tell(f"✕ {error}")
            return
        self._tell(_WORKING)
        self.survey = survey
        self.planned: Planned = plan(survey)
        rows = [way_row(one) for one in self.planned.plans]
        self.ranked.value = table_html("Every way, the best first", _WAYS, rows, bold=False)
        names = [
            (f"{k}. {one.arrangement.name} ({'works' if one.works else 'does not work'})", k)
            for k, one in enumerate(self.planned.plans, 1)
        ]
        self.ways.options = names
        self._tell(self._found())
        self._show_one()

    def _found(self) -> str:
        planned = self.planned
        works = sum(one.works for one in planned.plans)
        words = f"{planned.survey.title}: {works} of {len(planned.plans)} ways work."
        if planned.refused:
            words += f" Refused: nothing in the wall works; {planned.why}."
        elif planned.plans:
            words += f" The best: {planned.plans[0].arrangement.name}."
        return " ".join([words, *(f"{told}." for told in planned.inferred)])

    def _tell(self, words: str) -> None:
        self.news.value = escape(words)

    @property
    def opened_plan(self) -> Plan:
        """Return the plan that is shown."""
        return self.planned.plans[int(self.ways.value) - 1]

    def _show_one(self) -> None:
        if self.ways.value is None or self.ways.value > len(self.planned.plans):
            return  # between two sets of options
        how = self.opened_plan.arrangement
        call = "cool-2" if "cool-2" in calls_of(how.job) else "cool-1"
        shown = f"<p>{NO_PICTURE}</p>"
        if not how.shared:
            seconds = how.job.equipment.short_cycle_s + 60.0
            picture = show_bench(how.job, call, seconds=seconds, outdoor_c=outdoor_c_of(how.job))
            shown = f"<p>Wired like this, under {call}:</p>{svg_image_html(picture.svg)}"
        self.opened.value = (
            f"<h3>{escape(how.name)}</h3>{plan_html(self.opened_plan)}{shown}"
            "<p>Disconnect and prove dead before you touch a wire. Local codes, makers' instructions and "
            "licensed practice come first.</p>"
        )

    def still(self) -> tuple[str, str]:
        """Return the ways and the open plan, and what was found in words."""
        return self.ranked.value + self.opened.value, self._found()


def _number(words: str, value: float | None) -> widgets.Text:
    text = "" if value is None else f"{value:g}"
    return typed_box(widgets.Text, words, text, placeholder="not read")


def _read(box: widgets.Text) -> float | None:
    """Return the number in a box; None where it is empty."""
    text = box.value.strip().replace(",", ".")
    try:
        return float(text) if text else None
    except ValueError:
        name = box.description.rstrip(":")
        raise BadParameter(name, box.value, "a number, or nothing where it was not measured") from None


def plan_panel(survey: Survey | str | Path = "tannery-row") -> PlanPanel:
    """Return a survey to plan in a notebook.

    `survey` is a survey, its file, or the name of an example. Show it with `display(panel)`.
    """
    return PlanPanel(survey if isinstance(survey, Survey) else load_survey(survey))
