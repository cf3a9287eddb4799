"""Balance points and lockouts: above which outdoor temperature the heat pump carries the house, and pays.

    thermal balance     below it the heat pump alone is too small
    economic balance    below it a furnace makes heat for less money (dual fuel)
    changeover          dual fuel: the higher of the two, since furnace and heat pump don't run together

Both are crossings of straight pieces, so each is found exactly, piece by piece from the warm side.  At 45 F
the rating standard's line jumps; where the crossing lies inside the jump, 45 F is the answer.

A lockout set wrong costs money or warmth.  What must hold, whatever the machine:

    auxiliary heat is locked out at the thermal balance point or above, never below it
    the compressor is locked out below where auxiliary heat is allowed, or there is a band without any heat
    emergency heat overrides both; a defrost may use auxiliary heat at any outdoor temperature

Codes want auxiliary heat kept off while the heat pump can carry the load, except in defrost (IECC R403.1.2
and C403.4.1.1; the local code decides); 35 to 40 F is usual for its lockout (common practice).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from lessonkit.errors import require, require_finite, require_positive
from lessonkit.studies.customary import c_to_f
from lessonkit.studies.house import House, Load
from lessonkit.studies.ratings import Rating

__all__ = [
    "Balance",
    "balance_points",
    "break_even_cop",
    "economic_balance_c",
    "lockout_mistakes",
    "thermal_balance_c",
]

# The heat and the power of a machine at one end of a straight piece, and the temperature there -> a margin.
_Margin = Callable[[float, float, float], float]


def thermal_balance_c(load: Load, rating: Rating, frost: bool = True) -> float:
    """Return the outdoor temperature in C below which the machine alone is too small.

    `frost` False takes the line through H1 and H3 alone. Returns -inf where it carries the load down to -60
    C.
    """
    return _last_shortfall(rating, frost, lambda t, q, p: q - load.ua * (load.no_load_c - t))


def break_even_cop(electricity_per_kwh: float, fuel_per_kwh: float, efficiency: float = 1.0) -> float:
    """Return the coefficient of performance at which heat costs the same from both.

    Prices are for a kilowatt-hour; a price for a therm of fuel is divided by 29.307 (`customary.THERM_KWH`).
    """
    require_positive("electricity_per_kwh", electricity_per_kwh)
    require_positive("fuel_per_kwh", fuel_per_kwh)
    share = require_finite("efficiency", efficiency)
    require(0 < share <= 1, "efficiency", efficiency, "above 0 and at most 1")
    return electricity_per_kwh * share / fuel_per_kwh


def economic_balance_c(rating: Rating, cop: float, frost: bool = True) -> float:
    """Return the outdoor temperature in C below which the machine's steady COP is under `cop`.

    Returns -inf where it is never so down to -40 C, and inf where it is so up to 60 C.
    """
    require_positive("cop", cop)
    return _last_shortfall(rating, frost, lambda t, q, p: q - cop * p)


def _last_shortfall(rating: Rating, frost: bool, margin: _Margin) -> float:
    """Return the highest temperature below which a margin is negative, piece by straight piece."""
    warmest = True
    for low_c, high_c, q_low, q_high, p_low, p_high in rating.segments(frost):
        at_low, at_high = margin(low_c, q_low, p_low), margin(high_c, q_high, p_high)
        if at_high < 0:
            return math.inf if warmest else high_c
        if at_low < 0:
            return high_c - (high_c - low_c) * at_high / (at_high - at_low)
        warmest = False
    return -math.inf


@dataclass(frozen=True)
class Balance:
    """Where a house and its machine meet, in degrees Celsius outdoors; None where there is no such point.

    `low_stage_c` is where the low stage alone carries the load; `changeover_c` is for dual fuel.
    """

    no_load_c: float
    thermal_c: float | None
    low_stage_c: float | None
    break_even_cop: float | None
    economic_c: float | None
    changeover_c: float | None


def balance_points(house: House) -> Balance:
    """Return the balance points of a house as it is.

    They go by its own heat pump, backup and prices.
    """
    pump, load = house.heat_pump, house.load
    thermal_c = thermal_balance_c(load, pump.high)
    low_c = None if pump.low is None else thermal_balance_c(load, pump.low)
    cop = economic_c = changeover_c = None
    if house.backup.kind == "fossil" and house.prices.fuel_per_kwh is not None:
        prices = house.prices
        cop = break_even_cop(prices.electricity_per_kwh, house.prices.fuel_per_kwh, house.backup.efficiency)
        economic_c = economic_balance_c(pump.high, cop)
        changeover_c = max(thermal_c, economic_c)
    return Balance(
        no_load_c=load.no_load_c,
        thermal_c=_finite(thermal_c),
        low_stage_c=_finite(low_c),
        break_even_cop=cop,
        economic_c=_finite(economic_c),
        changeover_c=_finite(changeover_c),
    )


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None


def lockout_mistakes(house: House) -> tuple[str, ...]:
    """Return what is wrong with the lockouts of a house, a sentence each; nothing where all is well."""
    set_to, found = house.outdoor_thermostat, []
    thermal_c = thermal_balance_c(house.load, house.heat_pump.high)
    above, below = set_to.auxiliary_above_c, set_to.compressor_below_c
    if above is not None and above < thermal_c - 1e-9:
        found.append(
            f"Auxiliary heat is locked out above {_both(above)}, but the heat pump alone is too small below "
            f"{_both(thermal_c)}: in between nothing makes up what is missing. Set the lockout at the "
            "balance point or above."
        )
    if above is not None and below is not None and below >= above:
        found.append(
            f"The compressor is locked out below {_both(below)} and auxiliary heat above {_both(above)}: in "
            "between there is no heat at all. Set the compressor's lockout lower."
        )
    if house.backup.kind == "electric" and below is not None and below > thermal_c:
        found.append(
            f"The compressor is locked out below {_both(below)}, where it could still carry the whole load "
            f"(down to {_both(thermal_c)}): electric heat does its work at a COP of 1."
        )
    if house.backup.kind == "fossil" and below is not None and below < thermal_c - 1e-9:
        found.append(
            f"The changeover is at {_both(below)}, below the thermal balance point {_both(thermal_c)}: "
            "furnace and heat pump don't run together, so in between the house cools or the two take turns."
        )
    return tuple(found)


def _both(celsius: float) -> str:
    """Return a temperature in both units."""
    return f"{celsius:.1f} °C ({round(c_to_f(celsius))} °F)"
