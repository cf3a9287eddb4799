"""A heating season, hour by hour: what runs, what it draws, what it costs, and what stays cold.

In each hour the house needs its load.  The machine gives what it can, by these rules (AHRI 210/240,
single-speed and two-capacity machines, from memory for the latter):

    load below the low stage        the low stage cycles; starting again costs `cycling_loss`
    between the two stages          low and high take turns, so that together they give the load
    above the high stage            the high stage runs through, and auxiliary heat adds what is missing

A single-stage machine has one stage that cycles.  A fossil furnace takes a whole hour over whenever the
compressor is locked out or too small.  Lockouts by outdoor temperature act as `house.OutdoorThermostat` says;
what nothing makes up is `unmet`, heat that the house does without.

Where the model stops: an hour is steady, the house stays at its temperature, nobody sets it back at night,
and auxiliary heat comes only when it is needed.  A real thermostat brings it on after a setback too; so
`needless_hours`, in which auxiliary heat is allowed though the heat pump could carry the house, is the room
that a lockout leaves for waste.

All hours are reckoned side by side with numpy; all arrays have the shape (hours,).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lessonkit.errors import require
from lessonkit.studies.balance import Balance, balance_points, lockout_mistakes
from lessonkit.studies.frost import defrost_derating, defrost_draws_w
from lessonkit.studies.house import House, load_house
from lessonkit.studies.ratings import Rating, part_load_factor
from lessonkit.studies.weather import Weather, load_weather

__all__ = ["Hours", "LockoutSweep", "Season", "running_cop", "season", "sweep_lockouts"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Hours:
    """A season hour by hour; all arrays have the shape (hours,).

    `low` and `high` are the shares of the hour in which each stage runs (a single-stage machine has only
    `high`); heat is in watts, drawn power in watts, `heating` says where the house needs heat at all.
    """

    outdoor_c: Floats
    load_w: Floats
    capacity_w: Floats
    low: Floats
    high: Floats
    heat_pump_w: Floats
    drawn_w: Floats
    backup_w: Floats
    unmet_w: Floats
    locked_out: NDArray[np.bool_]
    needless: NDArray[np.bool_]

    @property
    def heating(self) -> NDArray[np.bool_]:
        """Return where the house needs heat."""
        return self.load_w > 0


@dataclass(frozen=True)
class Season:
    """A season in sums: kilowatt-hours, hours, money.

    `load_kwh` is what the house needs; `heat_pump_kwh` and `backup_kwh` what it gets of heat; `drawn_kwh` is
    the electricity of the heat pump, `auxiliary_kwh` that of electric backup, `fuel_kwh` the fuel of a
    furnace; `unmet_kwh` is what is missing. Hours of `low` and `high` are hours of running, those of backup
    and unmet are hours in which there is any.
    """

    house: House
    weather: Weather
    hours: Hours
    balance: Balance
    load_kwh: float
    heat_pump_kwh: float
    drawn_kwh: float
    backup_kwh: float
    auxiliary_kwh: float
    fuel_kwh: float
    unmet_kwh: float
    low_hours: float
    high_hours: float
    backup_hours: int
    unmet_hours: int
    locked_out_hours: int
    needless_hours: int
    cost: float
    mistakes: tuple[str, ...]

    @property
    def backup_share(self) -> float:
        """Return the share of the load that auxiliary heat or the furnace carries."""
        return self.backup_kwh / self.load_kwh if self.load_kwh else 0.0

    @property
    def cop(self) -> float | None:
        """Return heat for each kilowatt-hour of electricity, auxiliary heat included; None without any."""
        electric = self.drawn_kwh + self.auxiliary_kwh
        heat = self.heat_pump_kwh + (self.backup_kwh if self.house.backup.kind == "electric" else 0.0)
        return heat / electric if electric else None

    @property
    def warmest_backup_c(self) -> float | None:
        """Return the warmest outdoor air in C of all hours in which auxiliary heat or the furnace ran."""
        ran = self.hours.backup_w > 0
        return float(self.hours.outdoor_c[ran].max()) if ran.any() else None

    def to_dict(self) -> dict[str, Any]:
        """Return the sums as plain data, ready for JSON; temperatures in degrees Celsius."""
        balance, set_to = self.balance, self.house.outdoor_thermostat
        return {
            "house": self.house.name,
            "weather": self.weather.name,
            "hours": self.weather.hours,
            "load_kwh": round(self.load_kwh, 3),
            "heat_pump_kwh": round(self.heat_pump_kwh, 3),
            "backup": self.house.backup.kind,
            "backup_kwh": round(self.backup_kwh, 3),
            "backup_share": round(self.backup_share, 6),
            "unmet_kwh": round(self.unmet_kwh, 3),
            "drawn_kwh": round(self.drawn_kwh, 3),
            "auxiliary_kwh": round(self.auxiliary_kwh, 3),
            "fuel_kwh": round(self.fuel_kwh, 3),
            "cop": None if self.cop is None else round(self.cop, 6),
            "cost": round(self.cost, 2),
            "currency": self.house.prices.currency,
            "stage_hours": {"low": round(self.low_hours, 3), "high": round(self.high_hours, 3)},
            "backup_hours": self.backup_hours,
            "unmet_hours": self.unmet_hours,
            "locked_out_hours": self.locked_out_hours,
            "needless_hours": self.needless_hours,
            "balance": {
                "no_load_c": balance.no_load_c,
                "thermal_c": balance.thermal_c,
                "low_stage_c": balance.low_stage_c,
                "break_even_cop": balance.break_even_cop,
                "economic_c": balance.economic_c,
                "changeover_c": balance.changeover_c,
            },
            "lockouts": {
                "auxiliary_above_c": set_to.auxiliary_above_c,
                "compressor_below_c": set_to.compressor_below_c,
            },
            "mistakes": list(self.mistakes),
        }


def season(house: House | str | Path, weather: Weather | str | Path) -> Season:
    """Return a heating season of a house, hour by hour.

    Parameters: `house` is a `House`, a TOML file or the name of an example; `weather` is a `Weather`, an EPW
    or TMY3 file or the name of an invented one.
    """
    house, weather = load_house(house), load_weather(weather)
    hours = _live(house, weather)
    kwh = {
        name: float(getattr(hours, name).sum()) / 1000.0
        for name in ("load_w", "heat_pump_w", "drawn_w", "backup_w", "unmet_w")
    }
    electric = house.backup.kind == "electric"
    auxiliary_kwh = kwh["backup_w"] if electric else 0.0
    fuel_kwh = 0.0 if electric else kwh["backup_w"] / house.backup.efficiency
    return Season(
        house=house,
        weather=weather,
        hours=hours,
        balance=balance_points(house),
        load_kwh=kwh["load_w"],
        heat_pump_kwh=kwh["heat_pump_w"],
        drawn_kwh=kwh["drawn_w"],
        backup_kwh=kwh["backup_w"],
        auxiliary_kwh=auxiliary_kwh,
        fuel_kwh=fuel_kwh,
        unmet_kwh=kwh["unmet_w"],
        low_hours=float(hours.low.sum()),
        high_hours=float(hours.high.sum()),
        backup_hours=int((hours.backup_w > 0).sum()),
        unmet_hours=int((hours.unmet_w > 1e-6).sum()),
        locked_out_hours=int((hours.locked_out & hours.heating).sum()),
        needless_hours=int(hours.needless.sum()),
        cost=(kwh["drawn_w"] + auxiliary_kwh) * house.prices.electricity_per_kwh
        + fuel_kwh * (house.prices.fuel_per_kwh or 0.0),
        mistakes=lockout_mistakes(house),
    )


def running_cop(house: House, outdoor_c: ArrayLike) -> Floats:
    """Return heat for 1 of electricity, with starts and stops.

    Parameters: `outdoor_c` has the shape (temperatures,); each lasts an hour, in air of 70 % relative
    humidity or so. There is none (nan) where the house needs no heat or the compressor is locked out.
    """
    t = np.atleast_1d(np.asarray(outdoor_c, dtype=float))
    when = np.ones(t.shape, dtype=np.int64)
    hours = _live(house, Weather("steady", t, t - 5.0, np.full(t.shape, 101325.0), when, when))
    ran = hours.drawn_w > 1e-6
    return np.where(ran, hours.heat_pump_w / np.where(ran, hours.drawn_w, 1.0), np.nan)


def _stage(house: House, rating: Rating, weather: Weather) -> tuple[Floats, Floats]:
    """Return capacity and power of one stage in each hour, in watts, frost reckoned as the house says."""
    t, kind = weather.outdoor_c, house.heat_pump.frost
    if kind == "rated":
        return rating.capacity_w(t), rating.power_w(t)
    left = defrost_derating(kind, t, weather.water_lost)
    capacity = rating.capacity_w(t, frost=False) * left.capacity
    capacity = capacity - defrost_draws_w(left.share, t, rating.capacity_h1_w)
    return capacity, rating.power_w(t, frost=False) * left.power


def _live(house: House, weather: Weather) -> Hours:
    """Live through every hour at once."""
    t, pump, set_to = weather.outdoor_c, house.heat_pump, house.outdoor_thermostat
    load = house.load.needed_w(t)
    capacity, power = (np.maximum(watts, 1e-9) for watts in _stage(house, pump.high, weather))
    below, above = set_to.compressor_below_c, set_to.auxiliary_above_c
    locked_out = np.zeros(t.shape, dtype=bool) if below is None else t <= below
    allowed = np.ones(t.shape, dtype=bool) if above is None else t < above
    short = load > capacity
    fossil = house.backup.kind == "fossil"
    # A furnace doesn't run together with the compressor: where it may run and is needed, it takes the hour
    # over.
    taken_over = allowed & (locked_out | short) if fossil else np.zeros(t.shape, dtype=bool)
    runs = ~locked_out & ~taken_over
    wanted = np.where(runs, load, 0.0)
    low, high, drawn = _share_out(house, weather, wanted, capacity, power)
    heat = np.minimum(wanted, capacity)
    missing = load - heat
    backup = np.where(allowed, np.minimum(missing, house.backup.capacity_w), 0.0)
    return Hours(
        outdoor_c=t,
        load_w=load,
        capacity_w=capacity,
        low=low,
        high=high,
        heat_pump_w=heat,
        drawn_w=drawn,
        backup_w=backup,
        unmet_w=missing - backup,
        locked_out=locked_out,
        needless=allowed & ~locked_out & ~short & (load > 0) & (not fossil),
    )


def _share_out(
    house: House, weather: Weather, wanted: Floats, capacity: Floats, power: Floats
) -> tuple[Floats, Floats, Floats]:
    """Return the shares of each hour for the low and the high stage, and the power drawn in watts."""
    pump = house.heat_pump
    if pump.low is None:
        high = np.minimum(wanted / capacity, 1.0)
        return np.zeros(high.shape), high, high * power / part_load_factor(high, pump.cycling_loss)
    low_w, low_power = (np.maximum(watts, 1e-9) for watts in _stage(house, pump.low, weather))
    high = np.clip((wanted - low_w) / np.maximum(capacity - low_w, 1e-9), 0.0, 1.0)
    low = np.where(wanted < low_w, wanted / low_w, 1.0 - high)
    cycles = np.where(wanted < low_w, part_load_factor(low, pump.cycling_loss), 1.0)
    return low, high, low * low_power / cycles + high * power


@dataclass(frozen=True)
class LockoutSweep:
    """Seasons by one lockout setting, coldest first; all arrays have the shape (settings,).

    `which` is the setting's name. The `best` setting is the cheapest among those with the least heat missing;
    among equals it is the one that lets the equipment rest most.
    """

    which: str
    setting_c: Floats
    cost: Floats
    backup_share: Floats
    unmet_kwh: Floats
    unmet_hours: NDArray[np.int64]
    needless_hours: NDArray[np.int64]

    @property
    def best(self) -> int:
        """Return the index of the best setting."""
        warm = self.unmet_kwh <= self.unmet_kwh.min() + 1e-6
        cost = np.where(warm, self.cost, np.inf)
        equal = np.flatnonzero(cost <= cost.min() * (1 + 1e-6))
        return int(equal[-1] if self.which == "compressor_below_c" else equal[0])

    @property
    def extra(self) -> Floats:
        """Return what each setting costs beyond the best one; below zero where heat is missing."""
        return np.asarray(self.cost - self.cost[self.best])


def sweep_lockouts(
    house: House | str | Path,
    weather: Weather | str | Path,
    which: str = "compressor_below_c",
    settings_c: Sequence[float] = (),
) -> LockoutSweep:
    """Return what a season costs by the setting of one lockout.

    Parameters: `which` is "compressor_below_c" or "auxiliary_above_c"; `settings_c` are outdoor temperatures
    in C, -25 to 10 in steps of half a kelvin if none are given.
    """
    names = ("compressor_below_c", "auxiliary_above_c")
    require(which in names, "which", which, f"one of {', '.join(names)}")
    house, weather = load_house(house), load_weather(weather)
    settings = np.sort(
        np.asarray(settings_c if len(settings_c) else np.arange(-25.0, 10.25, 0.5), dtype=float)
    )
    seasons = [season(house.with_lockouts(**{which: float(at)}), weather) for at in settings]
    return LockoutSweep(
        which=which,
        setting_c=settings,
        cost=np.array([one.cost for one in seasons]),
        backup_share=np.array([one.backup_share for one in seasons]),
        unmet_kwh=np.array([one.unmet_kwh for one in seasons]),
        unmet_hours=np.array([one.unmet_hours for one in seasons], dtype=np.int64),
        needless_hours=np.array([one.needless_hours for one in seasons], dtype=np.int64),
    )
