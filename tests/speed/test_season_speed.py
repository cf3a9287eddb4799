"""How fast cold days are: a season of 8760 hours, a sweep of a lockout, a winter day on the bench.

Run `pytest tests/speed/test_season_speed.py`. Nothing here fails for being slow; the report names the aim
beside each figure. A day is measured in processor time, which other programs don't lengthen.
"""

from __future__ import annotations

import time
from typing import Any

import pytest

from lessonkit.studies.season import season, sweep_lockouts
from lessonkit.studies.weather import demo_weather
from lessonkit.studies.winter_day import winter_day

YEAR = demo_weather()


def test_a_season(benchmark: Any) -> None:
    """A season hour by hour; no aim but that a slider can follow, a tenth of a second."""
    assert benchmark(season, "harrowmere", YEAR).load_kwh > 0


def test_a_sweep(benchmark: Any) -> None:
    """71 seasons, one for each lockout setting; the aim is a second."""
    assert benchmark(sweep_lockouts, "harrowmere", YEAR).cost.size == 71


@pytest.mark.parametrize("faults", [(), ("outdoor.SIG=open",)], ids=["sound", "broken at six"])
def test_a_winter_day(faults: tuple[str, ...], capsys: pytest.CaptureFixture[str]) -> None:
    """1440 minutes with two links, thermostat, equipment and room; the aim is 2 s."""
    winter_day(faults=faults)
    began_s = time.process_time()
    assert winter_day(faults=faults).room_c.size == 1440
    with capsys.disabled():
        print(
            f"\na winter day, {faults or 'sound'}: {time.process_time() - began_s:.2f} s of one core (aim 2)"
        )
