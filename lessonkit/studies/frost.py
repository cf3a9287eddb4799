"""Frost on the outdoor coil: how fast it grows, and what melting it costs, by the clock or on demand.

Frost grows with `dw`, the water that the air loses to the coil: kilograms of water in a kilogram of outdoor
air, less what air saturated at the coil's temperature would hold.  It is largest near 2 C and falls in deep
cold, which holds next to no water.  A clock defrosts after so many minutes whether there is frost or not; a
board that senses frost waits until the capacity has fallen to three quarters.

    coil temperature        0.82 T - 8.589 C for outdoor air of T (0.82 T - 9.70 F)
    between defrosts        capacity falls as 1.02 - 5.3 dw t, power as 1 - 1.8 dw t, t in minutes
    on demand               a share 1/(1 + 0.01446/dw) of the time is defrost; capacity x 0.875 (1 - share),
                            power x 0.954 (1 - share)
    by the clock            capacity x (0.909 - 107.33 dw), power x (0.90 - 36.45 dw), for 3.5 minutes in 60

A defrost that reverses the cycle takes its heat from indoors: 0.01 (7.222 - T) of the rated capacity while
it lasts.

Where the model stops: one coil of the 1980s, fitted; fan, refrigerant and fin spacing are in its numbers, and
so is the power of the defrost.  The two kinds were fitted apart: in damp air demand comes out better, in dry
cold the clock does, because 0.875 holds there too.  The 0.909 is the model's own rounding of 0.918.

Sources: EPRI EM-4226 by way of the DOE-2.1E and EnergyPlus defrost equations, as open libraries that use them
agree; saturation pressure over ice and water by Hyland and Wexler (ASHRAE Fundamentals, psychrometrics).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lessonkit.bench.outdoor_board import DEMAND_AT
from lessonkit.bench.outdoor_coil import CLEAN, LOSS_PER_MINUTE
from lessonkit.errors import require, require_positive

__all__ = [
    "ACTIVE_BELOW_C",
    "DEFROSTS",
    "Derating",
    "coil_c",
    "defrost_derating",
    "defrost_draws_w",
    "defrost_share",
    "frosted_capacity",
    "humidity_ratio",
    "minutes_to_trigger",
    "saturation_pa",
    "water_lost",
]

Floats = NDArray[np.float64]

#: Defrost boards act below this outdoor temperature, 40 F (two open models agree).
ACTIVE_BELOW_C = 40.0 / 9.0
#: How a board decides.
DEFROSTS = ("timed", "demand")
#: The least `dw`, so that nothing is divided by zero (the models' own).
LEAST_DW = 1e-6

_ICE = (-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019)
_WATER = (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673)


def _array(values: ArrayLike) -> Floats:
    return np.asarray(values, dtype=float)


def saturation_pa(air_c: ArrayLike) -> Floats:
    """Return the pressure of saturated water vapour in pascals, over ice below 0 C and over water above."""
    k = _array(air_c) + 273.15

    def fitted(c: tuple[float, ...]) -> Floats:
        powers = c[0] / k + c[1] + k * (c[2] + k * (c[3] + k * (c[4] + k * c[5])))
        return np.asarray(np.exp(powers + c[6] * np.log(k)))

    return np.where(k < 273.15, fitted(_ICE), fitted(_WATER))


def humidity_ratio(vapour_pa: ArrayLike, pressure_pa: ArrayLike = 101325.0) -> Floats:
    """Return kilograms of water in a kilogram of dry air, from the vapour's and the whole pressure."""
    vapour = _array(vapour_pa)
    return _array(0.621945 * vapour / (_array(pressure_pa) - vapour))


def coil_c(outdoor_c: ArrayLike) -> Floats:
    """Return the temperature of the outdoor coil in heating, in degrees Celsius."""
    return _array(0.82 * _array(outdoor_c) - 8.589)


def water_lost(outdoor_c: ArrayLike, dew_point_c: ArrayLike, pressure_pa: ArrayLike = 101325.0) -> Floats:
    """Return `dw`, kilograms of water that a kilogram of outdoor air can leave on the coil.

    All three have one shape, or are numbers; a coil above the dew point gets the least value, not a negative.
    """
    outside = humidity_ratio(saturation_pa(dew_point_c), pressure_pa)
    return np.maximum(outside - humidity_ratio(saturation_pa(coil_c(outdoor_c)), pressure_pa), LEAST_DW)


def defrost_share(dw: ArrayLike) -> Floats:
    """Return the share of the time that a demand board spends in defrost."""
    return _array(1.0 / (1.0 + 0.01446 / np.maximum(_array(dw), LEAST_DW)))


def frosted_capacity(dw: ArrayLike, minutes: ArrayLike) -> Floats:
    """Return the share of its frost-free capacity left after minutes of growing frost."""
    return _array(CLEAN - LOSS_PER_MINUTE * _array(dw) * _array(minutes))


def minutes_to_trigger(dw: float, trigger: float = DEMAND_AT) -> float:
    """Return the minutes from a clean coil to the frost at which a demand board defrosts."""
    require_positive("dw", dw)
    require(0 < trigger < 1, "trigger", trigger, "a share between 0 and 1")
    return (CLEAN - trigger) / (LOSS_PER_MINUTE * dw)


def defrost_draws_w(share: ArrayLike, outdoor_c: ArrayLike, rated_w: float) -> Floats:
    """Return the watts that defrosts take from indoors, averaged over running and defrost.

    `share` is the share of the time in defrost, `rated_w` the heating capacity at 47 F.
    """
    warmth = np.maximum(7.222 - _array(outdoor_c), 0.0)
    return _array(0.01 * _array(share) * warmth * rated_w / 1.01667)


@dataclass(frozen=True)
class Derating:
    """What frost and defrost leave: factors on capacity and power, and the share of time in defrost."""

    capacity: Floats
    power: Floats
    share: Floats


def defrost_derating(
    kind: str, outdoor_c: ArrayLike, dw: ArrayLike, timed_share: float = 3.5 / 60.0
) -> Derating:
    """Return what frost and defrost leave, as factors.

    They are on the frost-free capacity and power, averaged over running and defrost. Parameters: `kind` is
    "timed" or "demand"; `outdoor_c` and `dw` have one shape; above 40 F nothing frosts. `timed_share` is the
    share of the time that a clock spends in defrost.
    """
    require(kind in DEFROSTS, "defrost", kind, f"one of {', '.join(DEFROSTS)}")
    t, dw = np.broadcast_arrays(np.asarray(outdoor_c, dtype=float), np.asarray(dw, dtype=float))
    if kind == "demand":
        share = defrost_share(dw)
        capacity, power = 0.875 * (1.0 - share), 0.954 * (1.0 - share)
    else:
        share = np.full(t.shape, timed_share)
        capacity, power = 0.909 - 107.33 * dw, 0.90 - 36.45 * dw
    cold = t < ACTIVE_BELOW_C
    return Derating(np.where(cold, capacity, 1.0), np.where(cold, power, 1.0), np.where(cold, share, 0.0))
