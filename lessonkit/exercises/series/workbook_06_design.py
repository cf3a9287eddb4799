"""Exercise 6.6 of workbook 06: polls and a watchdog, judged by what a bench does when SIG breaks."""

from __future__ import annotations

import random
from dataclasses import replace
from functools import lru_cache

from lessonkit.bench.bench import Bench
from lessonkit.errors import LessonError
from lessonkit.exercises.compare import Number, Record
from lessonkit.exercises.core import Answer, Exercise, Givens, WrongModel
from lessonkit.job.toml import demo_job
from lessonkit.studies.link_trial import try_link

__all__ = ["DESIGN"]

#: A link lets go no sooner than this share of the time that is allowed: each stop costs a compressor's rest.
SOONEST = 0.92


def _design_variant(rng: random.Random) -> Givens:
    while True:
        givens: Givens = {
            "slowest_s": rng.choice((1.0, 1.2, 1.5, 2.0, 2.5, 3.0)),
            "lost": rng.randint(3, 8),
            "let_go_s": rng.randint(5, 45),
        }
        if (givens["lost"] + 1.5) * givens["slowest_s"] / 2 < SOONEST * givens["let_go_s"]:
            return givens


def _design_question(givens: Givens) -> str:
    return (
        "For the link of `forge-office` choose `interval_s`, from poll to poll, and `watchdog_s`. What is "
        "asked for:\n\n"
        f"* From a call to the contactor it takes {givens['slowest_s']:g} s at the most, with two equal "
        "frames.\n"
        f"* {givens['lost']} frames lost in a row stop nothing.\n"
        "* When SIG breaks and stays broken, the contactor lets go within "
        f"{givens['let_go_s']} s, whenever it breaks; but it holds for "
        f"{SOONEST * givens['let_go_s']:.1f} s at least if it breaks just after a "
        "frame, since each stop costs minutes.\n\nThere is more than one right answer."
    )


def _design(givens: Givens) -> Answer:
    return {
        "interval_s": round(0.9 * float(givens["slowest_s"]) / 2, 3),
        "watchdog_s": round(0.96 * float(givens["let_go_s"]), 2),
    }


def _running(interval_s: float, watchdog_s: float) -> Bench:
    """Return a bench whose compressor runs, just after a poll."""
    job = demo_job("forge-office")
    link = replace(job.outdoor_run.link, interval_s=interval_s, watchdog_s=watchdog_s)
    bench = Bench(job.with_run("outdoor", link=link), call="cool-1")
    bench.pass_time(link.exchange_s + 6 * interval_s + 0.01 * interval_s)
    return bench


@lru_cache(maxsize=512)
def _lets_go_s(interval_s: float, watchdog_s: float) -> float:
    """Return how long after a break of SIG, just after a poll, the contactor lets go."""
    bench = _running(interval_s, watchdog_s)
    broke_s = bench.time_s
    bench.set_faults(["outdoor.SIG=open"])
    bench.pass_time(watchdog_s + 2 * interval_s)
    return bench.log.spans("out:contactor")[0][1] - broke_s


@lru_cache(maxsize=512)
def _bridges(interval_s: float, watchdog_s: float, lost: int) -> bool:
    """Return whether the contactor stays in while so many frames in a row are lost."""
    bench = _running(interval_s, watchdog_s)
    broke_s = bench.time_s
    bench.set_faults(["outdoor.SIG=open"])
    bench.pass_time((lost + 0.5) * interval_s)
    bench.set_faults([])
    bench.pass_time(2 * interval_s)
    begin_s, end_s = bench.log.spans("out:contactor")[0]
    return begin_s < broke_s and end_s >= bench.time_s


@lru_cache(maxsize=256)
def _slowest_s(interval_s: float, watchdog_s: float) -> float | None:
    return try_link("forge-office", interval_s=interval_s, watchdog_s=watchdog_s).slowest_s


def _judge_design(givens: Givens, answer: Answer) -> str | None:
    interval_s, watchdog_s, let_go_s = answer["interval_s"], answer["watchdog_s"], float(givens["let_go_s"])
    if not (0.1 <= interval_s <= 20 and 0.1 <= watchdog_s <= 100):
        return "The bench tries intervals from 0.1 s to 20 s, and watchdogs from 0.1 s to 100 s."
    try:
        held_s = _lets_go_s(interval_s, watchdog_s)
        if held_s > let_go_s:
            return "The compressor runs on for too long after SIG has broken. What ends that?"
        if held_s < SOONEST * let_go_s:
            return "It lets go sooner than it may: each needless stop costs the compressor's rest."
        slowest_s = _slowest_s(interval_s, watchdog_s)
        if slowest_s is None or slowest_s > float(givens["slowest_s"]):
            return "A call comes through too late. How many intervals can it have to wait?"
        if not _bridges(interval_s, watchdog_s, int(givens["lost"])):
            return "The lost frames stop it: the watchdog has to outlast them, and the wait for the next one."
    except LessonError:
        return "No link can work like that: the watchdog has to be longer than two intervals."
    return None


DESIGN = Exercise(
    id="6.6",
    title="Polls and a watchdog",
    points=4,
    variant=_design_variant,
    question=_design_question,
    solve=_design,
    compare=Record(
        (("interval_s", Number(rel=0.001, unit="s")), ("watchdog_s", Number(rel=0.001, unit="s")))
    ),
    wrong_models=(
        WrongModel(
            "one interval",
            "A call can just miss a poll, and then two equal frames have to come. Count the intervals.",
            lambda givens: {**_design(givens), "interval_s": float(givens["slowest_s"])},
        ),
        WrongModel(
            "as many intervals as frames",
            "The watchdog runs from the last good frame. How long is it from there to the next good one?",
            lambda givens: {
                **_design(givens),
                "watchdog_s": round(givens["lost"] * _design(givens)["interval_s"], 3),
            },
        ),
        WrongModel(
            "twice to be safe",
            "A longer watchdog is not safer: for that long the machine runs on with nobody in command.",
            lambda givens: {**_design(givens), "watchdog_s": 2.0 * givens["let_go_s"]},
        ),
        WrongModel(
            "interval and watchdog exchanged",
            "You gave the watchdog's time to the interval. The interval is the shorter one.",
            lambda givens: {
                "interval_s": _design(givens)["watchdog_s"],
                "watchdog_s": _design(givens)["interval_s"],
            },
        ),
    ),
    rule=_judge_design,
)
