"""Pictures of half-wave steering show what the circuit does, and say it in words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lessonkit.draw.steering import reach_picture, steering_picture
from lessonkit.errors import BadParameter
from lessonkit.studies.steering import METER_WORDS, DcCoil, Steering, steer

COIL = DcCoil(freewheel=True)
SITE = Steering(first=COIL, second=COIL, supply_v=27.6)


@pytest.mark.parametrize(
    ("call", "low_v", "high_v"), [("first", -2, 40), ("second", -40, 2), ("both", -40, 40)]
)
def test_a_call_takes_its_half_of_the_wave(call: str, low_v: float, high_v: float) -> None:
    """The drawn volts stay in the half, or halves, of the call, through two whole cycles."""
    picture = steering_picture(SITE, call)
    volts, amps = picture.figure.axes
    (line,) = [line for line in volts.get_lines() if line.get_label() == "on the conductor"]
    drawn = np.asarray(line.get_ydata())
    assert low_v < drawn.min() < drawn.max() < high_v
    assert float(np.asarray(line.get_xdata())[-1]) == pytest.approx(2000 / 60, abs=0.1)
    assert {"first relay", "second relay"} <= {one.get_label() for one in amps.get_lines()}
    assert picture.words.count("pulled in") == (2 if call == "both" else 1)


def test_reach_falls_with_ohms_and_with_the_supply() -> None:
    """Each line falls, and the lower supply's lies below the other."""
    picture = reach_picture(SITE)
    (ax,) = picture.figure.axes
    full, low = (np.asarray(line.get_ydata()) for line in ax.get_lines() if "supply" in str(line.get_label()))
    assert (np.diff(full) < 0).all()
    assert (low < full).all()
    direct = 1000 * steer(replace(SITE, loop_ohm=20.0), "first").coils["first"].mean_a
    assert full[2] == pytest.approx(direct, rel=5e-3)
    assert "must have 56 mA" in picture.words


def test_fewer_steps_say_the_same() -> None:
    """64 steps a cycle are good to half a percent of what 256 give; fewer than 32 are refused."""
    fine, coarse = steer(SITE, "first"), steer(SITE, "first", 64)
    assert coarse.coils["first"].mean_a == pytest.approx(fine.coils["first"].mean_a, rel=5e-3)
    for kind in METER_WORDS:
        assert coarse.meter_v(kind) == pytest.approx(fine.meter_v(kind), rel=5e-3, abs=0.02)
    with pytest.raises(BadParameter, match="32 or more"):
        steer(SITE, "first", 16)
    with pytest.raises(BadParameter, match="kind of meter"):
        fine.meter_v("crystal")


def test_a_steered_call_is_two_tables() -> None:
    """Relays with their currents, and meters with what they show; nothing shows a minus before zero."""
    both = steer(SITE, "both", 64)
    table = both._repr_markdown_()
    assert table.count("pulled in") == 2
    assert all(words in table for words in METER_WORDS.values())
    assert "-0.0" not in table
    assert len(str(both).splitlines()) == 2 + len(METER_WORDS)
