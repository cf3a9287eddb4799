"""Questions for a class: what the bench answers, and that a question does not tell."""

from __future__ import annotations

import pytest

import lessonkit as lk
from lessonkit.errors import BadParameter
from lessonkit.studies.asked import Asked, Told
from lessonkit.studies.class_plan import NOTHING_WORKS, ClassPlan
from lessonkit.studies.survey import Survey, WallConductor, WallRun
from lessonkit.studies.what_follows import FOLLOWS
from lessonkit.studies.worse_ground import GROUND_ANSWERS


@pytest.mark.parametrize(
    ("job", "call", "fault", "where", "word"),
    [
        ("two-run", "cool-2", "outdoor.SIG=open", "outdoors", "it stops after some seconds"),
        ("full-cable", "cool-1", "outdoor.Y1=open", "outdoors", "it stops at once"),
        ("two-run", "cool-1", "outdoor.SIG=open", "indoors", "it goes on as before"),
        ("earth-return", "cool-2", "outdoor.earth=resistance:8", "outdoors", FOLLOWS[3]),
        ("full-cable", "cool-1", "thermostat.O=short:W1", "indoors", FOLLOWS[4]),
    ],
)
def test_what_follows_is_said_in_one_word(job: str, call: str, fault: str, where: str, word: str) -> None:
    """At once over a wire of its own, after the watchdog over a link, again and again on a poor ground."""
    assert lk.what_follows(job, call, fault, where).word == word


def test_a_watchdog_takes_its_seconds() -> None:
    """Over a link the change comes when the watchdog of the job has run out, give or take one poll."""
    link = lk.demo_job("two-run").runs["outdoor"].link
    followed = lk.what_follows("two-run", "cool-2", "outdoor.SIG=open")
    (when, what) = followed.changes[-1]
    assert what == "nothing"
    assert abs(when - link.watchdog_s) <= link.interval_s + 0.5


def test_a_number_is_given_to_the_nearest_answer() -> None:
    """What a meter reads is nearer to one answer than to the others; that one is right."""
    volts = {"nothing": 0.0, "as much as one gives": 27.0, "twice as much": 54.0}
    for job, right in (("second-transformer", "nothing"), ("out-of-phase", "twice as much")):
        reading = lk.Bench(job).state.between("air:R", "out:R")
        assert lk.ask_class("From R to R?", reading, volts).told.right == right


def test_a_question_does_not_tell() -> None:
    """Printed or drawn, a question has its answers to choose from and nothing of the bench."""
    question = lk.ask_class("What now?", "off", ("on", "off"), show="It was the fuse.")
    assert repr(question) == "What now?\n  - on\n  - off"
    assert "fuse" not in repr(question) + question._repr_markdown_()
    assert question.told.shows == ("It was the fuse.",)


def test_an_answer_is_found_when_it_is_asked_for_and_once() -> None:
    """A long study begins with the reveal, and is not begun again."""
    began: list[int] = []

    def find() -> Told:
        began.append(1)
        return Told("b")

    question = Asked("Which?", ("a", "b"), find)
    assert began == []
    assert (question.told.right, question.told.right, began) == ("b", "b", [1])


def test_questions_that_make_no_sense_are_refused() -> None:
    """One answer is no choice, and an answer that nobody could give is a mistake in the question."""
    with pytest.raises(BadParameter, match="two answers"):
        lk.ask_class("Which?", "a", ("a",))
    with pytest.raises(BadParameter, match="one of a, b"):
        lk.ask_class("Which?", "c", ("a", "b")).told  # noqa: B018
    with pytest.raises(BadParameter, match="outdoors, indoors"):
        lk.what_follows("two-run", "cool-1", "outdoor.SIG=open", "upstairs")


def test_each_step_of_a_ground_is_the_sweep_s_own() -> None:
    """The steps say what one sweep says, and the class sees works, chatters and dead."""
    worse = lk.worse_ground("earth-return", [0.5, 1.8, 40])
    right = [question.told.right for question in worse.questions]
    assert right == [GROUND_ANSWERS[word] for word in worse.sweep.outcomes]
    assert right == list(GROUND_ANSWERS.values())
    assert "1.8 ohm" in worse.questions[1].words


def test_the_same_ground_carries_a_smaller_call() -> None:
    """What the demonstration says of the third step: lost with both stages, and well with one."""
    assert lk.worse_ground("earth-return", [1.8], "cool-2").sweep.outcomes == ("chatters",)
    assert lk.worse_ground("earth-return", [1.8], "cool-1").sweep.outcomes == ("works",)


def test_a_wall_is_counted_before_it_is_planned() -> None:
    """Sound conductors, and whether they are enough, come from the survey; the ways to choose from do too."""
    planned = lk.class_plan("tannery-row")
    sound, enough, ways = planned.questions
    assert "unproven" not in repr(planned)
    assert sound.told.right == "2"
    assert enough.told.right == "no"
    assert "link on the thermostat run, link by wire on the outdoor run" in ways.among
    assert ways.among[-1] == NOTHING_WORKS


def test_the_planner_answers_the_last_question() -> None:
    """On a wall with too little in it nothing will do; the table says what a new cable would."""
    bad = tuple(WallConductor(name, False) for name in "ab")
    good = tuple(WallConductor(name, True, 1.0, 50.0) for name in "abc")
    runs = (WallRun("thermostat", bad, 24.0, 18), WallRun("outdoor", good, 24.0, 18))
    site = Survey(title="Mill Steps 3", rated_va=75.0, fuse_a=5.0, stages=1, valve="none", runs=runs)
    told = ClassPlan(site).questions[-1].told
    assert told.right == NOTHING_WORKS
    assert "new cable" in str(told.shows[0])


def test_all_teams_look_for_one_fault_on_clocks_of_their_own() -> None:
    """What one team does costs the other nothing; the best plan's minutes come when both are through."""
    hunt = lk.team_hunt("full-cable", ("Red", "Blue"), fault="outdoor.O=open")
    red, blue = hunt.of["Red"], hunt.of["Blue"]
    red.call("heat-1")
    assert (red.minutes, blue.minutes, red.complaint) == (0.5, 0.0, blue.complaint)
    assert not blue.replace("outdoor.Y1")
    assert blue.replace("outdoor.O")
    assert hunt.ranked == ("Blue", "Red")
    assert "best plan" not in str(hunt)
    red.give_up()
    assert hunt.over
    assert hunt.board.rows[0][:2] == ("Blue", "found")
    assert hunt.board.rows[1][:3] == ("Red", "given up", "0.5")
    assert hunt.board.rows[2][0] == "the best plan"


def test_a_hunt_needs_two_teams() -> None:
    """One team, or two of one name, is no hunt."""
    for teams in (("Red",), ("Red", "Red")):
        with pytest.raises(BadParameter, match="two names or more"):
            lk.team_hunt("full-cable", teams)
