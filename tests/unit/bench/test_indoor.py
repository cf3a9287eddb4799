"""The furnace's blower: it follows its fire late, by the two delays of its board."""

from __future__ import annotations

import math

from lessonkit.bench.indoor import FurnaceBlower
from lessonkit.job.kit import Equipment

KIT = Equipment(furnace_blower_on_s=30.0, furnace_blower_off_s=90.0)


def test_the_blower_follows_the_fire_by_its_delays() -> None:
    """It starts at the end of the first delay and stops at the end of the second, to the moment."""
    lit = FurnaceBlower().after(True, True, 10.0, KIT)
    assert (lit.burning, lit.since_s, lit.blows, lit.next_s(KIT)) == (True, 10.0, False, 40.0)
    assert lit.after(True, True, 39.999, KIT) == lit
    blows = lit.after(True, True, 40.0, KIT)
    assert (blows.blows, blows.next_s(KIT)) == (True, math.inf)
    out = blows.after(False, True, 50.0, KIT)
    assert (out.blows, out.next_s(KIT)) == (True, 140.0)
    assert out.after(False, True, 139.999, KIT).blows
    assert out.after(False, True, 140.0, KIT) == FurnaceBlower(False, 50.0, False)


def test_a_fire_that_comes_back_finds_the_blower_still_on() -> None:
    """Lit again within the delay, it goes on; a fire too short for the first delay moves nothing."""
    blows = FurnaceBlower(True, 0.0, True)
    again = blows.after(False, True, 50.0, KIT).after(True, True, 60.0, KIT)
    assert (again.blows, again.next_s(KIT)) == (True, math.inf)
    short = FurnaceBlower().after(True, True, 0.0, KIT).after(False, True, 20.0, KIT)
    assert (short.blows, short.next_s(KIT)) == (False, math.inf)


def test_without_power_it_stands_and_forgets() -> None:
    """A loss of power stops it at once, and the delay begins anew after it, fire or no fire."""
    assert FurnaceBlower(True, 0.0, True).after(True, False, 50.0, KIT) == FurnaceBlower()
    assert FurnaceBlower().after(True, True, 60.0, KIT).next_s(KIT) == 90.0


def test_without_a_delay_it_moves_at_once() -> None:
    """A delay of 0 s starts the blower with the fire."""
    assert FurnaceBlower().after(True, True, 5.0, Equipment(furnace_blower_on_s=0.0)).blows
