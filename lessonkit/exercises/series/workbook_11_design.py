"""Exercise 11.7 of workbook 11: a schedule for a long cable, judged on the bench at the bad corner.

Many schedules are right. The bench puts each on a link by wire, at the bad corner, under the two calls that
ask for most, and says which coil has too little.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from functools import lru_cache

from lessonkit.copper.wire import resistance_per_m
from lessonkit.exercises.compare import Choice, Table
from lessonkit.exercises.core import Exercise, Givens, WrongModel
from lessonkit.job.toml import demo_job
from lessonkit.studies.plan_sweeps import least_margin
from lessonkit.studies.survey import WallConductor, WallRun

FREE = "free"
USES = ("R", "C", "SIG", FREE)
_LABELS = ("1", "2", "3", "4", "5", "6", "7")
_GAUGE = 18
#: So much has to be to spare at the weakest coil (volts).
SPARE_V = 2.0


def _design_variant(rng: random.Random) -> Givens:
    length_m = rng.choice((66, 70, 74, 78, 82))
    loop_ohm = 2 * length_m * resistance_per_m(_GAUGE)
    rows: list[tuple[float, float]] = [
        (round(loop_ohm * rng.uniform(0.96, 1.12), 2), rng.choice((5, 9, 20, 40))) for _ in range(5)
    ]
    rows.append((round(loop_ohm * rng.uniform(1.5, 2.2), 2), 15))
    rows.append((round(loop_ohm * 1.01, 2), rng.choice((0.1, 0.2, 0.3))))
    rng.shuffle(rows)
    return {"length_m": length_m, "rows": tuple(rows)}


def _wall(givens: Givens) -> WallRun:
    found = tuple(
        WallConductor(label, True, loop_ohm, float(mohm))
        for label, (loop_ohm, mohm) in zip(_LABELS, givens["rows"], strict=True)
    )
    return WallRun("outdoor", found, float(givens["length_m"]), _GAUGE)


def _design_question(givens: Givens) -> str:
    lines = [
        f"| {label} | {loop_ohm:.2f} ohm | {mohm:g} Mohm |"
        for label, (loop_ohm, mohm) in zip(_LABELS, givens["rows"], strict=True)
    ]
    return (
        f"A link by wire is to serve an outdoor unit with two stages, at the end of {givens['length_m']} m "
        "of 18 AWG (a loop of 4.2 ohm for 100 m). All conductors are continuous:\n\n"
        "| label | loop | insulation |\n| --- | --- | --- |\n"
        + "\n".join(lines)
        + "\n\nWhich conductor serves what: `R`, `C`, `SIG`, or `free`? Two or more on the same terminal lie "
        "side by side. Use sound conductors only. At the bad corner, from rest, under `cool-2` and "
        f"`heat-aux`, every coil has to pull in with {SPARE_V:g} V or more to spare. Many answers are right; "
        "the bench tries yours."
    )


def _sound(givens: Givens) -> list[str]:
    """Return the labels of the sound conductors, the lowest ohms first."""
    wall = _wall(givens)
    found = [c for c in wall.conductors if wall.verdict(c)[0] == "sound"]
    return [c.label for c in sorted(found, key=lambda c: c.loop_ohm or 0.0)]


@lru_cache(maxsize=512)
def _margin(r_ohm: float, c_ohm: float, sig_ohm: float, length_m: float) -> tuple[float, str]:
    job = demo_job("wire-return").with_run(
        "outdoor", conductors=("R", "C", "SIG"), ohms=(r_ohm, c_ohm, sig_ohm), length_m=length_m
    )
    return least_margin(job)


def judged(givens: Givens, answer: Mapping[str, str]) -> str | None:
    """Return None for a schedule that keeps its margin on the bench, else a hint."""
    used = {label for label, terminal in answer.items() if terminal != FREE}
    if used - set(_sound(givens)):
        return "One of the conductors that you use is not sound. Look at its ohms and at its insulation."
    ohms = {}
    for terminal in ("R", "C", "SIG"):
        alone = [
            found.ohm for found in _wall(givens).conductors if answer[found.label] == terminal and found.ohm
        ]
        if not alone:
            return "A link by wire needs three things: power out, the signal, and a way back for both."
        ohms[terminal] = round(1 / sum(1 / ohm for ohm in alone), 4)
    margin_v, coil = _margin(ohms["R"], ohms["C"], ohms["SIG"], float(givens["length_m"]))
    if margin_v < 0:
        return (
            f"On the bench at the bad corner the {coil.partition(':')[2].replace('-', ' ')} does not pull "
            "in. Where do the amperes flow, and what lies idle or where nothing flows?"
        )
    if margin_v < SPARE_V:
        return f"It pulls in on the bench, with {margin_v:.1f} V to spare. That is less than is asked for."
    return None


def _filled(uses: Mapping[str, str]) -> dict[str, str]:
    return {label: uses.get(label, FREE) for label in _LABELS}


def _given(
    order: tuple[str, ...], labels: Callable[[Givens], list[str]]
) -> Callable[[Givens], dict[str, str]]:
    """Return a schedule that hands out terminals in an order to some of the conductors."""
    return lambda givens: _filled(dict(zip(labels(givens), order, strict=False)))


DESIGN = Exercise(
    id="11.7",
    title="A schedule for a long cable",
    points=4,
    variant=_design_variant,
    question=_design_question,
    solve=_given(("R", "C", "C", "R", "SIG"), _sound),
    compare=Table(_LABELS, Choice(USES)),
    wrong_models=(
        WrongModel(
            "three are enough",
            "Three conductors make a link, and here each is long. Could the sound ones that are free help?",
            _given(("R", "C", "SIG"), _sound),
        ),
        WrongModel(
            "the signal made stronger",
            "The signal carries a few milliamperes. Its conductor needs no help; two others do.",
            _given(("R", "C", "SIG", "SIG", "SIG"), _sound),
        ),
        WrongModel(
            "all that is there",
            "You used every conductor in the cable. Two of them failed a test.",
            lambda givens: dict(zip(_LABELS, ("R", "C", "SIG", "R", "C", "R", "C"), strict=True)),
        ),
        WrongModel(
            "in the order of the labels",
            "Labels say which is which, and nothing else. Read the sheet before you hand out terminals.",
            lambda givens: _filled(dict(zip(_LABELS, ("R", "C", "SIG"), strict=False))),
        ),
    ),
    rule=judged,
)
