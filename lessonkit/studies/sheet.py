"""A commissioning sheet as a table of steps: its CSV, and what somebody has filled in.

    step,call,act,red,black,unit,low,high,reading
    41,cool-2,volts,out:Y1,out:C,V,23.6,27.9,

A step is one reading.  `unit` says of what kind: V, V DC, A, ohm and Mohm are numbers, OL where the meter
gives up; `word` is what is seen, and `tick` is yes or no.  `low` and `high` are the band in which the reading
of a sound job lies; a word stands in both.  `red` and `black` are where the probes of the meter go; for a
clamp `red` is what it goes around.  The reading is left empty for whoever fills the sheet in.

A filled sheet comes back as CSV (columns parted by commas, semicolons or tabs, decimals with a point or a
comma), or as TOML, a table of readings by the number of the step:

    [readings]
    41 = 25.8
    42 = "OL"
"""

from __future__ import annotations

import csv
import io
import math
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeAlias

from lessonkit.errors import LessonError
from lessonkit.job.fields import read_text

__all__ = [
    "COLUMNS",
    "UNITS",
    "BadSheet",
    "Read",
    "Step",
    "filled_words",
    "plain",
    "shown",
    "sheet_csv",
    "typed",
    "read_sheet",
    "sheet_from_text",
]

COLUMNS = ("step", "call", "act", "red", "black", "unit", "low", "high", "reading")
#: Units of numbers with the decimals that a sheet shows, and the two that are no numbers.
DECIMALS = {"V": 2, "V DC": 2, "A": 2, "ohm": 2, "Mohm": 2}
UNITS = (*DECIMALS, "word", "tick")
#: How a meter says that there is more than it can show.
OVERLOAD = "OL"

Read: TypeAlias = float | str
"""A reading: a number, `math.inf` for OL, or a word."""


class BadSheet(LessonError, ValueError):
    """A filled sheet that can't be used; `mistakes` lists each, with its line and its column or key."""

    def __init__(self, mistakes: Sequence[str], where: str = "sheet") -> None:
        self.mistakes = tuple(mistakes)
        super().__init__(f"{where}: " + "; ".join(mistake.rstrip(".") for mistake in mistakes) + ".")


@dataclass(frozen=True)
class Step:
    """One reading of a sheet.

    `part` is the heading it stands under, `do` what has to be done first (often nothing), `act` what is read;
    `warning` is a caution at this act, and `first` what is ticked before it, without a number of its own.
    `low` and `high` bound a number, and both hold the word that must be seen.
    """

    number: int
    part: str
    call: str
    do: str
    act: str
    red: str
    black: str
    unit: str
    low: Read
    high: Read
    warning: str = ""
    first: tuple[str, ...] = ()

    @property
    def is_number(self) -> bool:
        """Return whether the reading is a number."""
        return self.unit in DECIMALS

    def off_by(self, reading: Read) -> Read | None:
        """Return by how much a reading lies outside the band, a word as it is; None if it fits."""
        if not self.is_number:
            word, wanted = str(reading), str(self.low)
            return None if wanted == word or wanted.startswith(f"{word},") else word
        assert not isinstance(reading, str)
        low, high = float(self.low), float(self.high)
        if low <= reading <= high:
            return None
        return reading - high if reading > high else reading - low

    def to_dict(self) -> dict[str, float | int | str]:
        """Return it as plain data, ready for JSON; OL stands for more than a meter shows."""
        return {
            "step": self.number,
            "part": self.part,
            "call": self.call,
            "act": self.text,
            "red": self.red,
            "black": self.black,
            "unit": self.unit,
            "low": plain(self.low, self.unit),
            "high": plain(self.high, self.unit),
        }

    @property
    def text(self) -> str:
        """Return the whole act: caution, what to tick and to do first, and last what to read."""
        return "; ".join((*self.before, self.act))

    @property
    def before(self) -> tuple[str, ...]:
        """Return what stands above the reading: its caution, what to tick, and what to do."""
        return tuple(words for words in (self.warning, *self.first, self.do) if words)


def plain(value: Read, unit: str) -> float | str:
    """Return a reading for JSON: a number, a word, or OL."""
    return shown(value, unit) if isinstance(value, str) or math.isinf(value) else round(value, DECIMALS[unit])


def shown(value: Read, unit: str) -> str:
    """Return a value as the sheet shows it: decimals by its unit, OL where the meter gives up."""
    if isinstance(value, str):
        return value
    if math.isinf(value):
        return OVERLOAD
    return f"{value:.{DECIMALS[unit]}f}"


def filled_words(filled: int, steps: int, out: int) -> str:
    """Return in a sentence how far a sheet is filled in, and how many readings are out of their band."""
    if not filled:
        return f"No step of the {steps} has a reading yet."
    told = f"All {steps} steps have" if filled == steps else f"{filled} of {steps} steps have"
    if filled == 1:
        told = f"One of {steps} steps has"
    wrong = "none is" if not out else "one is" if out == 1 else f"{out} are"
    return f"{told} a reading; {wrong} out of {'its' if out < 2 else 'their'} band."


def sheet_csv(steps: Iterable[Step], readings: Mapping[int, Read] | None = None) -> str:
    """Return the sheet as CSV text; `readings` by step number fill its last column."""
    text = io.StringIO(newline="")
    table = csv.writer(text, lineterminator="\r\n")
    table.writerow(COLUMNS)
    given = readings or {}
    for step in steps:
        low, high = shown(step.low, step.unit), shown(step.high, step.unit)
        reading = shown(given[step.number], step.unit) if step.number in given else ""
        table.writerow(
            [step.number, step.call, step.text, step.red, step.black, step.unit, low, high, reading]
        )
    return text.getvalue()


def typed(text: str, step: Step) -> Read:
    """Return the reading that somebody wrote for a step.

    Raises `BadSheet` with what is allowed there.
    """
    words = " ".join(str(text).split())
    if step.unit == "tick":
        answers = {"yes": "yes", "y": "yes", "x": "yes", "no": "no", "n": "no"}
        if words.lower() not in answers:
            raise BadSheet([f"reading is {words!r}, but must be yes or no"])
        return answers[words.lower()]
    if step.unit == "word":
        return str(step.low) if words.lower() == str(step.low).lower() else words
    bare = words.removesuffix(step.unit).strip()
    if bare.upper() in (OVERLOAD, "0L"):
        return math.inf
    try:
        number = float(bare.replace(",", "."))
    except ValueError:
        number = math.nan
    if not (math.isfinite(number) and -1e6 < number < 1e6):
        raise BadSheet([f"reading is {words!r}, but must be a number of {step.unit}, or OL"])
    if number < 0 and step.unit != "V DC":
        raise BadSheet([f"reading is {words!r}, but {step.unit} must be 0 or more"])
    return abs(number)  # direct volts below nothing: the probes stood the other way round


def read_sheet(path: str | Path, steps: Sequence[Step]) -> dict[int, Read]:
    """Return the readings in a filled sheet by step number; steps without a reading are left out.

    `steps` are those of the job that it was made for. Raises `BadSheet`, which names the file and every
    mistake by its line and its column or key.
    """
    mistakes: list[str] = []
    text = read_text(Path(path), "give a sheet as prove --csv writes it, or TOML", mistakes)
    if text is None:
        raise BadSheet(mistakes, str(path) or "a file without a name")
    return sheet_from_text(text, steps, str(path), Path(path).suffix.lower() == ".toml")


def sheet_from_text(
    text: str, steps: Sequence[Step], where: str = "sheet", toml: bool = False
) -> dict[int, Read]:
    """Return the same of the text of a sheet, CSV or TOML; `where` names it in errors."""
    mistakes: list[str] = []
    by_number = {str(step.number): step for step in steps}
    listed = _from_toml if toml else _from_csv
    found: dict[int, Read] = {}
    for place, number, reading, named in listed(text, mistakes):
        step = by_number.get(number)
        if step is None:
            mistakes.append(f"{place}: step is {number!r}, but must be from 1 to {len(by_number)}")
        elif other := _of_another(step, named):
            key, ours = other
            mistakes.append(
                f"{place}: {key} of step {number} is {named[key]!r}, but this job's sheet has {ours!r} "
                "there; was the sheet made for another job?"
            )
        elif step.number in found:
            mistakes.append(f"{place}: step {number} is there twice, but may have one reading")
        elif reading.strip():
            try:
                found[step.number] = typed(reading, step)
            except BadSheet as error:
                mistakes += [f"{place}, step {number}: {words}" for words in error.mistakes]
    if mistakes:
        raise BadSheet(_few(mistakes), where)
    return found


def _of_another(step: Step, named: Mapping[str, str]) -> tuple[str, str] | None:
    """Return the first column that a row has otherwise than its step, and what belongs there."""
    # What is done first may be worded otherwise on an older sheet; what is read stands at the end.
    act = named.get("act", "")
    ours = {"act": act if act.endswith(f"; {step.act}") else step.act} if act != step.text else {}
    ours |= {"call": step.call, "red": step.red, "black": step.black, "unit": step.unit}
    return next(((key, text) for key, text in ours.items() if named.get(key, "") not in ("", text)), None)


def _few(mistakes: list[str], most: int = 5) -> list[str]:
    more = len(mistakes) - most
    return [*mistakes[:most], f"and {more} more like these"] if more > 0 else mistakes


def _from_csv(text: str, mistakes: list[str]) -> Iterable[tuple[str, str, str, Mapping[str, str]]]:
    """Yield place, step and reading of each row of a CSV text, and all its cells by their column."""
    head = text.partition("\n")[0]
    parts = max(",;\t", key=head.count)
    lines = csv.reader(io.StringIO(text, newline=""), delimiter=parts, strict=True)
    try:
        rows = [(lines.line_num, [cell.strip() for cell in row]) for row in lines]
    except csv.Error as error:
        mistakes.append(f"line {lines.line_num}: this is no table in CSV ({error})")
        return
    rows = [(line, row) for line, row in rows if any(row)]
    names = [name.lower() for name in rows[0][1]] if rows else []
    if missing := [name for name in ("step", "reading") if name not in names]:
        mistakes.append(
            f"line 1: the column {missing[0]} is missing; the columns must be {','.join(COLUMNS)}"
        )
        return
    for name in names:
        if name not in COLUMNS:
            mistakes.append(f"line 1: {name!r} is no column of a sheet; they are {','.join(COLUMNS)}")
    for line, row in rows[1:]:
        if len(row) > len(names):
            mistakes.append(
                f"line {line}: there are {len(row)} columns where the first line has {len(names)}; a decimal "
                "comma needs quotes around it, or semicolons between the columns"
            )
            continue
        cells = dict(zip(names, row, strict=False))
        yield f"line {line}", cells.get("step", ""), cells.get("reading", ""), cells


def _from_toml(text: str, mistakes: list[str]) -> Iterable[tuple[str, str, str, Mapping[str, str]]]:
    """Yield the same of a TOML text."""
    try:
        table = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        mistakes.append(f"this is not TOML: {error}")
        return
    for key in table.keys() - {"readings"}:
        mistakes.append(f"{key} is not a key of a filled sheet; write a table [readings]")
    readings = table.get("readings", {})
    if not isinstance(readings, dict) or not readings:
        mistakes.append("readings is missing; write a table [readings] with lines such as 41 = 25.8")
        return
    for key, value in readings.items():
        where = f"key readings.{key}"
        if isinstance(value, bool):
            value = "yes" if value else "no"
        if not isinstance(value, int | float | str):
            mistakes.append(f"{where} must be a number or a text in quotes")
            continue
        yield where, key, str(value), {}
