"""The exercises of workbook 05, one conductor and many calls: time, a character, and volts at rest.

This room holds the three that are about single bits; the two about whole frames stand in
`workbook_05_frames`, settings in `workbook_05_design`. Levels are 1 for a mark and 0 for a space; volts
on SIG are direct.
"""

from __future__ import annotations

import random
from dataclasses import replace
from typing import Any

from lessonkit.bench.bench import Bench
from lessonkit.exercises.compare import Choice, ListOf, Number
from lessonkit.exercises.core import Exercise, Givens, WrongModel
from lessonkit.exercises.series.workbook_05_design import DESIGN
from lessonkit.exercises.series.workbook_05_frames import FRAME_EXERCISES, listed, reversed_byte
from lessonkit.job.calls import CALL_TERMINALS, to_bits
from lessonkit.job.model import Job
from lessonkit.job.toml import demo_job
from lessonkit.signal.frames import character_levels, frame_seconds

TITLE = "One conductor, many calls"


# 5.1: how long a frame takes ------------------------------------------------------------------------------


def _time_variant(rng: random.Random) -> Givens:
    return {
        "baud": rng.choice((300, 600, 1200, 2400, 4800, 9600)),
        "characters": rng.choice((4, 6, 7, 8, 9)),
        "parity": rng.choice((None, "even")),
    }


def _time_question(givens: Givens) -> str:
    parity = "no parity bit" if givens["parity"] is None else "an even parity bit behind the data bits"
    return (
        f"Another board speaks at {givens['baud']} baud. Its frames have {givens['characters']} characters. "
        f"Each character has a start bit, eight data bits, {parity} and one stop bit. How long does one "
        "frame take, in milliseconds?"
    )


def _frame_ms(givens: Givens) -> float:
    return 1000.0 * frame_seconds(givens["baud"], givens["characters"], givens["parity"])


def _ms(givens: Givens, bits: float) -> float:
    return 1000.0 * bits / float(givens["baud"])


TIME = Exercise(
    id="5.1",
    title="How long a frame takes",
    points=1,
    variant=_time_variant,
    question=_time_question,
    solve=_frame_ms,
    compare=Number(rel=0.01, absolute=0.05, unit="ms"),
    wrong_models=(
        WrongModel(
            "data bits only",
            "Eight data bits do not travel alone. Count what stands before and behind them, too.",
            lambda givens: _ms(givens, 8 * givens["characters"]),
        ),
        WrongModel(
            "forgot the parity bit",
            "Count the bits of one character again, in the order on the line. One is missing.",
            lambda givens: _ms(givens, 10 * givens["characters"]) if givens["parity"] else None,
        ),
        WrongModel(
            "parity where there is none",
            "You counted one bit too many in each character. Read again which bits it has.",
            lambda givens: None if givens["parity"] else _ms(givens, 11 * givens["characters"]),
        ),
        WrongModel(
            "one character",
            "That is the time of one character. A frame has several.",
            lambda givens: _frame_ms(givens) / givens["characters"],
        ),
        WrongModel(
            "characters a second",
            "Baud counts bits a second, not characters a second.",
            lambda givens: _ms(givens, givens["characters"]),
        ),
        WrongModel(
            "with the reply",
            "That is a frame and its reply. The question asks for one frame.",
            lambda givens: 2 * _frame_ms(givens),
        ),
        WrongModel(
            "seconds",
            "That is in seconds. The question asks for milliseconds: a thousand of them make a second.",
            lambda givens: _frame_ms(givens) / 1000.0,
        ),
    ),
    nudge="First the bits in one character, then the bits in the frame, then divide by the baud.",
)


# 5.2: write a character -----------------------------------------------------------------------------------


def _write_variant(rng: random.Random) -> Givens:
    while True:
        terminals = rng.sample(CALL_TERMINALS, rng.choice((2, 3, 4)))
        if to_bits(set(terminals)) != reversed_byte(to_bits(set(terminals))):
            return {"terminals": tuple(t for t in CALL_TERMINALS if t in terminals)}


def _write_question(givens: Givens) -> str:
    return (
        f"A tester sends a frame that calls {listed(givens['terminals'])} and nothing else. Write the third "
        "character, the call bits, as it stands on the line: ten levels, 1 for a mark and 0 for a space, the "
        "first one sent at the left."
    )


def _levels(number: int) -> list[int]:
    return [int(level) for level in character_levels(number)]


def _number(givens: Givens) -> int:
    return to_bits(set(givens["terminals"]))


def _upside_down(givens: Givens) -> list[int]:
    return [1 - level for level in _levels(_number(givens))]


def _ends_exchanged(givens: Givens) -> list[int]:
    return [1, *_levels(_number(givens))[1:-1], 0]


WRITE = Exercise(
    id="5.2",
    title="Write a character",
    points=2,
    variant=_write_variant,
    question=_write_question,
    solve=lambda givens: _levels(_number(givens)),
    compare=ListOf(Choice((0, 1)), 10),
    wrong_models=(
        WrongModel(
            "highest first",
            "On paper the highest bit stands at the left. Which one travels first on the line?",
            lambda givens: _levels(reversed_byte(_number(givens))),
        ),
        WrongModel(
            "upside down",
            "A terminal that is called is a mark, and a mark is 1. A start bit is a fall from rest.",
            _upside_down,
        ),
        WrongModel(
            "start and stop exchanged",
            "The data bits are right. The line rests at 1: how does a receiver know that something begins?",
            _ends_exchanged,
        ),
        WrongModel(
            "one place late",
            "Y1 has the first data bit, right behind the start bit. You left a place empty there.",
            lambda givens: _levels(_number(givens) << 1 & 255),
        ),
        WrongModel(
            "data upside down",
            "Start and stop are right. Between them, a terminal that is called is a 1.",
            lambda givens: _levels(255 - _number(givens)),
        ),
    ),
)


# 5.3: volts at rest ---------------------------------------------------------------------------------------


def _rest_variant(rng: random.Random) -> Givens:
    return {
        "drive_v": rng.choice((10.0, 12.0, 14.0, 15.0)),
        "drive_ohm": rng.choice((680.0, 820.0, 1000.0, 1200.0, 1500.0)),
        "load_ohm": rng.choice((4700.0, 5600.0, 6800.0, 8200.0)),
    }


def _rest_question(givens: Givens) -> str:
    return (
        f"Another make of board sends a mark as {givens['drive_v']:g} V behind {givens['drive_ohm']:g} ohm. "
        f"The input of each of the two boards is {givens['load_ohm']:g} ohm from SIG to common. Leave out "
        "the ohms of the copper. How many direct volts stand on SIG between two frames?"
    )


def _with_link(job: Job, **settings: Any) -> Job:
    return job.with_run("outdoor", link=replace(job.outdoor_run.link, **settings))


def _rest_job(givens: Givens) -> Job:
    settings = {name: float(givens[name]) for name in ("drive_v", "drive_ohm", "load_ohm")}
    return _with_link(demo_job("kiln-room"), **settings, low_v=1.0, high_v=2.0)


def _rest_v(givens: Givens) -> float:
    """Return the level of a mark, as the bench's circuit gives it at the outdoor unit."""
    return Bench(_rest_job(givens)).state.links["outdoor"].high_v


def _divided(givens: Givens, load_ohm: float) -> float:
    return float(givens["drive_v"]) * load_ohm / (float(givens["drive_ohm"]) + load_ohm)


REST = Exercise(
    id="5.3",
    title="Volts at rest",
    points=2,
    variant=_rest_variant,
    question=_rest_question,
    solve=_rest_v,
    compare=Number(rel=0.0, absolute=0.1, unit="V"),
    wrong_models=(
        WrongModel(
            "no load",
            "The inputs draw a current, and it costs volts in the sender's own ohms.",
            lambda givens: float(givens["drive_v"]),
        ),
        WrongModel(
            "one input",
            "Both boards listen on SIG, also the one that sends. So two inputs draw current.",
            lambda givens: _divided(givens, float(givens["load_ohm"])),
        ),
        WrongModel(
            "inputs in a row",
            "Both inputs go from SIG to common, side by side. Side by side they have fewer ohms than one.",
            lambda givens: _divided(givens, 2 * float(givens["load_ohm"])),
        ),
        WrongModel(
            "the other part",
            "That is what stays in the sender's own ohms. SIG has the rest of it.",
            lambda givens: float(givens["drive_v"]) - _divided(givens, float(givens["load_ohm"]) / 2),
        ),
        WrongModel(
            "a space",
            "Between two frames the line rests at a mark, not at a space.",
            lambda givens: 0.0,
        ),
    ),
    nudge="Draw it: source, its ohms, then both inputs side by side from SIG to common.",
)


EXERCISES = (TIME, WRITE, REST, *FRAME_EXERCISES, DESIGN)
