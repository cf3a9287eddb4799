"""A winter day on the bench: weather, room, thermostat, link and equipment together, minute by minute.

The thermostat looks at the room and calls; the call travels over the job's copper and its links; what the
equipment then does comes out of the circuit; and by what it does the room warms or cools until the next look.
A fault may strike at a time of day, six in the morning by default: nothing of what follows is written down
anywhere.

    bench says                    the room gets
    heating, stage 1 or 2         the capacity of that stage at that outdoor temperature, coil free of frost
    defrost                       less than nothing: the coil takes its heat from indoors (see `frost`)
    cooling                       the same heat taken out, if somebody set the valve the wrong way round
    auxiliary or emergency heat   the capacity of the backup
    no air moves                  nothing of the compressor's heat

Where the model stops: the house is one lump of one temperature, with a steady gain; the room is looked at
once a minute; frost costs capacity only while it is melted; a machine gives its full capacity from the first
second.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lessonkit.bench.patient import PatientBench
from lessonkit.bench.state import State
from lessonkit.errors import require, require_finite
from lessonkit.job.faults import Fault, as_faults
from lessonkit.job.model import Job
from lessonkit.job.toml import load_job
from lessonkit.studies.frost import defrost_draws_w
from lessonkit.studies.house import House, load_house
from lessonkit.studies.staging import Demand, Staging, call_of
from lessonkit.studies.weather import Weather, load_weather

__all__ = ["MINUTES", "SIX_S", "WinterDay", "winter_day"]

MINUTES, _STEP_S = 1440, 60.0
#: Six in the morning, when a house is coldest and nobody is up.
SIX_S = 6 * 3600.0

# The outdoor coil follows the air slowly: the bench is told the air this often.
_AIR_EVERY = 10
_BENCH_COLDEST_C, _BENCH_WARMEST_C = -40.0, 55.0


@dataclass(frozen=True)
class WinterDay:
    """A day as the bench lived it; arrays and tuples have one entry for each minute.

    `room_c` and `outdoor_c` are at the end of the minute, `heat_w` is what the room got and `drawn_w` the
    electricity in it; `call` is what the thermostat asked for, `responding` what the house got, in words;
    `links` says for each run what its link was. `faults` struck at `strikes_s`.
    """

    house: House
    job: str
    weather: str
    faults: tuple[str, ...]
    strikes_s: float
    set_c: float
    time_s: NDArray[np.float64]
    room_c: NDArray[np.float64]
    outdoor_c: NDArray[np.float64]
    heat_w: NDArray[np.float64]
    drawn_w: NDArray[np.float64]
    call: tuple[str, ...]
    responding: tuple[str, ...]
    links: tuple[tuple[str, ...], ...]

    @property
    def coldest(self) -> tuple[float, float]:
        """Return the lowest room temperature in C, and the time in seconds after midnight."""
        k = int(self.room_c.argmin())
        return float(self.room_c[k]), float(self.time_s[k])

    @property
    def drawn_kwh(self) -> float:
        """Return the day's electricity in kilowatt-hours."""
        return float(self.drawn_w.mean()) * 24.0 / 1000.0

    def minutes(self, words: str) -> int:
        """Return for how many minutes the house got what these words say, such as "stage 2"."""
        return sum(words in got for got in self.responding)

    def changes(self) -> tuple[tuple[float, str, str], ...]:
        """Return each change of call or of what the house got: seconds after midnight, call, what it got."""
        pairs = list(zip(self.call, self.responding, strict=True))
        return tuple(
            (float(self.time_s[k]), *pair) for k, pair in enumerate(pairs) if k == 0 or pair != pairs[k - 1]
        )


def winter_day(
    house: House | str | Path = "harrowmere",
    weather: Weather | str | Path = "cold-valley",
    job: Job | str = "two-run",
    faults: Iterable[Fault | str] | Fault | str = (),
    *,
    strikes_s: float = SIX_S,
    day: int | None = None,
    staging: Staging | None = None,
    seed: int = 0,
) -> WinterDay:
    """Return one day of a house on a bench, minute by minute.

    Parameters: `day` counts from 0, and is the coldest one if not given; `faults` strike `strikes_s` seconds
    after midnight; `staging` is the thermostat's, set to the house's own temperature if not given.
    """
    house, weather = load_house(house), load_weather(weather)
    job = job if isinstance(job, Job) else load_job(job)
    strikes_s = require_finite("strikes_s", strikes_s)
    require(0 <= strikes_s <= 86400, "strikes_s", strikes_s, "from 0 to 86 400 s, a time of day")
    broken = as_faults(faults, job)
    staging = staging or Staging(set_c=house.load.indoor_c)
    air_c = _through(weather, weather.coldest_day() if day is None else day)
    bench = PatientBench(job, seed=seed, outdoor_c=_bench_air(air_c[0]))
    bench.skip_delay()
    room_c, demand, struck = staging.set_c, Demand(), False
    rows: list[tuple[float, float, float, str, str, tuple[str, ...]]] = []
    for minute in range(MINUTES):
        if not struck and minute * _STEP_S >= strikes_s:
            bench.set_faults(broken)
            struck = True
        if minute % _AIR_EVERY == 0:
            bench.set_outdoor_c(_bench_air(air_c[minute]))
        demand = staging.next(demand, room_c, minute * _STEP_S)
        call = call_of(demand, house, air_c[minute])
        bench.set_call(call)
        state = bench.advance(_STEP_S)
        heat_w, drawn_w = _gives(state, house, air_c[minute])
        room_c = _warmed(house, room_c, air_c[minute], heat_w)
        links = tuple(link.state for link in state.links.values())
        rows.append((room_c, heat_w, drawn_w, call, state.delivering, links))
    rooms, heats, draws, calls, gots, spoken = zip(*rows, strict=True)
    return WinterDay(
        house=house,
        job=job.name,
        weather=weather.name,
        faults=tuple(map(str, broken)),
        strikes_s=strikes_s,
        set_c=staging.set_c,
        time_s=np.arange(_STEP_S, 86400.0 + _STEP_S, _STEP_S),
        room_c=np.array(rooms),
        outdoor_c=air_c,
        heat_w=np.array(heats),
        drawn_w=np.array(draws),
        call=calls,
        responding=gots,
        links=spoken,
    )


def _through(weather: Weather, day: int) -> NDArray[np.float64]:
    """Return the outdoor air of a day minute by minute, straight between the hours."""
    hours_c = weather.day_c(day)
    # An hour's value stands at its end; before the first one the air is that of midnight the night before.
    before_c = weather.outdoor_c[day * 24 - 1] if day > 0 else hours_c[0]
    at = np.arange(1, MINUTES + 1) / 60.0
    return np.asarray(np.interp(at, np.arange(25.0), np.concatenate([[before_c], hours_c])))


def _bench_air(outdoor_c: float) -> float:
    """Return the outdoor air within what a bench takes."""
    return float(min(max(outdoor_c, _BENCH_COLDEST_C), _BENCH_WARMEST_C))


def _gives(state: State, house: House, outdoor_c: float) -> tuple[float, float]:
    """Return the watts of heat that the room gets from what responds, and the electricity drawn."""
    words, pump, backup = state.responding, house.heat_pump, house.backup
    helping = words["auxiliary heat"] != "off"
    heat_w = backup.capacity_w if helping else 0.0
    drawn_w = heat_w if backup.kind == "electric" else 0.0
    if words["compressor stage 1"] == "off":
        return heat_w, drawn_w
    full = pump.low is None or words["compressor stage 2"] != "off"
    rating = pump.high if full or pump.low is None else pump.low
    drawn_w += float(rating.power_w(outdoor_c, frost=False))
    capacity_w = max(float(rating.capacity_w(outdoor_c, frost=False)), 0.0)
    if words["blower"] == "off":
        return heat_w, drawn_w
    if words["defrost"] != "off":
        return heat_w - float(defrost_draws_w(1.0, outdoor_c, rating.capacity_h1_w)), drawn_w
    cools = state.delivering.startswith("cooling")
    return heat_w + (-capacity_w if cools else capacity_w), drawn_w


def _warmed(house: House, room_c: float, outdoor_c: float, heat_w: float) -> float:
    """Return the room's temperature after a minute of steady heat: one lump, exactly."""
    load = house.load
    ends_c = outdoor_c + (heat_w + load.gains_w) / load.ua
    tau_s = load.heat_capacity_wh_per_k * 3600.0 / load.ua
    return float(ends_c + (room_c - ends_c) * math.exp(-_STEP_S / tau_s))
