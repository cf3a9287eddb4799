"""The capstone: thirty unknown sites, each solved within its budget by the best plan, none trivial or shared.

The best plan is played on the sites themselves: readings are taken through `UnknownSite`, which counts and
refuses, and what they show is held against the judge.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import pytest

from lessonkit.errors import LessonError
from lessonkit.exercises.acts import Acts
from lessonkit.exercises.compare import Unfilled, WrongForm
from lessonkit.exercises.core import Givens, givens_for, judge, solution, variant_number
from lessonkit.exercises.series.workbook_13 import EXERCISES, PLAN, SURVEY, schedule
from lessonkit.exercises.series.workbook_13_proof import SEARCH, SHEET
from lessonkit.studies import unknown_site as unknown
from lessonkit.studies.unknown_site import LABELS, LEAKY, OPEN, SOUND, SPLICED, BudgetSpent, unknown_site

CLASS = tuple(variant_number("autumn", f"Trainee {n}") for n in range(1, 31))


@lru_cache(maxsize=64)
def drawn(student: int) -> Givens:
    """Return the site of a student."""
    return givens_for(SURVEY, student)


def test_all_exercises_of_a_student_are_about_one_site() -> None:
    """Survey, plan, sheet and fault share one draw, and no two of thirty students share a site."""
    for student in CLASS:
        assert all(givens_for(exercise, student) == drawn(student) for exercise in EXERCISES)
    cables = {(drawn(student)["states"], drawn(student)["length_m"]) for student in CLASS}
    assert len(cables) == 30
    assert len({drawn(student)["fault"] for student in CLASS}) >= 8


@pytest.mark.parametrize("student", CLASS[:6])
def test_readings_of_the_survey_show_what_the_judge_says(student: int) -> None:
    """The best survey, read on the bench by the limits in the question alone, gives the right verdicts."""
    givens = drawn(student)
    site, best = unknown_site(givens), solution(SURVEY, givens)
    most, through, found = unknown.most_loop_ohm(givens), set(), {}
    read: dict[str, float] = {}
    for act in best["taken"]:
        kind, *labels = act.split()
        read[act] = float(getattr(site, kind)(*labels))
        if kind == "loop" and read[act] <= most:
            through |= set(labels)
    for act, value in read.items():
        kind, *labels = act.split()
        if kind == "loop" and value > most:
            (one,) = (
                [label for label in labels if label not in through]
                if len(set(labels) - through) == 1
                else [""]
            )
            found[one] = OPEN if value == float("inf") else SPLICED
        elif kind == "insulation":
            found[labels[0]] = LEAKY if value < 0.5e6 else SOUND
    found.pop("", None)
    assert [found[label] for label in LABELS] == best["conductors"]
    assert site.taken == best["taken"]


def test_every_site_is_solved_within_its_budget() -> None:
    """For all thirty the best plan is right in all four exercises, and inside readings and minutes."""
    for student in CLASS:
        givens = drawn(student)
        for exercise in (SURVEY, PLAN, SEARCH):
            assert judge(exercise, givens, solution(exercise, givens)).outcome == "right", (
                student,
                exercise.id,
            )
        readings, minutes = unknown.survey_cost(solution(SURVEY, givens)["taken"])
        assert readings <= unknown.SURVEY_READINGS
        assert minutes <= unknown.SURVEY_MIN
        searched = solution(SEARCH, givens)["searched"]
        assert unknown.search_cost(searched)[0] <= unknown.SEARCH_READINGS
        assert unknown.search_cost(searched)[1] <= unknown.SEARCH_MIN


def test_no_site_is_trivial() -> None:
    """Three conductors alone never do, a guess is never enough, and each complaint has two parts or more."""
    for student in CLASS:
        givens = drawn(student)
        three = schedule(givens, ("R", "C", "SIG"))
        assert judge(PLAN, givens, three).outcome == "not yet", student
        assert len(unknown.suspects_of(givens)) >= 2
        assert judge(SEARCH, givens, {"part": givens["fault"], "searched": []}).outcome == "not yet"


def test_several_schedules_are_right() -> None:
    """R and C may change places, and which of the two best lie side by side is free."""
    givens = drawn(CLASS[0])
    for order in (("R", "C", "C", "R", "SIG"), ("C", "R", "R", "C", "SIG"), ("R", "C", "R", "C", "SIG")):
        assert judge(PLAN, givens, schedule(givens, order)).outcome == "right"
    lost = {**schedule(givens), **{label: "free" for label, use in schedule(givens).items() if use == "SIG"}}
    assert "three things" in judge(PLAN, givens, lost).hint


def test_the_sheet_has_a_fault_and_a_slip() -> None:
    """What is out is the slip of the pen and at least one look more, and the line is told by the "
    "first step."""
    for student in CLASS[:3]:
        right: Any = solution(SHEET, drawn(student))
        assert right["written_wrong"] in right["out"]
        assert 2 <= len(right["out"]) <= 6
        assert right["line_percent"] == pytest.approx(100 * drawn(student)["line"], abs=0.1)


def test_the_search_on_the_site_shows_what_the_judge_says() -> None:
    """Volts on the site are live or dead as the judge takes them, and one part alone is left."""
    for student in CLASS[:12]:
        givens = drawn(student)
        site, best = unknown_site(givens), solution(SEARCH, givens)
        for act in best["searched"]:
            assert (float(site.volts(*act.split())) >= 12.0) == unknown.is_live(givens, givens["fault"], act)
        assert site.searched == best["searched"]
        assert unknown.search_shows(givens, site.searched) == (givens["fault"],)


def test_a_budget_is_kept() -> None:
    """Readings are counted and refused when none are left, and a list that is too long is not right."""
    site = unknown_site(drawn(1))
    for _ in range(unknown.SURVEY_READINGS):
        site.loop("1", "2")
    with pytest.raises(BudgetSpent, match="survey"):
        site.loop("1", "2")
    assert "0 readings" in repr(site)
    site.volts("cool-2", "air:Y2")
    site.volts("cool-2", "air:Y2")
    site.volts("cool-2", "air:Y2")
    with pytest.raises(BudgetSpent, match="search"):
        site.volts("cool-2", "air:Y2")
    far = unknown_site(drawn(1))
    far.volts("cool-2", "out:Y2")
    far.volts("heat-2", "stat:Y2")
    with pytest.raises(BudgetSpent, match="search"):
        far.volts("cool-2", "out:Y2")
    answer = solution(SURVEY, drawn(1))
    longer = {**answer, "taken": [*answer["taken"], *["insulation 1"] * 9]}
    assert "budget has fewer" in judge(SURVEY, drawn(1), longer).hint
    part = {**solution(SEARCH, drawn(1)), "searched": ["cool-2 air:Y2"] * 4}
    assert "budget has fewer" in judge(SEARCH, drawn(1), part).hint


def test_a_verdict_needs_its_reading() -> None:
    """A right guess about a conductor that nobody has read is not right yet, and neither is a wrong one."""
    answer = solution(SURVEY, drawn(2))
    fewer = {**answer, "taken": answer["taken"][:-1]}
    assert "Nothing that you read proves conductor" in judge(SURVEY, drawn(2), fewer).hint
    leaky = answer["conductors"].index(LEAKY)
    words = [SPLICED if k == leaky else was for k, was in enumerate(answer["conductors"])]
    other = {**answer, "conductors": words}
    assert f"something else of conductor {LABELS[leaky]}" in judge(SURVEY, drawn(2), other).hint


def test_what_a_search_leaves_over_is_told() -> None:
    """Readings that fit two parts, that speak against a part, or a part with another complaint have "
    "their words."""
    givens = next(drawn(s) for s in CLASS if len(unknown.suspects_of(drawn(s))) == 3)
    mine = solution(SEARCH, givens)
    read_at_stat = [mine["searched"][0].split()[0] + " stat:R"]
    said = judge(SEARCH, givens, {"part": givens["fault"], "searched": read_at_stat}).hint
    assert "fit 3 parts" in said
    other = next(name for name in unknown.suspects_of(givens) if name != givens["fault"])
    assert judge(SEARCH, givens, {**mine, "part": other}).outcome == "not yet"
    wrong_letter = "B" if givens["valve"] == "O" else "O"
    nowhere = {**mine, "searched": [f"cool-2 air:{wrong_letter}"]}
    assert "no terminal of this site" in judge(SEARCH, givens, nowhere).hint


def test_words_that_a_site_does_not_know_are_refused() -> None:
    """Labels, calls and points that there are not get a sentence each."""
    site = unknown_site(drawn(1))
    for act in (
        lambda: site.loop("1", "9"),
        lambda: site.loop("1", "1"),
        lambda: site.volts("cool-9", "air:Y2"),
        lambda: site.volts("cool-2", "roof:Y2"),
        lambda: site.volts("cool-2", "air:ZZ"),
        lambda: unknown.wired(drawn(1), dict.fromkeys(LABELS, "R")),
    ):
        with pytest.raises(LessonError):
            act()
    assert site.taken == site.searched == []


def test_a_list_of_acts_is_a_form_of_answer() -> None:
    """Acts are read with single blanks; other texts, dots and numbers are refused with an example."""
    form = Acts(r"loop [1-8] [1-8]", "loop 1 2")
    assert form.read(["loop  1 2"]) == ("loop 1 2",)
    assert form.same(("loop 1 2",), ("loop 1 2",))
    assert "one act at a time" in form.differs((), ("loop 1 2",))
    for wrong in ("loop 1 2", ["loop 1"], [3], ["loop 1 2"] * 100):
        with pytest.raises(WrongForm, match="loop 1 2"):
            form.read(wrong)
    with pytest.raises(Unfilled):
        form.read([...])
