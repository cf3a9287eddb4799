"""Pictures of cold days: they draw what was reckoned, and say the same in words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lessonkit.draw.balance import balance_picture, cop_picture, frost_picture
from lessonkit.studies.balance import balance_points
from lessonkit.studies.frost import defrost_derating
from lessonkit.studies.house import load_house
from lessonkit.studies.season import running_cop


def curve(still: object, label: str) -> tuple[np.ndarray, np.ndarray]:
    """Return the points of a line by its label."""
    (plot,) = still.figure.axes[:1]  # type: ignore[attr-defined]
    line = next(one for one in plot.lines if one.get_label() == label)
    return np.asarray(line.get_xdata(), dtype=float), np.asarray(line.get_ydata(), dtype=float)


def test_the_lines_meet_at_the_balance_point() -> None:
    """Both lines are the house's own, the dot lies on both, and the words name it in both units."""
    house = load_house("quern-hill")
    still, found = balance_picture(house), balance_points(house)
    air, need = curve(still, "the house needs")
    assert need == pytest.approx(house.load.needed_w(air) / 1000)
    assert curve(still, "the heat pump gives")[1] == pytest.approx(
        house.heat_pump.high.capacity_w(air) / 1000
    )
    (at_c,), (at_kw,) = curve(still, "balance point")
    assert at_c == pytest.approx(found.thermal_c)
    assert at_kw == pytest.approx(float(house.heat_pump.high.capacity_w(at_c)) / 1000)
    assert "at -4.2 °C (25 °F), the balance point; without frost it would be -4.8 °C" in still.words
    assert "at -15 °C the house needs 9.9 kW and the heat pump gives 4.4 kW" in still.words


def test_a_machine_large_enough_in_any_cold_has_no_point() -> None:
    """Where the lines do not meet in the picture, the words say so, and there is no dot."""
    house = load_house("quern-hill")
    still = balance_picture(replace(house, load=replace(house.load, ua_w_per_k=40.0, gains_w=120.0)))
    assert "the heat pump alone is large enough down to -20.0 °C (-4 °F)" in still.words
    assert all(line.get_label() != "balance point" for line in still.figure.axes[0].lines)


def test_cop_is_drawn_steady_and_as_it_runs() -> None:
    """Starts and stops take efficiency off on mild days only; a furnace has its line where it costs the "
    "same."""
    house = load_house("quern-hill")
    dual = house.with_furnace(16000.0, 0.9, 0.045)
    still = cop_picture(dual)
    air, runs = curve(still, "as it runs, with starts and stops")
    steady = curve(still, "runs through")[1]
    assert steady == pytest.approx(house.heat_pump.high.cop(air))
    free = house.with_lockouts(compressor_below_c=None, auxiliary_above_c=None)
    assert runs == pytest.approx(running_cop(free, air), nan_ok=True)
    cold = air < -5
    assert runs[cold] == pytest.approx(steady[cold])
    assert runs[(air > 0) & (air < 17)].max() < steady[(air > 0) & (air < 17)].min() + 1
    assert curve(still, "furnace heat costs the same: 3.00")[1] == pytest.approx([3.0, 3.0])
    assert "as a COP of 3.00: steady, that is -0.4 °C" in still.words
    assert curve(cop_picture(house), "electric heat: 1.00")[1] == pytest.approx([1.0, 1.0])


def test_frost_leaves_what_the_boards_leave() -> None:
    """Both lines are the derating's own, and the words have their values in dry and in damp air."""
    still = frost_picture()
    grams, demand = curve(still, "on demand")
    assert demand == pytest.approx(100 * defrost_derating("demand", 0.0, grams / 1000).capacity)
    assert curve(still, "by the clock")[1][0] == pytest.approx(90.9)
    assert "86 % in dry cold" in still.words
    assert "79 % in damp air (1.5 g); one by the clock 89 % and 75 %" in still.words
