"""Conductors opened in a circuit that is there already, beside the circuit laid out with the break."""

from __future__ import annotations

import pytest

from lessonkit.bench.side_by_side import solve_side_by_side
from lessonkit.bench.wiring import Wiring
from lessonkit.job.faults import as_faults
from lessonkit.job.toml import demo_job
from lessonkit.studies.cases import Case, rest


@pytest.mark.parametrize("name", ["full-cable", "two-run"])
def test_an_opened_conductor_is_a_broken_one(name: str) -> None:
    """Each conductor opened in a circuit gives the volts of a wiring with that fault."""
    job = demo_job(name)
    whole = Wiring(job)
    ends = rest(job, [Case("off"), Case("cool-2")])
    for run, of in job.runs.items():
        for conductor in of.conductors:
            faults = as_faults([f"{run}.{conductor}=open"], job)
            opened, laid_out = whole.opened(faults), Wiring(job, faults)
            assert opened.faults == faults
            for freq_hz in (0.0, job.frequency_hz):
                for on in (end.settled.on for end in ends):
                    got, right = solve_side_by_side([(opened, on), (laid_out, on)], freq_hz)
                    for node in laid_out.template.nodes:
                        assert got.v(node) == pytest.approx(right.v(node), rel=1e-5, abs=1e-6), (node, faults)
    assert whole.faults == ()
    (sound,) = whole.solve([ends[1].settled.on], job.frequency_hz)
    assert sound.volts == pytest.approx(ends[1].settled.solution.volts, rel=1e-6, abs=1e-6)


def test_ends_do_not_hang_on_the_replies() -> None:
    """Without replies every case ends as it does with them."""
    job = demo_job("two-run")
    faults = [as_faults(text, job) for text in ([], ["out.relay-board=dead"])]
    cases = [Case(call, present) for call in ("off", "heat-aux") for present in faults]
    for one, other in zip(rest(job, cases), rest(job, cases, replies=False), strict=True):
        assert one.settled.latches == other.settled.latches
        assert (one.responding, one.volts) == (other.responding, other.volts)
