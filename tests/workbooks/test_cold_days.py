"""What is particular to workbook 09: its prose against bench and season, right hand work, slips, designs.

Each number of the prose that the bench can compute is computed here again, and must stand in the text as it
comes out.  What is said of pages in print is reckoned from their own numbers.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from lesson import assert_right_by_hand, words_of

from lessonkit.bench.bench import Bench
from lessonkit.exercises.core import Exercise, Givens, givens_for, judge, solution
from lessonkit.exercises.series.workbook_09 import BALANCE, CYCLING, FROST
from lessonkit.exercises.series.workbook_09_lockouts import DESIGN, judged
from lessonkit.exercises.series.workbook_09_money import CHANGEOVER, KINDS, PRINTED
from lessonkit.job.model import Job
from lessonkit.job.toml import demo_job
from lessonkit.studies.balance import balance_points, thermal_balance_c
from lessonkit.studies.customary import THERM_KWH
from lessonkit.studies.defrosts import running
from lessonkit.studies.frost import defrost_derating
from lessonkit.studies.house import House, load_house
from lessonkit.studies.season import Season, running_cop, season
from lessonkit.studies.weather import load_weather
from lessonkit.studies.winter_day import winter_day

NOTEBOOK = Path(__file__).resolve().parents[2] / "notebooks" / "09_cold_days.ipynb"
CLASS = range(30)


def text() -> str:
    """Return the words of the workbook."""
    return words_of("09").replace("**", "")


def before() -> House:
    """Return the house as it was before October."""
    return load_house("quern-hill").with_lockouts(compressor_below_c=-20.0)


@cache
def year(
    above_c: float = 4.0, below_c: float = -20.0, frost: str = "rated", weather: str = "cold-valley"
) -> Season:
    """Return a year of the house."""
    house = before().with_lockouts(auxiliary_above_c=above_c, compressor_below_c=below_c)
    return season(house.with_frost(frost), weather)


def wiring() -> Job:
    """Return the wiring of the lesson."""
    return demo_job("wire-return").with_equipment(valve="O", stages=1)


# The lesson ------------------------------------------------------------------------------------------------


def test_what_is_said_of_the_balance_point() -> None:
    """Ratings, the two lines, where they meet with frost and without; the page's own 27 °F is none."""
    house = before()
    rating, load = house.heat_pump.high, house.load
    assert rating.frosted[0] == pytest.approx(7560)
    assert float(rating.capacity_w(-1e-9)) == pytest.approx(7300, abs=1)
    assert float(load.needed_w(0.0)) == pytest.approx(5400)
    found = balance_points(house).thermal_c
    assert found == pytest.approx(-1900 / 456, abs=0.01)
    assert f"1900 / 456 = 4.2 kelvin: at {found:.1f} °C (25 °F)" in text()
    dry = thermal_balance_c(load, rating, frost=False)
    assert f"Without frost the machine would do it down to {dry:.1f} °C" in text()
    need, gives = 30_000 * (70 - 27) / 65, 24_000 + 400 * 10
    assert round(need, -2) == 19_800
    assert gives == 28_000
    slope = 30_000 / 65
    assert (slope * 70 - 24_000 + 17 * 400) / (slope + 400) == pytest.approx(17.5, abs=0.05)


def test_what_is_said_of_the_year() -> None:
    """Hours, percent, the warmest help, money and COP of the year before October."""
    found, air = year(), load_weather("cold-valley").outdoor_c
    assert round(int((air < 18).sum()), -3) == 7000
    assert found.backup_hours == 1744
    assert "1744 of them are colder" in text()
    assert round(100 * found.backup_share) == 12
    assert found.warmest_backup_c == pytest.approx(-4.2)
    assert (
        f"The year costs {found.cost:.0f}, and each kilowatt-hour of electricity brings {found.cop:.2f}"
        in text()
    )
    house = before()
    assert round(float(house.heat_pump.high.capacity_w(-15.0)) / 1000, 1) == 4.4
    assert round(float(house.load.needed_w(-15.0)) / 1000, 1) == 9.9


def test_what_is_said_of_the_screw() -> None:
    """The bill with the lockout at 2 °C, what is missing, and what the house needs at -19 °C."""
    found = year(below_c=2.0)
    assert f"{found.cost / year().cost:.2f} times: {found.cost:.0f} where it was 2048" in text()
    assert f"{found.unmet_kwh:.0f} kWh are missing: at -19 °C the house needs 11.1 kW" in text()
    assert round(float(before().load.needed_w(-19.0)) / 1000, 1) == 11.1
    assert len(found.mistakes) == 1


def test_what_is_said_of_the_advice() -> None:
    """The lockout of auxiliary heat at -8 °C, and the hours of waste at 4 °C."""
    found = year(above_c=-8.0)
    assert f"{found.unmet_kwh:.0f} kWh are missing, in {found.unmet_hours} hours" in text()
    assert found.cost < year().cost
    assert f"In {year().needless_hours} hours of the year auxiliary heat is allowed" in text()


def test_what_the_contacts_do() -> None:
    """At 0 °C the blower runs alone; emergency heat goes past the lockout in mild air."""
    job = demo_job("full-cable").with_equipment(stages=1)
    job = job.with_outdoor_thermostat(auxiliary_above_c=4.0, compressor_below_c=2.0)
    bench = Bench(job, call="heat-1", outdoor_c=0.0)
    assert running(bench.advance(60)) == ["blower"]
    emergency = Bench(job, call="emergency", outdoor_c=8.0)
    assert "auxiliary heat" in running(emergency.advance(60))


def test_what_is_said_of_starts_and_stops() -> None:
    """At 8 °C: 9920 W, 2594 W, a COP of 3.82, and 3.16 with starts and stops."""
    rating = before().heat_pump.high
    assert float(rating.capacity_w(8.0)) == pytest.approx(9920)
    assert float(rating.power_w(8.0)) == pytest.approx(2594)
    assert f"3.82 x 0.826 = {running_cop(before(), 8.0)[0]:.2f}" in text()


def test_what_is_said_of_two_fuels() -> None:
    """The changeover by money and by capacity, and the guide whose furnace is cheaper after all."""
    dual = before().with_furnace(16000.0, 0.90, 0.045)
    found = balance_points(dual)
    assert found.break_even_cop == pytest.approx(3.0)
    assert f"43 / 113.1 = 0.4 kelvin: at {found.changeover_c:.1f} °C (31 °F)" in text()
    assert float(dual.heat_pump.high.power_w(-1e-9)) == pytest.approx(2419, abs=0.5)
    dear = balance_points(before().with_furnace(16000.0, 0.90, 0.06))
    assert dear.economic_c == pytest.approx(-12.5, abs=0.05)
    assert dear.changeover_c == dear.thermal_c
    gas = 1.20 / THERM_KWH / 0.90
    assert round(gas, 4) == 0.0455
    assert round(0.15 / gas, 1) == 3.3
    assert gas < 0.15 / 2.5


def test_what_is_said_of_two_boards() -> None:
    """79 and 75 percent in damp air; demand is cheaper on the coast, the clock in the valley."""
    left = {kind: float(defrost_derating(kind, 0.0, 0.0015).capacity) for kind in ("demand", "timed")}
    assert (round(100 * left["demand"]), round(100 * left["timed"])) == (79, 75)
    coast, valley = (
        {kind: year(frost=kind, weather=weather).cost for kind in left}
        for weather in ("mild-coast", "cold-valley")
    )
    assert coast["demand"] < coast["timed"]
    assert valley["timed"] < valley["demand"]


def test_what_is_said_of_the_day() -> None:
    """The fault at six: warm in the cold, cold in mild air; the bill, the coldest moment, the sound day."""
    broken = winter_day(before(), "cold-valley", wiring(), "outdoor.SIG=open", day=51)
    coldest_c, when_s = broken.coldest
    assert f"{coldest_c:.1f} °C (59 °F), at seven in the evening" in text()
    assert round(when_s / 3600) == 19
    assert f"but the meter: {broken.drawn_kwh:.0f} kWh in the day" in text()
    noon = broken.room_c[: 12 * 60]
    assert noon.min() > 19
    assert (round(broken.outdoor_c.min()), round(broken.outdoor_c.max())) == (-4, 6)
    sound = winter_day(before(), "cold-valley", wiring(), day=51)
    assert (
        f"never colder than {sound.coldest[0]:.1f} °C (69 °F), and the day took {sound.drawn_kwh:.0f} kWh"
        in text()
    )


# The exercises ---------------------------------------------------------------------------------------------


def by_hand_balance(g: Givens) -> float:
    """Two lines as watts + slope x T, rounded as one writes them down."""
    slope = round((g["h2_w"] - g["h3_w"]) / 10.0, 1)
    at_zero = round(g["h3_w"] + 8.3 * slope)
    return round((g["ua_w_per_k"] * g["no_load_c"] - at_zero) / (g["ua_w_per_k"] + slope), 1)


def by_hand_changeover(g: Givens) -> dict[str, float]:
    """The price of heat, the COP, the lines of watts, and the higher of the two."""
    cop = round(g["electricity"] / (g["fuel"] / g["efficiency"]), 2)
    heat, power = (g["h2_w"] - g["h3_w"]) / 10, (g["h2_power_w"] - g["h3_power_w"]) / 10
    above_h3 = (cop * g["h3_power_w"] - g["h3_w"]) / (heat - cop * power)
    return {"break_even_cop": cop, "changeover_c": max(round(above_h3 - 8.3, 1), g["thermal_c"])}


def by_hand_day(g: Givens) -> float:
    """X, the factor, the mean power, the hours."""
    x = round(g["load_w"] / g["capacity_w"], 3)
    return round(x * g["power_w"] / (1 - 0.25 * (1 - x)) * 24 / 1000, 1)


def by_hand_frost(g: Givens) -> dict[str, float]:
    """Each board's factor to three places, then the watts."""
    f = round(1 / (1 + 0.01446 / g["dw"]), 3)
    factors = {"demand_w": 0.875 * (1 - f), "clock_w": 0.909 - 107.33 * g["dw"]}
    return {name: round(round(factor, 3) * g["capacity_w"]) for name, factor in factors.items()}


BY_HAND: tuple[tuple[Exercise, Callable[[Givens], Any]], ...] = (
    (BALANCE, by_hand_balance),
    (CHANGEOVER, by_hand_changeover),
    (CYCLING, by_hand_day),
    (FROST, by_hand_frost),
)


@pytest.mark.parametrize(("exercise", "by_hand"), BY_HAND, ids=[exercise.id for exercise, _ in BY_HAND])
def test_right_hand_work_is_right(exercise: Exercise, by_hand: Callable[[Givens], Any]) -> None:
    """Paper and pencil, from the numbers printed in the question, are right for every student."""
    assert_right_by_hand(exercise, by_hand, CLASS)


def test_a_class_meets_money_and_capacity() -> None:
    """In some exercises about the changeover money decides, in others capacity."""
    answers = [
        (givens_for(CHANGEOVER, student), solution(CHANGEOVER, givens_for(CHANGEOVER, student)))
        for student in CLASS
    ]
    by_capacity = sum(answer["changeover_c"] == givens["thermal_c"] for givens, answer in answers)
    assert 6 <= by_capacity <= 24


def test_printed_numbers_are_what_they_are_called() -> None:
    """What is called right is right by the page's own sum, and every other number is off by more than a "
    "digit."""
    seen = set()
    for student in CLASS:
        for kind, numbers, printed, word in givens_for(PRINTED, student)["pages"]:
            seen.add((kind, word))
            right, slack = by_the_page(kind, numbers)
            off = 0.0 if abs(printed - right) <= slack else printed - right
            assert {0: "right", 1: "too high", -1: "too low"}[(off > 0) - (off < 0)] == word, (
                kind,
                numbers,
                printed,
            )
    assert {kind for kind, _ in seen} == set(KINDS)
    assert len(seen) >= 13


def by_the_page(kind: str, numbers: tuple[float, ...]) -> tuple[float, float]:
    """Return a page's number by its own sum, and how far a right one may be off."""
    if kind == "balance point":
        h1, h3, need = numbers
        s, ua = (h1 - h3) / 30, need / 65
        return (ua * 70 - h3 + 17 * s) / (ua + s), 0.06
    if kind == "break-even COP":
        power, therm, share = numbers
        return power / (therm / 29.3 / share), 0.02
    if kind == "outdoor coil":
        return 0.82 * numbers[0] - 9.7, 0.06
    if kind == "degree days":
        return 18 - sum(numbers) / 2, 1e-9
    return numbers[0] + 2.5, 2.5


# The design ------------------------------------------------------------------------------------------------


def settings(above_c: float, below_c: float) -> dict[str, float]:
    """Return an answer to 9.8."""
    return {"auxiliary_above_c": above_c, "compressor_below_c": below_c}


def test_several_settings_are_right_and_others_are_told_why() -> None:
    """Settings that keep all four wishes through the year are right; each broken wish is named."""
    givens = givens_for(DESIGN, 0)
    right = solution(DESIGN, givens)
    above_c, below_c = right["auxiliary_above_c"], right["compressor_below_c"]
    for answer in (right, settings(above_c - 0.7, below_c + 1.0), settings(above_c + 0.8, below_c - 0.4)):
        assert judged(givens, answer) is None, answer
        assert judge(DESIGN, givens, answer).outcome == "right"
    for answer, said in (
        (settings(above_c - 2.5, below_c), "wish 1"),
        (settings(above_c, below_c - 1.0), "wish 2"),
        (settings(above_c, below_c + 3.0), "wish 3"),
        (settings(above_c + 3.0, below_c), "wish 4"),
        (settings(-12.0, -11.0), "nothing may heat"),
        (settings(400.0, -11.0), "no such setting"),
    ):
        verdict = judge(DESIGN, givens, answer)
        assert verdict.outcome == "not yet", answer
        assert said in verdict.hint, answer
