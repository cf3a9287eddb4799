"""Hands: what each act changes, how long it takes, what is refused, and that everything can be undone."""

from __future__ import annotations

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.bench.bench import Bench
from lessonkit.bench.hands import Hands, walk_min
from lessonkit.bench.meter import LiveCircuit, Meter
from lessonkit.bench.wiring import Wiring
from lessonkit.job.handwork import (
    BadHandWork,
    HandWork,
    as_works,
    boards_of,
    end_of,
    parse_work,
    terminals_of,
)
from lessonkit.job.model import RUN_ENDS
from lessonkit.job.toml import demo_job, demo_names

JOBS = ("two-run", "full-cable")


def _hands(job: str, call: str = "off", power: bool = True, at: str = "air") -> Hands:
    bench = Bench(job, call=call)
    bench.advance(20)
    bench.set_power(power)
    return Hands(bench, at)


def test_a_lifted_wire_stops_what_hung_on_it() -> None:
    """With Y1 off its terminal the contactor has no volts, and back on it has them again."""
    hands = _hands("full-cable", "cool-1")
    bench = hands.bench
    assert bench.state.coils["out:contactor"].sealed
    hands.power(False)
    hands.lift("outdoor.Y1", "out")
    bench.set_power(True)
    bench.advance(400)
    assert not bench.state.coils["out:contactor"].sealed
    assert bench.state.volts["out:outdoor.Y1"] > 20
    assert bench.state.hands == ("lift out:outdoor.Y1",)
    bench.set_power(False)
    hands.put_back("outdoor.Y1", "out")
    bench.set_power(True)
    bench.advance(400)
    assert bench.state.coils["out:contactor"].sealed
    assert bench.state.hands == ()


def test_minutes_are_acts_and_walks() -> None:
    """A walk is counted once, where it is walked."""
    hands = _hands("two-run", power=False)
    hands.lift("outdoor.SIG", "air")
    hands.lift("outdoor.SIG", "out")
    hands.lift("outdoor.R", "out")
    assert [act.minutes for act in hands.acts] == [1.0, 1.0 + walk_min("air", "out"), 1.0]
    assert hands.minutes == 6.0
    assert str(hands.acts[1]) == "lift out:outdoor.SIG (4 min)"
    hands.undo()
    assert [str(work) for work in hands.bench.hands] == ["lift air:outdoor.SIG", "lift out:outdoor.SIG"]


def test_a_live_wire_is_not_lifted() -> None:
    """Volts or current on a conductor refuse the act, with the number; a signal conductor may be lifted."""
    hands = _hands("two-run", "cool-2")
    with pytest.raises(LiveCircuit, match=r"lift out:outdoor.R refused: outdoor.R is live at 2\d\.\d V"):
        hands.lift("outdoor.R", "out")
    with pytest.raises(LiveCircuit, match=r"lift stat:thermostat.C refused: thermostat.C carries 0\.\d\d A"):
        hands.lift("thermostat.C", "stat")
    with pytest.raises(LiveCircuit, match="twist air:outdoor.R air:outdoor.SIG refused"):
        hands.twist("air", "outdoor.R", "outdoor.SIG")
    assert hands.bench.hands == ()
    assert hands.minutes == 0
    hands.lift("outdoor.SIG", "out")
    with pytest.raises(LiveCircuit, match=r"move out:outdoor.SIG out:R refused: out:R is live"):
        hands.move("outdoor.SIG", "out", "out:R")
    with pytest.raises(LiveCircuit, match=r"unplug out:relay-board refused: 2\d\.\d V feed it"):
        hands.unplug("out:relay-board")
    hands.power(False)
    hands.move("outdoor.SIG", "out", "out:R")
    hands.unplug("out:relay-board")


def test_a_jumper_calls_for_the_blower_and_never_shorts_the_supply() -> None:
    """R to G runs the blower with no thermostat in it; R to C is refused, with what it would carry."""
    hands = _hands("full-cable")
    bench = hands.bench
    with pytest.raises(LiveCircuit, match=r"jumper air:R air:C refused: it would carry \d+\.\d A, more than"):
        hands.jumper("air:R", "air:C")
    hands.jumper("air:R", "air:G")
    assert bench.state.responding["blower"] != "off"
    hands.take_out("air:G", "air:R")
    assert bench.state.responding["blower"] == "off"
    with pytest.raises(BadHandWork, match="no jumper between air:R and air:G"):
        hands.take_out("air:R", "air:G")
    hands.power(False)
    hands.jumper("air:R", "air:C")
    bench.set_power(True)
    assert bench.state.fuse == "blown"


def test_a_pulled_plug_takes_its_board_out_of_the_circuit() -> None:
    """Unplugged, a relay board loads nothing and answers nothing; plugged in again it starts."""
    hands = _hands("two-run", "cool-2", power=False)
    bench = hands.bench
    hands.unplug("out:relay-board")
    bench.set_power(True)
    bench.advance(30)
    assert bench.state.links["outdoor"].state == "dead"
    assert not bench.state.boards["out:relay-board"].awake
    bench.set_power(False)
    # Nothing of the board is left between its terminals: the defrost board alone.
    hands.unplug("out:defrost-board")
    bench.set_hands([*map(str, bench.hands), "lift out:outdoor.R"])
    assert Meter(bench).ohms("out:R", "out:C").value == float("inf")
    bench.set_hands(["unplug out:relay-board"])
    hands.plug("out:relay-board")
    bench.set_power(True)
    bench.advance(400)
    assert bench.state.links["outdoor"].state == "working"
    with pytest.raises(BadHandWork, match="the plug of out:relay-board is not pulled"):
        hands.plug("out:relay-board")


def test_an_end_is_in_one_place() -> None:
    """Moving an end takes it out of a twist; what is left of the twist hangs loose."""
    hands = _hands("full-cable", power=False)
    hands.twist("out", "outdoor.R", "outdoor.C")
    hands.move("outdoor.R", "out", "out:Y1")
    assert list(map(str, hands.bench.hands)) == ["lift out:outdoor.C", "move out:outdoor.R out:Y1"]
    hands.put_all_back()
    assert hands.bench.hands == ()


def test_wires_put_on_one_terminal_are_one_node() -> None:
    """Two neighbours on one terminal leave nothing between them, and the circuit still settles."""
    hands = _hands("full-cable", power=False)
    for place in RUN_ENDS["outdoor"]:
        hands.move("outdoor.Y1", place, f"{place}:R")
    bench, run = hands.bench, hands.bench.job.outdoor_run
    bench.add_fault("outdoor.Y1=short:R@0")
    bench.set_faults([])
    bench.set_hands([*map(str, bench.hands), "lift air:outdoor.R"])
    ohm = Meter(bench).ohms("air:R", "air:outdoor.R").value
    assert ohm == pytest.approx(2 * run.conductor_ohm, rel=0.05)


def test_probes_reach_within_one_place() -> None:
    """Test leads don't reach from the air handler to the outdoor unit."""
    hands = _hands("two-run")
    assert hands.probe("out:R", "out:C").minutes == 3.5
    with pytest.raises(BadHandWork, match="test leads reach within one place"):
        hands.probe("out:R", "air:C")


def test_what_is_done_is_in_json_and_in_the_netlist() -> None:
    """The state, its JSON and the netlist say what hands have changed."""
    bench = Bench("full-cable", call="cool-1")
    bench.set_hands(["lift out:outdoor.Y1"])
    assert json.loads(json.dumps(bench.state.to_dict()))["hands"] == ["lift out:outdoor.Y1"]
    assert "lift out:outdoor.Y1" in bench.to_spice().splitlines()[0]
    assert "out_outdoor_y1" in bench.to_spice()
    assert "by hand: lift out:outdoor.Y1" in repr(bench)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "'' is no work of hands; write one of: lift PLACE:RUN.CONDUCTOR; move"),
        ("cut out:outdoor.R", "'cut out:outdoor.R' is no work of hands"),
        ("lift", "'lift' can't be read; write lift PLACE:RUN.CONDUCTOR"),
        ("lift out.R", "'out.R' is no end of a conductor; write it like out:outdoor.R"),
        ("lift out:outdoor.Y9", "there is no conductor 'outdoor.Y9' in this job; it has outdoor.Y"),
        ("lift stat:outdoor.R", "conductor outdoor.R does not end at 'stat'; it ends at air and out"),
        ("move out:outdoor.R out:Y9", "there is no terminal 'out:Y9' here; there are out:Y"),
        ("move out:outdoor.R air:R", "reaches from air to out; hands work at one place"),
        ("twist out:outdoor.R", "'twist out:outdoor.R' can't be read"),
        ("twist out:outdoor.R out:outdoor.R", "names the same thing twice"),
        ("jumper air:R out:R", "reaches from air to out"),
        ("unplug out:radio", "there is no board 'out:radio' here; there are"),
    ],
)
def test_wrong_works_are_one_sentence(text: str, why: str) -> None:
    """What hands can't do is said in one sentence, with what is allowed."""
    with pytest.raises(BadHandWork) as caught:
        parse_work(text, demo_job("full-cable"))
    assert why in str(caught.value)
    assert "\n" not in str(caught.value)


def test_one_end_in_two_works_is_refused() -> None:
    """A wire can't be lifted and twisted at once."""
    with pytest.raises(BadHandWork, match="out:outdoor.R can't be in two places: lift .*, and twist"):
        as_works(["lift out:outdoor.R", "twist out:outdoor.R out:outdoor.C"], demo_job("full-cable"))


@settings(max_examples=25, deadline=None)
@given(st.sampled_from(JOBS), st.data())
def test_any_works_settle_and_undo(name: str, data: st.DataObject) -> None:
    """Whatever hands do to a job, it settles, reads finite volts, and comes back whole when undone."""
    job = demo_job(name)
    ends = [
        end_of(f"{run}.{conductor}", place, job)
        for run in job.runs
        for conductor in job.runs[run].conductors
        for place in RUN_ENDS[run]
    ]
    works: list[HandWork] = []
    for end in data.draw(st.lists(st.sampled_from(ends), max_size=4, unique=True)):
        terminals = terminals_of(job, end.partition(":")[0])
        to = data.draw(st.sampled_from(["", *terminals]))
        works.append(HandWork("move", (end, to)) if to else HandWork("lift", (end,)))
    works += [HandWork("unplug", (board,)) for board in data.draw(st.sets(st.sampled_from(boards_of(job))))]
    bench = Bench(job, call="cool-2")
    before = bench.state.volts
    bench.set_hands(works)
    assert all(volts == volts < 1e3 for volts in bench.state.volts.values())
    assert [parse_work(str(work), job) for work in bench.hands] == list(bench.hands)
    bench.advance(30)
    assert Wiring(job, (), ()).template == Wiring(job).template
    fresh = Bench(job, call="cool-2")
    fresh.set_hands(works)
    fresh.set_hands([])
    assert fresh.state.volts.keys() == before.keys()


def test_terminals_that_hands_know_are_in_the_circuit() -> None:
    """Every terminal on which a wire can be put is a node of the bench, and every plug has its board."""
    for name in demo_names():
        bench = Bench(name)
        for place in ("stat", "air", "out"):
            assert set(terminals_of(bench.job, place)) <= set(Meter(bench).nodes())
        assert set(boards_of(bench.job)) == set(bench.wiring.boards)


def test_a_run_lifted_at_once_is_lifted_wire_by_wire() -> None:
    """All ends of a run at one place are as many acts, minutes and loose ends as one after the other."""
    benches = [Bench("full-cable"), Bench("full-cable")]
    at_once, one_by_one = map(Hands, benches)
    for hands in (at_once, one_by_one):
        with pytest.raises(LiveCircuit, match="lift air:outdoor.R refused"):
            hands.lift_all("outdoor", "air")
        hands.power(False)
    at_once.lift_all("outdoor", "air")
    for name in benches[1].job.outdoor_run.conductors:
        one_by_one.lift(f"outdoor.{name}", "air")
    assert at_once.acts == one_by_one.acts
    assert benches[0].hands == benches[1].hands
    assert benches[0].state == benches[1].state
    assert at_once.undo() == one_by_one.undo()
    assert benches[0].hands == benches[1].hands
