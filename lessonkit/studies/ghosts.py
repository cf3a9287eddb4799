"""The places of a ghost: a spare conductor laid beside every pair of neighbours in its cable.

A spare is joined to nothing. Its neighbours' capacitance lifts it: between two live conductors to all their
volts, between a live one and common or a dead one to about half, between two dead ones to next to nothing. So
what a meter of high impedance shows on it tells about its neighbours, and nothing about the spare.
"""

from __future__ import annotations

from dataclasses import dataclass

from lessonkit.bench.bench import Bench
from lessonkit.bench.meter import Meter
from lessonkit.bench.reading import Reading
from lessonkit.errors import require
from lessonkit.job.model import Job
from lessonkit.job.toml import load_job

__all__ = ["GhostPlaces", "ghost_places"]

SPARE = "spare"


@dataclass(frozen=True)
class GhostPlaces:
    """What a meter shows from a spare to C at the thermostat, by the spare's neighbours.

    `rows` are (one neighbour, the other, at 10 megohm, at 3 kilohm), both RMS volts. Shown last in a cell, it
    is a table.
    """

    call: str
    rows: tuple[tuple[str, str, Reading, Reading], ...]

    def between(self, one: str, other: str) -> Reading:
        """Return what the meter shows at high impedance with the spare between these two."""
        found = [high for first, second, high, _ in self.rows if {first, second} == {one, other}]
        require(bool(found), "neighbours", f"{one} and {other}", "two conductors that lie side by side here")
        return found[0]

    def __str__(self) -> str:
        return "\n".join(f"between {one} and {other}: {high}, {low}" for one, other, high, low in self.rows)

    __repr__ = __str__

    def _repr_markdown_(self) -> str:
        head = f"| under `{self.call}` the spare lies between | high impedance | low impedance |\n"
        rows = [f"| {one} and {other} | {high} | {low} |" for one, other, high, low in self.rows]
        return "\n".join([head + "| --- | --- | --- |", *rows])


def ghost_places(job: Job | str = "full-cable", call: str = "cool-2") -> GhostPlaces:
    """Return what a meter shows on a spare in the thermostat run.

    The spare is laid between each two neighbours of the job's cable in turn, as the cable names them.
    """
    job = load_job(job) if isinstance(job, str) else job
    wires = tuple(name for name in job.runs["thermostat"].conductors if name != SPARE)
    rows = []
    for place in range(1, len(wires)):
        laid = job.with_run("thermostat", conductors=(*wires[:place], SPARE, *wires[place:]))
        meter = Meter(Bench(laid, call=call))
        high, low = (meter.volts(f"stat:{SPARE}", "stat:C", setting) for setting in ("high", "low"))
        rows.append((wires[place - 1], wires[place], high, low))
    return GhostPlaces(call, tuple(rows))
