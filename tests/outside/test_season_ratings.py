"""Heat pump ratings, balance points, frost and dual fuel against rating standard, reports and worked answers.

Sources, each beside its check: AHRI 210/240 and 10 CFR 430 appendix M, as two open implementations have them;
EPRI EM-4226 by way of the DOE-2.1E and EnergyPlus defrost equations; worked answers that third parties
published, two of them wrong; psychrolib for moist air, after ASHRAE Fundamentals. What was only reckoned from
a source's equations by an independent script says so.
"""

from __future__ import annotations

import math

import numpy as np
import psychrolib
import pytest

from lessonkit.bench.outdoor_board import DEMAND_AT
from lessonkit.studies import balance, frost
from lessonkit.studies.customary import BTU_H_W, THERM_KWH, c_to_f, f_to_c
from lessonkit.studies.house import HeatPump, House, Load, OutdoorThermostat
from lessonkit.studies.ratings import (
    REGIONS,
    Rating,
    Region,
    bin_load_w,
    hspf,
    part_load_factor,
    single_speed,
)

#: The machine of all reckoned values: 36 000 Btu/h and a COP of 3.5 at 47 F, 24 000 Btu/h and 2.4 at 17 F.
MACHINE = single_speed(36e3 * BTU_H_W, 3.5, 24e3 * BTU_H_W, 2.4)


def load(btu_h_f: float, ends_f: float) -> Load:
    """Return a load of so many Btu/h for each degree Fahrenheit, none from `ends_f` on."""
    return Load(ua_w_per_k=btu_h_f * BTU_H_W * 1.8, indoor_c=f_to_c(ends_f))


def test_frost_point_where_it_was_not_tested() -> None:
    """Q35 = 0.90 [Q17 + 0.6 (Q47 - Q17)], P35 = 0.985 [P17 + 0.6 (P47 - P17)] (AHRI 210/240, appendix M)."""
    capacity_w, power_w = MACHINE.frosted
    assert capacity_w / BTU_H_W == pytest.approx(28080.0)
    assert power_w == pytest.approx(2936.24, abs=0.01)
    tested = Rating(10.0, 3.0, 6.0, 2.9, 8.0, 2.95)
    assert tested.frosted == (8.0, 2.95)


def test_the_lines_meet_the_rating_points() -> None:
    """At 17, 35 and 47 F the lines give what was rated (equations 11.117 to 11.119 of the 2017 standard)."""
    given = MACHINE.capacity_w(np.array([f_to_c(17.0), f_to_c(35.0), f_to_c(47.0)])) / BTU_H_W
    assert given == pytest.approx([24000.0, 28080.0, 36000.0])


def test_the_rule_jumps_at_45_f() -> None:
    """Capacity jumps from 30 347 to 35 200 Btu/h at 45 F, or 13.8 % down (reckoned from the rule)."""
    under, over = MACHINE.capacity_w(np.array([f_to_c(45.0) - 1e-9, f_to_c(45.0) + 1e-9])) / BTU_H_W
    assert (under, over) == (pytest.approx(30346.7, abs=0.1), pytest.approx(35200.0, abs=0.1))
    assert 1 - under / over == pytest.approx(0.138, abs=5e-4)


@pytest.mark.parametrize("region", REGIONS.values(), ids=REGIONS)
def test_shares_of_each_region_sum_to_one(region: Region) -> None:
    """The bins of each climate region sum to 1.000 (AHRI 210/240-2017; the 2023 tables do not)."""
    assert math.fsum(region.fractions) == pytest.approx(1.0, abs=1e-9)


def test_design_temperatures_of_the_regions() -> None:
    """Design temperatures are 37, 27, 17, 5, -10 and 30 F, and region IV has 15 bins (same source)."""
    assert [region.design_f for region in REGIONS.values()] == [37, 27, 17, 5, -10, 30]
    assert c_to_f(REGIONS["IV"].outdoor_c) == pytest.approx(np.arange(62.0, -9.0, -5.0))


def test_building_load_of_the_standard() -> None:
    """The load of a 36 000 Btu/h machine in region IV at 5, 17, 35 and 47 F (reckoned from the equations)."""
    at = np.array([f_to_c(t) for t in (5.0, 17.0, 35.0, 47.0)])
    watts = bin_load_w(36e3 * BTU_H_W, REGIONS["IV"], at)
    assert watts / BTU_H_W == pytest.approx([26950.0, 21560.0, 13475.0, 8085.0])


@pytest.mark.parametrize(
    ("cycling_loss", "off_f", "on_f", "expected"),
    [
        (0.25, -100.0, -100.0, 8.1008),
        (0.0, -100.0, -100.0, 9.0251),
        (0.25, 17.0, 17.0, 6.6903),
        (0.25, 17.0, 27.0, 5.8954),
    ],
)
def test_seasonal_factor_of_region_iv(
    cycling_loss: float, off_f: float, on_f: float, expected: float
) -> None:
    """HSPF of the machine, with and without cycling and cut-out (an independent script of the equations)."""
    found = hspf(MACHINE, "IV", cycling_loss, f_to_c(off_f), f_to_c(on_f))
    assert found == pytest.approx(expected, abs=1e-3)


def test_part_load_factor() -> None:
    """1 - Cd (1 - X) with Cd 0.25: half time costs an eighth (appendix M)."""
    assert part_load_factor(np.array([0.0, 0.5, 1.0])) == pytest.approx([0.75, 0.875, 1.0])


@pytest.mark.parametrize(
    ("btu_h_f", "ends_f", "dry_f", "frosted_f"),
    [
        (30e3 / 65, 70, 17.536, 17.671),
        (500, 65, 17.000, 17.000),
        (600, 65, 21.800, 22.806),
        (700, 65, 25.727, 27.360),
        (800, 65, 29.000, 31.026),
        (900, 65, 31.769, 34.041),
        (1000, 65, 34.143, 36.565),
        (0.77 * 35e3 / 60, 65, 14.127, 14.127),
        (1.15 * 36e3 / 50, 55, 23.078, 24.077),
    ],
)
def test_balance_points(btu_h_f: float, ends_f: float, dry_f: float, frosted_f: float) -> None:
    """T = (UA Tin - Q17 + 17 s)/(UA + s), the formula of two published pages; frost reckoned the same way.

    The last two loads are those of the 2017 and 2023 rating standards.
    """
    slope = 400.0
    house = load(btu_h_f, ends_f)
    assert (btu_h_f * ends_f - 24e3 + 17 * slope) / (btu_h_f + slope) == pytest.approx(dry_f, abs=1e-3)
    assert c_to_f(balance.thermal_balance_c(house, MACHINE, frost=False)) == pytest.approx(dry_f, abs=1e-3)
    assert c_to_f(balance.thermal_balance_c(house, MACHINE)) == pytest.approx(frosted_f, abs=1e-3)


def test_published_error_a_balance_point_of_27_f() -> None:
    """A published page says 27 F for 36/24 000 Btu/h, 30 000 at 5 F, 70 F indoors; its formula 17.5 F."""
    house = Load(design_w=30e3 * BTU_H_W, design_outdoor_c=f_to_c(5.0), indoor_c=f_to_c(70.0))
    found_f = c_to_f(balance.thermal_balance_c(house, MACHINE, frost=False))
    assert found_f == pytest.approx(17.536, abs=1e-3)
    assert abs(found_f - 27.0) > 9


def test_a_crossing_inside_the_jump_is_45_f() -> None:
    """A load between the two values at 45 F has its balance point at 45 F, on neither line."""
    house = load(33e3 / 20, 65)  # 33 000 Btu/h at 45 F
    assert c_to_f(balance.thermal_balance_c(house, MACHINE)) == pytest.approx(45.0)


def test_dual_fuel_of_a_published_answer() -> None:
    """0.085 a kWh against 1.09 a therm delivered breaks even at COP 2.28 (a forum's worked answer)."""
    assert balance.break_even_cop(0.085, 1.09 / THERM_KWH) == pytest.approx(2.28, abs=0.01)
    assert balance.break_even_cop(0.085, 0.96 / THERM_KWH, 0.93) == pytest.approx(2.413, abs=1e-3)


@pytest.mark.parametrize(("efficiency", "expected"), [(0.80, 3.390), (0.95, 4.025)])
def test_dual_fuel_of_a_spreadsheet(efficiency: float, expected: float) -> None:
    """0.83 a therm at 80 and 95 %, beside 0.12 a kWh (a trade forum's spreadsheet; break-even reckoned)."""
    assert balance.break_even_cop(0.12, 0.83 / THERM_KWH, efficiency) == pytest.approx(expected, abs=1e-3)
    net = 0.83 / efficiency
    assert net == pytest.approx({0.80: 1.038, 0.95: 0.874}[efficiency], abs=1e-3)


def test_a_therm_in_kilowatt_hours() -> None:
    """100 000 Btu are 29.307 kWh (3412.142 Btu in a kWh, handbooks)."""
    assert pytest.approx(1e5, rel=1e-6) == 3412.142 * THERM_KWH


def test_published_error_a_changeover_at_20_f() -> None:
    """A published guide calls 0.15 a kWh, 1.20 a therm at 90 %, COP 2.5 at 20 F a balance: it takes 3.297."""
    needed = balance.break_even_cop(0.15, 1.20 / THERM_KWH, 0.90)
    assert needed == pytest.approx(3.297, abs=1e-3)
    heat_pump_a_therm, furnace_a_therm = 0.15 * THERM_KWH / 2.5, 1.20 / 0.90
    assert (heat_pump_a_therm, furnace_a_therm) == (
        pytest.approx(1.758, abs=1e-3),
        pytest.approx(1.333, abs=1e-3),
    )
    # A machine with just that COP at 20 F has its economic balance far above.
    at_20 = single_speed(10e3, 3.5, 7e3, 2.39)
    assert float(at_20.cop(f_to_c(20.0))) == pytest.approx(2.5, abs=0.05)
    assert c_to_f(balance.economic_balance_c(at_20, needed)) > 40


def test_published_error_auxiliary_heat_locked_out_below_the_balance_point() -> None:
    """A published calculator advises a lockout some degrees below the balance point: that leaves people cold.

    The invariant is that auxiliary heat is locked out at the thermal balance point or above (35 to 40 F is
    usual).
    """
    house = House("h", load(600, 65), HeatPump(MACHINE))
    balance_c = balance.thermal_balance_c(house.load, MACHINE)
    advised = house.with_lockouts(auxiliary_above_c=balance_c - 2.0)
    assert "nothing makes up what is missing" in balance.lockout_mistakes(advised)[0]
    assert balance.lockout_mistakes(house.with_lockouts(auxiliary_above_c=f_to_c(38.0))) == ()


def test_documented_pair_of_lockouts_is_sound() -> None:
    """Compressor 5 F and auxiliary 40 F, as a national housing model documents, break no rule."""
    pair = OutdoorThermostat(auxiliary_above_c=f_to_c(40.0), compressor_below_c=f_to_c(5.0))
    assert (
        balance.lockout_mistakes(House("h", load(600, 65), HeatPump(MACHINE), outdoor_thermostat=pair)) == ()
    )


def test_defrost_on_demand_of_the_worked_example() -> None:
    """dw 0.0005: 102 minutes to 75 %, share 0.0334, capacity 0.846 (design note on EPRI EM-4226, worked)."""
    left = frost.defrost_derating("demand", 0.0, 0.0005)
    assert frost.minutes_to_trigger(0.0005) == pytest.approx(102.0, abs=0.2)
    assert float(left.share) == pytest.approx(0.0334, abs=5e-5)
    assert float(left.capacity) == pytest.approx(0.846, abs=5e-4)
    assert pytest.approx(3.525) == 7.8 - 5.7 * DEMAND_AT  # minutes that such a defrost lasts
    assert float(frost.frosted_capacity(0.0005, np.linspace(0, 60, 601)).mean()) == pytest.approx(0.9405)


@pytest.mark.parametrize(
    ("dw", "minutes", "share", "demand", "timed"),
    [
        (0.0005, 101.9, 0.03342, (0.8458, 0.9221), (0.8553, 0.8818)),
        (0.0008957, 56.9, 0.05833, (0.8240, 0.8984), (0.8129, 0.8674)),
        (0.001, 50.9, 0.06468, (0.8184, 0.8923), (0.8017, 0.8636)),
        (0.0015, 34.0, 0.09398, (0.7928, 0.8643), (0.7480, 0.8453)),
        (0.002, 25.5, 0.12151, (0.7687, 0.8381), (0.6943, 0.8271)),
    ],
)
def test_defrost_by_humidity(
    dw: float, minutes: float, share: float, demand: tuple[float, float], timed: tuple[float, float]
) -> None:
    """Defrost by demand and by time for five humidities (an independent script, EnergyPlus equations)."""
    assert frost.minutes_to_trigger(dw) == pytest.approx(minutes, abs=0.06)
    sensed, clocked = frost.defrost_derating("demand", 0.0, dw), frost.defrost_derating("timed", 0.0, dw)
    assert float(sensed.share) == pytest.approx(share, abs=6e-6)
    assert (float(sensed.capacity), float(sensed.power)) == pytest.approx(demand, abs=6e-5)
    assert (float(clocked.capacity), float(clocked.power)) == pytest.approx(timed, abs=6e-5)


def test_coil_temperature_in_both_units() -> None:
    """0.82 T - 8.589 C is 0.82 T - 9.70 F; an open script's 0.82 (T - 9.7) F is 1.75 F off."""
    outdoor_f = np.array([0.0, 17.0, 35.0])
    coil_f = frost.coil_c((outdoor_f - 32) / 1.8) * 1.8 + 32
    assert coil_f == pytest.approx(0.82 * outdoor_f - 9.70, abs=0.01)
    assert 0.82 * (outdoor_f - 9.7) - coil_f == pytest.approx(1.75, abs=0.01)


def test_saturation_against_psychrolib() -> None:
    """Saturation pressure and humidity ratio agree with psychrolib (ASHRAE Fundamentals 2017) to 0.01 %."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    air = np.array([-30.0, -15.0, -8.33, -0.5, 0.5, 5.0, 20.0])
    theirs = [psychrolib.GetSatVapPres(t) for t in air]
    assert frost.saturation_pa(air) == pytest.approx(theirs, rel=1e-4)
    ratios = [psychrolib.GetHumRatioFromVapPres(p, 95000.0) for p in theirs]
    assert frost.humidity_ratio(theirs, 95000.0) == pytest.approx(ratios, rel=1e-5)


@pytest.mark.parametrize(
    ("air_c", "relative", "expected"),
    [
        (2, 0.90, 0.00183),
        (0, 0.90, 0.00158),
        (-8.3, 0.75, 0.00041),
        (-15, 0.70, 0.00013),
        (2, 0.57, 0.000388),
    ],
)
def test_water_lost_on_the_coil(air_c: float, relative: float, expected: float) -> None:
    """Frost is fastest near 2 C and slow in deep cold; dew points by psychrolib."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    dew_c = psychrolib.GetTDewPointFromRelHum(air_c, relative)
    assert float(frost.water_lost(air_c, dew_c)) == pytest.approx(expected, abs=6e-6)
