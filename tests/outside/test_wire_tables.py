"""Copper wire against handbook tables and the electrical code.

Sources, each beside its check: ASTM B258 (gauge), IEC 60028 (copper), handbook wire tables, NFPA 70 (NEC)
chapter 9 table 8, cable makers' sheets. All were seen as quoted by third parties, not in the standards
themselves.
"""

from __future__ import annotations

import math

import pytest

from lessonkit.copper import wire
from lessonkit.copper.wire import FOOT_M

KILOFOOT_M = 1000 * FOOT_M

# Handbook wire table, solid copper at 20 C (Floyd, as printed by HyperPhysics "Common Wire Gauges"; the same
# values go back to NBS Handbook 100, from memory): gauge -> ohms per 1000 feet.
HANDBOOK_20_C = {24: 25.67, 22: 16.14, 20: 10.15, 18: 6.385, 16: 4.016, 14: 2.525, 12: 1.588}

# NFPA 70 (NEC) chapter 9 table 8, uncoated copper at 75 C:
# gauge -> circular mils, ohms per 1000 feet solid, the same stranded.
CODE_75_C = {18: (1620, 7.77, 7.95), 16: (2580, 4.89, 4.99), 14: (4110, 3.07, 3.14), 12: (6530, 1.93, 1.98)}


@pytest.mark.parametrize(("gauge", "ohm_per_kft"), HANDBOOK_20_C.items())
def test_handbook_resistance_at_20_c(gauge: int, ohm_per_kft: float) -> None:
    """Solid copper at 20 C agrees with the handbook's wire table to 0.1 per cent."""
    assert wire.resistance_per_m(gauge) * KILOFOOT_M == pytest.approx(ohm_per_kft, rel=1e-3)


@pytest.mark.parametrize(("gauge", "row"), CODE_75_C.items())
def test_code_table_8_at_75_c(gauge: int, row: tuple[int, float, float]) -> None:
    """Solid and stranded copper at 75 C agree with NEC chapter 9 table 8."""
    mils, solid, stranded = row
    assert wire.circular_mils(gauge) == pytest.approx(mils, rel=3e-3)
    assert wire.resistance_per_m(gauge, 75.0) * KILOFOOT_M == pytest.approx(solid, rel=3e-3)
    # The printed stranded values are rounded to three figures, and so is their ratio to the solid ones.
    assert wire.resistance_per_m(gauge, 75.0, stranded=True) * KILOFOOT_M == pytest.approx(stranded, rel=6e-3)


def test_code_temperature_factor() -> None:
    """The code's coefficient from 75 C on, 0.00323, is ours from 20 C on (NEC chapter 9 table 8, note 2)."""
    per_kelvin = wire.resistance_at(1.0, 76.0) / wire.resistance_at(1.0, 75.0) - 1.0
    assert per_kelvin == pytest.approx(0.00323, abs=5e-6)


def test_gauge_ladder() -> None:
    """Sizes step by the 39th root of 92, from 0.46 to 0.005 inch (ASTM B258)."""
    assert wire.diameter_m(-3) == pytest.approx(0.46 * 0.0254)
    assert wire.diameter_m(36) == pytest.approx(0.005 * 0.0254)
    assert wire.diameter_m(17) / wire.diameter_m(18) == pytest.approx(1.1229322, rel=1e-7)
    assert wire.area_m2(15) / wire.area_m2(18) == pytest.approx(2.00503, rel=1e-5)


def test_copper_of_the_international_standard() -> None:
    """Copper of 58 MS/m is 0.017241 ohm mm2 per metre at 20 C (IEC 60028)."""
    ohm_of_a_square_millimetre = wire.resistance_per_m(18) * wire.area_m2(18) * 1e6
    assert ohm_of_a_square_millimetre == pytest.approx(0.017241, abs=5e-7)


def test_resistivity_in_circular_mils() -> None:
    """A circular-mil foot of copper has 10.371 ohms at 20 C (handbooks, from memory)."""
    circular_mil_foot = wire.resistance_per_m(18) * FOOT_M * wire.circular_mils(18)
    assert circular_mil_foot == pytest.approx(10.371, rel=1e-4)


def test_hundred_feet_out_and_back() -> None:
    """An ohmmeter on 100 ft of 18 AWG, far end twisted, reads 1.277 ohm: twice 0.6385 of the wire table."""
    assert wire.loop_ohm(100 * FOOT_M, 18) == pytest.approx(2 * 0.6385, rel=1e-3)
    assert wire.distance_to_short_m(0.90, 18) / FOOT_M == pytest.approx(0.90 / (2 * 6.385e-3), rel=1e-3)


def test_geometry_brackets_the_sheets() -> None:
    """Two insulated 18 AWG wires side by side land where cable makers' sheets do.

    Sheet for 18 AWG solid thermostat cable: conductor 0.0401 in, insulated 0.0519 in. Sheets of like cable
    print 21 (22/2), 23 (16/2), 40 (18/3 shielded) and 47.6 pF/ft (16/6); none says it of thermostat cable.
    """
    picofarad_per_ft = [
        wire.pair_capacitance_per_m(18, 0.0519 * 0.0254, er) * FOOT_M * 1e12 for er in (1.5, 2.3, 3.5)
    ]
    assert picofarad_per_ft == pytest.approx([17, 26, 40], abs=1.0)
    low, high = (value * FOOT_M * 1e12 for value in wire.CAPACITANCE_RANGE_F_PER_M)
    assert low <= min(picofarad_per_ft) <= 21 <= 23 <= 47.6 <= high
    assert low < wire.DEFAULT_CAPACITANCE_F_PER_M * FOOT_M * 1e12 < high


def test_far_apart_geometry_is_the_thin_wire_limit() -> None:
    """Far apart, pi eps / acosh(D/d) becomes pi eps / ln(2D/d), the textbook's thin-wire form."""
    spacing = 1.0
    thin = math.pi * 8.8541878128e-12 / math.log(2 * spacing / wire.diameter_m(18))
    assert wire.pair_capacitance_per_m(18, spacing, 1.0) == pytest.approx(thin, rel=1e-5)
