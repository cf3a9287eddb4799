"""Exercise 8.8 of workbook 08: settings for a link, judged on the bench.

Three wishes pull at three settings. A call has to arrive soon; after a break everything has to let go soon;
and a short silence must stop nothing. Many answers keep all three. The bench is asked: a call just after a
poll, a broken signal conductor, and one that is mended again after so many seconds.
"""

from __future__ import annotations

import random
from functools import lru_cache
from typing import Any

from lessonkit.bench.bench import Bench
from lessonkit.exercises.compare import Count, Number, Record
from lessonkit.exercises.core import Exercise, Givens, WrongModel
from lessonkit.job.model import Job, LinkSettings
from lessonkit.job.toml import demo_job
from lessonkit.studies.latency import latency

_BREAK = "outdoor.SIG=open"
#: Seconds until a call has passed and all is in, and how little before a poll the worst break comes.
_THERE_S, _BEFORE_S = 30.0, 0.01


def _design_variant(rng: random.Random) -> Givens:
    gap_s = rng.randrange(6, 49)
    return {
        "arrive_s": rng.choice((1.5, 2.0, 2.5, 3.0)),
        "gap_s": gap_s,
        "release_s": gap_s + rng.choice((3, 4, 5)),
    }


def _design_question(givens: Givens) -> str:
    return (
        "Choose the settings of a link to an outdoor unit, 1200 baud, a frame and its answer in 0.08 s. "
        "(1) A "
        f"call is at the contactor within {givens['arrive_s']:g} s, at worst. (2) One wrong frame alone "
        "moves no relay. (3) When SIG breaks and stays broken, the contactor lets go within "
        f"{givens['release_s']} s. (4) When SIG "
        f"is broken for {givens['gap_s']} s and then whole again, the contactor stays in. Give the "
        "interval of "
        "the polls in seconds, the number of equal frames that it takes, and the seconds of the watchdog. "
        "More "
        "than one answer is right."
    )


def judged(givens: Givens, answer: dict[str, Any]) -> str | None:
    """Return None for settings that keep all four wishes on the bench, else a hint."""
    interval_s, frames, watchdog_s = answer["interval_s"], answer["frames"], answer["watchdog_s"]
    if not 0.1 <= interval_s <= 60:
        return "A frame and its answer have to fit between two polls, and nobody waits for minutes."
    if frames < 2:
        return "With this, a single wrong frame moves a relay. Look at wish 2."
    if frames > 5:
        return "So many equal frames are not needed. They only make the call late."
    if not frames * interval_s < watchdog_s <= 600:
        return "The watchdog has to wait for more than the frames that it takes to act."
    link = LinkSettings(interval_s=float(interval_s), acceptance=int(frames), watchdog_s=float(watchdog_s))
    took_s = _took_s(link)
    if took_s > givens["arrive_s"] + 1e-6:
        return f"On the bench a call takes {took_s:.1f} s at worst. Look at wish 1."
    # A silence as long as the watchdog trips it, and no break trips it later: no bench has to be asked.
    release_s, gap_s = givens["release_s"], givens["gap_s"]
    held_s = watchdog_s
    holds = watchdog_s > gap_s
    if gap_s < watchdog_s <= release_s:
        holds, broken_s = _broken(link, gap_s)
        held_s = max(broken_s, watchdog_s)
    if not holds:
        return f"On the bench the contactor lets go in a silence of {gap_s:g} s. Look at wish 4."
    if held_s > release_s:
        return f"On the bench the contactor stays in for {held_s:.0f} s after a break. Look at wish 3."
    return None


def _job(link: LinkSettings) -> Job:
    return demo_job("wire-return").with_run("outdoor", link=link)


@lru_cache(maxsize=256)
def _took_s(link: LinkSettings) -> float:
    """Return how long a call takes to arrive at worst."""
    return float(latency(_job(link), "cool-2", 2).longest_s)


@lru_cache(maxsize=256)
def _broken(link: LinkSettings, gap_s: float) -> tuple[bool, float]:
    """Return whether the contactor stays in through a silence, and for how long after a break."""
    bench = Bench(_job(link), call="cool-2")
    bench.pass_time(_THERE_S)
    # The worst moment is just before a poll: all of that interval is lost as well.
    heard_s = bench.state.links["outdoor"].last_good_s or 0.0
    bench.pass_time((heard_s + link.interval_s - _BEFORE_S - bench.time_s) % link.interval_s)
    bench.set_faults([_BREAK])
    bench.pass_time(gap_s)
    bench.set_faults([])
    bench.pass_time(2 * link.acceptance * link.interval_s)
    if not bench.state.coils["out:contactor"].sealed or len(bench.log.of("out:contactor")) != 1:
        return False, 0.0
    bench.pass_time(link.exchange_s)
    bench.set_faults([_BREAK])
    broken_s = bench.time_s
    bench.pass_time(link.watchdog_s + link.interval_s + 1.0)
    return True, bench.log.of("out:contactor")[-1].time_s - broken_s


def _design(givens: Givens) -> dict[str, Any]:
    """Return settings that work: two equal frames, polls in good time, a watchdog between the two limits."""
    interval_s = min(1.0, givens["arrive_s"] / 2 - 0.05)
    return {
        "interval_s": round(interval_s, 2),
        "frames": 2,
        "watchdog_s": round((givens["gap_s"] + interval_s + givens["release_s"]) / 2, 1),
    }


def _with(**changes: Any) -> Any:
    return lambda givens: {
        **_design(givens),
        **{name: make(givens) for name, make in changes.items()},
    }


DESIGN = Exercise(
    id="8.8",
    title="Settings for a link",
    points=4,
    variant=_design_variant,
    question=_design_question,
    solve=_design,
    compare=Record(
        (
            ("interval_s", Number(rel=0.01, unit="s")),
            ("frames", Count("frames")),
            ("watchdog_s", Number(rel=0.01, unit="s")),
        )
    ),
    rule=judged,
    wrong_models=(
        WrongModel(
            "one frame is enough",
            "With one frame the call is quick, and so is a mistake.",
            _with(frames=lambda givens: 1),
        ),
        WrongModel(
            "an interval for the whole wait",
            "It takes more than one poll to act. What does that do to the longest wait?",
            _with(interval_s=lambda givens: givens["arrive_s"]),
        ),
        WrongModel(
            "a watchdog as long as the silence",
            "The last frame was heard before the silence began, and the next comes after it. Add that.",
            _with(watchdog_s=lambda givens: float(givens["gap_s"])),
        ),
        WrongModel(
            "a watchdog that waits too long",
            "That rides over every silence, and holds the contactor too long after a break.",
            _with(watchdog_s=lambda givens: 2.0 * givens["release_s"]),
        ),
    ),
)
