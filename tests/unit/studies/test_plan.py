"""Planning from a survey: what works on the bench comes first, what can't is refused with its reason."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from importlib import resources
from itertools import combinations
from pathlib import Path

import pytest

from lessonkit.__main__ import main
from lessonkit.job.model import Run
from lessonkit.job.toml import load_job
from lessonkit.studies.arrangements import arrangements, hand_out
from lessonkit.studies.cases import Case, rest
from lessonkit.studies.corners import unfriendly
from lessonkit.studies.plan import Planned, first_plan, outdoors_of
from lessonkit.studies.survey import (
    BadSurvey,
    Survey,
    WallConductor,
    WallRun,
    load_survey,
    survey_from_toml,
    survey_names,
)

PlanOf = Callable[[str], Planned]

SITE = (resources.files("lessonkit") / "studies" / "surveys" / "tannery-row.toml").read_text("utf-8")


def sound(names: str, ohm: float = 0.5) -> tuple[WallConductor, ...]:
    """Return sound conductors, one for each letter."""
    return tuple(WallConductor(name, True, 2 * ohm, 50.0) for name in names)


def site(inside: tuple[WallConductor, ...], outside: tuple[WallConductor, ...], **more: object) -> Survey:
    """Return a survey of two runs whose length and gauge are known."""
    runs = (WallRun("thermostat", inside, 24.0, 18), WallRun("outdoor", outside, 24.0, 18))
    told = {"title": "Mill Steps 2", "rated_va": 75.0, "fuse_a": 5.0, "bonded": True, "ground_ohm": 0.1}
    return Survey(runs=runs, **{**told, **more})  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def planned(plan_of: PlanOf) -> Planned:
    """Return the plans of the example site."""
    return plan_of("tannery-row")


def test_what_works_comes_first(planned: Planned) -> None:
    """The best plan works, and puts nothing on equipment ground while another way works."""
    assert not planned.refused
    best = planned.plans[0]
    assert best.works
    assert best.earth_a < 0.001
    order = [one.works for one in planned.plans]
    assert order == sorted(order, reverse=True)


def test_a_bad_conductor_is_never_used(planned: Planned) -> None:
    """A conductor that is not continuous serves no terminal in any plan."""
    used = {(s.run, s.label) for one in planned.plans for s in one.arrangement.schedule if s.terminal}
    assert ("thermostat", "five") not in used


def test_an_unproven_conductor_marks_its_plan(planned: Planned) -> None:
    """Whoever uses the conductor that nobody measured says so and asks for its proof."""
    users = [
        one for one in planned.plans if any(s.label == "c" and s.terminal for s in one.arrangement.schedule)
    ]
    assert users
    assert all(one.arrangement.unproven and any("proof" in need for need in one.needs) for one in users)


def test_an_earth_return_says_whose_decision_it_is(planned: Planned) -> None:
    """Every plan with current on equipment ground tells its amperes and names the licensed person."""
    earthed = [one for one in planned.plans if one.arrangement.return_by == "earth"]
    assert earthed
    for one in earthed:
        assert one.earth_a > 0.5
        assert any("licensed person's decision" in need for need in one.needs)


def test_the_margin_is_that_of_the_bench(planned: Planned) -> None:
    """A coil's volts at the worst corner are those of the circuit there, in the call that is worst for it."""
    best = planned.plans[0]
    corner = unfriendly(best.arrangement.job, 0.95, 1.0)
    ends = rest(corner, [Case(call) for call in ("cool-1", "cool-2", "heat-1", "heat-2", "heat-aux")])
    lowest = min(abs(e.settled.solution.v("out:CC", "out:C")) for e in ends)
    assert best.coils["out:contactor"].volts == pytest.approx(lowest, rel=1e-6)
    assert best.coils["out:contactor"].margin_v == pytest.approx(lowest - 20.4, abs=1e-6)


def test_no_exchange_of_two_conductors_does_better() -> None:
    """No exchange of two unequal conductors gives the weakest coil more than two hundredths of a volt."""
    ohms = (0.5, 0.52, 0.55, 0.6, 0.62, 0.64)
    outside = tuple(WallConductor(f"{ohm}", True, 2 * ohm, 50.0) for ohm in ohms)
    survey = site(sound("mnopqrst"), outside)
    how = next(
        one
        for one in arrangements(survey)
        if not one.given_up and (one.thermostat, one.outdoor) == ("direct", "direct")
    )
    run = how.job.outdoor_run

    def weakest(run: Run) -> float:
        corner = replace(unfriendly(how.job, 0.95, 1.0), outdoor_run=replace(run, temp_c=60.0))
        end = rest(corner, [Case("cool-2")])[0]
        sealed = (("out:CC", "out:C"), ("out:RV", "out:C"), ("out:Y2", "out:C"))
        return min(abs(end.settled.solution.v(*pair)) for pair in sealed)

    chosen = weakest(run)
    for one, two in combinations(range(len(run.ohms)), 2):
        other = list(run.ohms)
        other[one], other[two] = other[two], other[one]
        assert weakest(replace(run, ohms=tuple(other))) <= chosen + 0.02


def test_spares_lie_beside_r_and_c() -> None:
    """Two conductors more than a link needs double R and C, the one with more ohms first."""
    handed = hand_out(WallRun("thermostat", sound("abcde"), 24.0, 18), ("R", "C", "SIG"), False)
    assert handed is not None
    assert [len(handed[0][terminal]) for terminal in ("R", "C", "SIG")] == [2, 2, 1]


@pytest.mark.parametrize("carries", ["R", "C"])
def test_no_spare_lies_beside_the_signal(carries: str) -> None:
    """A link by earth or by a second transformer doubles the one conductor that carries amperes."""
    handed = hand_out(WallRun("outdoor", sound("abcd"), 30.0, 18), (carries, "SIG"), False)
    assert handed is not None
    assert (len(handed[0][carries]), len(handed[0]["SIG"]), len(handed[1])) == (2, 1, 1)


EXAMPLES = {
    "mill-steps": "direct on the thermostat run, direct on the outdoor run",
    "quay-house": "direct on the thermostat run, link by second transformer on the outdoor run",
    "kiln-yard": "direct on the thermostat run, link by wire on the outdoor run",
    "lantern-court": "direct on the thermostat run, link by wire on the outdoor run",
    "salt-loft": "direct on the thermostat run, direct on the outdoor run",
    "bell-tower": "direct on the thermostat run, link by wire on the outdoor run",
    "ferry-steps": "direct on the thermostat run, link by second transformer on the outdoor run",
    "warden-flat": "link on the thermostat run, direct on the outdoor run",
}
REFUSED = {
    "orchard-gate": "the outdoor run has 1",
    "stair-hall": "the thermostat run has 2",
    "fen-cottage": "VA is asked of a transformer of 20 VA",
    "long-barn": "fails: ",
}


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_examples_are_planned(name: str, plan_of: PlanOf) -> None:
    """Each example survey that can be served gets the plan that a technician would choose."""
    best = plan_of(name).plans[0]
    assert best.works
    assert best.arrangement.name == EXAMPLES[name]


def test_each_example_is_tried() -> None:
    """Every example survey stands in one of the two lists, or is the example site of these tests."""
    assert sorted(survey_names()) == sorted([*EXAMPLES, *REFUSED, "tannery-row"])
    assert len(survey_names()) >= 12


@pytest.mark.parametrize(
    ("name", "reason"), [("bell-tower", "unproven"), ("ferry-steps", "equipment ground")]
)
def test_the_cheapest_is_not_the_safest(name: str, reason: str, plan_of: PlanOf) -> None:
    """Where the fewest minutes go with something unproven or with current on the ground, another is first.

    Cheap plans that give nothing up are compared with the first one.
    """
    whole = [one for one in plan_of(name).plans if one.works and not one.lost]
    cheapest = min(whole, key=lambda one: one.minutes)
    assert cheapest.minutes < whole[0].minutes
    assert {"unproven": bool(cheapest.arrangement.unproven), "equipment ground": cheapest.earth_a > 0.5}[
        reason
    ]
    assert not whole[0].arrangement.unproven
    assert whole[0].earth_a < 0.001


def test_a_battery_thermostat_needs_no_common(plan_of: PlanOf) -> None:
    """Where the thermostat needs no C, no conductor of a direct thermostat run serves it."""
    best = plan_of("salt-loft").plans[0]
    assert "C" not in {s.terminal for s in best.arrangement.schedule if s.run == "thermostat"}
    assert best.arrangement.job.thermostat.power == "battery"


def test_a_furnace_and_its_changeover_are_planned_with_their_own_coils(plan_of: PlanOf) -> None:
    """With fossil heat the coils of furnace and interlock have margins too."""
    best = plan_of("lantern-court").plans[0]
    assert {"air:furnace", "air:interlock", "out:contactor"} <= best.coils.keys()
    assert best.arrangement.job.outdoor_thermostat is not None


@pytest.mark.parametrize("name", REFUSED)
def test_what_can_t_work_is_refused(name: str, plan_of: PlanOf) -> None:
    """Where nothing in the wall works, the survey is refused with its own reason."""
    answer = plan_of(name)
    assert answer.refused
    assert REFUSED[name] in answer.why


def test_a_broken_ground_offers_no_earth_return() -> None:
    """Ground that is not bonded is no way back, whatever else is missing."""
    survey = site(sound("abcd"), sound("ab"), bonded=False)
    assert all(one.return_by != "earth" for one in arrangements(survey))


def test_high_ohms_are_bad() -> None:
    """A conductor with half again the ohms of its length is bad, and its insulation is judged too."""
    run = WallRun("outdoor", (), 30.48, 18)
    assert run.verdict(WallConductor("x", True, 1.277, 5.0)) == ("sound", "")
    assert run.verdict(WallConductor("x", True, 2.0, 5.0))[0] == "bad"
    assert run.verdict(WallConductor("x", True, 1.277, 0.4))[0] == "bad"
    assert run.verdict(WallConductor("x", True, None, 5.0))[0] == "unproven"


def test_length_and_gauge_are_inferred_from_ohms() -> None:
    """18 AWG of 1.277 ohm there and back is 100 ft (handbook wire table), and the other way round."""
    run = WallRun("outdoor", (WallConductor("x", True, 1.277, 5.0),), gauge_awg=18)
    assert run.inferred()[0] == pytest.approx(30.48, rel=2e-3)
    assert replace(run, length_m=30.48, gauge_awg=None).inferred()[1] == 18


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ('title = "Tannery Row 9, upper flat"|', "title is missing"),
        ('valve = "O"|valve = "Q"', "O \\(energised to cool\\)"),
        ("stages = 2|stages = 3", "must be 1 or 2"),
        ('name = "outdoor"|name = "cellar"', "must have one|thermostat or outdoor"),
        ("bonded = true|bonded = 3", 'true, false or "unknown"'),
        ("rated_va = 75.0|rated_vaa = 75.0", "did you mean rated_va"),
        ("length_m = 30.0|length_m = -30.0", "from 0.001 to 500 m"),
        ('label = "b"|label = "a"', "is there twice"),
    ],
)
def test_bad_surveys_get_a_sentence(change: str, says: str) -> None:
    """Each mistake in a survey is named with its key and what is allowed."""
    old, _, new = change.partition("|")
    with pytest.raises(BadSurvey, match=says):
        survey_from_toml(SITE.replace(old, new))


def test_the_command_writes_a_job_that_the_bench_runs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`plan --json --job` prints the contract and writes a job file that loads."""
    survey, job = tmp_path / "survey.toml", tmp_path / "job.toml"
    survey.write_text(SITE, encoding="utf-8")
    assert main(["plan", str(survey), "--json", "--job", str(job)]) == 0
    told = json.loads(capsys.readouterr().out)
    assert {"refused", "why", "plans"} <= set(told)
    assert set(told["plans"][0]) >= {
        "arrangement", "works", "why", "unproven", "schedule", "coils", "va", "rated_va", "links",
        "earth_a", "lost_if_broken", "needs", "minutes",
    }  # fmt: skip
    assert load_job(str(job)).title == "Tannery Row 9, upper flat"


def test_the_command_reads_no_nonsense(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A survey that is not there is one sentence, and status 2."""
    assert main(["plan", str(tmp_path / "none.toml")]) == 2
    assert "there is no such file" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["tannery-row", "orchard-gate", "ferry-steps"])
def test_the_first_plan_alone_is_the_first_of_all(name: str, plan_of: PlanOf) -> None:
    """Running only what can be best finds the same plan as running everything."""
    assert first_plan(name) == plan_of(name).plans[0]


def test_a_survey_changes_as_it_is_found() -> None:
    """A conductor is measured, another one turns up, the bond is lost: each gives a new survey."""
    site = survey_from_toml(SITE)
    proved = site.with_conductor("outdoor", "c", continuous=True, loop_ohm=1.28, insulation_mohm=25.0)
    assert (site.verdict("outdoor", "c"), proved.verdict("outdoor", "c")) == ("unproven", "sound")
    assert [c.label for c in proved.run("outdoor").conductors] == ["a", "b", "c"]
    more = proved.with_conductor("outdoor", "d", continuous="unknown")
    assert more.run("outdoor").conductors[3] == WallConductor("d")
    assert (site.with_ground(bonded=False).bonded, site.with_ground(ohm=0.4).ground_ohm) == (False, 0.4)


@pytest.mark.parametrize(
    ("found", "says"),
    [
        ({"continuous": "perhaps"}, 'must be true, false or "unknown"'),
        ({"loop": 1.0}, "did you mean loop_ohm"),
        ({"loop_ohm": -1.0}, "must be above 0"),
        ({"loop_ohm": "1.3"}, "must be a number of ohms"),
    ],
)
def test_a_survey_is_not_changed_to_nonsense(found: dict[str, object], says: str) -> None:
    """What no file may say, no change may say, and the conductor is named."""
    with pytest.raises(BadSurvey, match=f"c: .*{says}"):
        survey_from_toml(SITE).with_conductor("outdoor", "c", **found)


def test_outdoor_air_is_tried_once_for_each_state_of_the_outdoor_thermostat() -> None:
    """Two lockouts have three states, so three temperatures; a changeover has two, and no thermostat one."""
    site = load_survey("tannery-row")
    electric = arrangements(replace(site, outdoor_thermostat=True))[0]
    stat = electric.job.outdoor_thermostat
    assert stat is not None
    tried = outdoors_of(electric.job)
    assert len(tried) == len({stat.closed(air_c) for air_c in tried}) == 3
    changeover = replace(electric.job, outdoor_thermostat=replace(stat, auxiliary_above_c=-15.0))
    assert len(outdoors_of(changeover)) == 2
    assert len(outdoors_of(replace(electric.job, outdoor_thermostat=None))) == 1
