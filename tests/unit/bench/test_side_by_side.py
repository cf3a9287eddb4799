"""Circuits that settle side by side, held against the same ones settled alone."""

from __future__ import annotations

from functools import partial

import pytest

from lessonkit.bench.asking import Wants, what_asks
from lessonkit.bench.settling import Latches, blown_by, settle
from lessonkit.bench.side_by_side import settle_many, volts_side_by_side
from lessonkit.bench.wiring import Wiring
from lessonkit.job.faults import single_faults, thermostat_terminals
from lessonkit.job.toml import demo_job


@pytest.mark.parametrize("name", ["full-cable", "two-run", "dual-fuel"])
def test_every_circuit_ends_as_it_does_alone(name: str) -> None:
    """Each single fault, asleep or awake, with all relays held: the same memory, volts and chatter."""
    job, cases = demo_job(name), []
    for number, fault in enumerate(single_faults(job)):
        wiring = Wiring(job, (fault,))
        called = thermostat_terminals(job, ("cool-2", "heat-aux")[number % 2], (fault,))
        held = tuple((run, "far", called) for run in job.links)
        awake = frozenset(wiring.boards) if number % 3 else frozenset[str]()
        asks = what_asks(wiring, Wants(called, held, outdoor_c=-20.0 if number % 5 else 8.0))
        cases.append((wiring, Latches(awake=awake, blown=blown_by((fault,))), asks))
    together = settle_many(cases, job.frequency_hz)
    for (wiring, latches, asks), found in zip(cases, together, strict=True):
        alone = settle(wiring, latches, asks, partial(wiring.solution, freq_hz=job.frequency_hz))
        told = (found.latches, found.on, found.chattering, found.released)
        assert told == (alone.latches, alone.on, alone.chattering, alone.released), wiring.faults
        for node, volts in found.solution.volts.items():
            assert volts == pytest.approx(alone.solution.volts[node], rel=1e-5, abs=1e-6), (
                node,
                wiring.faults,
            )
    assert len({id(wiring.form) for wiring, *_ in cases}) < len(cases)


def test_a_silenced_driver_drops_out_of_one_column() -> None:
    """Each column has the volts of the state with that driver silent, beside those with none."""
    wiring = Wiring(demo_job("two-run"))
    on = frozenset({"power air", "fuse air", "driver outdoor.near", "driver thermostat.near"})
    columns = (None, "driver outdoor.near", "driver thermostat.near")
    (found,) = volts_side_by_side([(wiring, on)], 0.0, [columns])
    for volts, silenced in zip(found, columns, strict=True):
        (right,) = wiring.solve([on], 0.0, [silenced])
        assert volts == pytest.approx(right.phasors, rel=1e-6, abs=1e-6)
