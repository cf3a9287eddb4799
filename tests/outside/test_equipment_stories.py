"""Stories that a technician knows, read off a bench's log step by step, and published rows of calls.

Sources, with the word of how each was seen; what has none is common practice:

* staging tables of multi-stage installation manuals: cooling and heating rows, emergency "E & G", and the
  single-speed row "Y1 & W2 & G & B" in which W2 is the first auxiliary heat (seen). The same table prints
  that row for a two-speed unit too, which doesn't fit its own words: not used here.
* O may stay energised while the thermostat is in its cooling mode (a list of terminals, seen).
* furnace blower: 30 s on, 60 to 180 s off, 90 from the factory (two furnace manuals, seen).
* furnace and heat pump never together (a heat-pump best-practice guide, seen); lockouts are ignored in
  emergency (two control manuals, seen) and for defrost (IECC C403.4.1.1, seen).
* compressor delay 3 to 5 minutes (a contractor's page, seen); thermostat's least time off 5, 2 or 4 minutes
  (control manuals, seen).
* lockout relay across the safety contacts, reset by taking the call away; a thermostat that lives on idle
  loads and what starves it: common practice.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.job.calls import terminals_for
from lessonkit.job.toml import demo_job, demo_names


def told(bench: Bench, from_s: float = 0.0) -> list[tuple[float, str]]:
    """Return the log from a moment on as (seconds, what happened)."""
    return [(round(e.time_s, 2), f"{e.name} {e.what}") for e in bench.log.since(from_s)]


def test_dual_fuel_changes_over() -> None:
    """Falling through the changeover: compressor out, furnace on, its blower behind; and back again."""
    bench = Bench("dual-fuel", outdoor_c=6.0, call="heat-1")
    bench.advance(600.0)
    bench.set_outdoor_c(0.0)
    assert bench.advance(60.0).delivering == "air only", (
        "the first stage alone finds its compressor locked out"
    )
    bench.set_call("heat-aux")
    assert bench.advance(60.0).responding["furnace"] == "on"
    assert told(bench, 1.0) == [
        (600.0, "air:outdoor-thermostat locks out the compressor"),
        (600.0, "air:outdoor-thermostat lets in second heat"),
        (600.0, "out:contactor lets go"),
        (660.0, "air:furnace pulls in"),
        (660.0, "air:interlock pulls in"),
        (660.0, "out:unloader pulls in"),
        (690.0, "air:furnace-blower starts"),
    ]
    bench.set_outdoor_c(5.0)
    bench.advance(900.0)
    after = told(bench, 720.0)
    assert (720.0, "air:furnace lets go") in after
    assert (810.0, "air:furnace-blower stops") in after
    assert (900.0, "out:contactor pulls in") in after, "the board's five minutes from 600 s"
    assert bench.state.delivering == "heating, stage 2"


def test_defrost_is_tempered_and_a_call_for_the_furnace_ends_it() -> None:
    """In defrost the furnace warms the air past the interlock; W1 itself stops the compressor."""
    bench = Bench("earth-lockout", outdoor_c=-2.0, call="heat-1")
    bench.advance(60.0)
    bench.force_defrost()
    state = bench.advance(60.0)
    assert state.responding["furnace"] == "on, tempering the air"
    assert state.responding["compressor stage 1"] == "on"
    assert not state.coils["air:interlock"].sealed
    bench.set_call("heat-aux")
    state = bench.advance(60.0)
    assert state.responding["furnace"] == "on"
    assert state.responding["compressor stage 1"] == state.responding["defrost"] == "off"


def test_without_defrost_heat_the_house_gets_cold_air() -> None:
    """Where D isn't joined to second heat, a defrost chills the house, fossil or electric."""
    for name in ("earth-lockout", "full-cable"):
        bench = Bench(demo_job(name).with_equipment(defrost_heat=False), outdoor_c=-2.0, call="heat-1")
        bench.advance(60.0)
        bench.force_defrost()
        state = bench.advance(60.0)
        assert state.responding["defrost"] == "on"
        assert state.responding["auxiliary heat"] == "off"


def test_outdoor_lockout_and_its_two_exceptions() -> None:
    """On a mild day auxiliary heat stays out; emergency goes past the lockout, and so does defrost."""
    bench = Bench("old-cable", outdoor_c=10.0, call="heat-aux")
    state = bench.advance(60.0)
    assert state.delivering == "heating, stage 1"
    assert state.volts["air:W1"] > 20 > 1 > state.volts["air:WT1"], "the call is there, the contact is open"
    bench.force_defrost()
    assert bench.advance(30.0).responding["auxiliary heat"] != "off"
    bench.set_call("emergency")
    state = bench.advance(60.0)
    assert state.called == {"G", "E"}
    assert state.responding["auxiliary heat"] == "on, stage 2"
    assert state.responding["compressor stage 1"] == "off"
    bench.set_outdoor_c(4.0)
    bench.set_call("heat-aux")
    assert bench.advance(400.0).delivering == "heating, stage 1, with auxiliary heat"
    assert (580.0, "stat:thermostat holds Y1 open for another 240 s") not in told(bench)


def test_a_lockout_from_indoors() -> None:
    """High pressure opens for a moment: Y1 stays live, a clamp reads tens of milliamperes, off resets."""
    job = demo_job("dual-fuel").with_equipment(high_pressure=True, lockout="relay")
    bench = Bench(replace(job, outdoor_thermostat=None), call="heat-1")
    before = bench.advance(60.0)
    bench.set_faults(["out.high-pressure=open"])
    bench.advance(2.0)
    bench.set_faults([])
    state = bench.advance(1800.0)
    assert state.responding["lockout"] == "on, until the call is taken away"
    assert state.delivering == "air only"
    assert state.volts["air:Y1"] > 20
    assert before.amps["outdoor.Y1"] > 0.3 > 0.1 > state.amps["outdoor.Y1"] > 0.01
    assert state.coils["out:lockout-relay"].volts > 20 > 2 > state.coils["out:contactor"].volts
    bench.set_call("off")
    bench.advance(400.0)
    bench.set_call("heat-1")
    assert bench.advance(30.0).delivering == "heating, stage 1"
    assert told(bench, 1.0) == [
        (60.0, "out:contactor lets go"),
        (60.0, "out:lockout-relay pulls in"),
        (1862.0, "air:blower-relay lets go"),
        (1862.0, "out:lockout-relay lets go"),
        (1862.0, "out:reversing-valve lets go"),
        (2262.0, "air:blower-relay pulls in"),
        (2262.0, "out:contactor pulls in"),
        (2262.0, "out:reversing-valve pulls in"),
    ]


def test_time_goes_on_where_no_defrost_board_works() -> None:
    """In frost a unit with no defrost board, or a dead one, has nothing that falls due at once for ever."""
    for bench in (
        Bench("four-wire", outdoor_c=9.0),
        Bench("full-cable", outdoor_c=9.0, faults=["out.defrost-board=dead"]),
    ):
        bench.set_outdoor_c(-19.0)
        assert bench.advance(7200.0).time_s == 7200.0


def test_pressure_contacts_without_a_lockout_let_it_start_again() -> None:
    """Without a lockout relay the compressor is back as soon as the pressure is."""
    job = demo_job("earth-lockout").with_equipment(lockout="none")
    bench = Bench(job, call="heat-1")
    bench.advance(30.0)
    bench.set_faults(["out.low-pressure=open"])
    assert bench.advance(5.0).delivering == "air only"
    bench.set_faults([])
    assert bench.advance(5.0).delivering == "heating, stage 1"


def test_a_burnt_contactor_gives_a_lockout_nothing() -> None:
    """The lockout relay lives through the contactor's winding: with that open it can't pull in."""
    bench = Bench(
        "earth-lockout", call="heat-1", faults=["out.contactor=burnt-out", "out.high-pressure=open"]
    )
    assert bench.advance(30.0).responding["lockout"] == "off"


def test_a_stealing_thermostat_starves() -> None:
    """With the idle load's coil burnt out, the store is all there is: a quarter of an hour."""
    bench = Bench("four-wire", call="cool-1")
    state = bench.advance(60.0)
    assert state.boards["stat:thermostat"].volts > 20
    assert state.coils["air:furnace"].volts < 1, "the trickle is far from pulling anything in"
    bench.set_faults(["air.furnace=burnt-out"])
    assert bench.advance(0.0).delivering == "cooling, stage 1"
    bench.advance(1200.0)
    assert told(bench, 1.0) == [
        (60.0, "stat:thermostat lives on its store"),
        (960.0, "stat:thermostat falls asleep"),
        (960.0, "air:blower-relay lets go"),
        (960.0, "out:contactor lets go"),
        (1020.0, "stat:thermostat starts"),
        (1020.0, "stat:thermostat holds Y1 open for another 240 s"),
        (1020.0, "air:blower-relay pulls in"),
        (1260.0, "out:contactor pulls in"),
        (1260.0, "stat:thermostat lives on its store"),
    ]
    bench.advance(1200.0)
    slept = [at for at, words in told(bench) if words == "stat:thermostat falls asleep"]
    assert slept == [960.0, 2160.0], "a compressor that runs a quarter of an hour in every twenty minutes"


def test_a_stealing_thermostat_calls_by_itself_into_electronics() -> None:
    """Into an encoder's input, which draws milliamperes, the trickle itself looks like a call."""
    job = demo_job("earth-return").with_electronics("thermostat", power="stealing", load_va=0.2)
    state = Bench(job, call="fan").advance(10.0)
    assert state.volts["air:Y1"] > 12
    assert "Y1" in state.links["outdoor"].inputs
    assert state.responding["compressor stage 1"] == "on"


def test_a_battery_needs_no_common_and_dies_alone() -> None:
    """On a battery nothing at the thermostat hangs on C; with the battery empty nothing is called."""
    state = Bench("old-cable", call="cool-1").advance(10.0)
    assert state.delivering == "cooling, stage 1"
    flat = Bench("old-cable", faults=["stat.battery=flat"], call="cool-1").advance(10.0)
    assert flat.delivering == "nothing"
    assert flat.closed == frozenset()


def test_least_time_off_is_the_thermostat_s_and_the_board_s() -> None:
    """Called again at once, Y1 stays open for the thermostat's five minutes; the board's are over then."""
    bench = Bench("dual-fuel", call="cool-1")
    bench.advance(60.0)
    bench.set_call("satisfied")
    bench.advance(20.0)
    bench.set_call("cool-1")
    assert bench.state.called == {"G"}
    assert bench.advance(270.0).delivering == "air only"
    assert bench.advance(30.0).delivering == "cooling, stage 1"
    assert (80.0, "stat:thermostat holds Y1 open for another 280 s") in told(bench)


def test_a_held_valve_doesn_t_switch_with_each_call() -> None:
    """Held through its mode, the valve stays put while the thermostat is satisfied, and lets go at off."""
    bench = Bench("wire-dual-fuel", call="cool-1")
    bench.advance(60.0)
    bench.set_call("satisfied")
    assert bench.advance(60.0).responding["reversing valve"] == "on, cooling"
    bench.set_call("cool-1")
    bench.advance(400.0)
    bench.set_call("off")
    bench.advance(60.0)
    assert [w for _, w in told(bench) if "valve" in w] == [
        "out:reversing-valve pulls in",
        "out:reversing-valve lets go",
    ]


# The warden's flat has too few conductors from the beginning, which is its story.
@pytest.mark.parametrize("name", [name for name in demo_names()[4:] if name != "warden-flat"])
def test_demo_jobs_run_every_call_to_its_end(name: str) -> None:
    """Every call that fits the weather runs on every demo job: cool, heat, emergency."""
    job = demo_job(name)
    cool = Bench(job, outdoor_c=30.0, call="cool-1").advance(60.0)
    assert cool.delivering == "cooling, stage 1"
    heat = Bench(job, outdoor_c=6.0, call="heat-1").advance(60.0)
    assert heat.delivering == ("heating, stage 1" if job.equipment.valve != "none" else "the furnace alone")
    assert Bench(job, outdoor_c=30.0, call="emergency").advance(60.0).responding["auxiliary heat"] != "off"
    assert heat.fuse == cool.fuse == "whole"
    assert heat.chatter == cool.chatter == ()


def test_each_arrangement_has_both_valves_and_both_heats() -> None:
    """Direct, a link by earth, one by wire, two links: each comes with O, with B, electric and fossil."""
    seen = {}
    for name in demo_names():
        job = demo_job(name)
        if job.outdoor_run.return_by == "second-transformer":
            continue
        way = "two-run" if len(job.links) == 2 else job.outdoor_run.return_by if job.links else "direct"
        seen.setdefault(way, set()).update({job.equipment.valve, job.equipment.heat})
    assert set(seen) == {"direct", "earth", "wire", "two-run"}
    assert all(found >= {"O", "B", "electric", "fossil"} for found in seen.values())


#: Job options -> call -> published row, terminals in the words of `calls`.
ROWS = (
    ({"valve": "B", "stages": 1}, "heat-1", "Y1 G B"),
    (
        {"valve": "B", "stages": 1},
        "heat-aux",
        "Y1 G B W1",
    ),  # printed as Y1 & W2 & G & B: its W2 is ours of W1
    ({"valve": "B", "stages": 2}, "heat-2", "Y1 Y2 G B"),
    ({"valve": "O", "stages": 2}, "heat-2", "Y1 Y2 G"),
    ({"valve": "O", "stages": 2}, "cool-1", "Y1 G O"),
    ({"valve": "O", "stages": 2}, "cool-2", "Y1 Y2 G O"),
    ({"valve": "O", "emergency_by": "E"}, "emergency", "E G"),
    ({"valve": "O", "heat_stages": 2}, "heat-aux", "Y1 Y2 G W1 W2"),
    ({"valve": "none", "heat": "fossil", "heat_stages": 2}, "heat-2", "W1 W2"),
    ({"valve": "none", "heat": "electric"}, "heat-1", "W1 G"),
)


@pytest.mark.parametrize(("options", "call", "row"), ROWS)
def test_rows_of_staging_tables(options: dict[str, object], call: str, row: str) -> None:
    """Each kind of equipment is called by the terminals that its staging table prints."""
    assert terminals_for(call, **options) == set(row.split())  # type: ignore[arg-type]
