"""Weather files and a season reckoned from them, against published and independent numbers.

Sources: the Denver degree days and monthly means are those that OpenStudio-HPXML publishes in its tests
(test_weather.rb) for the same typical year, NREL TMY3 725650; the season table was reckoned by an independent
script from AHRI 210/240 equations.  The years are recorded beside the tests, with the licences of the
packages that ship them; see `recorded/README.md`.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from lessonkit.studies.customary import BTU_H_W, BTU_J, c_to_f, f_to_c
from lessonkit.studies.house import Backup, HeatPump, House, Load
from lessonkit.studies.ratings import single_speed
from lessonkit.studies.season import season
from lessonkit.studies.weather import Weather, demo_weather, load_weather

RECORDED = Path(__file__).parent / "recorded"

#: 500 Btu/h for each degree below 65 F; 36/24 000 Btu/h; auxiliary heat without end.
HOUSE = House(
    "case-b",
    Load(ua_w_per_k=900 * BTU_H_W, indoor_c=f_to_c(70.0), gains_w=2500 * BTU_H_W),
    HeatPump(single_speed(36e3 * BTU_H_W, 3.5, 24e3 * BTU_H_W, 2.4)),
    backup=Backup(capacity_w=1e6),
)


def days_of(name: str) -> np.ndarray:
    """Return the recorded dry bulb of a year, shape (365, 24)."""
    text = (RECORDED / f"weather-{name}.csv").read_text(encoding="utf-8")
    rows = csv.reader(line for line in text.splitlines() if not line.startswith("#"))
    return np.array([[float(cell) for cell in row] for row in rows])


def weather_of(name: str) -> Weather:
    """Return a recorded year as weather; its months and days are those of any year of 365 days."""
    air, year = days_of(name).ravel(), demo_weather()
    return Weather(name, air, air - 5.0, np.full(air.size, 101325.0), year.month, year.day)


def test_denver_degree_days_as_published() -> None:
    """HDD65F 5783.5, HDD50F 2497.2, CDD50F 3072.3, CDD65F 883.6, mean 51.6 F (OpenStudio-HPXML)."""
    year = weather_of("denver")
    assert year.heating_degree_days(f_to_c(65.0)) * 1.8 == pytest.approx(5783.5, abs=0.06)
    assert year.heating_degree_days(f_to_c(50.0)) * 1.8 == pytest.approx(2497.2, abs=0.06)
    assert year.cooling_degree_days(f_to_c(50.0)) * 1.8 == pytest.approx(3072.3, abs=0.06)
    assert year.cooling_degree_days(f_to_c(65.0)) * 1.8 == pytest.approx(883.6, abs=0.06)
    assert c_to_f(year.outdoor_c.mean()) == pytest.approx(51.6, abs=0.05)


def test_denver_monthly_means_as_published() -> None:
    """The twelve monthly means in F (OpenStudio-HPXML); highs and lows lie on either side of them."""
    months = weather_of("denver").months
    published = [33.4, 31.9, 43.0, 42.5, 59.9, 73.6, 72.1, 72.7, 66.5, 50.1, 37.2, 34.6]
    assert c_to_f(months.mean_c) == pytest.approx(published, abs=0.051)
    assert (months.low_c < months.mean_c).all()
    assert (months.mean_c < months.high_c).all()


@pytest.mark.parametrize(
    ("name", "daily", "hourly"),
    [("denver", 5783.5, 6016.3), ("chicago", 6325.3, 6496.9), ("greensboro", 3875.8, 4050.4)],
)
def test_degree_days_by_the_day_and_by_the_hour_differ(name: str, daily: float, hourly: float) -> None:
    """Degree days of daily means and of hours are two numbers (both by an independent script)."""
    year = weather_of(name)
    assert year.heating_degree_days(f_to_c(65.0)) * 1.8 == pytest.approx(daily, abs=0.06)
    assert year.heating_degree_hours(f_to_c(65.0)) * 1.8 / 24 == pytest.approx(hourly, abs=0.06)


@pytest.mark.parametrize(
    ("name", "low_c", "high_c", "mean_c", "below"),
    [
        ("denver", -19.4, 40.0, 10.88, {17: 194, 35: 1989}),
        ("chicago", -22.8, 35.0, 9.988, {5: 147, 17: 498, 35: 2275, 40: 3140, 47: 3944}),
        ("greensboro", -16.7, 35.6, 14.42, {17: 136, 35: 981, 47: 2480}),
    ],
)
def test_hours_below(name: str, low_c: float, high_c: float, mean_c: float, below: dict[int, int]) -> None:
    """Extremes, means and hours below some temperatures, counted by an independent script."""
    year = weather_of(name)
    assert (year.outdoor_c.min(), year.outdoor_c.max()) == (low_c, high_c)
    assert year.outdoor_c.mean() == pytest.approx(mean_c, abs=0.005)
    assert {f: year.hours_below(f_to_c(float(f))) for f in below} == below


@pytest.mark.parametrize(
    ("name", "load", "share", "hours", "drawn", "auxiliary", "cop", "cut_out", "needless"),
    [
        ("greensboro", 48.605, 0.00937, 136, 5499.8, 133.5, 2.5286, (0.0116, 0.0724, 0.1977, 0.3998), 1455),
        ("denver", 72.196, 0.01383, 194, 8301.2, 292.7, 2.4620, (0.0202, 0.0722, 0.2640, 0.5387), 2691),
        ("chicago", 77.963, 0.05260, 498, 8825.6, 1201.8, 2.2786, (0.0885, 0.1825, 0.3564, 0.6129), 2642),
    ],
)
def test_seasons(
    name: str,
    load: float,
    share: float,
    hours: int,
    drawn: float,
    auxiliary: float,
    cop: float,
    cut_out: tuple[float, ...],
    needless: int,
) -> None:
    """Load in million Btu, auxiliary share and hours, kWh, COP, shares with the compressor off at 5 to 35 F.

    An independent script of the AHRI equations, to 0.1 %. Needless hours are those from 17 to 40 F.
    """
    year = weather_of(name)
    found = season(HOUSE, year)
    assert found.load_kwh * 3.6e6 / BTU_J / 1e6 == pytest.approx(load, rel=1e-3)
    assert found.load_kwh == pytest.approx(900 * BTU_H_W * year.heating_degree_hours(f_to_c(65.0)) / 1000)
    assert found.backup_share == pytest.approx(share, rel=1e-3)
    assert found.backup_hours == hours
    assert found.drawn_kwh == pytest.approx(drawn, rel=1e-3)
    assert found.auxiliary_kwh == pytest.approx(auxiliary, rel=1e-3)
    assert found.cop == pytest.approx(cop, rel=1e-3)
    off = [
        season(HOUSE.with_lockouts(compressor_below_c=f_to_c(t)), year).backup_share
        for t in (5.0, 17.0, 25.0, 35.0)
    ]
    assert off == pytest.approx(cut_out, rel=1e-3, abs=5.1e-5)
    allowed = season(HOUSE.with_lockouts(auxiliary_above_c=f_to_c(40.0)), year)
    assert allowed.needless_hours == needless


def test_the_reader_reads_a_real_epw() -> None:
    """The first day of Denver's own file comes out as it was split at its commas without us."""
    day = load_weather(RECORDED / "weather-denver-head.epw")
    assert day.outdoor_c == pytest.approx(days_of("denver")[0])
    assert (day.hours, day.month[0], day.day[-1]) == (24, 1, 1)
    assert "Denver" in day.name
    lines = (RECORDED / "weather-denver-head.epw").read_text(encoding="latin-1").splitlines()[8:]
    assert day.dew_point_c == pytest.approx([float(line.split(",")[7]) for line in lines])
    assert day.pressure_pa == pytest.approx([float(line.split(",")[9]) for line in lines])


def test_the_reader_reads_a_real_tmy3() -> None:
    """The first day of Greensboro's own file comes out the same; its millibars become pascals."""
    day = load_weather(RECORDED / "weather-greensboro-head.csv")
    assert day.outdoor_c == pytest.approx(days_of("greensboro")[0])
    assert (day.hours, day.month[0], day.day[-1]) == (24, 1, 1)
    assert day.dew_point_c[:2] == pytest.approx([6.1, 6.7])
    assert day.pressure_pa[0] == pytest.approx(99300.0)
    assert day.name.startswith("GREENSBORO")
