"""A season: energy adds up, stages share hours, lockouts and frost act, weather files are read or refused."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.errors import BadParameter
from lessonkit.studies.frost import defrost_derating, defrost_draws_w
from lessonkit.studies.house import Backup, House, Prices, house_names, load_house
from lessonkit.studies.season import Season, running_cop, season, sweep_lockouts
from lessonkit.studies.weather import BadWeather, Weather, demo_weather, load_weather, weather_names

YEAR = demo_weather("cold-valley")


def holds_together(found: Season) -> None:
    """Check what must hold in every season."""
    hours = found.hours
    assert hours.heat_pump_w + hours.backup_w + hours.unmet_w == pytest.approx(hours.load_w)
    for share in (hours.low, hours.high):
        assert ((share >= 0) & (share <= 1)).all()
    assert (hours.low + hours.high <= 1 + 1e-9).all()
    assert (hours.unmet_w >= -1e-9).all()
    assert (hours.drawn_w[(hours.low + hours.high) == 0] == 0).all()
    assert not (hours.locked_out & (hours.low + hours.high > 0)).any()


@pytest.mark.parametrize("name", house_names())
@pytest.mark.parametrize("weather", weather_names())
def test_every_example_adds_up(name: str, weather: str) -> None:
    """Heat from machine, backup and what is missing is the load in every hour, for all examples."""
    found = season(name, weather)
    holds_together(found)
    electric, fuel = found.drawn_kwh + found.auxiliary_kwh, found.fuel_kwh
    prices = found.house.prices
    assert found.cost == pytest.approx(
        electric * prices.electricity_per_kwh + fuel * (prices.fuel_per_kwh or 0)
    )
    json.dumps(found.to_dict(), allow_nan=False)


@settings(max_examples=30, deadline=None)
@given(
    ua=st.floats(80.0, 800.0),
    aux_w=st.floats(0.0, 2e4),
    above=st.one_of(st.none(), st.floats(-20.0, 10.0)),
    below=st.one_of(st.none(), st.floats(-30.0, 10.0)),
    kind=st.sampled_from(["electric", "fossil"]),
    frost=st.sampled_from(["rated", "timed", "demand"]),
    stages=st.sampled_from([1, 2]),
)
def test_any_house_adds_up(
    ua: float, aux_w: float, above: float | None, below: float | None, kind: str, frost: str, stages: int
) -> None:
    """What must hold in a season holds for any load, backup, lockouts, fuel, frost and number of stages."""
    base = load_house("harrowmere")
    pump = replace(base.heat_pump, frost=frost, low=base.heat_pump.low if stages == 2 else None)
    load = replace(base.load, ua_w_per_k=ua, design_w=None, design_outdoor_c=None)
    house = replace(
        base,
        load=load,
        heat_pump=pump,
        backup=Backup(kind, aux_w, 0.9 if kind == "fossil" else 1.0),
        prices=Prices(0.2, 0.05),
    ).with_lockouts(auxiliary_above_c=above, compressor_below_c=below)
    holds_together(season(house, YEAR))


def test_two_stages_draw_less_than_one_that_cycles() -> None:
    """A low stage spares starts: the same house draws less with it, and needs the same auxiliary heat."""
    two = load_house("harrowmere")
    one = replace(two, heat_pump=replace(two.heat_pump, low=None))
    with_low, without = season(two, YEAR), season(one, YEAR)
    assert with_low.drawn_kwh < without.drawn_kwh
    assert with_low.auxiliary_kwh == pytest.approx(without.auxiliary_kwh)
    assert without.low_hours == 0


def test_between_the_stages_the_two_take_turns() -> None:
    """Where the load lies between the stages, low and high fill the hour and give just the load."""
    found = season("harrowmere", YEAR).hours
    between = (found.low > 0) & (found.high > 0)
    assert between.any()
    assert (found.low + found.high)[between] == pytest.approx(1.0)


def test_a_furnace_never_runs_together_with_the_compressor() -> None:
    """Dual fuel: no hour has both, and below the changeover the furnace has all of it."""
    found = season("fennick-forge", YEAR)
    hours = found.hours
    assert not ((hours.backup_w > 0) & (hours.heat_pump_w > 0)).any()
    cold = hours.outdoor_c <= -4.0
    assert hours.backup_w[cold] == pytest.approx(hours.load_w[cold])
    assert found.fuel_kwh == pytest.approx(found.backup_kwh / 0.93)
    assert found.auxiliary_kwh == 0


def test_a_lockout_below_the_balance_point_leaves_people_cold() -> None:
    """Auxiliary heat barred below the balance point: heat is missing just between the two."""
    found = season("saltbarn-cottage", YEAR)
    missing = found.hours.unmet_w > 1e-6
    assert found.unmet_kwh > 1000
    assert found.hours.outdoor_c[missing].min() >= -7.0
    assert found.mistakes


def test_frost_follows_the_humidity_of_the_weather() -> None:
    """The same cold takes more auxiliary heat when it is damp, by either kind of board."""
    base = load_house("saltbarn-cottage").with_lockouts(auxiliary_above_c=None)
    desert = replace(YEAR, dew_point_c=YEAR.outdoor_c - 40.0)
    for kind in ("timed", "demand"):
        house = replace(base, heat_pump=replace(base.heat_pump, frost=kind))
        assert season(house, YEAR).auxiliary_kwh > 1.02 * season(house, desert).auxiliary_kwh


def test_in_damp_air_a_board_that_senses_frost_is_better_than_a_clock() -> None:
    """Near freezing, demand leaves more capacity than the clock, heat taken from indoors included."""
    left = {kind: defrost_derating(kind, 1.0, 0.0017) for kind in ("timed", "demand")}
    net = {kind: one.capacity - defrost_draws_w(one.share, 1.0, 1.0) for kind, one in left.items()}
    assert net["demand"] > net["timed"]
    warm = defrost_derating("timed", 10.0, 0.0017)
    assert (warm.capacity, warm.power, warm.share) == (1.0, 1.0, 0.0)


def test_the_sweep_finds_what_a_wrong_lockout_costs() -> None:
    """A compressor locked out too soon costs money; auxiliary heat locked out too low leaves heat missing."""
    money = sweep_lockouts("harrowmere", YEAR, "compressor_below_c", (-5.0, -25.0, 1.0))
    assert money.setting_c.tolist() == [-25.0, -5.0, 1.0]
    assert money.extra[0] == 0
    assert 0 < money.extra[1] < money.extra[2]
    cold = sweep_lockouts("saltbarn-cottage", YEAR, "auxiliary_above_c")
    assert (np.diff(cold.unmet_kwh) <= 1e-9).all()
    assert cold.unmet_kwh[cold.best] == pytest.approx(0.0, abs=1e-6)
    assert cold.setting_c[cold.best] >= season("saltbarn-cottage", YEAR).balance.thermal_c - 0.5
    assert cold.unmet_kwh[cold.best - 1] > 0


def test_the_dual_fuel_sweep_agrees_with_the_crossing() -> None:
    """The cheapest changeover of a season lies within a kelvin of the economic point, cycling left out."""
    base = load_house("fennick-forge")
    house: House = replace(base, heat_pump=replace(base.heat_pump, cycling_loss=0.0))
    found = season(house, YEAR)
    sweep = sweep_lockouts(house, YEAR, "compressor_below_c", np.arange(-12.0, 8.0, 0.25))
    assert found.balance.changeover_c is not None
    assert sweep.setting_c[sweep.best] == pytest.approx(found.balance.changeover_c, abs=0.3)


def test_cop_with_starts_and_stops() -> None:
    """At 8 C a machine of 9920 W and 2594 W runs 3000/9920 of the time and keeps 0.826 of its COP of 3.82.

    1 - Cd (1 - X) with Cd 0.25 is the rating standard's; the sum is done by hand.
    """
    house = load_house("quern-hill").with_lockouts(compressor_below_c=-20.0)
    x = 3000 / 9920
    expected = 9920 / 2594 * (1 - 0.25 * (1 - x))
    mild, cold, warm, locked = running_cop(house, [8.0, -15.0, 18.5, -20.5])
    assert mild == pytest.approx(expected, rel=1e-3)
    assert cold == pytest.approx(float(house.heat_pump.high.cop(-15.0)))
    assert np.isnan(warm)
    assert np.isnan(locked)


def test_the_warmest_help_is_just_below_the_balance_point() -> None:
    """With no lockout in the way, auxiliary heat is first needed in the hour next under the balance point."""
    house = load_house("quern-hill").with_lockouts(compressor_below_c=None, auxiliary_above_c=None)
    found = season(house, YEAR)
    assert found.warmest_backup_c is not None
    assert found.balance.thermal_c is not None
    below = YEAR.outdoor_c[YEAR.outdoor_c < found.balance.thermal_c]
    assert found.warmest_backup_c == below.max()


def test_an_unknown_lockout_is_refused() -> None:
    """The sweep names the settings that there are."""
    with pytest.raises(BadParameter, match="compressor_below_c, auxiliary_above_c"):
        sweep_lockouts("harrowmere", YEAR, "changeover")


def test_invented_weather_is_the_same_everywhere() -> None:
    """Two invented years, with a few hours pinned, and whole months."""
    assert YEAR.hours == 8760
    assert YEAR.outdoor_c[:3].tolist() == demo_weather("cold-valley").outdoor_c[:3].tolist()
    assert (YEAR.outdoor_c.min(), YEAR.outdoor_c.max()) == (-19.4, 29.0)
    assert demo_weather("mild-coast").hours_below(-5.0) == 0
    assert YEAR.months.mean_c.argmin() in (0, 1)
    assert YEAR.day_c(YEAR.coldest_day()).mean() == pytest.approx(YEAR.days_c.mean(axis=1).min())


def epw(rows: list[str], steps: str = "1") -> str:
    """Return an EPW text of an invented place."""
    heading = [
        "LOCATION,Wrenholt,XX,XXX,own,1,0,0,0,10",
        *(["COMMENTS 1,"] * 6),
        f"DATA PERIODS,1,{steps},Data",
    ]
    return "\n".join([*heading, *rows]) + "\n"


def row(dry: str = "-3.5", dew: str = "-5.0", pressure: str = "99000", month: str = "1") -> str:
    """Return one hour of an EPW."""
    return f"2001,{month},1,1,0,flags,{dry},{dew},80,{pressure},0,0"


def test_an_epw_with_gaps_is_read(tmp_path: Path) -> None:
    """A missing dew point counts as 70 % relative humidity, a missing pressure as sea level."""
    path = tmp_path / "w.epw"
    path.write_text(epw([row(), row(dew="99.9", pressure="999999"), ""]), encoding="utf-8")
    found = load_weather(path)
    assert found.name == "Wrenholt"
    assert found.outdoor_c.tolist() == [-3.5, -3.5]
    assert found.dew_point_c.tolist() == [-5.0, -8.5]
    assert found.pressure_pa.tolist() == [99000.0, 101325.0]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (epw([row(), row("99.9")]), "line 10: field 7 is '99.9', but must be degrees Celsius from -90 to 60"),
        (epw([row("warm")]), "line 9: field 7 is 'warm'"),
        (epw([row(month="13")]), "field 2 is '13', but must be a month"),
        (epw(["2001,1,1"]), "field 7 is missing"),
        (epw([]), "no hours follow line 8"),
        (epw([row()], "4"), "4 steps in an hour; give a file with 1"),
        ("LOCATION", "no hours follow"),
        ("hello\nworld\n", "neither EPW"),
        ("", "neither EPW"),
        ("station\nDry-bulb (C),Date\n1,2\n", "names no column Date (MM/DD/YYYY)"),
    ],
)
def test_weather_files_with_mistakes(text: str, says: str, tmp_path: Path) -> None:
    """A file that can't be read as weather gets one sentence with file, line and what should stand there."""
    path = tmp_path / "odd.epw"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadWeather) as caught:
        load_weather(path)
    said = str(caught.value)
    assert says in said
    assert said.startswith("odd.epw")
    assert "\n" not in said


def test_weather_that_is_not_there() -> None:
    """A path that leads nowhere is answered with what may be given."""
    with pytest.raises(
        BadWeather, match="there is no such file; give an EPW or TMY3 file, or one of the invented"
    ):
        load_weather("nowhere.epw")
    with pytest.raises(BadParameter, match="one of cold-valley, mild-coast"):
        demo_weather("moon")


def test_part_of_a_year_has_no_months() -> None:
    """Monthly means of a file that lacks months are refused, and its days are counted whole."""
    part = Weather(
        "part",
        *(each[:30] for each in (YEAR.outdoor_c, YEAR.dew_point_c, YEAR.pressure_pa, YEAR.month, YEAR.day)),
    )
    assert part.days_c.shape == (1, 24)
    with pytest.raises(BadParameter, match="twelve months"):
        _ = part.months
    with pytest.raises(BadParameter, match="from 0 to 0"):
        part.day_c(1)
    assert season("harrowmere", part).load_kwh > 0
