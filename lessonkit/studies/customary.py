"""US customary units beside SI: degrees Fahrenheit, feet, Btu per hour, tons, therms.

The package reckons in SI throughout.  The heat pump trade of North America rates, sells and sets in these
units, and the rating standard's points are whole degrees Fahrenheit; so each page shows both, side by side,
and each conversion is done here, once.

Sources: the international table Btu, 1055.05585262 J (ISO 31-4, from memory); a therm is 100 000 Btu; a ton
of refrigeration is 12 000 Btu/h.
"""

from __future__ import annotations

__all__ = ["BTU_H_W", "BTU_J", "FOOT_M", "THERM_KWH", "c_to_f", "f_to_c", "kelvin_to_f"]

BTU_J = 1055.05585262
#: One Btu per hour in watts.
BTU_H_W = BTU_J / 3600.0
#: One foot in metres, exactly.
FOOT_M = 0.3048
#: One therm in kilowatt-hours: 29.307.
THERM_KWH = 1e5 * BTU_J / 3.6e6


def f_to_c(fahrenheit: float) -> float:
    """Return degrees Celsius of a temperature in degrees Fahrenheit."""
    return (fahrenheit - 32.0) / 1.8


def c_to_f(celsius: float) -> float:
    """Return degrees Fahrenheit of a temperature in degrees Celsius."""
    return celsius * 1.8 + 32.0


def kelvin_to_f(kelvin: float) -> float:
    """Return a difference in degrees Fahrenheit: a droop of 1 K is one of 1.8 F."""
    return kelvin * 1.8
