"""A retrofit planned by a class: what is in the wall, what the class would do, and what the bench says.

    planned = class_plan("tannery-row")
    planned                     the wall, as it was found
    planned.questions           three questions, the last one answered by the planner

The planner runs every arrangement on the bench, which takes a while; so it begins when its question is
answered, and not before. What it says is a model's word: the licensed person on site decides.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, partial
from pathlib import Path

from lessonkit.studies.arrangements import arrangements, terminals_of
from lessonkit.studies.asked import Asked, Rows, Told
from lessonkit.studies.plan import Plan, Planned, plan
from lessonkit.studies.survey import Survey, WallRun, load_survey

__all__ = ["ClassPlan", "class_plan"]

NOTHING_WORKS = "nothing that is in the wall will do"
_SHOWN = 8


@dataclass(frozen=True)
class ClassPlan:
    """A survey in front of a class."""

    survey: Survey

    @property
    def wall(self) -> Rows:
        """Return what was found in the wall, without a verdict: that is for the class."""
        rows = tuple(
            (run.name, one.label, _known(one.continuous), _number(one.ohm), _number(one.insulation_mohm))
            for run in self.survey.runs
            for one in run.conductors
        )
        heads = ("run", "conductor", "continuous", "ohms, one way", "insulation, Mohm")
        return Rows(f"{self.survey.title}: what is in the wall", heads, rows)

    @property
    def questions(self) -> tuple[Asked, ...]:
        """Return the questions: sound conductors, enough of them, and which way to go."""
        run = self.survey.run("outdoor")
        needed = len(terminals_of(self.survey, "outdoor"))
        return (
            Asked(
                "How many conductors of the outdoor run may serve as they are, with nothing left to prove?",
                tuple(str(count) for count in range(len(run.conductors) + 1)),
                partial(self._sound, run),
            ),
            Asked(
                f"The outdoor unit has {needed} terminals to join. Can each have a conductor of its own?",
                ("yes", "only if what is unproven passes its proof", "no"),
                partial(self._enough, run, needed),
            ),
            Asked("Which way does the planner put first?", self._ways, self._best),
        )

    def _sound(self, run: WallRun) -> Told:
        found = [(one.label, *run.verdict(one)) for one in run.conductors]
        count = sum(verdict == "sound" for _, verdict, _ in found)
        rows = tuple((label, verdict, why or "all was measured") for label, verdict, why in found)
        return Told(str(count), "", (Rows("The outdoor run", ("conductor", "verdict", "why"), rows),))

    def _enough(self, run: WallRun, needed: int) -> Told:
        verdicts = [run.verdict(one)[0] for one in run.conductors]
        sound, unproven = verdicts.count("sound"), verdicts.count("unproven")
        said = f"{needed} are needed; {sound} are sound, {unproven} not proved yet."
        if sound >= needed:
            return Told("yes", said)
        if sound + unproven >= needed:
            return Told("only if what is unproven passes its proof", said)
        return Told("no", said)

    @cached_property
    def _ways(self) -> tuple[str, ...]:
        ways = [how.name for how in arrangements(self.survey) if not how.given_up]
        return (*dict.fromkeys(ways), NOTHING_WORKS)

    @cached_property
    def planned(self) -> Planned:
        """Return all plans, the best first; this runs every arrangement on the bench."""
        return plan(self.survey)

    def _best(self) -> Told:
        rows = tuple(_row(one) for one in self.planned.plans[:_SHOWN])
        heads = ("way", "works", "minutes", "weakest coil", "on the ground", "against it")
        table = Rows("What the bench says of each way", heads, rows)
        if self.planned.refused:
            return Told(NOTHING_WORKS, f"Refused: {self.planned.why}.", (table,))
        best = next(one for one in self.planned.plans if one.works and one.arrangement.name in self._ways)
        return Told(best.arrangement.name, "", (table,))

    def __repr__(self) -> str:
        return str(self.wall)

    def _repr_markdown_(self) -> str:
        return self.wall._repr_markdown_()


def _known(value: bool | None) -> str:
    return {True: "yes", False: "no", None: "not known"}[value]


def _number(value: float | None) -> str:
    return "not measured" if value is None else f"{value:.3g}"


def _row(one: Plan) -> tuple[str, ...]:
    weakest = min((coil.volts for coil in one.coils.values()), default=0.0)
    against = one.why[0] if one.why else ", ".join(one.lost)
    works = "works" if one.works else "fails"
    ground = f"{one.earth_a:.2f} A" if one.earth_a > 0.001 else "nothing"
    return (one.arrangement.name, works, f"{one.minutes:.0f}", f"{weakest:.1f} V", ground, against)


def class_plan(survey: Survey | str | Path) -> ClassPlan:
    """Return a survey to plan with a class.

    `survey` is a survey, its name or its file.
    """
    return ClassPlan(survey if isinstance(survey, Survey) else load_survey(survey))
