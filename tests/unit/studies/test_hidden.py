"""A hidden fault: the complaint is what the bench does, minutes are of hands, the best plan finds it."""

from __future__ import annotations

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.bench.meter import LiveCircuit
from lessonkit.errors import BadParameter, LessonError
from lessonkit.job.faults import BadFault, parse_fault
from lessonkit.job.toml import demo_job
from lessonkit.studies.best_plan import PART_MIN, best_plan, part_of
from lessonkit.studies.hidden import HiddenFault, hidden_fault


@pytest.fixture
def hidden() -> HiddenFault:
    """Return a broken valve conductor, as somebody meets it."""
    return hidden_fault("full-cable", fault="outdoor.O=open")


def test_the_same_seed_hides_the_same_fault() -> None:
    """A seed draws a fault that its owner notices; other seeds draw others."""
    drawn = []
    for seed in range(6):
        one, same = hidden_fault("full-cable", seed), hidden_fault("full-cable", seed)
        assert one.complaint == same.complaint != ""
        drawn.append(one.give_up())
        assert drawn[-1] == same.give_up()
    assert len(set(drawn)) > 2


def test_the_complaint_is_what_the_bench_does(hidden: HiddenFault) -> None:
    """What is complained of is off on a bench of its own with that fault, and on without it."""
    assert hidden.complaint == "cool-1: reversing valve off"
    for faults, word in ((["outdoor.O=open"], "off"), ([], "on, cooling")):
        bench = Bench("full-cable", faults=faults, call="cool-1")
        bench.skip_delay()
        assert bench.advance(60.0).responding["reversing valve"] == word


def test_nothing_tells_the_fault_while_it_is_hidden(hidden: HiddenFault) -> None:
    """Neither its words nor its plan nor its score give it away before all is over."""
    assert "outdoor.O" not in repr(hidden)
    for told in ("fault", "best_plan", "score"):
        with pytest.raises(LessonError, match="give_up"):
            getattr(hidden, told)
        if told == "best_plan":
            assert "best_plan" not in vars(hidden)


def test_minutes_are_those_of_walks_and_hands(hidden: HiddenFault) -> None:
    """Half a minute a call, its walk and half a minute a reading, its walk and a quarter hour a part."""
    hidden.call("cool-1")
    assert hidden.minutes == 0.5
    assert float(hidden.volts("out:R")) > 24
    assert hidden.minutes == 0.5 + 4.0 + 0.5
    assert float(hidden.volts("out:O")) < 15
    assert hidden.minutes == 5.5
    assert not hidden.replace("out.reversing-valve")
    assert hidden.minutes == 5.5 + PART_MIN
    assert hidden.replace("outdoor.O")
    assert hidden.minutes == 5.5 + PART_MIN + 3.0 + PART_MIN
    assert hidden.found
    assert hidden.wrong_parts == 1


def test_a_refusal_costs_nothing(hidden: HiddenFault) -> None:
    """Ohms on a live circuit are refused with the reason, and no minute passes."""
    with pytest.raises(LiveCircuit, match="open the disconnect"):
        hidden.ohms("out:RV")
    assert hidden.minutes == 0.0
    hidden.power(False)
    assert float(hidden.ohms("out:RV")) == pytest.approx(32, abs=0.5)


def test_wires_can_be_lifted_and_put_back(hidden: HiddenFault) -> None:
    """With power off a wire comes off, and a loose end can be measured; put back, all is as before."""
    hidden.power(False)
    hidden.lift("outdoor.O", "air")
    hidden.lift("outdoor.O", "out")
    assert str(hidden.ohms("air:outdoor.O", "air:C")).startswith("OL")
    hidden.put_back("outdoor.O", "air")
    hidden.put_back("outdoor.O", "out")
    assert hidden.bench.hands == ()


@pytest.mark.parametrize(
    "fault", ["outdoor.O=open", "air.blower-relay=burnt-out", "stat.valve=reversed", "outdoor.Y1=earth:0.5"]
)
def test_the_best_plan_ends_at_the_right_part(fault: str) -> None:
    """Played out it replaces the part that has the fault, with few wrong ones, and its minutes only grow."""
    hidden = hidden_fault("full-cable", fault=fault)
    right = part_of(hidden.give_up())
    score, plan = hidden.score, hidden.best_plan
    assert plan[-1].act.removeprefix("replace ") in right
    assert plan[-1].shown == "all works again"
    minutes = [entry.minutes for entry in plan]
    assert minutes == sorted(minutes)
    assert (score.best_minutes, score.found) == (minutes[-1], False)
    assert score.best_wrong_parts <= 2
    assert score.best_minutes <= 60


def test_who_follows_the_best_plan_scores_as_it_does() -> None:
    """Done by hand on the bench, the plan's own steps take its minutes and show what it says they show."""
    job = demo_job("full-cable")
    hidden = hidden_fault(job, fault="outdoor.O=open")
    for entry in best_plan(job, parse_fault("outdoor.O=open", job), hidden.complaint):
        act = entry.act
        if act.startswith("call "):
            hidden.call(act.removeprefix("call "))
        elif act.startswith("replace "):
            hidden.replace(act.removeprefix("replace "))
        elif "volts" in act:
            red, black = act.split()[-2:]
            direct = "direct" in act
            read = hidden.dc_volts(red, black) if direct else hidden.volts(red, black)
            assert float(read) == pytest.approx(float(entry.shown.removesuffix(" V")), abs=0.1)
        assert hidden.minutes == pytest.approx(entry.minutes)
    assert hidden.found
    assert hidden.score.minutes == hidden.score.best_minutes


def test_the_story_can_be_told_again(hidden: HiddenFault) -> None:
    """Afterwards every step stands there with its minutes, and the bench at each of them."""
    hidden.call("heat-1")
    hidden.volts("out:O")
    hidden.give_up()
    told = hidden.replay()
    assert "What was done:" in told
    assert "volts out:O out:C" in told
    assert "The best plan:" in told
    assert len(hidden.moments) == len(hidden.entries) == 4
    assert [moment.call for moment in hidden.moments] == ["cool-1", "heat-1", "heat-1", "heat-1"]


def test_all_over_is_over(hidden: HiddenFault) -> None:
    """Once it is found nothing more can be done to it."""
    hidden.replace("outdoor.O")
    with pytest.raises(LessonError, match="hide another"):
        hidden.call("off")


def test_a_short_is_mended_at_either_conductor() -> None:
    """Whoever pulls either of two conductors that touch has found the fault."""
    for part in ("outdoor.Y1", "outdoor.Y2"):
        assert hidden_fault("full-cable", fault="outdoor.Y1=short:Y2").replace(part)


def test_choices_hold_the_right_part_among_its_like(hidden: HiddenFault) -> None:
    """A class votes on the right part and on others that would give the same complaint."""
    choices = hidden.choices(4)
    assert "outdoor.O" in choices
    assert 2 <= len(choices) <= 4
    assert choices == tuple(sorted(set(choices)))


def test_a_fault_that_nobody_notices_can_be_hidden_by_name() -> None:
    """A lost ground on a direct run stops nothing; hidden on purpose, it comes without a complaint."""
    hidden = hidden_fault("full-cable", fault="outdoor.earth=open")
    assert hidden.complaint == ""
    assert "complaint none" in repr(hidden)
    assert "outdoor.earth" in hidden.choices()


def test_wrong_input_is_named(hidden: HiddenFault) -> None:
    """A part, a seed and a fault that there aren't are refused with what is allowed."""
    with pytest.raises(BadParameter, match=r"part is 'out\.moon', but must be one of"):
        hidden.replace("out.moon")
    with pytest.raises(BadParameter, match="seed is -1, but must be a whole number"):
        hidden_fault("full-cable", -1)
    with pytest.raises(BadFault, match="this job has no"):
        hidden_fault("full-cable", fault="outdoor.SIG=open")
