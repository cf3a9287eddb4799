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
from lessonkit.exercises.series.workbook_13_proof import SEARCH, SHEET, _filled
from lessonkit.studies import unknown_site as unknown
from lessonkit.studies.site_shows import act_of, first_untrue, search_shows
from lessonkit.studies.unknown_site import (
    LABELS,
    LEAKY,
    OPEN,
    SOUND,
    SPLICED,
    BudgetSpent,
    UnknownSite,
    unknown_site,
)

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
    site, best = UnknownSite(givens), solution(SURVEY, givens)
    most, through, found = unknown.most_loop_ohm(givens), set(), {}
    read: dict[str, float] = {}
    for act in map(act_of, best["taken"]):
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
    """For all thirty the best survey and search are right, and inside readings and minutes."""
    for student in CLASS:
        givens = drawn(student)
        for exercise in (SURVEY, SEARCH):
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
        site, best = UnknownSite(givens), solution(SEARCH, givens)
        for act in map(act_of, best["searched"]):
            nominal = unknown.nominal_volts(givens, givens["fault"], act)
            assert (float(site.volts(*act.split())) >= 12.0) == (nominal >= 12.0)
        assert site.searched == best["searched"]
        assert search_shows(givens, site.searched) == (givens["fault"],)


def test_a_budget_is_kept() -> None:
    """Readings are counted and refused when none are left, and a list that is too long is not right."""
    site = UnknownSite(drawn(1))
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
    far = UnknownSite(drawn(1))
    far.volts("cool-2", "out:Y2")
    far.volts("heat-2", "stat:Y2")
    with pytest.raises(BudgetSpent, match="search"):
        far.volts("cool-2", "out:Y2")
    answer = solution(SURVEY, drawn(1))
    longer = {**answer, "taken": [*answer["taken"], *answer["taken"][-1:] * 9]}
    assert "budget has fewer" in judge(SURVEY, drawn(1), longer).hint
    part = {**solution(SEARCH, drawn(1)), "searched": ["cool-2 air:Y2 = 26.70 V"] * 4}
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


def test_no_survey_is_right_that_was_not_read_there() -> None:
    """Acts without values have no form; a neighbour's values and one false reading are told."""
    mine, other = drawn(CLASS[0]), drawn(CLASS[1])
    right: Any = solution(SURVEY, mine)
    bare = {**right, "taken": [act_of(entry) for entry in right["taken"]]}
    said = judge(SURVEY, mine, bare)
    assert (said.outcome, "loop 3 5 = 4.02 ohm" in said.hint) == ("unreadable", True)
    site = UnknownSite(other)
    for act in map(act_of, right["taken"]):
        kind, *labels = act.split()
        getattr(site, kind)(*labels)
    copied = judge(SURVEY, mine, {**right, "taken": site.taken})
    assert copied.outcome == "not yet"
    assert "does not show" in copied.hint
    for k, entry in enumerate(right["taken"]):
        act, _, shown = entry.partition(" = ")
        false = "9.87 ohm" if shown.startswith("OL") else "OL ohm"
        changed = [*right["taken"][:k], f"{act} = {false}", *right["taken"][k + 1 :]]
        assert "does not show" in judge(SURVEY, mine, {**right, "taken": changed}).hint
    alone = {**right, "taken": ["loop 1 1 = 3.73 ohm"]}
    assert judge(SURVEY, mine, alone).outcome == "unreadable"


def test_a_value_may_be_off_by_one_of_its_last_digit_and_no_more() -> None:
    """What is copied by hand from a display may be off by one digit, in whatever prefix it is written."""
    givens = drawn(CLASS[0])
    read = unknown.survey_reading(givens, act := f"insulation {LABELS[givens['states'].index(LEAKY)]}")
    ohm = read.value
    for text, is_true in (
        (f"{ohm / 1e6:.2f} Mohm", True),
        (f"{ohm / 1e3 + 9:.0f}kohm", True),
        (f"{ohm / 1e6 + 0.02:.2f} Mohm", False),
        (f"{ohm / 1e6:.2f} ohm", False),
        (f"{ohm / 1e6:.2f} MV", False),
        ("OL ohm", False),
    ):
        assert (first_untrue(givens, [f"{act} = {text}"]) is None) == is_true, text


def test_no_part_is_right_that_was_not_searched_there() -> None:
    """A right part with a reading that nobody took, of nothing or of a neighbour's volts, is not right."""
    for student in CLASS[:4]:
        givens = drawn(student)
        part = givens["fault"]
        for act in map(act_of, solution(SEARCH, givens)["searched"]):
            for shown in ("0.00 V", "24.00 V"):
                said = judge(SEARCH, givens, {"part": part, "searched": [f"{act} = {shown}"]})
                assert said.outcome == "not yet"
                assert "live reading of your own site" in said.hint
    bare = {"part": part, "searched": [act]}
    assert judge(SEARCH, givens, bare).outcome == "unreadable"
    live = f"{act.split()[0]} stat:R"
    entries = [f"{live} = {unknown.search_reading(givens, live)}", f"{act} = 24.00 V"]
    assert "does not show" in judge(SEARCH, givens, {"part": part, "searched": entries}).hint


def test_a_site_is_opened_once() -> None:
    """Whoever runs the first cell again finds the budget as it was; another number has a site of its own."""
    site = unknown_site(drawn(CLASS[5]))
    site.loop("1", "2")
    again = unknown_site(givens_for(SURVEY, CLASS[5]))
    assert again.taken == site.taken
    assert len(again.taken) == 1
    assert unknown_site(drawn(CLASS[6])).taken == []
    assert again.fewest_readings == 12


def test_no_fault_could_make_the_reading_that_was_written_wrong() -> None:
    """A slip outdoors reads more than at the transformer, in 200 sites; one at the air handler is as absurd.

    No passive part gives a load more volts than its source has (from memory): not the end of a cable, and
    not a loaded transformer above its volts without load.
    """
    slips = [(givens["slip_at"], givens["slip_v"]) for givens in (givens_for(SURVEY, s) for s in range(200))]
    assert {volts > 0 for at, volts in slips if at == 5} == {True}
    assert {volts > 0 for at, volts in slips if at == 4} == {True, False}
    assert 60 < sum(at == 5 for at, _ in slips) < 140
    for at, volts in sorted(set(slips), key=lambda slip: abs(slip[1]))[:4]:
        student = slips.index((at, volts))
        _, read = _filled(drawn(student))
        unloaded, stat, air, out = (float(read[k]) for k in (0, 2, 3, 4))
        assert out > air + 1.0 or stat > air + 1.0 or air > unloaded + 1.0


def test_what_a_search_leaves_over_is_told() -> None:
    """Readings that fit two parts, that speak against a part, or a part with another complaint have "
    "their words."""
    givens = next(drawn(s) for s in CLASS if len(unknown.suspects_of(drawn(s))) == 3)
    mine = solution(SEARCH, givens)
    site = UnknownSite(givens)
    site.volts(mine["searched"][0].split()[0], "stat:R")
    read_at_stat = site.searched
    said = judge(SEARCH, givens, {"part": givens["fault"], "searched": read_at_stat}).hint
    assert "fit 3 parts" in said
    other = next(name for name in unknown.suspects_of(givens) if name != givens["fault"])
    assert judge(SEARCH, givens, {**mine, "part": other}).outcome == "not yet"
    wrong_letter = "B" if givens["valve"] == "O" else "O"
    nowhere = {**mine, "searched": [f"cool-2 air:{wrong_letter} = 26.70 V"]}
    assert "no terminal of this site" in judge(SEARCH, givens, nowhere).hint


def test_words_that_a_site_does_not_know_are_refused() -> None:
    """Labels, calls and points that there are not get a sentence each."""
    site = UnknownSite(drawn(1))
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
