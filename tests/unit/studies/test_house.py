"""Houses: loads and their two conventions, files and their mistakes, lockouts set wrong."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lessonkit.errors import BadParameter
from lessonkit.studies.balance import balance_points, economic_balance_c, lockout_mistakes, thermal_balance_c
from lessonkit.studies.house import (
    Backup,
    BadHouse,
    HeatPump,
    House,
    Load,
    Prices,
    house_from_toml,
    house_names,
    load_house,
)
from lessonkit.studies.ratings import FROST_TO_C, H3_C, Rating, single_speed

MACHINE = single_speed(10550.0, 3.5, 7030.0, 2.4)
SOUND = """
name = "mill"
[load]
ua_w_per_k = 260.0
[heat_pump.high]
capacity_h1_w = 10550.0
power_h1_w = 3010.0
capacity_h3_w = 7030
power_h3_w = 2930.0
"""


def test_a_design_point_and_a_ua_say_the_same() -> None:
    """A loss at a design point is the UA times the difference there, gains not taken off."""
    by_point = Load(design_w=9000.0, design_outdoor_c=-15.0, indoor_c=21.0, gains_w=500.0)
    by_ua = Load(ua_w_per_k=250.0, indoor_c=21.0, gains_w=500.0)
    assert by_point.ua == pytest.approx(by_ua.ua)
    assert by_point.no_load_c == pytest.approx(19.0)
    assert by_ua.needed_w(np.array([-15.0, 19.0, 25.0])) == pytest.approx([8500.0, 0.0, 0.0])


@pytest.mark.parametrize("name", house_names())
def test_example_houses_read_and_hold_together(name: str) -> None:
    """Each example is there under its own name, with a title and a story, and two of them are set wrong."""
    house = load_house(name)
    assert house.name == name
    assert house.title
    assert house.story
    assert bool(lockout_mistakes(house)) == (name in ("saltbarn-cottage", "quern-hill"))


def test_a_house_file_may_be_short() -> None:
    """Everything but the name, the load and the machine has a default."""
    house = house_from_toml(SOUND)
    assert house.heat_pump.stages == 1
    assert house.backup == Backup()
    assert load_house(house) is house


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("ua_w_per_k = 260.0", "ua_w_per_k = -1"), "load.ua_w_per_k is -1.0, but must be a number above 0"),
        (
            ("ua_w_per_k = 260.0", "ua_w_perk = 260.0"),
            "load.ua_w_perk is not a key of a house (did you mean ua_w_per_k",
        ),
        (("ua_w_per_k = 260.0", "design_w = 9000.0"), "together with design_outdoor_c"),
        (("ua_w_per_k = 260.0", "ua_w_per_k = 1.0\ndesign_w = 2.0"), "left out where design_w is given"),
        (("capacity_h3_w = 7030", "capacity_h3_w = 12000"), "heat_pump.high.capacity_h3_w is 12000.0"),
        (("power_h3_w = 2930.0", ""), "heat_pump.high lacks power_h3_w"),
        (
            ("power_h3_w = 2930.0", 'power_h3_w = "much"'),
            "heat_pump.high.power_h3_w is 'much', but must be a number",
        ),
        (('name = "mill"', ""), "name is missing"),
        (
            ('name = "mill"', 'name = "mill"\nrooms = 3'),
            "rooms is not a key of a house (known here: name, load",
        ),
        (('name = "mill"', 'name = "mill"\nbackup = 3'), "backup must be a table"),
        (('name = "mill"', 'name = "mi\\u001bll"'), "name has a control character"),
    ],
)
def test_mistakes_are_named_by_key(change: tuple[str, str], says: str) -> None:
    """Each mistake in a file is one sentence with the file, the key and what is allowed."""
    with pytest.raises(BadHouse) as caught:
        house_from_toml(SOUND.replace(*change), "mill.toml")
    said = str(caught.value)
    assert said.startswith(("mill.toml: ", "house"))
    assert says in said
    assert "\n" not in said


@pytest.mark.parametrize(
    ("table", "says"),
    [
        ("[backup]\nkind = 'wood'", "backup.kind is 'wood', but must be one of electric, fossil"),
        ("[backup]\nefficiency = 0.9", "backup.efficiency is 0.9, but must be 1 for electric heat"),
        ("[backup]\nkind = 'fossil'\nefficiency = 0.9", "prices.fuel_per_kwh is missing"),
        ("[outdoor_thermostat]\nauxiliary_above_c = 99", "outdoor_thermostat.auxiliary_above_c is 99"),
        ("[prices]\nelectricity_per_kwh = 0", "prices.electricity_per_kwh is 0"),
        (
            "[heat_pump.low]\ncapacity_h1_w=20000\npower_h1_w=1\ncapacity_h3_w=2\npower_h3_w=1",
            "heat_pump.low.capacity_h1",
        ),
    ],
)
def test_mistakes_in_other_tables(table: str, says: str) -> None:
    """The other tables refuse what can't be, by key."""
    with pytest.raises(BadHouse) as caught:
        house_from_toml(f"{SOUND}\n{table}\n", "mill.toml")
    assert says in str(caught.value)


def test_several_mistakes_come_in_one_go() -> None:
    """A file with three mistakes names all three."""
    text = "colour = 1\n" + SOUND.replace("260.0", "-1").replace("7030", "0")
    with pytest.raises(BadHouse) as caught:
        house_from_toml(text)
    assert len(caught.value.mistakes) == 3


def test_files_that_can_t_be_read(tmp_path: Path) -> None:
    """A file that is not there, is no text or no TOML gets its sentence."""
    with pytest.raises(BadHouse, match="there is no such file; give the path of a house file or an example"):
        load_house(tmp_path / "none.toml")
    odd = tmp_path / "odd.toml"
    odd.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(BadHouse, match="not UTF-8"):
        load_house(odd)
    odd.write_text("name = ")
    with pytest.raises(BadHouse, match="this is not TOML"):
        load_house(odd)


def test_balance_points_of_two_stages_and_two_fuels() -> None:
    """The low stage's balance lies above the high one's; the changeover is the higher of the two."""
    two = balance_points(load_house("harrowmere"))
    assert two.thermal_c is not None
    assert two.low_stage_c is not None
    assert two.thermal_c < two.low_stage_c < two.no_load_c
    assert two.changeover_c is None
    dual = balance_points(load_house("fennick-forge"))
    assert dual.changeover_c == max(dual.thermal_c or -99, dual.economic_c or -99)


def test_no_balance_point_where_there_is_none() -> None:
    """A machine that is always large enough, and a fuel that is always cheaper, have no finite point."""
    tiny = Load(ua_w_per_k=1.0)
    assert thermal_balance_c(tiny, MACHINE) == -math.inf
    assert economic_balance_c(MACHINE, 50.0) == math.inf
    assert economic_balance_c(MACHINE, 0.1) == -math.inf
    house = House("h", tiny, HeatPump(MACHINE), backup=Backup("fossil"), prices=Prices(0.1, 0.5))
    assert balance_points(house).thermal_c is None


@given(
    q1=st.floats(4e3, 3e4),
    left=st.floats(0.3, 0.95),
    ua=st.floats(50.0, 900.0),
    gains=st.floats(0.0, 3e3),
)
def test_the_balance_point_is_where_the_two_meet(q1: float, left: float, ua: float, gains: float) -> None:
    """Just above the balance point the machine is large enough, just below it is not."""
    rating, load = Rating(q1, q1 / 3.5, left * q1, q1 / 4.0), Load(ua_w_per_k=ua, gains_w=gains)
    at = thermal_balance_c(load, rating)
    if not -59.0 < at < load.no_load_c - 1e-3:
        return
    step = 1e-6
    above, below = at + step, at - step
    assert float(rating.capacity_w(above)) >= float(load.needed_w(above)) - 1e-2
    assert float(rating.capacity_w(below)) <= float(load.needed_w(below)) + 1e-2


@given(outdoor_c=st.floats(-40.0, 30.0))
def test_segments_are_the_same_line(outdoor_c: float) -> None:
    """The straight pieces used for crossings give what the arrays give, away from their ends."""
    for low_c, high_c, q_low, q_high, p_low, p_high in MACHINE.segments():
        if low_c < outdoor_c < high_c and outdoor_c not in (H3_C, FROST_TO_C):
            share = (outdoor_c - low_c) / (high_c - low_c)
            assert q_low + share * (q_high - q_low) == pytest.approx(float(MACHINE.capacity_w(outdoor_c)))
            assert p_low + share * (p_high - p_low) == pytest.approx(float(MACHINE.power_w(outdoor_c)))


@pytest.mark.parametrize(
    ("lockouts", "words"),
    [
        ({"auxiliary_above_c": -20.0}, "nothing makes up what is missing"),
        ({"auxiliary_above_c": 2.0, "compressor_below_c": 2.0}, "no heat at all"),
        ({"compressor_below_c": 0.0}, "COP of 1"),
    ],
)
def test_wrong_lockouts_are_told(lockouts: dict[str, float], words: str) -> None:
    """Each lockout that costs warmth or money gets a sentence with both units."""
    told = lockout_mistakes(load_house("harrowmere").with_lockouts(**lockouts))
    assert any(words in sentence for sentence in told)
    assert all(" °C (" in sentence and " °F)" in sentence for sentence in told)


def test_a_house_is_changed_in_one_line() -> None:
    """Frost, furnace and fuel price are changed in one line each, and the rest stays as it was."""
    house = load_house("quern-hill")
    damp = house.with_frost("demand")
    assert damp.heat_pump.frost == "demand"
    assert damp.heat_pump.high == house.heat_pump.high
    dual = house.with_furnace(16000.0, 0.9, 0.05)
    assert dual.backup == Backup("fossil", 16000.0, 0.9)
    assert (dual.prices.fuel_per_kwh, dual.prices.electricity_per_kwh) == (0.05, 0.15)
    with pytest.raises(BadParameter, match="efficiency is 1.2"):
        house.with_furnace(16000.0, 1.2, 0.05)


def test_a_changeover_below_the_balance_point_is_told() -> None:
    """Dual fuel that changes over below the thermal balance point leaves the house to cool."""
    told = lockout_mistakes(load_house("fennick-forge").with_lockouts(compressor_below_c=-15.0))
    assert "below the thermal balance point" in told[0]


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: Load(), "ua_w_per_k is None"),
        (lambda: Load(ua_w_per_k=math.nan), "ua_w_per_k is nan"),
        (lambda: Load(ua_w_per_k=200.0, indoor_c=90.0), "indoor_c is 90.0"),
        (lambda: Load(design_w=1.0, design_outdoor_c=30.0), "design_outdoor_c is 30.0"),
        (lambda: HeatPump(MACHINE, frost="guessed"), "frost is 'guessed'"),
        (lambda: HeatPump(MACHINE, cycling_loss=0.9), "cycling_loss is 0.9"),
        (lambda: Rating(1000.0, 2000.0, 500.0, 100.0), "power_h1_w is 2000.0"),
        (lambda: Backup(capacity_w=-1.0), "capacity_w is -1.0"),
        (lambda: economic_balance_c(MACHINE, 0.0), "cop is 0.0"),
    ],
)
def test_bad_values_are_refused(make: object, says: str) -> None:
    """Values that no house has are named with what is allowed."""
    with pytest.raises(BadParameter, match=says):
        make()  # type: ignore[operator]
