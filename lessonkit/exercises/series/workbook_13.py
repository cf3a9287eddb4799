"""The capstone's exercises: one unknown site for each student, surveyed, planned, proved and searched.

All four are about the site that 13.1 draws (`drawn_as`). Readings are taken on `UnknownSite`, which counts
them; an answer holds them with their values, and the judge reads the same site again, so that a verdict rests
on what was read there. What can't be held: whoever begins again in a new kernel has a new budget.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any

from lessonkit.copper.wire import resistance_per_m
from lessonkit.exercises.acts import Acts, over_budget
from lessonkit.exercises.compare import Choice, ListOf, Record, Table
from lessonkit.exercises.core import Exercise, Givens, WrongModel
from lessonkit.exercises.series.workbook_13_proof import PROOF_EXERCISES
from lessonkit.studies.plan_sweeps import least_margin
from lessonkit.studies.site_shows import SHOWN, first_untrue, survey_shows
from lessonkit.studies.unknown_site import (
    LABELS,
    LEAKY,
    LEAST_MOHM,
    OPEN,
    SOUND,
    SPLICED,
    STATES,
    SURVEY_MIN,
    SURVEY_READINGS,
    best_survey,
    draw_site,
    most_loop_ohm,
    survey_cost,
    survey_reading,
    wired,
)

TITLE = "Capstone"

USES = ("R", "C", "SIG", FREE := "free")
#: So much has to be to spare at the weakest coil, at the bad corner (volts).
SPARE_V = 2.0


def _states(givens: Givens) -> dict[str, str]:
    return dict(zip(LABELS, givens["states"], strict=True))


# 13.1: the survey -----------------------------------------------------------------------------------------


def _survey_question(givens: Givens) -> str:
    ohm_per_m = resistance_per_m(18)
    return (
        f"**{givens['place']}**, owner {givens['owner']}. A heat pump with two stages and a valve "
        f"{givens['valve']} "
        f"stands {givens['length_m']} m away. The outdoor run is an old cable of 18 AWG "
        f"({1000 * ohm_per_m:.1f} ohm for each km of one conductor) with eight conductors, marked 1 "
        "to 8 at both "
        "ends. Nobody has proved them. "
        f'You have {SURVEY_READINGS} readings and {SURVEY_MIN:g} minutes: `site.loop("1", "2")` takes 2 '
        'minutes, `site.insulation("3")` takes 3. A loop of two sound conductors reads at most 120 % of what '
        f"length and gauge give, here {most_loop_ohm(givens):.2f} ohm; insulation below "
        f"{LEAST_MOHM:g} megohm "
        f"leaks.\n\nWhat is each conductor, from 1 to 8: {', '.join(f'`{word}`' for word in STATES)}? "
        "Give the readings that you took as `taken`, each with what the meter showed, copied from what "
        "`site.taken` shows. A verdict counts when these readings prove it, and when the meter shows the "
        "same at your site. A conductor that is no good needs no second test."
    )


def _survey_rule(givens: Givens, answer: Mapping[str, Any]) -> str | None:
    """Return None where every verdict is right and proved within the budget, else a hint."""
    if over := over_budget(survey_cost(answer["taken"]), (SURVEY_READINGS, SURVEY_MIN)):
        return f"{over} Two good ones prove each other; use them for the rest."
    if untrue := first_untrue(givens, answer["taken"]):
        return f"The meter does not show {untrue!r} at your site. Copy what `site.taken` shows."
    shown, states = survey_shows(givens, answer["taken"]), _states(givens)
    for k, label in enumerate(LABELS):
        if label not in shown:
            return f"Nothing that you read proves conductor {label}: a loop with a good one, or a test?"
        if answer["conductors"][k] != states[label]:
            return f"Your own readings say something else of conductor {label}. Read them again."
    return None


def _played(givens: Givens) -> list[str]:
    """Return the best survey, each reading with what the meter shows."""
    return [f"{act} = {survey_reading(givens, act)}" for act in best_survey(givens["states"])]


def _survey(givens: Givens) -> dict[str, Any]:
    return {"taken": _played(givens), "conductors": list(givens["states"])}


def _taken_as(state: str, word: str) -> Callable[[Givens], dict[str, Any]]:
    """Return a survey in which the conductors in one state are called something else."""
    return lambda givens: {
        "taken": _played(givens),
        "conductors": [word if was == state else was for was in givens["states"]],
    }


def _no_insulation(givens: Givens) -> dict[str, Any]:
    kept = [act for act in _played(givens) if act.startswith("loop")]
    return {"taken": kept, "conductors": [SOUND if was == LEAKY else was for was in givens["states"]]}


_ENTRY = rf"(?:loop ([1-8]) (?!\1)[1-8]|insulation [1-8]) ?= ?{SHOWN}"

SURVEY = Exercise(
    id="13.1",
    title="The survey",
    points=5,
    variant=draw_site,
    question=_survey_question,
    solve=_survey,
    compare=Record(
        (
            ("taken", Acts(_ENTRY, "loop 3 5 = 4.02 ohm")),
            ("conductors", ListOf(Choice(STATES), len(LABELS))),
        )
    ),
    rule=_survey_rule,
    wrong_models=(
        WrongModel(
            "loops alone",
            "A conductor that is whole can still touch metal. No reading of an ohmmeter on a loop "
            "shows that.",
            _no_insulation,
        ),
        WrongModel(
            "a high loop taken as good",
            "A loop that is not OL may still be a reject. Hold it against the most that a good pair reads.",
            _taken_as(SPLICED, SOUND),
        ),
        WrongModel(
            "OL taken as a splice",
            "OL is more than the meter can show. How many ohms would a splice have to have for that?",
            _taken_as(OPEN, SPLICED),
        ),
    ),
)


# 13.2: the schedule --------------------------------------------------------------------------------------


def _plan_question(givens: Givens) -> str:
    options = ", ".join(f"`{use}`" for use in USES)
    return (
        f"The same cable at {givens['place']}, {givens['length_m']} m. The outdoor unit is to be "
        "called over a link "
        "that comes back by wire: **R**, **C** and **SIG**. Which conductor serves what: "
        f"{options}? Two or more on one terminal lie side by side. Use sound conductors only. At the "
        "bad corner "
        "(line low, copper hot, coils that ask for most), under `cool-2` and `heat-aux`, every coil needs "
        f"{SPARE_V:g} V to spare. Many schedules are right; the bench tries yours."
    )


@lru_cache(maxsize=512)
def _margin(length_m: float, ohms: tuple[float, ...], job: Any) -> tuple[float, str]:
    return least_margin(job)


def _plan_rule(givens: Givens, answer: Mapping[str, str]) -> str | None:
    """Return None for a schedule that keeps its margin on the bench, else a hint."""
    states = _states(givens)
    if any(states[label] != SOUND for label, use in answer.items() if use != FREE):
        return "One of the conductors that you use is not sound. What did your survey say?"
    if {"R", "C", "SIG"} - set(answer.values()):
        return "A link by wire needs three things: power out, the signal, and a way back for both."
    job = wired(givens, answer)
    margin_v, coil = _margin(job.outdoor_run.length_m, job.outdoor_run.ohms, job)
    if margin_v < SPARE_V:
        name = coil.partition(":")[2].replace("-", " ")
        return f"At the bad corner the {name} has {margin_v:.1f} V to spare. Where do amperes flow?"
    return None


def _sound(givens: Givens) -> list[str]:
    """Return the labels of the sound conductors, the lowest ohms first."""
    shares = dict(zip(LABELS, givens["shares"], strict=True))
    return sorted((k for k, was in _states(givens).items() if was == SOUND), key=lambda k: shares[k])


def schedule(givens: Givens, order: tuple[str, ...] = ("R", "C", "C", "R", "SIG")) -> dict[str, str]:
    """Return a schedule that hands out terminals, in an order, to the sound conductors, the best first."""
    uses = dict(zip(_sound(givens), order, strict=False))
    return {label: uses.get(label, FREE) for label in LABELS}


PLAN = Exercise(
    id="13.2",
    title="The schedule",
    points=4,
    variant=draw_site,
    drawn_as="13.1",
    question=_plan_question,
    solve=schedule,
    compare=Table(LABELS, Choice(USES)),
    rule=_plan_rule,
    wrong_models=(
        WrongModel(
            "three are enough",
            "Three conductors make a link, and here each is long. What could the sound ones that are "
            "free do?",
            lambda givens: schedule(givens, ("R", "C", "SIG")),
        ),
        WrongModel(
            "the signal made stronger",
            "The signal carries a few milliamperes. Its conductor needs no help.",
            lambda givens: schedule(givens, ("R", "C", "SIG", "SIG", "SIG")),
        ),
        WrongModel(
            "in the order of the labels",
            "The numbers on the wires say which is which, and nothing else. Take the survey to hand.",
            lambda givens: dict(zip(LABELS, ("R", "R", "C", "C", "SIG", FREE, FREE, FREE), strict=True)),
        ),
        WrongModel(
            "all that is there",
            "You used every conductor of the cable. Some of them failed.",
            lambda givens: dict(zip(LABELS, ("R", "C", "SIG", "R", "C", "R", "C", "R"), strict=True)),
        ),
    ),
)

EXERCISES: tuple[Exercise, ...] = (SURVEY, PLAN, *PROOF_EXERCISES)
