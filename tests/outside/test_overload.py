"""What burns a control transformer and what saves it, against what is published; stories told step by step.

Sources: 40 VA at 24 V is 1.67 A, and with a 3 A fuse 1.7 to 3 A burn the transformer with the fuse intact
(a contractors' page, seen).  Class 2: 100 VA, 8 A inherently limited (NEC chapter 9, table 11(A), quoted by
code pages), largest overcurrent device 100/Vmax (from memory).  Winding temperatures of class A: 105 C (IEC
60085) and 150 C at the most in an overload (IEC 61558-1), both from memory.  Breakers: within an hour at
135 %, within two minutes at 200 % up to 30 A (UL 489, from memory).  Two 24 V sources out of phase: 48 V (2
x 24, arithmetic).
"""

from __future__ import annotations

import math

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.bench.power import BREAKER_TAU_S, BURNS_AT, TRIPS_AT, WINDING_TAU_S, Load, Power
from lessonkit.job.model import Supply
from lessonkit.job.toml import demo_job, demo_names

HOUR_S = 3600.0


def amps_through(supply_va: float, ohm: float) -> tuple[Bench, float]:
    """Return a bench of a 3 A fuse whose R touches metal through some ohms, and the amperes that it gives."""
    job = demo_job("full-cable").with_supply(rated_va=supply_va, fuse_a=3.0)
    bench = Bench(job, call="fan", faults=f"thermostat.R=earth:{ohm}@0")
    return bench, bench.state.amps["air:fuse"]


@pytest.mark.parametrize("ohm", [10.5, 9.0, 7.5])
def test_a_3_a_fuse_lets_a_40_va_transformer_burn(ohm: float) -> None:
    """Between 1.7 and 3 A the transformer burns with the fuse intact (seen); the story is in the log."""
    bench, amps = amps_through(40.0, ohm)
    assert 1.7 * math.sqrt(BURNS_AT) <= amps * 1.02 <= 3.1
    bench.advance(3 * HOUR_S)
    told = [(event.name, event.what) for event in bench.log]
    assert told[:2] == [("air:blower-relay", "pulls in"), ("transformer air", "burns out")]
    assert ("fuse air", "blows") not in told
    assert ("stat:thermostat", "falls asleep") in told
    assert bench.state.fuses["air"] == "whole"


def test_the_same_current_harms_no_75_va_transformer() -> None:
    """3 A is within 75 / 24 = 3.1 A (computed): nothing happens, for as long as one likes."""
    bench, amps = amps_through(75.0, 8.5)
    assert 2.5 < amps < 3.125
    assert bench.advance(24 * HOUR_S).transformers["air"] == "whole"
    assert bench.state.overloaded == ()


def test_the_temperatures_behind_the_limit() -> None:
    """65 K above 40 C is class A at its rated load (105 C), 110 K is the 150 C that an overload may reach."""
    assert pytest.approx((150.0 - 40.0) / (105.0 - 40.0)) == BURNS_AT
    # One lump: cold, at 139 % of its amperes, it needs tau ln(x / (x - limit)), worked out by hand.
    over = 1.39**2
    by_hand_s = WINDING_TAU_S * math.log(over / (over - BURNS_AT))
    assert Power().due_s({"air": Load(1.39)}) == pytest.approx(by_hand_s)
    assert 50 * 60 < by_hand_s < 75 * 60


@pytest.mark.parametrize(("share", "most_s"), [(1.35, HOUR_S), (2.0, 120.0)])
def test_a_breaker_trips_within_its_times(share: float, most_s: float) -> None:
    """135 % within an hour, 200 % within two minutes, and the rated current never (UL 489, from memory)."""
    assert 1.0 < Power().due_s({"air": Load(0.0, share)}) < most_s
    assert Power().due_s({"air": Load(0.0, 1.0)}) == math.inf
    assert BREAKER_TAU_S * math.log(4 / (4 - TRIPS_AT)) == pytest.approx(Power().due_s({"x": Load(0.0, 2.0)}))


@pytest.mark.parametrize(("open_v", "most_a"), [(30.0, 3.33), (28.0, 3.57)])
def test_the_largest_device_of_a_source_that_is_not_limited(open_v: float, most_a: float) -> None:
    """100/Vmax is 3.33 A at 30 V and 3.57 A at 28 V (computed from the table's rule, from memory)."""
    assert Supply(open_v=open_v).largest_fuse_a == pytest.approx(most_a, abs=0.005)


def test_no_demo_job_has_a_fuse_beyond_class_2() -> None:
    """5 A behind 75 VA is more than 100/27.6 = 3.6 A, so the demo jobs have 3 A, which still carries them."""
    for name in demo_names():
        job = demo_job(name)
        supplies = [job.supply, *([job.outdoor_run.far_supply] if job.outdoor_run.far_supply else [])]
        assert all(one.fuse_a <= one.largest_fuse_a for one in supplies), name
        state = Bench(job, call="heat-aux", outdoor_c=-5.0).advance(1800)
        assert (state.fuse, state.overloaded) == ("whole", ()), name


def test_the_trap_of_two_sources_step_by_step() -> None:
    """Indoors off: the link dies, its relays let go, and the outdoor side stays live (common practice)."""
    bench = Bench("second-transformer", call="cool-1")
    bench.advance(30)
    bench.set_power(False, "air")
    state = bench.advance(20)
    told = [(event.name, event.what) for event in bench.log.since(30)]
    order = [
        ("air:blower-relay", "lets go"),
        ("stat:thermostat", "falls asleep"),
        ("out:contactor", "lets go"),
    ]
    assert [one for one in told if one in order] == order
    assert state.links["outdoor"].state in ("silent", "dead")
    assert state.between("out:R", "out:C") > 24


def test_a_transformer_exchanged_the_wrong_way_round() -> None:
    """Between the hot sides about 48 V, twice 24 (arithmetic), more at light load; all else is the same."""
    right, wrong = (Bench(name, call="cool-2").advance(30) for name in ("second-transformer", "out-of-phase"))
    assert right.between("air:R", "out:R") < 3, "what their loads make of them"
    assert 48.0 <= wrong.between("air:R", "out:R") <= 2 * 27.6
    both = sum(wrong.between(f"{place}:R", f"{place}:C") for place in ("air", "out"))
    assert wrong.between("air:R", "out:R") == pytest.approx(both, rel=0.01)
    assert wrong.responding == right.responding
