"""The exercises of workbook 12, commissioning: a band, volts before and after, what only time shows.

Every right answer is read on a bench: an ohmmeter on a loop at both ends of what copper can be, a meter
before and after the wiring, a clock while SIG is lifted and while the power is gone.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache

from lessonkit.bench.patient import PatientBench
from lessonkit.bench.reading import Reading
from lessonkit.copper.wire import resistance_per_m
from lessonkit.exercises.compare import Choice, Number, Record
from lessonkit.exercises.core import Exercise, Givens, WrongModel
from lessonkit.exercises.series.workbook_12_design import DESIGN
from lessonkit.exercises.series.workbook_12_sheet import SHEET_EXERCISES
from lessonkit.job.faults import as_faults
from lessonkit.job.handwork import HandWork
from lessonkit.job.model import Job
from lessonkit.job.toml import demo_job
from lessonkit.studies.cases import Case, rest
from lessonkit.studies.technician import Technician

TITLE = "Commissioning"

#: Copper at its coldest and hottest (C), and the change of its ohms for each degree from 20 (IEC 60028).
COLD_C, HOT_C, PER_C = -20.0, 60.0, 0.00393


# 12.1: the band of one reading ----------------------------------------------------------------------------


def _band_variant(rng: random.Random) -> Givens:
    return {"length_m": rng.randrange(30, 101), "gauge_awg": rng.choice((18, 20, 22))}


def _ohm_per_km(gauge_awg: int) -> float:
    return round(1000 * resistance_per_m(gauge_awg, 20.0), 1)


def _band_question(givens: Givens) -> str:
    return (
        f"A run of {givens['length_m']} m has conductors of {_ohm_per_km(givens['gauge_awg']):g} ohm "
        "for each "
        "km, at 20 °C. Two of them are joined at the far end, and an ohmmeter reads the loop. The "
        "copper may be "
        f"as cold as {COLD_C:g} °C or as hot as {HOT_C:g} °C, and its ohms change by {PER_C:g} of their "
        "value at 20 °C for each degree. The ohmmeter may be wrong by 0.9 % of what it reads and 2 of its "
        "last digit "
        "of 0.01 ohm. Between which ends lies the reading of a sound loop? Give `low_ohm` and `high_ohm`."
    )


@lru_cache(maxsize=256)
def _loop(length_m: float, gauge_awg: int, temp_c: float) -> Reading:
    """Return the loop of R and C of an outdoor run at a temperature, as the sheet reads it."""
    job = demo_job("wire-return").with_run(
        "outdoor", length_m=float(length_m), gauge_awg=gauge_awg, temp_c=temp_c
    )
    to = Technician(job)
    to.hands(to.lifted([("out", "outdoor", "R"), ("out", "outdoor", "C")]))
    return to.meter.ohms(to.loose("outdoor", "R", "air"), to.loose("outdoor", "C", "air"))


def _band(givens: Givens) -> dict[str, float]:
    cold, hot = (_loop(givens["length_m"], givens["gauge_awg"], temp_c) for temp_c in (COLD_C, HOT_C))
    return {"low_ohm": cold.low, "high_ohm": hot.high}


def _band_by(
    way: float = 2.0, cold_c: float = COLD_C, hot_c: float = HOT_C, meter: bool = True
) -> Callable[[Givens], dict[str, float]]:
    """Return a hand reckoning of the band, with one thing in it done in another way."""

    def wrong(givens: Givens) -> dict[str, float]:
        ohm = way * givens["length_m"] * resistance_per_m(givens["gauge_awg"], 20.0)
        low, high = (ohm * (1 + PER_C * (temp_c - 20.0)) for temp_c in (cold_c, hot_c))
        error = (0.009, 0.02) if meter else (0.0, 0.0)
        return {"low_ohm": low - error[0] * low - error[1], "high_ohm": high + error[0] * high + error[1]}

    return wrong


BAND = Exercise(
    id="12.1",
    title="The band of one reading",
    points=2,
    variant=_band_variant,
    question=_band_question,
    solve=_band,
    compare=Record(
        (
            ("low_ohm", Number(rel=0.007, absolute=0.03, unit="ohm")),
            ("high_ohm", Number(rel=0.007, absolute=0.03, unit="ohm")),
        )
    ),
    wrong_models=(
        WrongModel(
            "one way", "The current goes there and back: a loop has two conductors.", _band_by(way=1.0)
        ),
        WrongModel(
            "no meter error",
            "Both ends are right for the copper. What may the meter add?",
            _band_by(meter=False),
        ),
        WrongModel(
            "copper at 20 °C",
            "So far only the meter is in the band. The wall can be colder and the attic hotter.",
            _band_by(cold_c=20.0, hot_c=20.0),
        ),
        WrongModel(
            "degrees counted from zero",
            "The ohms are told for 20 °C. Count the degrees from there, up and down.",
            _band_by(cold_c=COLD_C + 20.0, hot_c=HOT_C + 20.0),
        ),
    ),
    nudge="One end at a time: the loop at 20 °C, the copper at that end, what the meter may be wrong by.",
)


# 12.2: volts before and after the wiring ------------------------------------------------------------------

_EXPLAINED = ("the line alone", "not the line alone")
_CALL = "cool-2"


def _after_variant(rng: random.Random) -> Givens:
    return {
        "length_m": rng.randrange(20, 56),
        "line": round(rng.choice((-1, 1)) * rng.uniform(0.012, 0.045) + 1.0, 3),
        "splice_ohm": rng.choice((0.0, 0.0, round(rng.uniform(0.8, 2.2), 1))),
    }


@lru_cache(maxsize=512)
def _volts(length_m: float, line: float, splice_ohm: float) -> tuple[float, float]:
    """Return volts before the wiring at the transformer, and outdoors under `cool-2`, to two digits."""
    job = demo_job("wire-return").with_run("outdoor", length_m=float(length_m))
    faults = [f"air.transformer=weak:{line:g}"] if line != 1.0 else []
    faults += [f"outdoor.R=resistance:{splice_ohm:g}"] if splice_ohm else []
    to = Technician(job, as_faults(faults, job))
    to.power(True).volts(("air:XFMR", "air:C"))
    (end,) = rest(job, [Case(_CALL, as_faults(faults, job))])
    after = abs(end.settled.solution.v("out:R", "out:C"))
    return round(float(to.taken[0].value), 2), round(after, 2)


def _after_question(givens: Givens) -> str:
    length_m = givens["length_m"]
    sound = _volts(length_m, 1.0, 0.0)
    read = _volts(length_m, givens["line"], givens["splice_ohm"])
    return (
        "The model of a site, on a line of nominal volts, and what a meter reads on the site:\n\n"
        "| | model | read |\n| --- | --- | --- |\n"
        f"| before wiring, `air:XFMR` to `air:C` | {sound[0]:.2f} V | {read[0]:.2f} V |\n"
        f"| `{_CALL}`, `out:R` to `out:C` | {sound[1]:.2f} V | {read[1]:.2f} V |\n\n"
        "Before the wiring there is nothing but the line behind the transformer. What share of "
        "nominal does it "
        "have, in percent (`line_percent`)? What would the second reading be on this line if the "
        "site were as "
        "the model says (`expected_v`)? The meter may be wrong by 1 % and 0.03 V. What explains the second "
        f"reading (`explained_by`): `{_EXPLAINED[0]}` or `{_EXPLAINED[1]}`?"
    )


def _after(givens: Givens) -> dict[str, object]:
    length_m, line = givens["length_m"], givens["line"]
    sound, read = _volts(length_m, 1.0, 0.0), _volts(length_m, line, givens["splice_ohm"])
    expected_v = _volts(length_m, line, 0.0)[1]
    fits = Reading(read[1], "V", (), "high").fits(expected_v)
    return {
        "line_percent": 100 * read[0] / sound[0],
        "expected_v": expected_v,
        "explained_by": _EXPLAINED[0] if fits else _EXPLAINED[1],
    }


def _with_after(**changes: Callable[[Givens], object]) -> Callable[[Givens], dict[str, object]]:
    return lambda givens: {**_after(givens), **{name: make(givens) for name, make in changes.items()}}


def _loaded_share(givens: Givens) -> float:
    length_m = givens["length_m"]
    return 100 * _volts(length_m, givens["line"], givens["splice_ohm"])[1] / _volts(length_m, 1.0, 0.0)[1]


def _other(givens: Givens) -> str:
    right = _after(givens)["explained_by"]
    return _EXPLAINED[0] if right == _EXPLAINED[1] else _EXPLAINED[1]


AFTER = Exercise(
    id="12.2",
    title="Before and after",
    points=3,
    variant=_after_variant,
    question=_after_question,
    solve=_after,
    compare=Record(
        (
            ("line_percent", Number(rel=0.0, absolute=0.15, unit="%")),
            ("expected_v", Number(rel=0.0, absolute=0.08, unit="V")),
            ("explained_by", Choice(_EXPLAINED)),
        )
    ),
    wrong_models=(
        WrongModel(
            "the model as it is",
            "The model has nominal volts. On this line every volt has the same share of the model's.",
            _with_after(expected_v=lambda givens: _volts(givens["length_m"], 1.0, 0.0)[1]),
        ),
        WrongModel(
            "the share under load",
            "Under load the copper has its part in it. Take the share where no load is.",
            _with_after(line_percent=_loaded_share),
        ),
        WrongModel(
            "the meter's error not compared",
            "How far is the reading from what you expect on this line, and by how much may the meter "
            "be wrong?",
            _with_after(explained_by=_other),
        ),
        WrongModel(
            "the share turned over",
            "Share of nominal: what was read, divided by what the model says.",
            _with_after(line_percent=lambda givens: 1e4 / float(str(_after(givens)["line_percent"]))),
        ),
    ),
    nudge="First the share, from the reading without load. Then the model's second reading, by that share.",
)


# 12.3: what only time shows -------------------------------------------------------------------------------


def _time_variant(rng: random.Random) -> Givens:
    watchdog_s = rng.randrange(6, 31)
    return {
        "watchdog_s": watchdog_s,
        "short_s": rng.choice((180, 210, 240, 270, 300)),
        "lifted_s": rng.randrange(watchdog_s + 20, 120, 5),
        "cut_s": rng.randrange(20, 100, 5),
    }


def _time_question(givens: Givens) -> str:
    return (
        f"An outdoor unit on a link cools under `cool-1`. Its watchdog waits {givens['watchdog_s']} "
        "s, and its "
        f"board holds the compressor off for {givens['short_s']} s after each stop, and after it has "
        "been without its "
        f"supply. The sheet asks for two tests.\n\n* SIG is lifted, and put back {givens['lifted_s']} "
        "s later. "
        "How many seconds after the lifting does the contactor let go (`lets_go_s`)? How many "
        "seconds after SIG "
        "is **back** does it pull in again (`back_s`)?\n* Later, with the compressor running, every "
        "disconnect "
        f"is opened for {givens['cut_s']} s. How many seconds after the power is **back** does the contactor "
        "pull in (`power_s`)?\n\nA few seconds for polls and for boards that start don't count."
    )


def _site(watchdog_s: float, short_s: float) -> Job:
    job = demo_job("wire-return").with_equipment(short_cycle_s=float(short_s))
    return job.with_run("outdoor", link=replace(job.outdoor_run.link, watchdog_s=float(watchdog_s)))


@lru_cache(maxsize=256)
def _times(watchdog_s: int, short_s: int, lifted_s: int, cut_s: int) -> tuple[float, float, float]:
    bench = PatientBench(_site(watchdog_s, short_s), call="cool-1")
    bench.pass_time(60.0)
    lifted_at = bench.time_s
    bench.set_hands([HandWork("lift", ("out:outdoor.SIG",))])
    bench.pass_time(float(lifted_s))
    lets_go_s = bench.log.of("out:contactor")[-1].time_s - lifted_at
    bench.set_hands(())
    back_at = bench.time_s
    bench.pass_time(short_s + 60.0)
    back_s = bench.log.of("out:contactor")[-1].time_s - back_at
    bench.set_power(False)
    bench.pass_time(float(cut_s))
    bench.set_power(True)
    power_at = bench.time_s
    bench.pass_time(short_s + 60.0)
    return lets_go_s, back_s, bench.log.of("out:contactor")[-1].time_s - power_at


def _time(givens: Givens) -> dict[str, float]:
    found = _times(givens["watchdog_s"], givens["short_s"], givens["lifted_s"], givens["cut_s"])
    return dict(zip(("lets_go_s", "back_s", "power_s"), found, strict=True))


def _with_time(**changes: Callable[[Givens], float]) -> Callable[[Givens], dict[str, float]]:
    return lambda givens: {**_time(givens), **{name: float(make(givens)) for name, make in changes.items()}}


TIME = Exercise(
    id="12.3",
    title="What only time shows",
    points=3,
    variant=_time_variant,
    question=_time_question,
    solve=_time,
    compare=Record(
        (
            ("lets_go_s", Number(rel=0.0, absolute=2.5, unit="s")),
            ("back_s", Number(rel=0.0, absolute=6.0, unit="s")),
            ("power_s", Number(rel=0.0, absolute=6.0, unit="s")),
        )
    ),
    wrong_models=(
        WrongModel(
            "delay from SIG back",
            "The board counts from the stop. When was that, and how much of the delay is over when "
            "SIG is back?",
            _with_time(back_s=lambda givens: givens["short_s"]),
        ),
        WrongModel(
            "delay from the lifting",
            "The compressor ran on for a while after SIG was lifted. The delay begins at the stop.",
            _with_time(back_s=lambda givens: givens["short_s"] - givens["lifted_s"]),
        ),
        WrongModel(
            "at once with the link",
            "The link is back within seconds. What still holds the compressor off?",
            _with_time(back_s=lambda givens: 2.0),
        ),
        WrongModel(
            "no watchdog",
            "A relay board holds what it has until a certain time has passed without a good frame.",
            _with_time(lets_go_s=lambda givens: 0.0),
        ),
        WrongModel(
            "the delay goes on without power",
            "A board without its supply forgets how long it has waited.",
            _with_time(power_s=lambda givens: givens["short_s"] - givens["cut_s"]),
        ),
        WrongModel(
            "at once with the power",
            "The call is there, and the power too. What does a board do first that has just woken up?",
            _with_time(power_s=lambda givens: 2.0),
        ),
    ),
    nudge="Draw a line with seconds on it for each test: the act, the stop, the delay, the start.",
)

EXERCISES: tuple[Exercise, ...] = (BAND, AFTER, TIME, *SHEET_EXERCISES, DESIGN)
