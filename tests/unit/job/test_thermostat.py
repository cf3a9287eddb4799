"""Thermostats, second heat and what a job of them may be: rules that need no circuit."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lessonkit.errors import BadParameter
from lessonkit.job.calls import SETTINGS, from_bits, terminals_for, to_bits
from lessonkit.job.faults import BadFault, as_faults, fault_parts, thermostat_terminals
from lessonkit.job.kit import Equipment
from lessonkit.job.model import BadJob, Run
from lessonkit.job.second_heat import EMERGENCIES, HEATS, OutdoorThermostat
from lessonkit.job.thermostat import Thermostat, Timing, mode_after
from lessonkit.job.toml import demo_job, job_from_toml

kits = st.builds(
    Equipment,
    valve=st.sampled_from(["O", "B", "none"]),
    stages=st.sampled_from([1, 2]),
    heat=st.sampled_from(HEATS),
    heat_stages=st.sampled_from([1, 2]),
    emergency_by=st.sampled_from(EMERGENCIES),
)


def terminals(kit: Equipment, call: str) -> frozenset[str]:
    """Return what a call energises on some equipment."""
    return terminals_for(call, kit.valve, kit.stages, kit.heat, kit.heat_stages, kit.emergency_by)


@given(kits, st.sampled_from(SETTINGS))
def test_rows_of_any_equipment_are_sound(kit: Equipment, call: str) -> None:
    """O and B never both, Y2 never without Y1, W2 never without W1, no E beside Y1, no heat while cooling."""
    got = terminals(kit, call)
    assert not {"O", "B"} <= got
    assert "Y2" not in got or "Y1" in got
    assert "W2" not in got or "W1" in got
    assert not {"E", "Y1"} <= got
    assert not (call.startswith("cool") and got & {"W1", "W2", "E"})
    assert not (kit.heat == "none" and got & {"W1", "W2", "E"})
    assert not (kit.valve == "none" and got & {"O", "B"})


@given(st.sets(st.sampled_from(["Y1", "Y2", "G", "O", "B", "W1", "E", "W2"])))
def test_eight_terminals_fit_into_a_byte(live: set[str]) -> None:
    """Every set of call terminals, W2 too, becomes a byte and comes back."""
    assert 0 <= to_bits(live) < 256
    assert from_bits(to_bits(live)) == live


def test_satisfied_is_off_unless_the_valve_is_held() -> None:
    """Satisfied asks for nothing; a thermostat that holds its valve keeps it through its own mode only."""
    for valve, mode in (("O", "cool"), ("B", "heat")):
        job = demo_job("full-cable").with_equipment(valve=valve)
        assert thermostat_terminals(job, "satisfied", mode=mode) == frozenset()
        holding = job.with_electronics("thermostat", holds_valve="mode")
        other = {"cool": "heat", "heat": "cool"}[mode]
        assert thermostat_terminals(holding, "satisfied", mode=mode) == {valve}
        assert thermostat_terminals(holding, "fan", mode=mode) == {valve, "G"}
        assert thermostat_terminals(holding, "satisfied", mode=other) == frozenset()
        assert thermostat_terminals(holding, "off", mode="") == frozenset()


def test_modes_go_on_through_satisfied_and_fan() -> None:
    """The mode of a call goes on until off or a call of the other mode; emergency is a heating mode."""
    mode = ""
    heard = []
    for call in ("satisfied", "cool-1", "satisfied", "fan", "heat-2", "satisfied", "emergency", "off", "fan"):
        mode = mode_after(mode, call)
        heard.append(mode)
    assert heard == ["", "cool", "cool", "cool", "heat", "heat", "heat", "", ""]


@given(
    st.lists(st.tuples(st.sampled_from(SETTINGS), st.floats(0.0, 400.0)), min_size=1, max_size=20),
    st.floats(0.0, 400.0),
    st.floats(0.0, 400.0),
)
def test_least_times_are_kept(steps: list[tuple[str, float]], off_s: float, on_s: float) -> None:
    """Y1 closes just where it is called and its least time off is over, and opens as gently as it may."""
    stat = Thermostat(min_off_s=off_s, min_on_s=on_s)
    timing, now_s, mode, opened_s, closed_s = Timing(), 0.0, "", -math.inf, -math.inf
    for call, pause_s in steps:
        gentle = call in ("satisfied", "fan")  # these leave the mode as it was
        mode, was = mode_after(mode, call), "Y1" in timing.called
        timing = timing.wants(stat, terminals_for(call), call, mode, now_s)
        on, called = "Y1" in timing.called, "Y1" in terminals_for(call)
        rested, ran = now_s >= opened_s + off_s - 1e-9, now_s >= closed_s + on_s - 1e-9
        assert on == (called and rested if not was else called or (gentle and not ran))
        opened_s, closed_s = now_s if was and not on else opened_s, now_s if on and not was else closed_s
        now_s += pause_s


def test_waits_end_when_they_say() -> None:
    """A timer says when its wait is over; off ends a call at once, satisfied only after the least time on."""
    stat = Thermostat(min_off_s=300.0, min_on_s=120.0)
    one = Timing().wants(stat, terminals_for("heat-1"), "heat-1", "heat", 10.0)
    kept = one.wants(stat, frozenset(), "satisfied", "heat", 20.0)
    assert "Y1" in kept.called
    assert kept.next_s(stat, frozenset(), 20.0) == 130.0
    assert "Y1" not in kept.wants(stat, frozenset(), "satisfied", "heat", 130.0).called
    stopped = one.wants(stat, frozenset(), "off", "", 20.0)
    assert "Y1" not in stopped.called
    assert stopped.next_s(stat, terminals_for("cool-1"), 30.0) == 320.0


@pytest.mark.parametrize(
    "wrong",
    [
        {"power": "solar"},
        {"holds_valve": True},
        {"min_off_s": -1.0},
        {"min_on_s": math.nan},
        {"store_s": math.inf},
    ],
)
def test_thermostats_that_do_not_exist(wrong: dict[str, object]) -> None:
    """A thermostat with a choice that there isn't is refused by the name of the choice."""
    with pytest.raises(BadParameter, match=next(iter(wrong))):
        Thermostat(**wrong)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "wrong",
    [
        {"heat": "solar"},
        {"heat_stages": 3},
        {"heat_stages": True},
        {"emergency_by": "both"},
        {"defrost_heat": 1},
        {"high_pressure": "no"},
        {"lockout": "board"},
        {"lockout": "relay"},
        {"furnace_blower_on_s": -1.0},
        {"valve": "X"},
    ],
)
def test_equipment_that_does_not_exist(wrong: dict[str, object]) -> None:
    """Equipment with a choice that there isn't is refused by the name of the choice."""
    with pytest.raises(BadParameter, match=next(iter(wrong))):
        Equipment(**wrong)  # type: ignore[arg-type]


def test_lockouts_leave_no_band_without_heat() -> None:
    """The lockout of second heat lies at or above the compressor's; equal ones make a changeover."""
    OutdoorThermostat(2.0, 2.0)
    with pytest.raises(BadParameter, match="no heat"):
        OutdoorThermostat(1.0, 2.0)
    with pytest.raises(BadParameter, match="auxiliary_above_c"):
        OutdoorThermostat()
    for at_c in (-30.0, 2.0, 2.1, 40.0):
        assert OutdoorThermostat(2.0, 2.0).closed(at_c)


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("[equipment]\nvalve='none'\n[runs.outdoor]\nconductors=['R','C','Y1','O']", "conductors has O"),
        ("[runs.outdoor]\nconductors = ['R', 'C', 'Y1']\n[equipment]\nvalve='none'\n"
         "[runs.thermostat]\nconductors=['R','C','Y1','W2']", "W2"),
        ("[equipment]\nemergency_by='W1'\n[outdoor_thermostat]\nauxiliary_above_c=3.0", "emergency_by"),
        ("[equipment]\nheat='none'\n[outdoor_thermostat]\nauxiliary_above_c=3.0", "heat is none"),
        ("[outdoor_thermostat]\nat='roof'\nauxiliary_above_c=3.0", "outdoor_thermostat.at"),
        ("[thermostat]\npower='common'\n[runs.thermostat]\nconductors=['R','Y1']", "lacks C"),
    ],
)  # fmt: skip
def test_jobs_that_do_not_hold_together(text: str, named: str) -> None:
    """A job whose new parts contradict each other is refused in a sentence that names the key."""
    with pytest.raises(BadJob, match=named):
        job_from_toml(f"name = 'wrong'\n{text}")


def test_only_a_thermostat_without_c_may_lack_it() -> None:
    """On a battery, or stealing, a thermostat needs no C; a link to it does."""
    job = demo_job("full-cable").with_electronics("thermostat", power="battery")
    assert job.with_run("thermostat", conductors=("R", *job.call_terminals))
    with pytest.raises(BadJob, match="lacks C"):
        job.with_run("outdoor", conductors=("R", "Y1"))


def test_faults_are_those_of_the_parts_that_are_there() -> None:
    """Each new part can break where it is, and nowhere else."""
    for part in ("out.high-pressure", "air.interlock", "air.furnace"):
        assert part not in fault_parts(demo_job("full-cable"))
        assert part in fault_parts(demo_job("earth-lockout"))
    assert "stat.battery" in fault_parts(demo_job("old-cable"))
    assert not {"stat.valve", "out.defrost-board", "out.reversing-valve"} & set(
        fault_parts(demo_job("four-wire"))
    )
    with pytest.raises(BadFault):
        as_faults("air.outdoor-thermostat=stuck-open", demo_job("full-cable"))


def test_conductors_of_conventional_cooling() -> None:
    """A job without a reversing valve has no conductor for one, and no D."""
    with pytest.raises(BadJob, match="no defrost board"):
        demo_job("four-wire").with_run("outdoor", conductors=("R", "C", "Y1", "D"))
    assert Run(conductors=("R", "Y1", "W2")).conductors[2] == "W2"
