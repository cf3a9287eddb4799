"""What a heat pump gives and draws, from the points at which it is rated.

Heating is rated at three outdoor temperatures: H1 at 47 F, H2 at 35 F, where frost forms and is melted again,
and H3 at 17 F (8.33, 1.67 and -8.33 C).  Between and beyond them capacity and power are straight lines:

    at 17 F and below, and at 45 F and above     the line through H3 and H1, coil free of frost
    in between                                   the line through H3 and H2, frost and its defrosts included

The rule jumps at 45 F (a 36/24 machine gains 13.8 % there): it is a rule for bins, not physics, so whoever
looks for a crossing has to stay on one side.  H2 untested is reckoned from the other two points, with 10 %
less capacity and 1.5 % less power than the frost-free line.

`hspf` is the rating standard's own season: temperature bins of a climate region, a load that goes with the
machine's size, and the heat delivered per watt-hour.

Where the model stops: power includes the blower as rated; defrost is in H2 or, by humidity, in `frost`;
airflow and charge are as they should be.

Source: AHRI 210/240 (2008 and 2017) and 10 CFR 430 subpart B appendix M, as two open implementations have
them (the reference library resdx and a public spreadsheet macro for HSPF); region tables as both agree.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lessonkit.errors import require, require_positive
from lessonkit.studies.customary import BTU_H_W, f_to_c

__all__ = [
    "FROST_TO_C",
    "H1_C",
    "H2_C",
    "H3_C",
    "REGIONS",
    "Rating",
    "Region",
    "bin_load_w",
    "hspf",
    "part_load_factor",
    "single_speed",
]

H1_C, H2_C, H3_C = f_to_c(47.0), f_to_c(35.0), f_to_c(17.0)
#: Frost lowers capacity above H3 and below this, 45 F.
FROST_TO_C = f_to_c(45.0)

#: H2 untested: shares of the frost-free line (AHRI 210/240; appendix M).
FROST_CAPACITY, FROST_POWER = 0.90, 0.985

# The lines are drawn down to here; soon below, that of a common machine would give no heat at all.
_COLDEST_C = -40.0

#: Degradation by cycling where it was not tested (AHRI 210/240).
CYCLING_LOSS = 0.25

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Rating:
    """One stage at its rating points: watts of heat, and watts of electric power with the blower.

    H2 may be left out; it is then reckoned from H1 and H3.
    """

    capacity_h1_w: float
    power_h1_w: float
    capacity_h3_w: float
    power_h3_w: float
    capacity_h2_w: float | None = None
    power_h2_w: float | None = None

    def __post_init__(self) -> None:
        """Refuse a machine that can't be."""
        for name in ("capacity_h1_w", "power_h1_w", "capacity_h3_w", "power_h3_w"):
            require_positive(name, getattr(self, name), unit="watts")
        for name in ("capacity_h2_w", "power_h2_w"):
            if getattr(self, name) is not None:
                require_positive(name, getattr(self, name), unit="watts")
        require(
            self.capacity_h3_w < self.capacity_h1_w,
            "capacity_h3_w",
            self.capacity_h3_w,
            f"below capacity_h1_w, {self.capacity_h1_w:g} W: a heat pump gives less when it is colder",
        )
        require(
            self.capacity_h1_w > self.power_h1_w,
            "power_h1_w",
            self.power_h1_w,
            f"below capacity_h1_w, {self.capacity_h1_w:g} W",
        )

    @property
    def frosted(self) -> tuple[float, float]:
        """Return capacity and power at H2 in watts, as tested or as reckoned from the other points."""
        q = FROST_CAPACITY * (self.capacity_h3_w + 0.6 * (self.capacity_h1_w - self.capacity_h3_w))
        p = FROST_POWER * (self.power_h3_w + 0.6 * (self.power_h1_w - self.power_h3_w))
        return self.capacity_h2_w or q, self.power_h2_w or p

    def capacity_w(self, outdoor_c: ArrayLike, frost: bool = True) -> Floats:
        """Return the heat that it gives in watts, the shape of `outdoor_c`; no `frost` is a dry coil."""
        return _line(outdoor_c, self.capacity_h3_w, self.frosted[0], self.capacity_h1_w, frost)

    def power_w(self, outdoor_c: ArrayLike, frost: bool = True) -> Floats:
        """Return the electric power that it draws in watts, the shape of `outdoor_c`."""
        return _line(outdoor_c, self.power_h3_w, self.frosted[1], self.power_h1_w, frost)

    def cop(self, outdoor_c: ArrayLike, frost: bool = True) -> Floats:
        """Return watts of heat per watt of power in steady running."""
        return self.capacity_w(outdoor_c, frost) / self.power_w(outdoor_c, frost)

    def segments(self, frost: bool = True) -> tuple[tuple[float, float, float, float, float, float], ...]:
        """Return the straight pieces, warmest first: from and to in C, capacity and power in W at both ends.

        The pieces reach from -40 to 60 C; at a jump one ends on one value and the next begins on the other.
        """
        q1, p1, q3, p3 = self.capacity_h1_w, self.power_h1_w, self.capacity_h3_w, self.power_h3_w
        q2, p2 = self.frosted

        def piece(low_c: float, high_c: float, wet: bool) -> tuple[float, float, float, float, float, float]:
            ends = np.array([low_c, high_c])
            q = q3 + (ends - H3_C) * ((q2 - q3) / (H2_C - H3_C) if wet else (q1 - q3) / (H1_C - H3_C))
            p = p3 + (ends - H3_C) * ((p2 - p3) / (H2_C - H3_C) if wet else (p1 - p3) / (H1_C - H3_C))
            return low_c, high_c, float(q[0]), float(q[1]), float(p[0]), float(p[1])

        if not frost:
            return (piece(_COLDEST_C, 60.0, False),)
        return piece(FROST_TO_C, 60.0, False), piece(H3_C, FROST_TO_C, True), piece(_COLDEST_C, H3_C, False)


def _line(outdoor_c: ArrayLike, h3: float, h2: float, h1: float, frost: bool) -> Floats:
    t = np.asarray(outdoor_c, dtype=float)
    dry = h3 + (h1 - h3) * (t - H3_C) / (H1_C - H3_C)
    if not frost:
        return dry
    wet = h3 + (h2 - h3) * (t - H3_C) / (H2_C - H3_C)
    return np.where((t > H3_C) & (t < FROST_TO_C), wet, dry)


def single_speed(
    capacity_h1_w: float, cop_h1: float, capacity_h3_w: float, cop_h3: float, share: float = 1.0
) -> Rating:
    """Return a rating from capacities and coefficients of performance, as a sheet gives them.

    `share` scales capacity and power, as for the low stage of a two-stage machine: 0.72 is the share that a
    table of open simulation software has; sheets of real machines lie between 0.65 and 0.75 (common
    practice).
    """
    require_positive("share", share)
    return Rating(
        share * capacity_h1_w,
        share * capacity_h1_w / require_positive("cop_h1", cop_h1),
        share * capacity_h3_w,
        share * capacity_h3_w / require_positive("cop_h3", cop_h3),
    )


def part_load_factor(share: ArrayLike, cycling_loss: float = CYCLING_LOSS) -> Floats:
    """Return how much of its steady efficiency a machine keeps that runs `share` of the time.

    1 - Cd (1 - share): each start spends some energy on bringing pressures and coils to where they work.
    """
    return 1.0 - cycling_loss * (1.0 - np.asarray(share, dtype=float))


@dataclass(frozen=True)
class Region:
    """A climate region of the rating standard: its design point, and shares of the heating hours.

    `fractions` are for bins 5 F wide, from 62 F downwards.
    """

    design_f: float
    fractions: tuple[float, ...]

    @property
    def outdoor_c(self) -> Floats:
        """Return the middle of each bin in degrees Celsius."""
        return (30.0 - 5.0 * np.arange(float(len(self.fractions)))) / 1.8


REGIONS = MappingProxyType(
    {
        "I": Region(37.0, (0.291, 0.239, 0.194, 0.129, 0.081, 0.041, 0.019, 0.005, 0.001)),
        "II": Region(27.0, (0.215, 0.189, 0.163, 0.143, 0.112, 0.088, 0.056, 0.024, 0.008, 0.002)),
        "III": Region(
            17.0,
            (0.153, 0.142, 0.138, 0.137, 0.135, 0.118, 0.092, 0.047, 0.021, 0.009, 0.005, 0.002, 0.001),
        ),
        "IV": Region(
            5.0,
            (
                *(0.132, 0.111, 0.103, 0.093, 0.100, 0.109, 0.126, 0.087),
                *(0.055, 0.036, 0.026, 0.013, 0.006, 0.002, 0.001),
            ),
        ),
        "V": Region(
            -10.0,
            (
                *(0.106, 0.092, 0.086, 0.076, 0.078, 0.087, 0.102, 0.094, 0.074),
                *(0.055, 0.047, 0.038, 0.029, 0.018, 0.010, 0.005, 0.002, 0.001),
            ),
        ),
        "VI": Region(30.0, (0.113, 0.206, 0.215, 0.204, 0.141, 0.076, 0.034, 0.008, 0.003)),
    }
)


def bin_load_w(capacity_h1_w: float, region: Region, outdoor_c: ArrayLike) -> Floats:
    """Return the standard's building load in watts: 0.77 of the smallest design load, on a line to 65 F.

    The smallest design load is Q47 (65 - design)/60, rounded to 5000 Btu/h, or to 10 000 above 40 000.
    """
    smallest = capacity_h1_w / BTU_H_W * (65.0 - region.design_f) / 60.0
    step = 5e3 if smallest <= 4e4 else 1e4
    design_w = round(smallest / step) * step * BTU_H_W
    outdoor_f = np.asarray(outdoor_c, dtype=float) * 1.8 + 32.0
    return 0.77 * design_w * (65.0 - outdoor_f) / (65.0 - region.design_f)


def hspf(
    rating: Rating,
    region: str = "IV",
    cycling_loss: float = CYCLING_LOSS,
    off_c: float = -100.0,
    on_c: float = -100.0,
) -> float:
    """Return the heating seasonal performance factor in Btu per watt-hour (AHRI 210/240-2008 and -2017).

    Parameters: `off_c` stops the compressor at this outdoor temperature and below, `on_c` lets it start again
    above (between the two the standard counts half); both far below by default.
    """
    require(region in REGIONS, "region", region, f"one of {', '.join(REGIONS)}")
    place = REGIONS[region]
    t, n = place.outdoor_c, np.asarray(place.fractions)
    load, q, p = bin_load_w(rating.capacity_h1_w, place, t), rating.capacity_w(t), rating.power_w(t)
    runs = np.where((t <= off_c) | (q < p), 0.0, np.where(t <= on_c, 0.5, 1.0))
    share = np.minimum(load / q, 1.0)
    power = share * p * runs / part_load_factor(share, cycling_loss)
    resistance = load - share * q * runs
    return float((n * load).sum() / BTU_H_W / (n * (power + resistance)).sum())
