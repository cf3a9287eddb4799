"""The exercises of workbook 08, the far end: how long things take, and what an open contact lets through.

This room holds the four that end in a number of seconds, volts or minutes; `workbook_08_moments` has those
about a moment on the bench, `workbook_08_design` the one with many right answers. Every right answer comes
out of a bench, or out of a small circuit that the bench's own solver solves.
"""

from __future__ import annotations

import math
import random
from functools import lru_cache

from lessonkit.bench.outdoor_board import DEMAND_AT
from lessonkit.bench.outdoor_coil import CLEAN, LOSS_PER_MINUTE
from lessonkit.bench.patient import PatientBench
from lessonkit.exercises.compare import Number
from lessonkit.exercises.core import Exercise, Givens, WrongModel
from lessonkit.exercises.series.workbook_08_design import DESIGN
from lessonkit.exercises.series.workbook_08_moments import MOMENT_EXERCISES
from lessonkit.job.model import LinkSettings
from lessonkit.job.toml import demo_job
from lessonkit.studies.latency import latency
from lessonkit.studies.leaks import leak

TITLE = "The far end"

SQRT_2 = math.sqrt(2.0)


# 8.1: how long a call takes -------------------------------------------------------------------------------


def _latency_variant(rng: random.Random) -> Givens:
    while True:
        givens: Givens = {
            "interval_s": rng.randrange(4, 31) / 10,
            "acceptance": rng.choice((2, 2, 3, 4)),
            "links": rng.choice((1, 2)),
        }
        if _polls(givens) * givens["interval_s"] <= 14:
            return givens


def _polls(givens: Givens) -> int:
    return int(givens["acceptance"] * givens["links"])


def _latency_question(givens: Givens) -> str:
    links = (
        "One link goes to the outdoor unit"
        if givens["links"] == 1
        else "Two links stand in a row, from the thermostat to the air handler and on to the outdoor unit"
    )
    each = "It polls" if givens["links"] == 1 else "Each polls"
    return (
        f"{links}. {each} every {givens['interval_s']:g} s and acts on {givens['acceptance']} equal good "
        "frames "
        "in a row. No delay holds the compressor. What is the longest time from a call to the contactor, in "
        "seconds? (Leave out the few hundredths that a frame itself takes.)"
    )


@lru_cache(maxsize=256)
def _longest_s(interval_s: float, acceptance: int, links: int) -> float:
    polls_s = acceptance * interval_s
    link = LinkSettings(interval_s=interval_s, acceptance=acceptance, watchdog_s=3 * polls_s + 1)
    job = demo_job("two-run" if links == 2 else "wire-return").with_run("outdoor", link=link)
    if links == 2:
        job = job.with_run("thermostat", link=link)
    return float(latency(job, "cool-2", 2).longest_s)


LATENCY = Exercise(
    id="8.1",
    title="The longest way of a call",
    points=2,
    variant=_latency_variant,
    question=_latency_question,
    solve=lambda givens: _longest_s(givens["interval_s"], givens["acceptance"], givens["links"]),
    compare=Number(rel=0.04, absolute=0.1, unit="s"),
    wrong_models=(
        WrongModel(
            "one frame is enough",
            "A board that acts on the first frame would act on a wrong one, too. Count the equal frames.",
            lambda givens: givens["links"] * givens["interval_s"],
        ),
        WrongModel(
            "no wait for the first poll",
            "That fits a call that comes just before a poll. Let it come just after one.",
            lambda givens: (givens["acceptance"] - 1) * givens["links"] * givens["interval_s"],
        ),
        WrongModel(
            "in the middle",
            "That is about the middle. The question is how long somebody may have to wait at worst.",
            lambda givens: (givens["acceptance"] - 0.5) * givens["links"] * givens["interval_s"],
        ),
        WrongModel(
            "one link of two",
            "The second link begins only when the first one has acted. Their times add up.",
            lambda givens: givens["acceptance"] * givens["interval_s"] if givens["links"] == 2 else None,
        ),
    ),
    nudge="The wait for the next poll first, then one interval for each further frame, then the next link.",
)


# 8.2: what an open contact lets through -------------------------------------------------------------------


def _leak_variant(rng: random.Random) -> Givens:
    while True:
        givens: Givens = {
            "microfarad": rng.choice((0.047, 0.068, 0.1, 0.15, 0.22, 0.33, 0.47)),
            "load_kohm": rng.choice((3.3, 4.7, 5.6, 6.8, 8.2, 10, 12, 15, 22, 33)),
            "supply_v": rng.choice((24.0, 25.0, 26.0, 27.0)),
        }
        # Neither nothing nor all of it: there the way to the number would not show.
        if 0.15 < _leak_v(givens) / givens["supply_v"] < 0.9:
            return givens


def _x_ohm(givens: Givens) -> float:
    return 1 / (2 * math.pi * 60 * float(givens["microfarad"]) * 1e-6)


def _r_ohm(givens: Givens) -> float:
    return float(givens["load_kohm"]) * 1e3


def _leak_question(givens: Givens) -> str:
    return (
        f"A capacitor of {givens['microfarad']:g} uF lies across a relay's contact, to take its spark. The "
        f"contact is open. Behind it sits an electronic input of {givens['load_kohm']:g} kilohm; the "
        "supply has "
        f"{givens['supply_v']:g} V, 60 Hz. How many volts stand on the input?"
    )


def _leak_v(givens: Givens) -> float:
    return float(leak(givens["microfarad"], _r_ohm(givens), givens["supply_v"]).volts)


LEAK = Exercise(
    id="8.2",
    title="What an open contact lets through",
    points=3,
    variant=_leak_variant,
    question=_leak_question,
    solve=_leak_v,
    compare=Number(rel=0.03, absolute=0.1, unit="V"),
    wrong_models=(
        WrongModel(
            "open is open",
            "To alternating current a capacitor is a way. Its ohms are 1 over (2 x pi x 60 x C).",
            lambda givens: 0.0,
        ),
        WrongModel(
            "all of the supply",
            "The capacitor has ohms of its own. It keeps its part of the volts.",
            lambda givens: float(givens["supply_v"]),
        ),
        WrongModel(
            "plain sum of ohms",
            "A capacitor's ohms stand at right angles to a resistance: root of R squared + X squared.",
            lambda givens: givens["supply_v"] * _r_ohm(givens) / (_r_ohm(givens) + _x_ohm(givens)),
        ),
        WrongModel(
            "the capacitor's part",
            "That is what lies across the capacitor. What lies across the input?",
            lambda givens: givens["supply_v"] * _x_ohm(givens) / math.hypot(_r_ohm(givens), _x_ohm(givens)),
        ),
        WrongModel(
            "peak volts",
            "That is the peak. A meter and a supply of 24 V are told as RMS.",
            lambda givens: _leak_v(givens) * SQRT_2,
        ),
    ),
    nudge="The capacitor's ohms first, then the root of the squares, then amperes, then the input's volts.",
)


# 8.3: minutes to a defrost on demand ----------------------------------------------------------------------

#: Air in which the coil frosts; `dw` is said in the question, so nothing else of the weather counts.
AIR_C = 2.0


def _demand_variant(rng: random.Random) -> Givens:
    return {"dw": rng.randrange(30, 151) / 1e5}


def _demand_question(givens: Givens) -> str:
    return (
        "A defrost board goes by demand: it defrosts when frost has taken the capacity of the outdoor coil "
        "down "
        f"to 0.75. The capacity falls as 1.02 - 5.3 x dw x t, with t in minutes, and this air has dw = "
        f"{givens['dw']:g}. The compressor heats without a break. After how many minutes does the first "
        "defrost "
        "begin?"
    )


@lru_cache(maxsize=256)
def _defrost_min(defrost_by: str, every_min: float, dw: float) -> tuple[float, float]:
    """Return when the first defrost begins and ends, in minutes after the call, by what the valve does."""
    job = demo_job("full-cable").with_equipment(defrost_by=defrost_by, defrost_every_s=60.0 * every_min)
    bench = PatientBench(job, outdoor_c=AIR_C)
    bench.set_outdoor_c(AIR_C, dw=dw)
    bench.set_call("heat-1")
    times: list[float] = []
    while len(times) < 2:
        bench.pass_time(1800)
        times = [event.time_s / 60 for event in bench.log.of("out:reversing-valve")]
    return times[0], times[1]


DEMAND = Exercise(
    id="8.3",
    title="Minutes to a defrost",
    points=2,
    variant=_demand_variant,
    question=_demand_question,
    solve=lambda givens: _defrost_min("demand", 60.0, givens["dw"])[0],
    compare=Number(rel=0.03, unit="min"),
    wrong_models=(
        WrongModel(
            "from 1.00",
            "A clean coil begins at 1.02 in this formula, not at 1.",
            lambda givens: (1.0 - DEMAND_AT) / (LOSS_PER_MINUTE * givens["dw"]),
        ),
        WrongModel(
            "three quarters gone",
            "Three quarters are what is left, not what is gone.",
            lambda givens: DEMAND_AT / (LOSS_PER_MINUTE * givens["dw"]),
        ),
        WrongModel(
            "in hours",
            "The formula counts in minutes, and so does the question.",
            lambda givens: (CLEAN - DEMAND_AT) / (LOSS_PER_MINUTE * givens["dw"]) / 60,
        ),
        WrongModel(
            "by the clock",
            "That is a board with a clock. This one waits for frost.",
            lambda givens: 60.0,
        ),
    ),
    nudge="How much capacity may go? Then divide by what a minute takes.",
)


# 8.4: how long a defrost lasts ----------------------------------------------------------------------------

#: Minutes that a defrost takes at a capacity, at 2 °C outdoors: 7.8 - 5.7 q (EPRI EM-4226).
_LONGEST_MIN, _PER_CAPACITY_MIN = 7.8, 5.7


def _clock_variant(rng: random.Random) -> Givens:
    return {"dw": rng.randrange(30, 101) / 1e5, "every_min": rng.choice((30, 60, 90))}


def _clock_question(givens: Givens) -> str:
    return (
        f"A defrost board goes by the clock: it defrosts after {givens['every_min']} minutes of heating "
        "with a "
        "frosted coil. Over t minutes the capacity falls as q = 1.02 - 5.3 x dw x t, and this air has dw = "
        f"{givens['dw']:g}. At 2 °C a defrost that begins at the capacity q takes 7.8 - 5.7 x q minutes. "
        "How many "
        "minutes does the defrost last?"
    )


def _lasts_min(givens: Givens) -> float:
    begin, end = _defrost_min("time", float(givens["every_min"]), givens["dw"])
    return end - begin


def _left(givens: Givens, minutes: float) -> float:
    return CLEAN - LOSS_PER_MINUTE * float(givens["dw"]) * minutes


CLOCK = Exercise(
    id="8.4",
    title="How long a defrost lasts",
    points=2,
    variant=_clock_variant,
    question=_clock_question,
    solve=_lasts_min,
    compare=Number(rel=0.03, absolute=0.05, unit="min"),
    wrong_models=(
        WrongModel(
            "until it is cut off",
            "The cut-off is for a coil that doesn't get warm. This one ends when its frost is gone.",
            lambda givens: 10.0,
        ),
        WrongModel(
            "as on demand",
            "That is a defrost which begins at 0.75. How much is left when this clock has run?",
            lambda givens: _LONGEST_MIN - _PER_CAPACITY_MIN * DEMAND_AT,
        ),
        WrongModel(
            "always an hour",
            "Look at the minutes of this board again. They are not sixty.",
            lambda givens: _LONGEST_MIN - _PER_CAPACITY_MIN * _left(givens, 60.0),
        ),
        WrongModel(
            "what is gone for what is left",
            "You put in what the frost has taken. The formula asks for what is left.",
            lambda givens: _LONGEST_MIN - _PER_CAPACITY_MIN * (CLEAN - _left(givens, givens["every_min"])),
        ),
    ),
    nudge="First the capacity that is left at that minute, then the second formula.",
)

EXERCISES: tuple[Exercise, ...] = (LATENCY, LEAK, DEMAND, CLOCK, *MOMENT_EXERCISES, DESIGN)
