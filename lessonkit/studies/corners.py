"""Corners: what nobody knows exactly at a site, taken at both ends of what it may be.

A calculation with the usual numbers says what is usual.  A plan has to work, and a reading has to be called
good or bad, at every site that is as it should be.  So what is uncertain is taken at its ends:

    line      volts of the line against nominal: 95 to 105 % (ANSI C84.1 range A, from memory)
    copper    -20 to 60 C (ours: a wall in a hard winter, and an attic in summer)
    ground    as measured, and five times that (ours: what a few loose screws and years do)
    coils     pull in at 85 %, let go at 75 % of 24 V, the unfriendly ends (IEC 60947-4-1, from memory)

A transformer hands the line's share on: its volts with no load move, what lies behind them stays.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from types import MappingProxyType

from lessonkit.errors import require
from lessonkit.job.kit import COILS
from lessonkit.job.model import Job, Run
from lessonkit.job.parts import RATED_V
from lessonkit.job.supply import Supply

__all__ = ["COLD_C", "GROUND", "HOT_C", "LINE", "Corner", "at_corner", "at_line", "corners_of", "unfriendly"]

#: A coil has to pull in from here on, and may let go below this (RMS volts).
MUST_PULL_V, MAY_DROP_V = 0.85 * RATED_V, 0.75 * RATED_V
#: Line volts against nominal; equipment ground against what was measured.
LINE, GROUND = (0.95, 1.05), (1.0, 5.0)
#: Copper at its coldest and hottest (C), and how much more than was read a conductor may have.
COLD_C, HOT_C, READ_LOW = -20.0, 60.0, 1.05
#: No Class 2 transformer may give more (volts, under any load; UL 1585).
MOST_V = 30.0

#: Every coil of the equipment, as its fields are called.
_COILS = tuple(name.replace("-", "_") for name in COILS)


@dataclass(frozen=True)
class Corner:
    """One corner: the line's share, the copper's temperature (None: as the job says), the ground's factor."""

    line: float = 1.0
    temp_c: float | None = None
    ground: float = 1.0


def _supply_at(supply: Supply, line: float) -> Supply:
    """Return a supply whose volts follow the line; the resistance behind them stays."""
    open_v = min(supply.open_v * line, MOST_V)
    # With its VA as on the nameplate, this rated volts gives the same resistance: (open - x) x = r VA.
    rated_v = 0.5 * (open_v + math.sqrt(open_v**2 - 4 * supply.transformer.r_ohm * supply.rated_va))
    return replace(supply, open_v=open_v, rated_v=rated_v)


def at_line(job: Job, line: float) -> Job:
    """Return the job on a line that has this share of its nominal volts, at both transformers."""
    require(0.9 <= line <= 1.1, "line", line, "a share of nominal volts from 0.9 to 1.1")
    if line == 1.0:
        return job
    far = job.outdoor_run.far_supply
    if far is not None:
        job = job.with_run("outdoor", far_supply=_supply_at(far, line))
    return replace(job, supply=_supply_at(job.supply, line))


def at_corner(job: Job, corner: Corner) -> Job:
    """Return the job at a corner."""

    def there(run: Run) -> Run:
        temp_c = run.temp_c if corner.temp_c is None else corner.temp_c
        return replace(run, temp_c=temp_c, earth_ohm=run.earth_ohm * corner.ground)

    job = replace(job, thermostat_run=there(job.thermostat_run), outdoor_run=there(job.outdoor_run))
    return at_line(job, corner.line)


def corners_of(job: Job) -> tuple[Corner, ...]:
    """Return the corners between which a sound site lies, the site as described first.

    Ground counts where current comes home along it; elsewhere it carries nothing that a corner could change.
    """
    outdoor = job.outdoor_run
    grounds = GROUND if outdoor.arrangement == "link" and outdoor.return_by == "earth" else GROUND[:1]
    return (
        Corner(),
        *(Corner(line, temp_c, ground) for line in LINE for temp_c in (COLD_C, HOT_C) for ground in grounds),
    )


def unfriendly(job: Job, line: float, ground: float) -> Job:
    """Return the job at one corner, with copper and coils at their unfriendly ends."""

    def worn(run: Run) -> Run:
        return replace(run, ohms=tuple(ohm * READ_LOW for ohm in run.ohms))

    strict = {
        name: replace(getattr(job.equipment, name), pickup_v=MUST_PULL_V, dropout_v=MAY_DROP_V)
        for name in _COILS
    }
    job = at_corner(job, Corner(line, HOT_C, 1.0))
    # The ground of the outdoor run alone is a way home.
    worse = replace(worn(job.outdoor_run), earth_ohm=job.outdoor_run.earth_ohm * ground)
    return replace(
        job,
        equipment=replace(job.equipment, **strict),
        thermostat_run=worn(job.thermostat_run),
        outdoor_run=worse,
    )


#: How corners are told, by what is uncertain.
WORDS = MappingProxyType(
    {
        "line": "line volts 95 to 105 % (ANSI C84.1 range A, from memory)",
        "copper": "copper from -20 to 60 °C (-4 to 140 °F)",
        "meter": "the meter's own error (1 % and 3 digits, a usual handheld meter; common practice)",
    }
)
