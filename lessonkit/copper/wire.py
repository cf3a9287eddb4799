"""Copper wire: what a metre of it brings into a circuit.

A conductor of a cable enters every circuit here as two numbers per metre: ohms in series, and farads to
its neighbour. Both follow from how thick the copper is, how warm it is, and how far away the neighbour lies.

    gauge_awg   American wire gauge; a larger number is a THINNER wire, and 3 gauges thinner halves the area
    length_m    length of the run, one way; the current goes out AND back, so a loop has twice the copper
    temp_c      temperature of the copper in degrees Celsius

Where the model stops: solid annealed copper at 100 % IACS, resistance at 0 Hz (the skin is 8.5 mm deep at
60 Hz, so a control wire is the same there), no inductance (about 0.56 uH per metre of pair: 0.2 milliohm at
60 Hz, where the copper has 20 and more). Capacitance is the pair's own, with the other conductors far away;
a real sheath adds to it, which is why the default stands in the middle of a wide range.

Sources: ASTM B258 (gauge), IEC 60028 (resistivity and its temperature coefficient), cable makers' sheets
(capacitance; no maker states it for plain thermostat cable).
"""

from __future__ import annotations

import math

from lessonkit.errors import BadParameter, require, require_finite, require_positive

__all__ = [
    "ALPHA_20_PER_K",
    "CAPACITANCE_RANGE_F_PER_M",
    "CONTROL_GAUGES_AWG",
    "DEFAULT_CAPACITANCE_F_PER_M",
    "FOOT_M",
    "RESISTIVITY_20_OHM_M",
    "STRANDED_FACTOR",
    "area_m2",
    "circular_mils",
    "diameter_m",
    "distance_to_short_m",
    "loop_ohm",
    "pair_capacitance_per_m",
    "resistance_at",
    "resistance_per_m",
]

FOOT_M = 0.3048
"""One foot in metres, exactly."""

INCH_M = 0.0254
"""One inch in metres, exactly."""

RESISTIVITY_20_OHM_M = 1e-6 / 58.0
"""Annealed copper at 20 C: a wire of 1 mm2 and 58 m has one ohm (IEC 60028)."""

ALPHA_20_PER_K = 0.00393
"""Copper's resistance grows by this share of its 20 C value per kelvin (IEC 60028)."""

STRANDED_FACTOR = 1.0228
"""A stranded conductor over a solid one of its gauge: the strands lie longer (NEC chapter 9 table 8)."""

CONTROL_GAUGES_AWG = (24, 22, 20, 18, 16, 14)
"""Gauges met in control cable, thin to thick."""

DEFAULT_CAPACITANCE_F_PER_M = 25e-12 / FOOT_M
"""Conductor to neighbour in unshielded control cable: 25 pF per foot, 82 pF per metre."""

CAPACITANCE_RANGE_F_PER_M = (15e-12 / FOOT_M, 50e-12 / FOOT_M)
"""From a loose thin pair to a bundle of six: 15 to 50 pF per foot."""

_VACUUM_PERMITTIVITY_F_PER_M = 8.8541878128e-12


def diameter_m(gauge_awg: float) -> float:
    """Diameter of a solid wire of a gauge, in metres.

    The gauge is a geometric ladder of 39 steps from 0.46 inch (gauge 0000, here -3) to 0.005 inch (gauge 36).
    Raises `BadParameter` outside -3 to 44. Source: ASTM B258.
    """
    number = require_finite("gauge_awg", gauge_awg, "an American wire gauge from -3 (written 0000) to 44")
    require(-3 <= number <= 44, "gauge_awg", gauge_awg, "an American wire gauge from -3 (written 0000) to 44")
    return float(0.005 * INCH_M * 92.0 ** ((36.0 - number) / 39.0))


def area_m2(gauge_awg: float) -> float:
    """Copper cross-section of a solid wire, in square metres."""
    return math.pi / 4.0 * diameter_m(gauge_awg) ** 2


def circular_mils(gauge_awg: float) -> float:
    """Cross-section in circular mils.

    The trade's unit in North America: one circular mil is a circle one thousandth of an inch across; square
    the diameter in mils, and no pi.
    """
    return (diameter_m(gauge_awg) / INCH_M * 1000.0) ** 2


def resistance_at(ohm_20: float, temp_c: float) -> float:
    """Resistance of copper at a temperature, from its value at 20 C.

    A straight line, good from -80 C to 200 C; `BadParameter` outside. Source: IEC 60028.
    """
    allowed = "a temperature from -80 to 200 degrees Celsius"
    temp = require_finite("temp_c", temp_c, allowed)
    require(-80.0 <= temp <= 200.0, "temp_c", temp_c, allowed)
    return ohm_20 * (1.0 + ALPHA_20_PER_K * (temp - 20.0))


def resistance_per_m(gauge_awg: float, temp_c: float = 20.0, *, stranded: bool = False) -> float:
    """Ohms of one metre of one conductor.

    Parameters: gauge in AWG, temperature of the copper in Celsius, and whether it is stranded.

    >>> round(resistance_per_m(18) * 304.8, 3)     # ohms per 1000 feet, as a wire table prints it
    6.385
    """
    ohm_20 = RESISTIVITY_20_OHM_M / area_m2(gauge_awg) * (STRANDED_FACTOR if stranded else 1.0)
    return resistance_at(ohm_20, temp_c)


def loop_ohm(length_m: float, gauge_awg: float, temp_c: float = 20.0, *, stranded: bool = False) -> float:
    """Ohms out and back over a run: twice its length of wire.

    This is what an ohmmeter reads on two conductors whose far ends are twisted together.

    >>> round(loop_ohm(100 * FOOT_M, 18), 3)
    1.277
    """
    length = require_positive("length_m", length_m, zero_ok=True, unit="metres")
    return 2.0 * length * resistance_per_m(gauge_awg, temp_c, stranded=stranded)


def distance_to_short_m(reading_ohm: float, gauge_awg: float, temp_c: float = 20.0) -> float:
    """How far away two conductors touch, from the loop reading.

    The current goes to the short and comes back, so the distance is half of the copper that was measured.
    """
    reading = require_positive("reading_ohm", reading_ohm, zero_ok=True, unit="ohms")
    return reading / (2.0 * resistance_per_m(gauge_awg, temp_c))


def pair_capacitance_per_m(gauge_awg: float, spacing_m: float, permittivity: float = 2.3) -> float:
    """Farads per metre between two round wires, from their geometry.

    C = pi eps0 er / acosh(D / d): `spacing_m` is D, centre to centre; `permittivity` is the effective er of
    insulation and air together, 1.5 (mostly air) to 3.5 (mostly PVC). Raises `BadParameter` where the wires
    would touch. Source: the two-wire line of any field theory text.
    """
    spacing = require_positive("spacing_m", spacing_m, unit="metres")
    er = require_finite("permittivity", permittivity, "a relative permittivity of 1 (air) or more")
    require(er >= 1.0, "permittivity", permittivity, "a relative permittivity of 1 (air) or more")
    bare = diameter_m(gauge_awg)
    if spacing <= bare:
        raise BadParameter("spacing_m", spacing_m, f"more than the wire's own diameter of {bare:.3g} m")
    return math.pi * _VACUUM_PERMITTIVITY_F_PER_M * er / math.acosh(spacing / bare)
