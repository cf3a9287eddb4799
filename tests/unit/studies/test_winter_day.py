"""A winter day on the bench: staging, the room's balance of heat, and faults that strike at six."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lessonkit.draw.winter_day import clock, day_picture, show_winter_day
from lessonkit.errors import BadParameter
from lessonkit.job.faults import BadFault
from lessonkit.studies.house import load_house
from lessonkit.studies.staging import Demand, Staging, call_of
from lessonkit.studies.weather import demo_weather
from lessonkit.studies.winter_day import WinterDay, winter_day

HOUSE = load_house("harrowmere")


@pytest.fixture(scope="module")
def sound() -> WinterDay:
    """Return the coldest day of a sound job with two links."""
    return winter_day()


@pytest.fixture(scope="module")
def broken() -> WinterDay:
    """Return the same day with the outdoor unit's signal conductor broken at six."""
    return winter_day(faults="outdoor.SIG=open")


def test_the_thermostat_climbs_and_comes_down() -> None:
    """Cooling through its settings the room brings on one stage after the other; warmed, it lets them go."""
    staging, demand, seen = Staging(set_c=21.0), Demand(), []
    for room_c in (21.0, 20.75, 20.65, 20.3, 20.1, 19.5, 20.5, 21.1, 21.2, 21.35):
        demand = staging.next(demand, room_c, 400.0 * len(seen))
        seen.append(demand.stage)
    assert seen == [0, 0, 1, 1, 2, 3, 3, 2, 2, 0]


def test_stages_that_run_for_long_bring_on_the_next() -> None:
    """A room that hangs just below its setting gets stage 2 after 20 minutes and auxiliary heat 45 later."""
    staging, demand, first = Staging(), Demand(), {}
    for minute in range(120):
        demand = staging.next(demand, 20.6, 60.0 * minute)
        first.setdefault(demand.stage, minute)
    assert first == {1: 0, 2: 20, 3: 65}


@given(room_c=st.floats(5, 30), stage=st.integers(0, 3), lasted_s=st.floats(0, 1e5))
def test_a_warm_room_gets_nothing_and_a_cold_one_all(room_c: float, stage: int, lasted_s: float) -> None:
    """Above the differential nothing is asked for; far below it, everything is, whatever was before."""
    staging = Staging(set_c=21.0)
    after = staging.next(Demand(stage, 0.0), room_c, lasted_s).stage
    if room_c >= 21.3:
        assert after == 0
    if room_c <= 19.6 - 1e-9:
        assert after == 3


@pytest.mark.parametrize(
    ("house", "stage", "outdoor_c", "call"),
    [
        ("harrowmere", 0, -10.0, "off"),
        ("harrowmere", 1, -10.0, "heat-1"),
        ("harrowmere", 2, -10.0, "heat-2"),
        ("harrowmere", 3, -10.0, "heat-aux"),
        ("harrowmere", 3, 5.0, "heat-2"),
        ("harrowmere", 1, -25.0, "emergency"),
        ("fennick-forge", 1, -10.0, "emergency"),
        ("fennick-forge", 3, 5.0, "emergency"),
        ("saltbarn-cottage", 3, -5.0, "heat-2"),
    ],
)
def test_outdoor_thermostats_have_their_say(house: str, stage: int, outdoor_c: float, call: str) -> None:
    """Lockouts turn a demand into the call that is allowed; a furnace never runs with the compressor."""
    assert call_of(Demand(stage), load_house(house), outdoor_c) == call


def test_a_lockout_pair_that_bars_both_gives_nothing() -> None:
    """Where both are locked out there is no heat at all, which is what the rule about lockouts is for."""
    barred = HOUSE.with_lockouts(auxiliary_above_c=-5.0, compressor_below_c=0.0)
    assert call_of(Demand(3), barred, -3.0) == "off"


def test_thermostat_settings_out_of_order_are_refused() -> None:
    """Settings that no thermostat has get a sentence with the order."""
    with pytest.raises(BadParameter, match="second_below_k < auxiliary_below_k"):
        Staging(second_below_k=2.0)
    with pytest.raises(BadParameter, match="set_c is 99"):
        Staging(set_c=99)


def test_a_sound_day_keeps_the_room(sound: WinterDay) -> None:
    """At -19 C two stages and auxiliary heat keep the room within two kelvin, with defrosts in between."""
    assert sound.room_c.shape == sound.time_s.shape == (1440,)
    assert (sound.time_s[0], sound.time_s[-1]) == (60.0, 86400.0)
    assert (np.abs(sound.room_c - 21.0) < 2.0).all()
    assert sound.minutes("defrost") > 30
    assert {"heating, stage 1", "heating, stage 2", "heating, stage 2, with auxiliary heat"} <= set(
        sound.responding
    )
    assert set(sound.links) == {("working", "working")}


def test_the_room_s_heat_adds_up(sound: WinterDay) -> None:
    """What the room got, less what it lost, is what it stores: the balance of one lump over the day."""
    load = sound.house.load
    start_c, end_c = 21.0, sound.room_c[-1]
    room_c = np.concatenate([[start_c], sound.room_c])
    lost_w = load.ua * ((room_c[1:] + room_c[:-1]) / 2 - sound.outdoor_c)
    stored_wh = (sound.heat_w + load.gains_w - lost_w).sum() / 60.0
    assert stored_wh == pytest.approx(load.heat_capacity_wh_per_k * (end_c - start_c), abs=20.0)


def test_the_weather_is_followed_minute_by_minute(sound: WinterDay) -> None:
    """At each full hour the air outside is the weather's."""
    year = demo_weather("cold-valley")
    assert sound.outdoor_c[59::60] == pytest.approx(year.day_c(year.coldest_day()))


def test_a_broken_signal_at_six_shows_minutes_later(sound: WinterDay, broken: WinterDay) -> None:
    """Until six the two days are one; then the link goes silent, and auxiliary heat carries the house."""
    at = 6 * 60
    assert broken.responding[:at] == sound.responding[:at]
    assert np.array_equal(broken.room_c[:at], sound.room_c[:at])
    assert broken.links[at + 1] == ("working", "silent")
    assert not any("stage" in got or "defrost" in got for got in broken.responding[at + 1 :])
    assert "auxiliary heat alone" in broken.responding
    assert broken.drawn_kwh > sound.drawn_kwh
    assert broken.coldest[0] > 15.0


def test_a_valve_set_the_wrong_way_cools_the_house() -> None:
    """With the valve reversed the compressor takes heat out, auxiliary heat fights it, and the room falls."""
    day = winter_day(weather="mild-coast", faults="stat.valve=reversed", job="full-cable")
    assert any(got.startswith("cooling") for got in day.responding)
    cooled = np.array([got.startswith("cooling, stage 1") and "aux" not in got for got in day.responding])
    assert (day.heat_w[cooled] < 0).all()
    assert day.coldest[0] < 19.0


def test_a_dead_supply_leaves_the_house_to_cool() -> None:
    """With the fuse blown nothing is given, and the room follows the exact curve of one lump."""
    day = winter_day(faults="air.fuse=blown", strikes_s=0.0, job="full-cable", day=40)
    assert set(day.responding) == {"nothing"}
    assert day.drawn_kwh == 0
    assert (np.diff(day.room_c[day.room_c > day.outdoor_c + 5]) < 0).all()


def test_dual_fuel_takes_turns() -> None:
    """In the band around the changeover furnace and compressor both work, never in the same minute."""
    year = demo_weather("cold-valley")
    number = next(k for k, day in enumerate(year.days_c) if day.min() < -5.0 and day.max() > -2.0)
    day = winter_day("fennick-forge", job="full-cable", day=number)
    assert day.minutes("stage") > 0
    assert day.minutes("auxiliary heat alone") > 0
    assert day.minutes("with auxiliary heat") == sum(
        "defrost" in got and "with auxiliary heat" in got for got in day.responding
    )


@pytest.mark.parametrize(
    ("words", "error", "says"),
    [
        ({"strikes_s": -1.0}, BadParameter, "strikes_s is -1.0"),
        ({"day": 400}, BadParameter, "from 0 to 364"),
        ({"faults": "outdoor.Y9=open"}, BadFault, "no outdoor.Y9"),
    ],
)
def test_wrong_days_are_refused(words: dict[str, object], error: type[Exception], says: str) -> None:
    """A time, a day or a fault that can't be gets its sentence."""
    with pytest.raises(error, match=says):
        winter_day(**words)  # type: ignore[arg-type]


def test_the_picture_says_what_it_shows(broken: WinterDay) -> None:
    """The picture has both scales, bars only for what happened, and words with times and temperatures."""
    still = day_picture(broken)
    assert "At 06:00 this strikes: outdoor.SIG=open." in still.words
    assert "°F" in still.words
    _, bars = still.figure.axes
    names = [label.get_text() for label in bars.get_yticklabels()]
    assert names == ["defrost", "auxiliary", "stage 2", "stage 1"]
    assert clock(6 * 3600.0 + 300.0) == "06:05"


def test_a_notebook_shows_the_day_in_lines() -> None:
    """Without pictures the day is told in sentences and a line for each change."""
    view = show_winter_day(weather="mild-coast", job="full-cable")
    assert re.search(r"<img [^>]*alt=", view._repr_html_())
    assert repr(view).splitlines()[-1].count(":") >= 2
    assert view.words in repr(view).replace(".\n", ". ")
