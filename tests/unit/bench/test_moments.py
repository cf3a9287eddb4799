"""What happens in one moment happens whole: polls, chains of events, fuses, and what falls due."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from lessonkit.bench.agenda import board_is_due, next_event_s
from lessonkit.bench.bench import Bench
from lessonkit.bench.link import Ends, Listener
from lessonkit.bench.outdoor_board import Timers
from lessonkit.bench.settling import fuse_of
from lessonkit.job.model import Supply
from lessonkit.job.toml import demo_job, demo_names

#: A job with a transformer at each end.
FAR_FED = (
    demo_job("wire-return")
    .with_supply(interconnection_listed=True)
    .with_run(
        "outdoor",
        return_by="second-transformer",
        conductors=("SIG", "C", "spare"),
        far_supply=Supply(interconnection_listed=True),
    )
)


def test_relays_move_in_the_poll_that_moves_them() -> None:
    """The contactor pulls in at the very moment of the second equal frame, and not a poll later."""
    bench = Bench("earth-return")
    bench.advance(3.5)
    bench.set_call("cool-1")
    bench.advance(5.0)
    (pulled,) = (
        event.time_s for event in bench.log if (event.name, event.what) == ("out:contactor", "pulls in")
    )
    with_y1 = [one.time_s for one in bench.frames if one.way == "down" and one.sent.call_bits & 1]
    assert pulled == with_y1[1]


def test_polls_that_move_nothing_settle_nothing() -> None:
    """While the same frames come, the settled circuit is the same value."""
    bench = Bench("earth-return")
    bench.set_call("cool-1")
    bench.advance(10.0)
    settled = bench._settled
    bench.advance(5.0)
    assert bench._settled is settled


def test_a_chain_of_events_ends_within_its_moment() -> None:
    """A contactor that drops out opens its board's contact at once, although Y1 stays live."""
    bench = Bench("full-cable")
    bench.set_call("cool-1")
    bench.advance(10.0)
    bench.set_faults(["outdoor.Y1=resistance:150"])
    state = bench.state
    assert not state.coils["out:contactor"].sealed
    assert state.waiting_s > 0
    assert state.between("out:Y1", "out:C") > 20, "nothing draws current through the splice any more"
    assert state.between("out:CC", "out:C") < 0.1


def test_each_transformer_has_its_own_fuse() -> None:
    """The fuse outdoors is the second transformer's where there is one, and the only one otherwise."""
    small = Supply(fuse_a=1.0, interconnection_listed=True)
    own = FAR_FED.with_run("outdoor", far_supply=small)
    assert fuse_of(own, "out") == small.fuse
    assert fuse_of(own, "air") == FAR_FED.supply.fuse != small.fuse
    for name in demo_names():
        job = demo_job(name)
        assert fuse_of(job, "air") == fuse_of(job, "out") == job.supply.fuse


@pytest.mark.parametrize(("place", "far_a", "near_a"), [("out", 0.2, 3.0), ("air", 3.0, 0.05)])
def test_a_small_fuse_blows_alone(place: str, far_a: float, near_a: float) -> None:
    """A fuse too small for what hangs behind it opens, and the one at the other transformer stays whole."""
    job = replace(FAR_FED, supply=Supply(fuse_a=near_a, interconnection_listed=True)).with_run(
        "outdoor", far_supply=Supply(fuse_a=far_a, interconnection_listed=True)
    )
    bench = Bench(job)
    bench.set_call("cool-2")
    state = bench.advance(20.0)
    assert state.fuses == {"air": "whole", "out": "whole"} | {place: "blown"}
    assert state.amps[f"{place}:fuse"] == 0.0


@pytest.mark.parametrize(
    "faults",
    [
        ("outdoor.SIG=open@0.4", "outdoor.R=resistance:3", "outdoor.SIG=short:R@0.2", "outdoor.SIG=earth:90"),
        (
            "stat.encoder=dead",
            "thermostat.SIG=earth:400",
            "air.relay-G=stuck-closed",
            "thermostat.R=resistance:3",
        ),
    ],
)
def test_faults_are_there_together_in_any_order(faults: tuple[str, ...]) -> None:
    """Several faults give the same volts whichever is named first, and each of them changes some."""
    one, other = (Bench("two-run", faults=order, call="cool-2") for order in (faults, faults[::-1]))
    assert dict(one.state.volts) == pytest.approx(dict(other.state.volts), abs=1e-9)
    for left_out in faults:
        less = Bench("two-run", faults=[f for f in faults if f != left_out], call="cool-2")
        assert dict(less.state.volts) != pytest.approx(dict(one.state.volts), abs=1e-9), left_out


def test_what_comes_next_is_the_earliest_that_falls_due() -> None:
    """Polls, boots, watchdogs, the delay, the cut-off and the defrost board each can be next."""
    job = demo_job("earth-return")
    link, late, timers = job.runs["outdoor"].link, {"outdoor": 500.0}, Timers()
    silent = {"outdoor": Ends("outdoor")}

    def due(polls=late, boots=None, links=silent, timers=timers, board=math.inf):  # type: ignore[no-untyped-def]
        return next_event_s(job, 100.0, polls, boots or {}, links, timers, board)

    assert due() == 500.0
    assert due(polls={"outdoor": 101.0}) == 101.0
    assert due(boots={"stat:thermostat": 102.0}) == 102.0
    heard = Listener(heard_s=95.0, state="working")
    for end in ("far", "near"):
        assert due(links={"outdoor": replace(Ends("outdoor"), **{end: heard})}) == 95.0 + link.watchdog_s
    assert due(timers=Timers(free_at_s=103.0)) == 103.0
    assert due(timers=Timers(free_at_s=100.0)) == 500.0, "a delay that is over is no event"
    assert due(timers=Timers(defrost_until_s=104.0)) == 104.0
    assert due(board=105.0) == 105.0
    assert due(board=99.0) == 100.0, "never in the past"


@pytest.mark.parametrize("late_s", [0.0, 5e-7, -5e-7, 5e-6, -5e-6])
def test_the_board_is_looked_at_when_its_time_has_come(late_s: float) -> None:
    """The delay, the cut-off and the board's own change are each seen within a microsecond."""
    now_s, never = 50.0 + late_s, math.inf
    found = {
        board_is_due(now_s, Timers(free_at_s=50.0), never),
        board_is_due(now_s, Timers(defrost_until_s=50.0), never),
        board_is_due(now_s, Timers(), 50.0),
    }
    assert found == {abs(late_s) < 1e-6}
