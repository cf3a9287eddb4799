"""Parts of a commissioning sheet to read in a lesson: a few of its steps, one reading over all calls, a fit.

    sheet = prove("second-transformer")
    sheet_part(sheet, "Volts before wiring")            steps with their bands, as a table
    sheet_part(sheet, "Cooling", sheet.filled())        the same with readings and what is out
    over_calls(sheet, "air:R").lowest                   the call that pulls these volts down most
    fit_sheet(sheet, readings)                          the model laid over the readings, in a sentence

A reading stands beside the band of its step; `out` says by how much it lies outside.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from lessonkit.bench.reading import Reading
from lessonkit.errors import LessonError, require
from lessonkit.studies.fitting import Fit, fit
from lessonkit.studies.prove import Proof
from lessonkit.studies.sheet import OVERLOAD, Read, Step, shown

__all__ = [
    "CallBand",
    "Excerpt",
    "Fitted",
    "OverCalls",
    "fit_sheet",
    "out_of_band",
    "over_calls",
    "sheet_part",
]


@dataclass(frozen=True)
class Excerpt:
    """Some steps of a sheet, with readings where it was filled in. Shown last in a cell, it is a table."""

    title: str
    steps: tuple[Step, ...]
    readings: Mapping[int, Read] = field(default_factory=dict)

    @property
    def out(self) -> tuple[int, ...]:
        """Return the numbers of the steps whose reading is outside its band."""
        return tuple(
            step.number
            for step in self.steps
            if step.number in self.readings and step.off_by(self.readings[step.number]) is not None
        )

    def low(self, red: str) -> Reading:
        """Return the low end of the band of the first number that is read at a point."""
        return self._end(red, "low")

    def high(self, red: str) -> Reading:
        """Return the high end of that band."""
        return self._end(red, "high")

    def _end(self, red: str, end: str) -> Reading:
        points = {step.red: step for step in reversed(self.steps) if step.is_number}
        require(red in points, "point", red, f"one of {', '.join(reversed(points))}")
        step = points[red]
        return Reading(float(getattr(step, end)), step.unit.partition(" ")[0], (step.red, step.black))

    def _rows(self) -> list[tuple[str, str, str, str, str]]:
        return [
            (
                str(step.number),
                step.call,
                _what(step),
                _band(step),
                shown(self.readings[step.number], step.unit) + (" **out**" if step.number in self.out else "")
                if step.number in self.readings
                else "",
            )
            for step in self.steps
        ]

    def __str__(self) -> str:
        lines = [f"{a:>4}  {b:10} {c:60} {d:16} {e}".rstrip() for a, b, c, d, e in self._rows()]
        return "\n".join([self.title, *(line.replace("**", "") for line in lines)])

    __repr__ = __str__

    def _repr_markdown_(self) -> str:
        head = (
            f"**{self.title}**\n\n| step | call | what | band | reading |\n| --- | --- | --- | --- | --- |\n"
        )
        return head + "\n".join(f"| {' | '.join(row)} |" for row in self._rows())


def _what(step: Step) -> str:
    """Return what is done and read, with the probes where there are some."""
    if step.act.startswith("look: "):
        read = step.act.removeprefix("look: ")
    else:
        read = step.act + (f" {step.red}" if step.red else "") + (f" to {step.black}" if step.black else "")
    return "; ".join((*step.before, read))


def _band(step: Step) -> str:
    low, high = shown(step.low, step.unit), shown(step.high, step.unit)
    if not step.is_number:
        return low
    if high == OVERLOAD:
        return f"{low} {step.unit} or more"
    return f"{low} to {high} {step.unit}"


def sheet_part(sheet: Proof, part: str, readings: Mapping[int, Read] | None = None) -> Excerpt:
    """Return the steps under one heading of a sheet.

    Readings stand beside them if it was filled in.
    """
    parts = tuple(dict.fromkeys(step.part for step in sheet.steps))
    require(part in parts, "part", part, f"one of {', '.join(parts)}")
    return Excerpt(part, tuple(step for step in sheet.steps if step.part == part), readings or {})


def out_of_band(sheet: Proof, readings: Mapping[int, Read]) -> Excerpt:
    """Return the steps whose reading is outside its band."""
    found = sheet.out(readings)
    title = f"{len(found)} of {len(readings)} readings are out"
    return Excerpt(title, tuple(step for step in sheet.steps if step.number in found), readings)


# ---- one reading under every call ----


@dataclass(frozen=True)
class CallBand:
    """Volts at one pair of points under one call: what the sound job reads, and the band (RMS volts)."""

    step: int
    call: str
    volts: float
    low: float
    high: float
    reading: float | None


@dataclass(frozen=True)
class OverCalls:
    """Volts at one pair of points under every call that the sheet proves."""

    red: str
    black: str
    rows: tuple[CallBand, ...]

    @property
    def lowest(self) -> str:
        """Return the call under which the sound job reads least."""
        return min(self.rows, key=lambda row: row.volts).call

    @property
    def out(self) -> int:
        """Return how many of the readings given are outside their band."""
        given = [row for row in self.rows if row.reading is not None]
        return sum(not row.low <= (row.reading or 0.0) <= row.high for row in given)

    def under(self, call: str) -> Reading:
        """Return what the sound job reads under a call."""
        calls = {row.call: row.volts for row in self.rows}
        require(call in calls, "call", call, f"one of {', '.join(calls)}")
        return Reading(calls[call], "V", (self.red, self.black), "high")


def over_calls(
    sheet: Proof, red: str, black: str = "", readings: Mapping[int, Read] | None = None
) -> OverCalls:
    """Return volts between two points under every call.

    `black` is C of the same place where it is left out; `readings` are those of a filled sheet.
    """
    place = red.partition(":")[0]
    black = black or f"{place}:C"
    given = readings or {}
    rows = tuple(
        CallBand(
            step.number,
            step.call,
            float(taken.value),
            float(step.low),
            float(step.high),
            float(given[step.number]) if step.number in given else None,
        )
        for step, taken in zip(sheet.steps, sheet.taken, strict=True)
        if (step.red, step.black, step.unit) == (red, black, "V") and taken.group == "modes"
    )
    if not rows:
        raise LessonError(
            f"This sheet reads no volts from {red} to {black} under a call; try air:R or out:R."
        )
    return OverCalls(red, black, rows)


# ---- a fit in words ----


@dataclass(frozen=True)
class Fitted:
    """A fit of the sheet's model to its readings, said in words.

    `line_percent` is the line's share of nominal; `before_v` and `left_v` are the RMS of reading less model,
    before the fit and after it; `doubt_v` is the RMS of what meter and parts may be wrong by.
    """

    fit: Fit
    line_percent: float | None
    before_v: Reading
    left_v: Reading
    doubt_v: Reading

    @property
    def left_is(self) -> str:
        """Return whether what is left is "less than the doubt" of a reading or "more than the doubt"."""
        return f"{'less' if float(self.left_v) <= float(self.doubt_v) else 'more'} than the doubt"

    def __str__(self) -> str:
        fit = self.fit
        line = "not told" if self.line_percent is None else f"{self.line_percent:.1f} % of nominal"
        splices = ", ".join(f"{ohm:.2f} ohm in R of the {run} run" for run, ohm in fit.splice_ohm.items())
        return (
            f"Line {line}; splices: {splices or 'not told'}. The volts were off by {self.before_v} "
            "before the "
            f"fit and are off by {self.left_v} after it, {self.left_is} of {self.doubt_v}."
        )

    __repr__ = __str__


def _rms(volts: Mapping[int, float]) -> Reading:
    size = (sum(v * v for v in volts.values()) / len(volts)) ** 0.5 if volts else 0.0
    return Reading(size, "V")


def fit_sheet(sheet: Proof, readings: Mapping[int, Read]) -> Fitted:
    """Return the model of a sheet fitted to its readings.

    Line volts, splices in R and the ground are moved. Raises `LessonError` where
    too few readings are numbers.
    """
    found = fit(sheet, readings)
    if found is None:
        raise LessonError("Too few readings of this sheet are numbers; fill in the volts under the calls.")
    line = None if found.line is None else 100.0 * found.line
    return Fitted(found, line, _rms(found.before_v), _rms(found.left_v), _rms(found.doubt_v))
