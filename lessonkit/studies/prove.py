"""Proving a job: the commissioning sheet, with the band in which each reading of a sound job lies.

    sheet = prove("two-run")
    sheet.steps[40].low, sheet.steps[40].high
    sheet.csv()
    sheet.filled(["outdoor.R=resistance:5"])     the sheet as this broken job would fill it in

What is expected at each step the bench computes: it works through the whole sheet (`commissioning`).  The
band counts what nobody knows of a site (`corners`: the line, the copper's temperature, ground that carries
current) and the meter's error; limits that a standard sets, such as that of insulation, stand as they are.

Where the model stops: the sheet knows the job as its file has it.  Coils and boards of a real site differ
from those by several percent, and that is not in the bands; a reading just outside one is a question, not a
verdict.  `judge` asks it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from lessonkit.job.faults import Fault, as_faults
from lessonkit.job.model import Job
from lessonkit.job.toml import load_job
from lessonkit.studies.commissioning import PARTS, RING_OUT, Act, ring_out, walk
from lessonkit.studies.corners import COLD_C, HOT_C, Corner, at_corner, corners_of
from lessonkit.studies.sheet import DECIMALS, Read, Step, sheet_csv
from lessonkit.studies.technician import Taken, read_again

__all__ = ["Proof", "bands", "prove"]


@dataclass(frozen=True)
class Proof:
    """The sheet of a job: its steps, and what the sound job reads at each of them (`taken`)."""

    job: Job
    steps: tuple[Step, ...]
    taken: tuple[Taken, ...]

    def __repr__(self) -> str:
        """Return what it is, and how long."""
        return f"Commissioning sheet of {self.job.title or self.job.name}: {len(self.steps)} steps"

    def csv(self, readings: Mapping[int, Read] | None = None) -> str:
        """Return the sheet as CSV text, empty or with readings by step number."""
        return sheet_csv(self.steps, readings)

    def filled(
        self, faults: Iterable[Fault | str] = (), job: Job | None = None, seed: int = 0
    ) -> dict[int, Read]:
        """Return the readings that a bench fills in by itself, by step number.

        `faults` are hidden in it; `job` is the site, where it differs from what the sheet was made for.
        """
        site = self.job if job is None else job
        return self.readings(walk(site, as_faults(faults, site), seed))

    def readings(self, taken: Iterable[Taken], acts: Iterable[Act] = PARTS) -> dict[int, Read]:
        """Return readings by step number, with as many decimals as the sheet shows.

        `taken` comes from these acts of the sheet.
        """
        groups = {act.__name__ for act in acts}
        steps = [step for step, sound in zip(self.steps, self.taken, strict=True) if sound.group in groups]
        return {step.number: as_shown(one.value, one.unit) for step, one in zip(steps, taken, strict=True)}

    def out(self, readings: Mapping[int, Read]) -> dict[int, Read]:
        """Return the steps outside their band, with by how much (a word as it is)."""
        found = {}
        for step in self.steps:
            if step.number in readings:
                off = step.off_by(readings[step.number])
                if off is not None:
                    found[step.number] = off
        return found

    def to_dict(self) -> dict[str, Any]:
        """Return the sheet as plain data, ready for JSON; OL stands for more than a meter shows."""
        return {
            "job": self.job.name,
            "title": self.job.title,
            "steps": [step.to_dict() for step in self.steps],
        }


def as_shown(value: Read, unit: str) -> Read:
    """Return a reading with the decimals of its unit."""
    return value if isinstance(value, str) or math.isinf(value) else round(value, DECIMALS[unit])


def prove(job: Job | str) -> Proof:
    """Return the commissioning sheet of a job.

    The job is given as a value, by its name or by its file.
    """
    site = job if isinstance(job, Job) else load_job(job)
    taken = walk(site)
    found = bands(site, taken)
    steps = tuple(
        Step(
            k,
            one.part,
            one.call,
            one.do,
            one.act,
            one.red,
            one.black,
            one.unit,
            *_outward(band, one.unit),
            one.warning,
            one.first,
        )
        for k, (one, band) in enumerate(zip(taken, found, strict=True), 1)
    )
    return Proof(site, steps, taken)


def bands(job: Job, taken: tuple[Taken, ...]) -> list[tuple[Read, Read]]:
    """Return the band of each reading that was taken on a sound job, one after the other.

    It is the band of the meter, widened by every corner of the site.
    """
    found: list[tuple[Read, Read]] = [(one.low, one.high) for one in taken]
    for corner in corners_of(job):
        for k, reading in enumerate(read_again(taken, at_corner(job, corner))):
            if reading is not None and not taken[k].is_limit:
                found[k] = _wider(found[k], (max(reading.low, 0.0), reading.high))
    loops = {(one.red, one.black): k for k, one in enumerate(taken) if one.part == RING_OUT}
    for temp_c in (COLD_C, HOT_C) if loops else ():
        for one in walk(at_corner(job, Corner(temp_c=temp_c)), parts=(ring_out,)):
            if (one.red, one.black) in loops:
                at = loops[one.red, one.black]
                found[at] = _wider(found[at], (one.low, one.high))
    return found


def _wider(band: tuple[Read, Read], other: tuple[Read, Read]) -> tuple[Read, Read]:
    return min(float(band[0]), float(other[0])), max(float(band[1]), float(other[1]))


def _outward(band: tuple[Read, Read], unit: str) -> tuple[Read, Read]:
    """Return a band rounded outward to the decimals that the sheet shows."""
    if unit not in DECIMALS:
        return band
    size = 10.0 ** DECIMALS[unit]
    low, high = (float(end) for end in band)
    low = low if math.isinf(low) else math.floor(low * size + 1e-6) / size
    return low, high if math.isinf(high) else math.ceil(high * size - 1e-6) / size
