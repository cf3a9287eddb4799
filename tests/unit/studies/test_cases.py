"""Many cases at once, held against benches that live through the same faults one at a time.

Known differences, each with a test of its own: a link that works by luck counts as silent in `cases` and as
what it last heard on a bench; and a case that never comes to rest is caught by each in some moment of its
cycle.  Both say that it chatters.
"""

from __future__ import annotations

import numpy as np
import pytest

from lessonkit.bench.bench import Bench
from lessonkit.bench.state import State
from lessonkit.errors import BadParameter
from lessonkit.job.calls import CALLS
from lessonkit.job.faults import BadFault, Fault, single_faults
from lessonkit.job.model import Job, Supply
from lessonkit.job.toml import demo_job
from lessonkit.studies.cases import RELIABLE, Case, Rest, every_case, if_held, rest

DEMO_JOBS = ("full-cable", "earth-return", "wire-return", "two-run")
JOBS = (*DEMO_JOBS, "second-transformer")

#: Every so many single faults are lived through, from another start in each job.
STRIDE = 7


def job_of(name: str) -> Job:
    """Return a demo job, or the wire return with a transformer of its own outdoors."""
    if name != "second-transformer":
        return demo_job(name)
    return (
        demo_job("wire-return")
        .with_supply(interconnection_listed=True)
        .with_run(
            "outdoor",
            return_by=name,
            conductors=("SIG", "C", "spare"),
            far_supply=Supply(interconnection_listed=True),
        )
    )


def lived(job: Job, case: Case) -> State:
    """Let a fault strike a sound job that stands there, call, and wait until all delays are over."""
    bench = Bench(job, outdoor_c=20.0)
    bench.advance(5.0)
    bench.set_faults(case.faults)
    bench.advance(15.0)
    bench.skip_delay()
    bench.set_call(case.call)
    bench.advance(60.0)
    bench.skip_delay()
    return bench.advance(40.0)


def sealed(state: State) -> frozenset[str]:
    """Return the coils that are in."""
    return frozenset(name for name, coil in state.coils.items() if coil.sealed)


def awake(state: State) -> frozenset[str]:
    """Return the boards that work."""
    return frozenset(name for name, board in state.boards.items() if board.awake)


def agree(end: Rest, state: State) -> bool:
    """Return whether an end and a bench show the same, down to the millivolt."""
    latches = end.settled.latches
    return (
        (end.delivering, dict(end.responding), end.fuse)
        == (state.delivering, dict(state.responding), state.fuse)
        and (latches.sealed, latches.awake) == (sealed(state), awake(state))
        and bool(end.chatter) == bool(state.chatter)
        and all(abs(end.volts[node] - volts) < 1e-3 for node, volts in state.volts.items())
    )


def by_luck(end: Rest, state: State) -> bool:
    """Return whether some link gets only a part of its polls answered."""
    shares = [*end.links.values(), *(link.odds * link.reply_odds for link in state.links.values())]
    return any(0 < share < 1 for share in shares)


@pytest.mark.parametrize("name", JOBS)
def test_cases_end_where_a_bench_arrives(name: str) -> None:
    """Every call with a fair sample of single faults ends as a bench that lives through it does."""
    job = job_of(name)
    faults = list(single_faults(job))[JOBS.index(name) :: STRIDE]
    cases = [Case(call, found) for found in [(), *((fault,) for fault in faults)] for call in CALLS]
    excused = 0
    for end in rest(job, cases):
        state = lived(job, end.case)
        if not agree(end, state):
            excused += 1
            assert by_luck(end, state) or (end.chatter and state.chatter), end.case
    assert len(cases) >= 8 * 10
    assert excused <= len(CALLS)


def test_a_cycle_is_seen_by_both() -> None:
    """A splice that boards fall asleep behind goes round for ever; bench and cases both say chatter."""
    job = demo_job("earth-return")
    (end,) = rest(job, [Case("cool-2", (Fault("outdoor", "R", "resistance", 20.0),))])
    state = lived(job, end.case)
    assert "out:relay-board" in end.chatter
    assert "out:relay-board" in state.chatter


def test_a_link_by_luck_counts_as_silent() -> None:
    """Where fewer polls than RELIABLE are answered, a bench may be lucky for a while; an end is silent."""
    job = demo_job("two-run")
    (end,) = rest(job, [Case("fan", (Fault("thermostat", "C", "resistance", 20.0),))])
    assert 0 < end.links["thermostat"] < RELIABLE
    assert end.delivering == "nothing"
    bench = Bench(job, faults=end.case.faults)
    bench.set_call("fan")
    seen = {bench.advance(1.0).delivering for _ in range(120)}
    assert seen == {"nothing", "air only"}


@pytest.mark.parametrize("name", JOBS)
def test_a_batch_gives_what_each_case_gives_alone(name: str) -> None:
    """Cases that share matrices and trials end as they do one by one, in any order."""
    job = job_of(name)
    rng = np.random.default_rng(5)
    cases = list(every_case(job, ("off", "cool-2", "heat-aux")))
    cases = [cases[k] for k in rng.choice(len(cases), 24, replace=False)]
    together = rest(job, cases)
    turned = rest(job, cases[::-1])[::-1]
    for one, case, other in zip(together, cases, turned, strict=True):
        (alone,) = rest(job, [case])
        for again in (alone, other):
            assert again.case == one.case == case
            assert dict(again.responding) == dict(one.responding)
            assert (again.fuse, again.chatter, again.delivering) == (one.fuse, one.chatter, one.delivering)
            assert again.settled.latches == one.settled.latches
            assert dict(again.volts) == pytest.approx(dict(one.volts), abs=1e-6)
            # Shares are counted over 64 trials, whose levels are those of the first case that is alike.
            assert dict(again.links) == pytest.approx(dict(one.links), abs=0.2)


def test_the_same_seed_gives_the_same_ends() -> None:
    """Two runs with one seed are equal in every share."""
    job = demo_job("two-run")
    cases = [Case(call, ("thermostat.C=resistance:20",)) for call in CALLS]  # type: ignore[arg-type]
    assert [end.links for end in rest(job, cases, 3)] == [end.links for end in rest(job, cases, 3)]


def test_every_case_holds_each_fault_under_each_call() -> None:
    """The sound job comes first, then each single fault, each under the calls that were asked for."""
    job = demo_job("full-cable")
    cases = every_case(job, ("off", "fan"))
    assert cases[:2] == (Case("off"), Case("fan"))
    assert len(cases) == 2 * (1 + len(list(single_faults(job))))
    assert len(set(cases)) == len(cases)


def test_faults_may_be_text() -> None:
    """A fault spelled as on the command line ends as its value does, and comes back as a value."""
    job = demo_job("earth-return")
    (text,) = rest(job, [Case("cool-2", ("outdoor.SIG=open",))])  # type: ignore[arg-type]
    (value,) = rest(job, [Case("cool-2", (Fault("outdoor", "SIG", "open"),))])
    assert text.case == value.case
    assert text.volts == value.volts
    (held,) = if_held(job, [Case("cool-2", ("outdoor.SIG=open",))])  # type: ignore[arg-type]
    assert "out:contactor" in held.settled.latches.sealed


def test_a_welded_contactor_runs_with_nothing_called() -> None:
    """Welded contacts count as a running compressor, whatever the coil does."""
    (end,) = rest(demo_job("full-cable"), [Case("off", (Fault("out", "contactor", "stuck-closed"),))])
    assert end.responding["compressor stage 1"] == "on"
    assert "out:contactor" not in end.settled.latches.sealed


def test_a_blown_fuse_stays_blown() -> None:
    """R on C at the air handler blows the fuse, and an end says so with no volts left."""
    (end,) = rest(demo_job("full-cable"), [Case("cool-2", (Fault("outdoor", "R", "short", "C"),))])
    assert (end.fuse, end.delivering) == ("blown", "nothing")
    assert max(volts for node, volts in end.volts.items() if node != "air:XFMR") < 0.01


@pytest.mark.parametrize("name", JOBS)
@pytest.mark.parametrize("call", CALLS)
def test_held_is_rest_when_everything_works(name: str, call: str) -> None:
    """On a sound job the relays hold what was called anyway, so that both circuits are the same."""
    job = job_of(name)
    (held,), (end,) = if_held(job, [Case(call)]), rest(job, [Case(call)])
    assert held.settled.latches.sealed == end.settled.latches.sealed
    assert held.settled.solution.volts == pytest.approx(end.settled.solution.volts, abs=1e-6)
    for run in job.links:
        assert held.ways[run, "down"].odds * held.ways[run, "up"].odds == pytest.approx(end.links[run])


def test_held_lets_frames_decide_nothing() -> None:
    """With SIG broken no frame passes, and the load is on all the same: that is the question it answers."""
    job = demo_job("earth-return")
    case = Case("cool-2", (Fault("outdoor", "SIG", "open"),))
    (held,), (end,) = if_held(job, [case]), rest(job, [case])
    assert held.ways["outdoor", "down"].odds == 0
    assert {"out:contactor", "out:unloader"} <= held.settled.latches.sealed
    assert not {"out:contactor", "out:unloader"} & end.settled.latches.sealed


def test_no_cases_end_nowhere() -> None:
    """An empty list of cases gives an empty list of ends."""
    job = demo_job("two-run")
    assert rest(job, []) == []
    assert if_held(job, []) == []


def test_bad_cases_are_named() -> None:
    """A call, a fault or a seed that can't be is one sentence with its name, its value, what is allowed."""
    job = demo_job("earth-return")
    with pytest.raises(BadParameter, match="call is 'cool-9', but must be one of off, fan"):
        rest(job, [Case("cool-9")])
    with pytest.raises(BadParameter, match="call is 'warm', but must be one of off"):
        every_case(job, ["warm"])
    with pytest.raises(BadFault, match="outdoor.C=open: this job has no such part"):
        rest(job, [Case("cool-2", (Fault("outdoor", "C", "open"),))])
    with pytest.raises(BadParameter, match="seed is -1, but must be a whole number, 0 or more"):
        rest(job, [Case("cool-2")], seed=-1)
