"""Weather by the hour, from the files that the world keeps it in: EPW and TMY3.

    EPW     8 header lines, then a row for each hour: year, month, day, hour (1 to 24), minute, flags,
            dry bulb (C), dew point (C), relative humidity (%), pressure (Pa), and more
    TMY3    a line about the station, a line of column names, then a row for each hour; pressure in millibar

Both are plain text with commas.  A typical year is pieced together from real months of different years; it is
what a house meets on average, not what it is designed for.

Degree days here are those that weather services print: the base less the mean of each day, where that is
above nothing.  Reckoned hour by hour they come out higher (6016 against 5784 in Denver), since warm
afternoons and cold nights of one mild day no longer cancel; so never compare the two.

`demo_weather` is invented: sums of waves, so that it is the same on every machine, for lessons without a
file.

Source of the layouts: EnergyPlus auxiliary programs documentation (EPW); NREL/TP-581-43156 (TMY3), from
memory; both seen in files.
"""

from __future__ import annotations

import csv
import datetime
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from lessonkit.errors import BadParameter, LessonError, require, require_finite
from lessonkit.studies.frost import water_lost

__all__ = ["BadWeather", "Months", "Weather", "demo_weather", "load_weather", "weather_names"]

Floats = NDArray[np.float64]

_EPW_HEADER = 8
# What an EPW writes where it knows nothing (its data dictionary), and what no air on earth has.
_COLDEST_C, _WARMEST_C = -90.0, 60.0
_LEAST_PA, _MOST_PA = 31000.0, 120000.0
_SEA_LEVEL_PA = 101325.0


class BadWeather(LessonError, ValueError):
    """A weather file that can't be read as one."""


@dataclass(frozen=True)
class Months:
    """Twelve values each, in degrees Celsius: means, and means of the days' highest and lowest hours."""

    mean_c: Floats
    high_c: Floats
    low_c: Floats


@dataclass(frozen=True)
class Weather:
    """Outdoor air, hour by hour.

    All arrays have the shape (hours,); a row says what held in the hour that ends at it. `month` and `day`
    are the calendar's. Where a file lacks dew point or pressure in some hours, the air there counts as at 70
    % relative humidity, or as at sea level.
    """

    name: str
    outdoor_c: Floats
    dew_point_c: Floats
    pressure_pa: Floats
    month: NDArray[np.int64]
    day: NDArray[np.int64]

    @property
    def hours(self) -> int:
        """Return how many hours there are: 8760 in a year."""
        return self.outdoor_c.size

    @property
    def water_lost(self) -> Floats:
        """Return what a kilogram of air can leave on the outdoor coil in each hour (see `frost`)."""
        return water_lost(self.outdoor_c, self.dew_point_c, self.pressure_pa)

    @property
    def days_c(self) -> Floats:
        """Return the temperatures day by day, shape (days, 24), without hours after the last whole day."""
        whole = self.hours // 24
        return self.outdoor_c[: whole * 24].reshape(whole, 24)

    def heating_degree_days(self, base_c: float) -> float:
        """Return heating degree days in kelvin days, from daily means."""
        return float(np.maximum(base_c - self.days_c.mean(axis=1), 0.0).sum())

    def cooling_degree_days(self, base_c: float) -> float:
        """Return cooling degree days in kelvin days, from daily means."""
        return float(np.maximum(self.days_c.mean(axis=1) - base_c, 0.0).sum())

    def heating_degree_hours(self, base_c: float) -> float:
        """Return heating degree hours in kelvin hours, hour by hour; a steady load is UA times this."""
        return float(np.maximum(base_c - self.outdoor_c, 0.0).sum())

    def hours_below(self, limit_c: float) -> int:
        """Return how many hours are colder than a limit."""
        return int((self.outdoor_c < limit_c).sum())

    @property
    def months(self) -> Months:
        """Return monthly means; refused unless all twelve months are there."""
        days, month = self.days_c, self.month[: self.days_c.size : 24]
        there = set(month.tolist())
        require(there >= set(range(1, 13)), "weather", self.name, "a year of all twelve months")
        picked = [days[month == number] for number in range(1, 13)]
        return Months(
            np.array([rows.mean() for rows in picked]),
            np.array([rows.max(axis=1).mean() for rows in picked]),
            np.array([rows.min(axis=1).mean() for rows in picked]),
        )

    def day_c(self, number: int) -> Floats:
        """Return the 24 hours of one day in degrees Celsius; `number` counts from 0."""
        days = self.days_c
        fits = require_finite("day", number) == int(number) and 0 <= number < len(days)
        require(fits, "day", number, f"a whole number from 0 to {len(days) - 1}")
        return np.asarray(days[int(number)])

    def coldest_day(self) -> int:
        """Return the number of the day with the lowest mean, the first day being 0."""
        return int(self.days_c.mean(axis=1).argmin())


def load_weather(source: str | Path | Weather) -> Weather:
    """Return the weather in an EPW or TMY3 file.

    `source` is a path or the name of one of the invented demo weathers. Raises `BadWeather`, which names the
    file, the line and what should stand there.
    """
    if isinstance(source, Weather):
        return source
    if str(source) in weather_names():
        return demo_weather(str(source))
    path = Path(source)
    try:
        text = path.read_bytes().decode(
            "latin-1"
        )  # station names may have any accents; the numbers are ASCII
    except FileNotFoundError:
        names = ", ".join(weather_names())
        hint = f"give an EPW or TMY3 file, or one of the invented weathers ({names})"
        raise BadWeather(f"{source}: there is no such file; {hint}.") from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise BadWeather(f"{source}: the file can't be read ({why}); check its path.") from None
    rows = list(csv.reader(text.removeprefix("\xef\xbb\xbf").splitlines()))
    if rows and rows[0] and rows[0][0].strip().upper() == "LOCATION":
        return _read_epw(rows, path.name)
    if len(rows) > 1 and "Dry-bulb (C)" in rows[1]:
        return _read_tmy3(rows, path.name)
    raise BadWeather(
        f"{path.name}: this is neither EPW (its first line begins with LOCATION) nor TMY3 (its second line "
        "names the columns, among them Dry-bulb (C)); give one of the two."
    )


def _read_epw(rows: Sequence[Sequence[str]], where: str) -> Weather:
    steps = rows[_EPW_HEADER - 1][2:3] if len(rows) >= _EPW_HEADER else []
    if steps and steps[0].strip() != "1":
        raise BadWeather(
            f"{where}: line {_EPW_HEADER} says {steps[0].strip()} steps in an hour; give a file with 1."
        )
    found = _Columns(where, _EPW_HEADER, [row for row in rows[_EPW_HEADER:] if row])
    month, day = found.read(1, 1, 12, "a month"), found.read(2, 1, 31, "a day")
    return found.weather(
        "".join(rows[0][1:2]).strip() or where, month, day, found.degrees(6), found.degrees(7, 99.9), 9, 1.0
    )


def _read_tmy3(rows: Sequence[Sequence[str]], where: str) -> Weather:
    names = [name.strip() for name in rows[1]]
    wanted = ("Date (MM/DD/YYYY)", "Dry-bulb (C)", "Dew-point (C)", "Pressure (mbar)")
    missing = [name for name in wanted if name not in names]
    if missing:
        raise BadWeather(f"{where}: line 2 names no column {missing[0]}; give a whole TMY3 file.")
    date_at, dry_at, dew_at, pressure_at = (names.index(name) for name in wanted)
    found = _Columns(where, 2, [row for row in rows[2:] if row])
    month = found.read(date_at, 1, 12, "a date as MM/DD/YYYY", lambda text: float(text.split("/")[0]))
    day = found.read(date_at, 1, 31, "a date as MM/DD/YYYY", lambda text: float(text.split("/")[1]))
    station = rows[0][1].strip() if len(rows[0]) > 1 else where
    dry, dew = found.degrees(dry_at), found.degrees(dew_at, -9900.0)
    return found.weather(station, month, day, dry, dew, pressure_at, 100.0)


@dataclass(frozen=True)
class _Columns:
    """Rows of a file, from which columns are read; `above` lines stand before the first."""

    where: str
    above: int
    rows: Sequence[Sequence[str]]

    def read(
        self, at: int, low: float, high: float, what: str, number: Callable[[str], float] = float
    ) -> Floats:
        """Return a column of numbers from low to high, or name the first line that has none."""
        values = np.empty(len(self.rows))
        for k, row in enumerate(self.rows):
            try:
                values[k] = number(row[at])
            except (ValueError, IndexError):
                values[k] = math.nan
        wrong = np.flatnonzero(~((values >= low) & (values <= high)))
        if wrong.size:
            row = self.rows[wrong[0]]
            shown = f"is {row[at]!r}" if at < len(row) else "is missing"
            raise BadWeather(
                f"{self.where}: line {wrong[0] + 1 + self.above}: field {at + 1} {shown}, but must be {what}."
            )
        return values

    def degrees(self, at: int, missing: float | None = None) -> Floats:
        """Return a column of temperatures in C; where `missing` stands, not a number."""
        what = f"degrees Celsius from {_COLDEST_C:g} to {_WARMEST_C:g}"

        def known(text: str) -> float:
            value = float(text)
            return 0.0 if value == missing else value

        values = self.read(at, _COLDEST_C, _WARMEST_C, what, known)
        if missing is not None:
            gaps = [k for k, row in enumerate(self.rows) if float(row[at]) == missing]
            values[gaps] = math.nan
        return values

    def weather(
        self,
        name: str,
        month: Floats,
        day: Floats,
        dry_c: Floats,
        dew_c: Floats,
        pressure_at: int,
        to_pa: float,
    ) -> Weather:
        """Return the weather, gaps in dew point and pressure filled."""
        if not self.rows:
            raise BadWeather(f"{self.where}: no hours follow line {self.above}; give a whole file.")
        pressure_pa = self.read(pressure_at, -1e9, 1e9, "a pressure") * to_pa
        known = (pressure_pa >= _LEAST_PA) & (pressure_pa <= _MOST_PA)
        return Weather(
            name=name,
            outdoor_c=dry_c,
            # Air at 70 % relative humidity has its dew point about 5 K down (Magnus, near 0 C).
            dew_point_c=np.where(np.isnan(dew_c), dry_c - 5.0, dew_c),
            pressure_pa=np.where(known, pressure_pa, _SEA_LEVEL_PA),
            month=month.astype(np.int64),
            day=day.astype(np.int64),
        )


#: Invented places: mean of the year, half the swing from January to July, half the swing of a day, half the
#: swing of the spells of some days, all in kelvin or C, and how far the dew point lies below the air.
_INVENTED = MappingProxyType(
    {
        "cold-valley": (7.0, 14.5, 5.0, 6.5, 4.0),
        "mild-coast": (10.5, 6.0, 2.5, 3.5, 2.5),
    }
)


def weather_names() -> tuple[str, ...]:
    """Return the names of the invented weathers."""
    return tuple(_INVENTED)


def demo_weather(name: str = "cold-valley") -> Weather:
    """Return a year of invented weather, a sum of waves that is the same everywhere.

    Spells of cold and mild air come from waves of 31, 13, 7.3 and 4.1 days; no place on earth has it.
    """
    if name not in _INVENTED:
        raise BadParameter("weather", name, f"one of {', '.join(_INVENTED)}")
    mean_c, year_k, day_k, spell_k, dry_k = _INVENTED[name]
    hour = np.arange(8760.0)
    days = hour / 24.0
    spells = sum(
        share * np.sin(2 * math.pi * (days / period + phase))
        for share, period, phase in ((0.35, 31.0, 0.6), (0.3, 13.0, 0.1), (0.2, 7.3, 0.4), (0.15, 4.1, 0.8))
    )
    winter = np.cos(2 * math.pi * (days - 17.0) / 365.0)
    daily = np.cos(2 * math.pi * (hour - 15.0) / 24.0)
    # Spells are stronger in winter (common knowledge); numbers are rounded as weather files round them.
    air_c = np.round(mean_c - year_k * winter + day_k * daily + spell_k * (1.0 + 0.5 * winter) * spells, 1)
    dates = [datetime.date(2001, 1, 1) + datetime.timedelta(days=int(k)) for k in range(365)]
    return Weather(
        name=name,
        outdoor_c=air_c,
        dew_point_c=np.round(air_c - dry_k - 1.5 * day_k * np.maximum(daily, 0.0), 1),
        pressure_pa=np.full(8760, _SEA_LEVEL_PA),
        month=np.repeat([date.month for date in dates], 24).astype(np.int64),
        day=np.repeat([date.day for date in dates], 24).astype(np.int64),
    )
