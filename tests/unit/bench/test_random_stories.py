"""Jobs drawn over every option, broken and lived through: no exception, no NaN, the same story twice.

Nothing here says what a job does; that a bench always answers, with numbers, and the same way for the same
seed, is all that is held.
"""

from __future__ import annotations

import json
import random
from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.errors import LessonError
from lessonkit.job import parts
from lessonkit.job.calls import SETTINGS
from lessonkit.job.faults import BadFault, Fault, as_faults, fault_parts
from lessonkit.job.handwork import boards_of
from lessonkit.job.kit import Equipment
from lessonkit.job.model import Job, LinkSettings, Run
from lessonkit.job.parts import LEAST_START_S, Electronics
from lessonkit.job.second_heat import OutdoorThermostat
from lessonkit.job.supply import Supply
from lessonkit.job.thermostat import Thermostat
from lessonkit.job.toml import demo_job

#: How many stories are tried; raise it (300 is a long look) when the bench itself has changed.
MANY = 60


def drawn_supply(rng: random.Random, listed: bool) -> Supply:
    """Return a supply: weak or strong, behind a fuse, a breaker or nothing."""
    open_v = rng.uniform(25.0, 30.0)
    protector = rng.choice(["fuse", "breaker", "none"])
    supply = Supply(
        rated_va=rng.uniform(10.0, 100.0), open_v=open_v, fuse_a=rng.choice([1.0, 3.0, 5.0]),
        interconnection_listed=listed,
    )  # fmt: skip
    gives_a = open_v / supply.transformer.r_ohm
    if protector == "none":
        return replace(supply, protector="none", limited="inherently") if gives_a <= 8.0 else supply
    return replace(supply, protector=protector)


def drawn_board(rng: random.Random, load_va: float) -> dict[str, float]:
    """Return what electronics may be: hungry or not, quick or slow to start, with and without capacitors."""
    brownout_v = rng.uniform(8.0, 20.0)
    return {
        "load_va": load_va * rng.uniform(0.3, 3.0),
        "brownout_v": brownout_v,
        "restart_v": brownout_v + rng.uniform(0.1, 6.0),
        "boot_s": rng.choice([0.0, 0.001, 1.0, 20.0]),
        "hold_up_s": rng.choice([0.0, 0.001, 0.1]),
    }


def drawn_kit(rng: random.Random) -> Equipment:
    """Return equipment, each choice drawn."""
    high, low = rng.random() < 0.5, rng.random() < 0.5
    return Equipment(
        valve=rng.choice(["O", "B", "none"]),
        stages=rng.choice([1, 2]),
        heat=rng.choice(["electric", "fossil", "none"]),
        heat_stages=rng.choice([1, 2]),
        emergency_by=rng.choice(["E and W1", "E", "W1"]),
        defrost_heat=rng.random() < 0.7,
        defrost_by=rng.choice(["time", "demand"]),
        unfinished_defrost=rng.choice(["forget", "resume"]),
        defrost_every_s=rng.choice([30.0, 1800.0, 3600.0]),
        defrost_limit_s=rng.choice([10.0, 600.0]),
        short_cycle_s=rng.choice([0.0, 60.0, 300.0]),
        high_pressure=high,
        low_pressure=low,
        lockout="relay" if (high or low) and rng.random() < 0.7 else "none",
        contactor=replace(parts.CONTACTOR, pickup_v=rng.uniform(12.0, 23.0)),
    )


def drawn_cable(rng: random.Random, name: str, job: Job) -> Run:
    """Return a run of a drawn job: direct or a link, over good copper or far too little of it."""
    at_stat = name == "thermostat"
    shape: dict[str, Any] = {
        "length_m": rng.choice([3.0, 30.0, 200.0, 500.0]),
        "gauge_awg": rng.randint(16, 26),
    }
    shape["temp_c"] = rng.uniform(-40.0, 80.0)
    direct_only = at_stat and job.thermostat.power != "common"
    if direct_only or rng.random() < 0.4:
        common = () if direct_only and rng.random() < 0.7 else ("C",)
        calls = job.call_terminals if at_stat else job.outdoor_terminals
        defrost = ("D",) if not at_stat and job.has_defrost else ()
        return Run("direct", conductors=("R", *common, *calls, *defrost, "spare"), **shape)
    link = LinkSettings(
        baud=rng.choice([300.0, 1200.0, 9600.0]),
        noise_v=rng.choice([0.0, 0.05, 2.0]),
        clock_error=rng.uniform(-0.1, 0.1),
        acceptance=rng.choice([1, 2, 3]),
    )
    way = "wire" if at_stat else rng.choice(["wire", "earth", "second-transformer"])
    names = {
        "wire": ("R", "SIG", "C"),
        "earth": ("R", "SIG", "spare"),
        "second-transformer": ("SIG", "C", "spare"),
    }
    if way == "second-transformer":
        shape |= {"far_supply": drawn_supply(rng, True), "far_in_phase": rng.random() < 0.5}
        shape |= {"receiver": rng.choice(["common", "isolated"])}
    return Run("link", return_by=way, conductors=names[way], link=link, **shape)


def drawn_job(rng: random.Random) -> Job:
    """Return a job with every option drawn."""
    kit = drawn_kit(rng)
    lockable = kit.heat != "none" and kit.valve != "none" and kit.emergency_by != "W1"
    above_c = rng.uniform(0, 10) if lockable and rng.random() < 0.7 else None
    stat = OutdoorThermostat(above_c, rng.uniform(-15, 0), rng.choice(["air", "out"]))
    power = rng.choice(["common", "battery", "stealing"])
    thermostat = Thermostat(
        **drawn_board(rng, 0.2 if power == "stealing" else 1.5),
        power=power,
        holds_valve=rng.choice(["call", "mode"]),
        min_off_s=rng.choice([0.0, 120.0]),
        min_on_s=rng.choice([0.0, 120.0]),
        store_s=rng.choice([0.0, 0.001, 60.0]),
    )
    job = Job(
        "drawn",
        frequency_hz=rng.choice([50.0, 60.0]),
        supply=drawn_supply(rng, True),
        equipment=kit,
        thermostat=thermostat,
        thermostat_run=Run("link", conductors=("R", "SIG", "C")),
        outdoor_run=Run("link", conductors=("R", "SIG", "C")),
        outdoor_thermostat=stat if rng.random() < 0.6 else None,
        encoder=Electronics(**drawn_board(rng, 1.0)),
        relay_board=Electronics(**drawn_board(rng, 1.5)),
        defrost_board=Electronics(**drawn_board(rng, 2.0)),
    )
    job = replace(job, thermostat_run=drawn_cable(rng, "thermostat", job))
    return replace(job, outdoor_run=drawn_cable(rng, "outdoor", job))


def drawn_fault(rng: random.Random, job: Job) -> Fault:
    """Return a fault of any part and kind, of any size and at any place that it can have."""
    where, kinds = rng.choice(list(fault_parts(job).items()))
    kind = rng.choice(list(kinds.values()))
    place, part = where.split(".", 1)
    value: float | str | None = None
    if kind.value == "number":
        value = rng.choice(
            [kind.default, kind.low, min(kind.high, 1e9), rng.uniform(kind.low, min(kind.high, 100.0))]
        )
    elif kind.value == "conductor":
        value = rng.choice([name for name in job.runs[place].conductors if name != part])
    return Fault(place, part, kind.name, value, rng.choice([0.0, 0.3, 0.5, 1.0]) if kind.placed else 0.5)


def drawn_triple(rng: random.Random, job: Job) -> tuple[Fault, ...]:
    """Return three faults that can be there together."""
    while True:
        try:
            return as_faults([drawn_fault(rng, job) for _ in range(3)], job)
        except BadFault:
            continue


def meddle(bench: Bench, rng: random.Random) -> None:
    """Do one thing to a bench that a person could do; what is refused is left."""
    job, act = bench.job, rng.randrange(8)
    try:
        if act == 0:
            bench.set_outdoor_c(rng.uniform(-40.0, 55.0), rng.choice([None, 0.0, 0.004]))
        elif act == 1:
            bench.set_power(rng.random() < 0.5, rng.choice([None, "air", "out"]))
        elif act == 2:
            bench.force_defrost()
        elif act == 3:
            bench.skip_delay()
        elif act == 4:
            bench.replace_fuse()
        elif act == 5:
            bench.replace_transformer(rng.choice(["air", "out"]))
        elif act == 6:
            bench.set_hands([f"unplug {rng.choice(boards_of(job))}"])
        else:
            run = rng.choice(list(job.runs))
            end = f"{'air'}:{run}.{rng.choice(job.runs[run].conductors)}"
            bench.set_hands([f"lift {end}"])
    except LessonError:
        return


def lived(seed: int) -> str:
    """Return the story of a drawn job as text: every state and the whole log."""
    rng = random.Random(seed)
    job = drawn_job(rng)
    bench = Bench(job, seed, outdoor_c=rng.uniform(-40.0, 55.0), call=rng.choice(SETTINGS))
    told = [bench.state.to_dict()]
    for k in range(6):
        told.append(bench.advance(rng.choice([0.0, 0.05, 7.0, 31.0])).to_dict())
        if k == 1:
            bench.set_faults(drawn_triple(rng, job))
        bench.set_call(rng.choice(SETTINGS))
        meddle(bench, rng)
    told.append(bench.advance(60.0).to_dict())
    return json.dumps(told, allow_nan=False) + str(bench.log) + repr(bench.state) + bench.to_spice()


@pytest.mark.parametrize("seed", range(MANY))
def test_a_drawn_story_is_told(seed: int) -> None:
    """A drawn job with three faults gives numbers and no exception; every third is told twice."""
    told = lived(seed)
    if seed % 3 == 0:
        assert lived(seed) == told


@pytest.mark.parametrize("hold_up_s", [0.0, 0.1])
@pytest.mark.parametrize("boot_s", [0.0, 1e-9])
def test_a_board_that_starves_itself_chatters_through_time(boot_s: float, hold_up_s: float) -> None:
    """Electronics that start in no time and pull down their own supply: time goes on, chatter is named."""
    job = demo_job("full-cable").with_run("thermostat", length_m=364.0, gauge_awg=24)
    job = job.with_electronics(
        "thermostat", boot_s=boot_s, hold_up_s=hold_up_s, brownout_v=15.4, restart_v=15.7
    )
    bench = Bench(job, call="cool-2")
    state = bench.advance(2.0)
    assert state.time_s == 2.0
    assert state.chatter == ("stat:thermostat",)
    moments = [event.time_s for event in bench.log if event.what == "starts"]
    assert min(two - one for one, two in pairwise(moments)) >= LEAST_START_S - 1e-9
