"""Jobs drawn at random from every option, against ngspice and against the rules of the trade.

Sources:

* ngspice, in batch, on the netlists that `Bench.to_spice` writes: every node to 0.1 % in magnitude and phase.
* O and B are never driven together; emergency rests the compressor: terminal lists (Herman and Sparkman,
  Electricity and Controls for HVAC-R, 6th ed., unit 29) and staging tables of installation manuals, seen.
* furnace and compressor never heat together: a heat-pump best-practice guide, seen.
* second heat is locked out above its limit, but for defrost and emergency: IECC C403.4.1.1 and two control
  manuals, seen.
"""

from __future__ import annotations

import random
import runpy
from pathlib import Path
from typing import Any

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.copper.spice import spice_name
from lessonkit.job.calls import SETTINGS
from lessonkit.job.faults import single_faults
from lessonkit.job.kit import Equipment
from lessonkit.job.model import Job, Run
from lessonkit.job.second_heat import OutdoorThermostat
from lessonkit.job.thermostat import Thermostat
from lessonkit.job.toml import job_from_toml, job_to_toml
from lessonkit.studies.cases import Case, rest

BOOK = runpy.run_path(str(Path(__file__).parent / "recorded" / "record_bench.py"))
MANY = 30


def drawn_equipment(rng: random.Random) -> dict[str, Any]:
    """Return equipment, thermostat and outdoor thermostat, each choice drawn."""
    high, low = rng.random() < 0.5, rng.random() < 0.5
    kit = Equipment(
        valve=rng.choice(["O", "B", "none"]),
        stages=rng.choice([1, 2]),
        heat=rng.choice(["electric", "fossil", "none"]),
        heat_stages=rng.choice([1, 2]),
        emergency_by=rng.choice(["E and W1", "E", "W1"]),
        defrost_heat=rng.random() < 0.7,
        high_pressure=high,
        low_pressure=low,
        lockout="relay" if (high or low) and rng.random() < 0.7 else "none",
    )
    lockable = kit.heat != "none" and kit.valve != "none" and kit.emergency_by != "W1"
    above_c = rng.uniform(0, 10) if lockable and rng.random() < 0.7 else None
    stat = OutdoorThermostat(above_c, rng.uniform(-15, 0), rng.choice(["air", "out"]))
    power = rng.choice(["common", "battery", "stealing"])
    return {
        "equipment": kit,
        "outdoor_thermostat": stat if rng.random() < 0.7 else None,
        "thermostat": Thermostat(
            load_va=0.2 if power == "stealing" else 1.5,
            power=power,
            holds_valve=rng.choice(["call", "mode"]),
            min_off_s=rng.choice([0.0, 120.0, 300.0]),
            min_on_s=rng.choice([0.0, 120.0]),
        ),
        "frequency_hz": rng.choice([50.0, 60.0]),
    }


def drawn_job(seed: int) -> Job:
    """Return a job with drawn equipment, and a cable that fits it: direct or a link, on each run."""
    rng = random.Random(seed)
    link = Run("link", conductors=("R", "SIG", "C"), length_m=rng.uniform(5, 35))
    job = Job(f"drawn {seed}", thermostat_run=link, outdoor_run=link, **drawn_equipment(rng))
    if job.thermostat.power != "common" or rng.random() < 0.6:
        common = ("C",) if job.thermostat.power == "common" or rng.random() < 0.3 else ()
        job = job.with_run("thermostat", arrangement="direct", conductors=("R", *common, *job.call_terminals))
    way = rng.choice(["direct", "wire", "earth"])
    if way == "direct":
        defrost = ("D",) if job.has_defrost else ()
        job = job.with_run(
            "outdoor", arrangement="direct", conductors=("R", "C", *job.outdoor_terminals, *defrost)
        )
    elif way == "earth":
        job = job.with_run("outdoor", return_by="earth", conductors=("R", "SIG"))
    return job


def drawn_bench(seed: int) -> Bench:
    """Return a drawn job that has lived a little: two calls, weather, and perhaps a fault."""
    rng, job = random.Random(1000 + seed), drawn_job(seed)
    bench = Bench(job, seed, outdoor_c=rng.uniform(-20, 20), call=rng.choice(SETTINGS))
    bench.advance(6.0)
    if rng.random() < 0.6:
        bench.add_fault(rng.choice(list(single_faults(job))))
    bench.set_call(rng.choice(SETTINGS))
    bench.advance(rng.choice([0.0, 5.0, 40.0]))
    return bench


@pytest.mark.ngspice
@pytest.mark.parametrize("seed", range(MANY))
def test_every_node_agrees(seed: int, ngspice: str) -> None:
    """ngspice finds the bench's volts at every node of a drawn job, wherever there is a millivolt."""
    bench = drawn_bench(seed)
    theirs = BOOK["run_ngspice"](bench.to_spice(), ngspice)
    for node in bench.solution.network.nodes:
        ours, other = bench.solution.v(node), theirs[spice_name(node)]
        assert abs(ours - other) <= max(1e-3 * max(abs(ours), abs(other)), 1e-3), node


@pytest.mark.parametrize("seed", range(MANY))
def test_a_drawn_job_is_written_and_read(seed: int) -> None:
    """A job of any equipment, written as TOML and read back, is the same job."""
    assert job_from_toml(job_to_toml(drawn_job(seed))) == drawn_job(seed)


@pytest.mark.parametrize("seed", range(MANY))
def test_rules_of_the_trade_hold_under_every_call(seed: int) -> None:
    """Sound, no call drives O and B, runs the furnace on a compressor, or heats past its lockout."""
    job = drawn_job(seed)
    if job.thermostat.power == "stealing":
        job = job.with_electronics("thermostat", power="battery")  # starving is a story of its own
    rng = random.Random(seed)
    bench = Bench(job, seed, outdoor_c=rng.uniform(-20, 20))
    for _ in range(4):
        bench.set_outdoor_c(rng.uniform(-20, 20))
        bench.set_call(rng.choice(SETTINGS))
        state = bench.advance(700.0)
        does, stat = state.responding, job.outdoor_thermostat
        assert not {"O", "B"} <= state.called
        if does["defrost"] == "off" and job.equipment.valve != "none":
            assert "off" in (does.get("furnace", "off"), does["compressor stage 1"])
        if state.call == "emergency":
            assert does["compressor stage 1"] == "off"
            assert (does["auxiliary heat"] != "off") == (job.equipment.heat != "none")
        elif stat is not None and does["defrost"] == "off" and not stat.lets_auxiliary(state.outdoor_c):
            assert does["auxiliary heat"] == "off"
        if stat is not None and not stat.lets_compressor(state.outdoor_c):
            assert does["compressor stage 1"] == "off"
        if job.equipment.valve == "none":
            assert does["reversing valve"] == does["defrost"] == "off"


@pytest.mark.parametrize("seed", range(MANY))
def test_many_cases_go_by_the_bench_s_rules(seed: int) -> None:
    """A drawn job settled with many others responds as it does on a bench, long after its call."""
    job = drawn_job(seed)
    if job.thermostat.power == "stealing":
        job = job.with_electronics("thermostat", power="battery")
    job = job.with_electronics("thermostat", min_off_s=0.0, min_on_s=0.0)
    calls = ("cool-2", "heat-1", "heat-aux", "emergency", "satisfied")
    for end in rest(job, [Case(call) for call in calls], outdoor_c=3.0):
        bench = Bench(job, outdoor_c=3.0, call=end.case.call)
        assert dict(bench.advance(120.0).responding) == dict(end.responding)
