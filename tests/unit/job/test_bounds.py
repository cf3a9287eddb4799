"""Where a job's numbers begin and end: the last value taken, and the first one refused.

The limits are those that the docstrings and the sentences of the errors name; what they rest on (Class 2, ISO
and IEC figures) is named beside each part.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from lessonkit.errors import LessonError
from lessonkit.job import equipment
from lessonkit.job.calls import TERMINALS, from_bits, to_bits
from lessonkit.job.faults import Fault, check_fault
from lessonkit.job.kinds import SIZES
from lessonkit.job.kit import Equipment
from lessonkit.job.model import LinkSettings, Run
from lessonkit.job.parts import Coil, Electronics, Fuse, Transformer
from lessonkit.job.second_heat import OutdoorThermostat
from lessonkit.job.supply import Supply
from lessonkit.job.thermostat import Thermostat
from lessonkit.job.toml import demo_job

JOB = demo_job("two-run")
#: A frame and its reply at 1000 bits a second: 2 x 50 bits.
EXCHANGE_S = 0.1


def _loaded(**more: float) -> Supply:
    """Return a supply of 20 VA whose only limit is its winding."""
    return Supply(rated_va=20.0, protector="none", limited="inherently", **more)  # type: ignore[arg-type]


def _fault(kind: str, part: str = "outdoor.SIG") -> Callable[[float], Fault]:
    where, name = part.split(".")
    return lambda value: check_fault(Fault(where, name, kind, value), JOB)


# What is done with a value, the values at the limits that are taken, and those just outside that are refused.
LIMITS: dict[str, tuple[Callable[..., object], tuple[object, ...], tuple[object, ...]]] = {
    "outdoor air": (equipment.check_outdoor_c, (-40.0, 55.0), (-40.001, 55.001)),
    "stages": (lambda x: Equipment(stages=x), (1, 2), (0, 3)),
    "stages of heat": (lambda x: Equipment(heat_stages=x), (1, 2), (0, 3)),
    "blower on": (lambda x: Equipment(furnace_blower_on_s=x), (0.0,), (-0.001,)),
    "delay": (lambda x: Equipment(short_cycle_s=x), (0.0,), (-0.001,)),
    "defrost": (lambda x: Equipment(defrost_every_s=x), (1.0, 1e7), (0.0, 0.99, 1.01e7)),
    "auxiliary": (lambda x: OutdoorThermostat(x), (-40.0, 55.0), (-40.001, 55.001)),
    "compressor": (lambda x: OutdoorThermostat(None, x), (-40.0, 55.0), (-40.001, 55.001)),
    "band": (lambda x: OutdoorThermostat(x, 2.0), (2.0,), (1.999,)),
    "link's noise": (lambda x: LinkSettings(noise_v=x), (0.0, 100.0), (-0.001, 100.001)),
    "equal frames": (lambda x: LinkSettings(acceptance=x), (1, 5), (0, 6)),
    "low": (lambda x: LinkSettings(low_v=x), (0.001, 7.499), (0.0, 7.5)),
    "high": (lambda x: LinkSettings(high_v=x), (3.501, 11.999), (3.5, 12.0)),
    "clocks": (lambda x: LinkSettings(clock_error=x), (-0.1999, 0.1999), (-0.2, 0.2)),
    "interval": (lambda x: LinkSettings(baud=1000.0, interval_s=x), (EXCHANGE_S + 1e-6,), (EXCHANGE_S,)),
    "watchdog": (lambda x: LinkSettings(acceptance=2, watchdog_s=x), (2.001,), (2.0,)),
    "speed": (lambda x: LinkSettings(baud=x, interval_s=20.0, watchdog_s=99.0), (10.0, 1e5), (9.9, 1.01e5)),
    "length": (lambda x: Run(length_m=x), (0.001, 500.0), (0.0, 0.0009, 500.001)),
    "gauge": (lambda x: Run(gauge_awg=x), (12, 26), (11, 27)),
    "cable's air": (lambda x: Run(temp_c=x), (-60.0, 90.0), (-60.001, 90.001)),
    "capacitance": (lambda x: Run(capacitance_pf_per_m=x), (0.0, 1e4), (-0.001, 1.01e4)),
    "conductors": (lambda x: Run(conductors=("R", "C", "Y1")[:x]), (2, 3), (0, 1)),
    "measured ohms": (lambda x: Run(ohms=(1.0,) * x), (0, 2), (1, 3)),
    "transformer": (lambda x: Transformer(rated_va=x), (1.0, 100.0), (0.999, 100.001)),
    "no load": (lambda x: Transformer(open_v=x), (24.001, 30.0), (24.0, 30.001)),
    "fuse opens": (lambda x: Fuse(blows_at=x), (1.001, 1.6), (1.0, 1.601)),
    "fuse opens at once": (lambda x: Fuse(quick_at=x), (1.35,), (1.349,)),
    # 20 VA at 24 V is 0.8333 A: (open_v - 24) / 0.8333 A ohm behind open_v gives 8 A at 26.79 V.
    "inherently limited": (lambda x: _loaded(open_v=x), (26.8, 27.6), (26.78,)),
    "sealed coil": (lambda x: Coil(30.0, x, 5.0), (0.01, 30.0), (0.0099, 30.001)),
    "copper of a coil": (lambda x: Coil(24.0, 10.0, x), (0.001, 24.0), (0.0, 24.001)),
    "pick-up": (lambda x: Coil(30.0, 10.0, 5.0, x, 11.0), (11.001, 23.999), (11.0, 24.0)),
    "drop-out": (lambda x: Coil(30.0, 10.0, 5.0, 18.0, x), (0.001, 17.999), (0.0, 18.0)),
    "brown-out": (lambda x: Electronics(brownout_v=x), (0.001, 16.999), (0.0, 17.0)),
    "start": (lambda x: Electronics(boot_s=x), (0.0,), (-0.001,)),
    "hold-up": (lambda x: Electronics(hold_up_s=x), (0.0,), (-0.001,)),
    "least time off": (lambda x: Thermostat(min_off_s=x), (0.0,), (-0.001,)),
    "splice": (_fault("resistance"), (0.01, 1e9), (0.0099, 1.01e9)),
    "touch": (_fault("earth"), (0.001, 1e9), (0.0009, 1.01e9)),
    "noise": (_fault("noise"), (0.0, 100.0), (-0.001, 100.001)),
    "weak": (_fault("weak", "air.transformer"), (0.01, 1.2), (0.0099, 1.201)),
    "place of a fault": (
        lambda x: check_fault(Fault("outdoor", "SIG", "open", None, x), JOB), (0.0, 1.0), (-0.001, 1.001),
    ),
}  # fmt: skip


@pytest.mark.parametrize("limit", LIMITS)
def test_limits_are_where_they_are_said(limit: str, limit_holds: Callable[..., None]) -> None:
    """The last value inside each limit is taken, and the first one outside is refused."""
    limit_holds(*LIMITS[limit], LessonError)


def test_sizes_are_in_order() -> None:
    """Of each kind of number the least is below the most, and neither is below 0."""
    assert all(0 <= low < high < math.inf for low, high, _ in SIZES.values())


def test_bits_stand_for_terminals_in_the_order_of_frames() -> None:
    """Bit 0 is Y1, and then Y2, G, O, B, W1, E and W2; supply and D have no bit."""
    order = ("Y1", "Y2", "G", "O", "B", "W1", "E", "W2")
    assert [from_bits(1 << k) for k in range(8)] == [{name} for name in order]
    assert [to_bits({name}) for name in order] == [1, 2, 4, 8, 16, 32, 64, 128]
    assert to_bits(frozenset(TERMINALS)) == 255
