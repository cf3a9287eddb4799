"""A winter day on the bench as a picture: the room and the air outside, and what the house got all day.

Above, temperatures, Celsius on the left and Fahrenheit on the right; below, a bar for each thing that the
house got or the thermostat asked for, while it lasted.  A fault is a line through both.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lessonkit.draw.palette import INK, OKABE_ITO
from lessonkit.draw.season import both
from lessonkit.draw.still import TEXT_PT, Still, axes
from lessonkit.job.faults import Fault
from lessonkit.job.model import Job
from lessonkit.job.naming import fault_sentence
from lessonkit.studies.house import House
from lessonkit.studies.staging import Staging
from lessonkit.studies.weather import Weather
from lessonkit.studies.winter_day import SIX_S, WinterDay, winter_day

__all__ = ["WinterDayView", "clock", "day_picture", "day_words", "show_winter_day"]

# Each bar: its name, whether a minute of what the house got belongs to it, its colour and hatching.
_BARS: tuple[tuple[str, Callable[[str], bool], str, str], ...] = (
    ("stage 1", lambda got: got.startswith("heating, stage 1"), OKABE_ITO["sky"], ""),
    ("stage 2", lambda got: got.startswith("heating, stage 2"), OKABE_ITO["blue"], "//"),
    ("auxiliary", lambda got: "auxiliary heat" in got, OKABE_ITO["vermilion"], "xx"),
    ("defrost", lambda got: got.startswith("defrost"), OKABE_ITO["green"], ".."),
    ("cooling", lambda got: got.startswith("cooling"), OKABE_ITO["purple"], "++"),
)


def clock(time_s: float) -> str:
    """Return a time of day, such as 06:05."""
    minutes = round(time_s / 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def day_words(day: WinterDay) -> str:
    """Return a day in plain sentences."""
    coldest_c, when_s = day.coldest
    air = f"from {both(float(day.outdoor_c.min()))} to {both(float(day.outdoor_c.max()))} outdoors"
    lines = [
        f"A day of {day.house.title or day.house.name} on the bench of {day.job}, "
        f"with the weather of {day.weather}, {air}.",
    ]
    ran = [f"{name} {sum(map(belongs, day.responding))}" for name, belongs, _, _ in _BARS]
    lines.append(f"Minutes of heat: {', '.join(word for word in ran if not word.endswith(' 0')) or 'none'}.")
    if day.faults:
        first = int(day.strikes_s // 60)
        hour = Counter(day.responding[first : first + 60]).most_common()
        gets = ", ".join(f"{got} ({minutes} min)" for got, minutes in hour)
        lines.append(f"At {clock(day.strikes_s)} this strikes: {', '.join(day.faults)}.")
        lines.append(f"In the hour after it the house gets: {gets or 'no more, for the day is over'}.")
    lines.append(
        f"The room is set to {both(day.set_c)}; its coldest is {both(coldest_c)}, at {clock(when_s)}. "
        f"The day takes {day.drawn_kwh:.0f} kWh of electricity."
    )
    return " ".join(lines)


def _struck(day: WinterDay) -> str:
    """Return what strikes, in words where it has some."""
    with suppress(KeyError):
        return ", ".join(map(fault_sentence, day.faults))
    return ", ".join(day.faults)


def day_picture(day: WinterDay) -> Still:
    """Return a day: temperatures above, what the house got below."""
    figure, (air, bars) = axes(8.0, 5.6, rows=2)
    hours = day.time_s / 3600.0
    air.plot(hours, day.room_c, color=OKABE_ITO["blue"], linewidth=2.5, label="room")
    air.plot(hours, day.outdoor_c, color=INK, linewidth=2, linestyle="--", label="outdoors")
    air.axhline(day.set_c, color=INK, linewidth=0.8)
    air.set_ylabel("°C")
    right = air.secondary_yaxis(
        "right", functions=(lambda c: np.asarray(c) * 1.8 + 32.0, lambda f: (np.asarray(f) - 32.0) / 1.8)
    )
    right.set_ylabel("°F", fontsize=TEXT_PT)
    shown = [bar for bar in _BARS if any(map(bar[1], day.responding))]
    for row, (_, belongs, colour, hatch) in enumerate(reversed(shown)):
        spans = _spans(np.array([belongs(got) for got in day.responding]))
        bars.broken_barh(
            spans, (row - 0.35, 0.7), facecolor=colour, hatch=hatch, edgecolor=INK, linewidth=0.4
        )
    bars.set_yticks(range(len(shown)), [bar[0] for bar in reversed(shown)])
    bars.set_ylim(-0.6, max(len(shown), 1) - 0.4)
    for plot in (air, bars):
        plot.set_xlim(0, 24)
        plot.set_xticks(range(0, 25, 3))
        if day.faults:
            plot.axvline(day.strikes_s / 3600.0, color=OKABE_ITO["vermilion"], linestyle=":", linewidth=2.5)
    if day.faults:
        air.plot([], [], color=OKABE_ITO["vermilion"], linestyle=":", linewidth=2.5, label=_struck(day))
    # Above the picture, where no curve of any day is.
    air.legend(fontsize=TEXT_PT - 1, frameon=False, loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=3)
    bars.set_xlabel("hours after midnight")
    return Still(figure, day_words(day))


def _spans(on: NDArray[np.bool_]) -> list[tuple[float, float]]:
    """Return stretches of minutes as starts and lengths in hours."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], on, [False]]).astype(int)))
    return [(float(a) / 60.0, float(b - a) / 60.0) for a, b in zip(edges[::2], edges[1::2], strict=True)]


@dataclass(frozen=True)
class WinterDayView:
    """What a notebook shows of a day: a picture, and the same in words; `day` has the numbers."""

    day: WinterDay
    picture: Still

    @property
    def words(self) -> str:
        """Return the day in words."""
        return self.picture.words

    def __repr__(self) -> str:
        """Return the words, a sentence a line, and each change of what the house got."""
        told = [f"{clock(at)}  {call}: {got}" for at, call, got in self.day.changes()]
        return "\n".join([self.words.replace(". ", ".\n"), *told])

    def _repr_html_(self) -> str:
        return self.picture._repr_html_()


def show_winter_day(
    house: House | str | Path = "harrowmere",
    weather: Weather | str | Path = "cold-valley",
    job: Job | str = "two-run",
    faults: Iterable[Fault | str] | Fault | str = (),
    *,
    strikes_s: float = SIX_S,
    day: int | None = None,
    staging: Staging | None = None,
    seed: int = 0,
) -> WinterDayView:
    """Return a winter day on the bench in a picture and words.

    Parameters as for `winter_day`.
    """
    lived = winter_day(house, weather, job, faults, strikes_s=strikes_s, day=day, staging=staging, seed=seed)
    return WinterDayView(lived, day_picture(lived))
