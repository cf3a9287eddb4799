"""The exercises of workbook 12 about filled sheets: a model laid over readings, and a diagnosis.

The sheets are filled in by a bench with something wrong in it; a reader has what a technician has: steps,
bands and readings.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache

from lessonkit.exercises.compare import Choice, Number, Record, Table
from lessonkit.exercises.core import Exercise, Givens, WrongModel
from lessonkit.exercises.slips import row_slips
from lessonkit.job.faults import as_faults
from lessonkit.job.handwork import HandWork
from lessonkit.job.model import Job
from lessonkit.job.toml import demo_job
from lessonkit.studies.cases import Case, rest
from lessonkit.studies.commissioning import ring_out
from lessonkit.studies.prove import bands
from lessonkit.studies.sheet import Read, Step, shown
from lessonkit.studies.technician import Taken, Technician

# 12.4: a model laid over readings -------------------------------------------------------------------------

_TRUST = ("the line explains it", "something else is wrong")
#: What the meter and parts may differ by (V): more than this left is no meter's error.
_DOUBT_V = 0.3
#: A variant is drawn again where what is left lies so near to that.
_CLEAR_V = 0.05


def _fit_variant(rng: random.Random) -> Givens:
    while True:
        drawn = {
            "length_m": rng.randrange(20, 50),
            "line": round(1.0 + rng.choice((-1, 1)) * rng.uniform(0.015, 0.045), 3),
            "splice_ohm": rng.choice((0.0, round(rng.uniform(2.8, 4.0), 1))),
            "shifts_v": tuple(round(rng.choice((-1, 1)) * rng.uniform(0.05, 0.15), 2) for _ in range(4)),
        }
        if abs(float(str(_fitted(drawn)["left_v"])) - _DOUBT_V) > _CLEAR_V:
            return drawn


_AT = (("off", "air:R"), ("off", "out:R"), ("cool-2", "air:R"), ("cool-2", "out:R"))


@lru_cache(maxsize=512)
def _four(length_m: int, line: float, splice_ohm: float) -> tuple[float, ...]:
    """Return the four volts of the table, as a bench has them."""
    job = demo_job("wire-return").with_run("outdoor", length_m=float(length_m))
    faults = [f"air.transformer=weak:{line:g}"] if line != 1.0 else []
    faults += [f"outdoor.R=resistance:{splice_ohm:g}"] if splice_ohm else []
    broken = as_faults(faults, job)
    ends = {end.case.call: end for end in rest(job, [Case("off", broken), Case("cool-2", broken)])}
    volts = (ends[call].settled.solution.v(red, f"{red.partition(':')[0]}:C") for call, red in _AT)
    return tuple(round(abs(v), 2) for v in volts)


def _model_and_read(givens: Givens) -> tuple[tuple[float, ...], tuple[float, ...]]:
    model = tuple(round(v, 2) for v in _four(givens["length_m"], 1.0, 0.0))
    there = _four(givens["length_m"], givens["line"], givens["splice_ohm"])
    return model, tuple(round(v + shift, 2) for v, shift in zip(there, givens["shifts_v"], strict=True))


def _fit_question(givens: Givens) -> str:
    model, read = _model_and_read(givens)
    rows = "\n".join(
        f"| `{call}`, `{red}` to C there | {m:.2f} V | {r:.2f} V |"
        for (call, red), m, r in zip(_AT, model, read, strict=True)
    )
    return (
        "A model that was never held against its site, on a nominal line, and four readings there:\n\n"
        f"| | model m | reading r |\n| --- | --- | --- |\n{rows}\n\nMove one number only, the line's share. "
        "The share with the least squares left is the sum of r x m divided by the sum of m x m. Give it in "
        "percent (`line_percent`). Then what is left: for each reading, r less share x m; square "
        "them, take the "
        "mean, take the root (`left_v`, in V). What a meter and sound parts may differ by is "
        f"{_DOUBT_V:g} V. May the model with this share be believed (`verdict`): `{_TRUST[0]}` or "
        f"`{_TRUST[1]}`?"
    )


def _rms(values: list[float]) -> float:
    return math.sqrt(sum(v * v for v in values) / len(values))


def _fitted(givens: Givens) -> dict[str, object]:
    model, read = _model_and_read(givens)
    share = sum(r * m for r, m in zip(read, model, strict=True)) / sum(m * m for m in model)
    left_v = _rms([r - share * m for r, m in zip(read, model, strict=True)])
    verdict = _TRUST[0] if left_v <= _DOUBT_V else _TRUST[1]
    return {"line_percent": 100 * share, "left_v": left_v, "verdict": verdict}


def _with_fit(**changes: Callable[[Givens], object]) -> Callable[[Givens], dict[str, object]]:
    return lambda givens: {**_fitted(givens), **{name: make(givens) for name, make in changes.items()}}


def _not_fitted(givens: Givens) -> float:
    model, read = _model_and_read(givens)
    return _rms([r - m for r, m in zip(read, model, strict=True)])


def _worst_left(givens: Givens) -> float:
    model, read = _model_and_read(givens)
    share = float(str(_fitted(givens)["line_percent"])) / 100
    return max(abs(r - share * m) for r, m in zip(read, model, strict=True))


def _last_share(givens: Givens) -> float:
    model, read = _model_and_read(givens)
    return 100 * read[-1] / model[-1]


FIT = Exercise(
    id="12.4",
    title="May the model be believed?",
    points=3,
    variant=_fit_variant,
    question=_fit_question,
    solve=_fitted,
    compare=Record(
        (
            ("line_percent", Number(rel=0.0, absolute=0.1, unit="%")),
            ("left_v", Number(rel=0.05, absolute=0.03, unit="V")),
            ("verdict", Choice(_TRUST)),
        )
    ),
    wrong_models=(
        WrongModel(
            "left before the fit",
            "That is what was left before the share was moved. Take share x m in the place of m.",
            _with_fit(left_v=_not_fitted),
        ),
        WrongModel(
            "the largest, not the root of the mean",
            "That is the largest of the four. Square all four, take their mean, then the root.",
            _with_fit(left_v=_worst_left),
        ),
        WrongModel(
            "one reading for all",
            "One reading alone has its own error, and its own splice, in it. Use all four.",
            _with_fit(line_percent=_last_share),
        ),
        WrongModel(
            "the wrong verdict",
            f"Hold what is left against {_DOUBT_V:g} V: is it smaller or larger?",
            _with_fit(verdict=lambda givens: _TRUST[_fitted(givens)["verdict"] == _TRUST[0]]),
        ),
    ),
    nudge="Write four columns: m, r, r x m, m x m. Add up the last two, and divide.",
)


# 12.5: a filled sheet -------------------------------------------------------------------------------------

SPLICE, LINE, VALVE, REQUEST, HEAT, WATCHDOG = (
    "a splice in R outdoors",
    "line volts too low",
    "thermostat set for the other valve",
    "request for heat lost",
    "conductor W1 broken",
    "watchdog set too long",
)
_CAUSES: dict[str, tuple[str, ...]] = {
    SPLICE: ("outdoor.R=resistance:3",),
    LINE: ("air.transformer=weak:0.9",),
    VALVE: ("stat.valve=reversed",),
    REQUEST: ("air.relay-D=stuck-open",),
    HEAT: ("thermostat.W1=open",),
    WATCHDOG: (),
}
_SILENT_S, _LONG_S = 15.0, 60.0
_SITES = ("site A", "site B")


def _diagnosis_variant(rng: random.Random) -> Givens:
    return {
        "sites": tuple(
            (name, rng.choice((20, 30, 40)), rng.choice((0.0, 1.0))) for name in rng.sample(tuple(_CAUSES), 2)
        )
    }


def _rows_of(job: Job, faults: tuple[str, ...]) -> tuple[Taken, ...]:
    """Return the readings of a short sheet: loops, volts, what responds, defrost, watchdog."""
    to = Technician(job, as_faults(faults, job))
    ring_out(to)
    loop = next(one for one in to.taken if one.red.startswith("air:outdoor"))
    to.taken[:] = [loop]
    to.hands(()).power(True)
    to.call("off", 40.0).volts(("air:R", "air:C"))
    to.call("cool-2", 40.0).volts(("out:R", "out:C")).look("compressor stage 2", "reversing valve")
    to.call("heat-1", 40.0).look("compressor stage 1", "reversing valve")
    to.call("heat-aux", 40.0).look("auxiliary heat")
    to.call("emergency", 40.0).look("emergency heat")
    to.bench.set_outdoor_c(0.0)
    to.call("heat-1", 310.0)
    to.bench.force_defrost()
    to.does("forced defrost, 30 s", 30.0).look("outdoor fan", "auxiliary heat")
    to.call("off", 20.0).call("cool-1", 60.0)
    to.hands([HandWork("lift", ("out:outdoor.SIG",))])
    to.does(f"SIG lifted, {_SILENT_S:g} s", _SILENT_S).look("compressor stage 1")
    return tuple(to.taken)


def _job(length_m: int) -> Job:
    return demo_job("wire-return").with_run("outdoor", length_m=float(length_m))


@lru_cache(maxsize=8)
def _short_sheet(length_m: int) -> tuple[Step, ...]:
    """Return the steps of the short sheet with their bands."""
    job = _job(length_m)
    taken = _rows_of(job, ())
    return tuple(
        Step(k, one.part, one.call, one.do, one.act, one.red, one.black, one.unit, *band)
        for k, (one, band) in enumerate(zip(taken, bands(job, taken), strict=True), 1)
    )


@lru_cache(maxsize=64)
def _filled(name: str, length_m: int, shift: float) -> tuple[Read, ...]:
    job = _job(length_m)
    if name == WATCHDOG:
        job = job.with_run("outdoor", link=replace(job.outdoor_run.link, watchdog_s=_LONG_S))
    faults = _CAUSES[name]
    if name != LINE and shift:
        faults = (*faults, "air.transformer=weak:0.985")  # a line that is no fault, on top
    return tuple(one.value for one in _rows_of(job, faults))


def _diagnosis_question(givens: Givens) -> str:
    tables = []
    for name, site in zip(_SITES, givens["sites"], strict=True):
        rows, call, done = [], "", ""
        for step, read in zip(_short_sheet(site[1]), _filled(*site), strict=True):
            what = step.act.removeprefix("look: ") + (f" `{step.red}` to `{step.black}`" if step.red else "")
            done = step.do if step.do and not step.is_number else done if step.call == call else ""
            call, what = step.call, f"{done}: {what}" if done else what
            band = shown(step.low, step.unit)
            band = f"{band} to {shown(step.high, step.unit)} {step.unit}" if step.is_number else band
            rows.append(f"| {step.call or 'dead'} | {what} | {band} | {shown(read, step.unit)} |")
        tables.append(
            f"**S{name[1:]}**\n\n| call | what | band | read |\n| --- | --- | --- | --- |\n" + "\n".join(rows)
        )
    options = ", ".join(f"`{name}`" for name in _CAUSES)
    return (
        "Two sites, each a heat pump with a B valve and a link. The sheets are filled in. Mark what "
        "is out of its "
        "band first.\n\n" + "\n\n".join(tables) + f"\n\nWhat is wrong at each: {options}?"
    )


def _diagnosis(givens: Givens) -> dict[str, str]:
    return {name: site[0] for name, site in zip(_SITES, givens["sites"], strict=True)}


DIAGNOSIS = Exercise(
    id="12.5",
    title="A sheet that is out",
    points=3,
    variant=_diagnosis_variant,
    question=_diagnosis_question,
    solve=_diagnosis,
    compare=Table(_SITES, Choice(tuple(_CAUSES))),
    wrong_models=row_slips(
        _diagnosis,
        2,
        {
            SPLICE: "a splice has ohms on the dead cable, and volts that sink only under load.",
            LINE: "a low line pulls down every volt by the same share, with no load too.",
            VALVE: "with the wrong letter the valve is on in one mode too many, and off in the other.",
            REQUEST: "without the request only one look is out, and that in a defrost.",
            HEAT: "a broken W1 takes the heat away in every call that asks for it, and in nothing else.",
            WATCHDOG: "a long watchdog changes no volt and no mode: it shows only when SIG is off.",
        },
    ),
    nudge="Mark each row that is out. Is it out with no load, under load, in one mode only, or only when "
    "something is lifted or forced? Then take the cause that touches just these rows.",
)

SHEET_EXERCISES: tuple[Exercise, ...] = (FIT, DIAGNOSIS)
