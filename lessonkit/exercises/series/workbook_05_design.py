"""Exercise 5.6 of workbook 05: settings for a link, judged by a trial on the bench; many are right."""

from __future__ import annotations

import random
from dataclasses import replace
from functools import lru_cache

from lessonkit.exercises.compare import Choice, Number, Record
from lessonkit.exercises.core import Answer, Exercise, Givens, WrongModel
from lessonkit.job.toml import demo_job
from lessonkit.studies.link_trial import LinkTrial, try_link

__all__ = ["DESIGN"]

BAUDS = (300, 600, 1200, 2400, 4800, 9600, 19200)
#: A call may be so much quicker than it has to be: polls cost power.
QUICKEST = 0.9
#: Of the time allowed, the share at which the worked answer follows.
_EARLY = 0.95


def _design_variant(rng: random.Random) -> Givens:
    while True:
        givens: Givens = {
            "length_m": rng.choice((90, 95, 100)),
            "slowest_s": rng.choice(range(4, 25)) / 10,
            "busy_percent": rng.choice((3, 4, 5, 6, 8, 10, 12, 15)),
        }
        # The slowest speed of all may not do, and those for which this copper is too slow are not needed.
        quickest_s = QUICKEST * float(givens["slowest_s"]) / 2
        if BAUDS[0] < _design(givens)["baud"] and _slowest_free(givens, quickest_s) <= 4800:
            return givens


def _keeps_free(givens: Givens, baud: float, interval_s: float) -> bool:
    return 100.0 / baud / interval_s <= float(givens["busy_percent"]) / 100


def _slowest_free(givens: Givens, interval_s: float) -> int:
    return next((baud for baud in BAUDS if _keeps_free(givens, baud, interval_s)), BAUDS[-1])


def _design_question(givens: Givens) -> str:
    slowest_s = float(givens["slowest_s"])
    return (
        f"Here you are the maker of the boards. The run is {givens['length_m']} m long, otherwise as in "
        "`kiln-room`, and the relay board waits for two equal frames. What is asked for:\n\n"
        f"* From a call to the contactor it takes {slowest_s:g} s at the most, also at the worst moment.\n"
        "* Polls cost power, so there are no more of them than needed: at the worst moment it takes "
        f"{QUICKEST * slowest_s:.2f} s or more.\n"
        f"* Frame and reply keep the line busy for {givens['busy_percent']} % of the time at the most.\n"
        "* Every frame gets through, and the bits are as long as all this allows.\n\n"
        f"Choose `baud` ({', '.join(map(str, BAUDS))}) and `interval_s`, the seconds from poll to poll. "
        "There is more than one right answer."
    )


@lru_cache(maxsize=512)
def _tried(length_m: float, baud: int, interval_s: float) -> LinkTrial:
    job = demo_job("kiln-room")
    link = replace(job.outdoor_run.link, watchdog_s=max(10.0, 5 * interval_s))
    return try_link(
        job.with_run("outdoor", length_m=length_m, link=link), baud=float(baud), interval_s=interval_s
    )


def _with_interval(givens: Givens, interval_s: float) -> Answer:
    interval_s = round(interval_s, 3)
    return {"baud": _slowest_free(givens, interval_s), "interval_s": interval_s}


def _design(givens: Givens) -> Answer:
    return _with_interval(givens, _EARLY * float(givens["slowest_s"]) / 2)


def _judge_design(givens: Givens, answer: Answer) -> str | None:
    baud, interval_s, slowest_s = answer["baud"], answer["interval_s"], float(givens["slowest_s"])
    if not 0.01 <= interval_s <= 60:
        return "An interval from 0.01 s to 60 s can be tried on the bench."
    if not _keeps_free(givens, baud, interval_s):
        return "The line is busy too much of the time. Count frame and reply, and divide by the interval."
    trial = _tried(float(givens["length_m"]), baud, interval_s)
    if trial.through < 1.0:
        return "Frames get lost: on this cable the copper has no time for such short bits. Slow down."
    if trial.slowest_s is None or trial.slowest_s > slowest_s:
        return "It follows too late. Two equal frames: how many intervals can a call have to wait?"
    if trial.slowest_s < QUICKEST * slowest_s:
        return "It follows, but it polls more often than it has to. Polls cost power: a longer interval does."
    if baud != _slowest_free(givens, interval_s):  # last, for it depends on the interval
        return "A slower speed would leave the line free enough, too, and longer bits are safer bits."
    return None


DESIGN = Exercise(
    id="5.6",
    title="Settings for a link",
    points=4,
    variant=_design_variant,
    question=_design_question,
    solve=_design,
    compare=Record((("baud", Choice(BAUDS)), ("interval_s", Number(rel=0.001, unit="s")))),
    wrong_models=(
        WrongModel(
            "one frame",
            "A call can just miss a poll, and then two equal frames have to come. Count the intervals.",
            lambda givens: _with_interval(givens, _EARLY * float(givens["slowest_s"])),
        ),
        WrongModel(
            "one interval too many",
            "You allowed for more intervals than two equal frames need. Polls cost power.",
            lambda givens: _with_interval(givens, _EARLY * float(givens["slowest_s"]) / 3),
        ),
        WrongModel(
            "slowest bits",
            "Long bits are safe bits, but these fill the line. What share of the interval do they take?",
            lambda givens: {**_design(givens), "baud": BAUDS[0]},
        ),
        WrongModel(
            "fastest bits",
            "The fastest bits leave the line free, and get lost: the copper has no time for them. Try it.",
            lambda givens: {**_design(givens), "baud": BAUDS[-1]},
        ),
        WrongModel(
            "half the line",
            "Frame and reply both travel on the line. You counted the frame alone.",
            lambda givens: {
                **_design(givens),
                "baud": _slowest_free(givens, 2 * _design(givens)["interval_s"]),
            },
        ),
        WrongModel(
            "faster than it has to be",
            "Every frame gets through, but longer bits are safer bits. Would a slower speed do, too?",
            lambda givens: {**_design(givens), "baud": 2 * _design(givens)["baud"]},
        ),
    ),
    rule=_judge_design,
)
