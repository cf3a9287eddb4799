"""The exercises of workbook 06, when bits go wrong: clocks, checks, and the time after a silence.

This room holds the three that are about one idea each; those about a whole job stand in `workbook_06_faults`,
the watchdog's design in `workbook_06_design`.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable
from dataclasses import replace

from lessonkit.bench.patient import PatientBench
from lessonkit.exercises.compare import ChoiceSet, Number, Table
from lessonkit.exercises.core import Answer, Exercise, Givens, Several, WrongModel
from lessonkit.exercises.series.workbook_06_design import DESIGN
from lessonkit.exercises.series.workbook_06_faults import FAULT_EXERCISES
from lessonkit.job.toml import demo_job
from lessonkit.signal.crc import FRAME_CRC, OnesComplementSum, parity_bit
from lessonkit.signal.error_rates import clock_tolerance

TITLE = "When bits go wrong"


# 6.1: two clocks ------------------------------------------------------------------------------------------


def _clock_variant(rng: random.Random) -> Givens:
    return {"parity": rng.choice((None, "even")), "long_percent": rng.randint(3, 21) / 10}


def _clock_question(givens: Givens) -> str:
    parity = "8-N-1" if givens["parity"] is None else "8 data bits, an even parity bit, one stop bit"
    return (
        f"A sender's clock is slow: each of its bits is {givens['long_percent']:g} % too long. Characters "
        f"are {parity}. The receiver starts its clock at the fall of the start bit and looks in the middle "
        "of each bit. By how many percent may the receiver's bits be too *short* before it misses the stop "
        "bit? Leave out the time between two looks."
    )


def _tolerance(parity: str | None) -> float:
    return 100.0 * clock_tolerance(None, parity)


def _clock(givens: Givens) -> float:
    return _tolerance(givens["parity"]) - float(givens["long_percent"])


CLOCK = Exercise(
    id="6.1",
    title="Two clocks",
    points=2,
    variant=_clock_variant,
    question=_clock_question,
    solve=_clock,
    compare=Number(rel=0.0, absolute=0.06, unit="%"),
    wrong_models=(
        WrongModel(
            "the sender is left out",
            "That is the room for both clocks together. The sender has used a part of it.",
            lambda givens: _tolerance(givens["parity"]),
        ),
        WrongModel(
            "added",
            "One clock is slow and the other fast: they go apart, so both use up the same room.",
            lambda givens: _tolerance(givens["parity"]) + float(givens["long_percent"]),
        ),
        WrongModel(
            "half each",
            "The room is not shared evenly here: the sender's part is known.",
            lambda givens: _tolerance(givens["parity"]) / 2,
        ),
        WrongModel(
            "to the end of the character",
            "The last look is in the middle of the stop bit, not at its end. How many bits is that?",
            lambda givens: 50.0 / (11 if givens["parity"] else 10) - float(givens["long_percent"]),
        ),
        WrongModel(
            "a whole bit",
            "A look is in the middle of its bit. How far is it from there to the edge?",
            lambda givens: 2 * _tolerance(givens["parity"]) - float(givens["long_percent"]),
        ),
        WrongModel(
            "the other character",
            "Count the bits of this character again: is there a parity bit in it?",
            lambda givens: _tolerance(None if givens["parity"] else "even") - float(givens["long_percent"]),
        ),
    ),
    nudge="Half a bit of room, divided by the bits from the first fall to the last look.",
)


# 6.2: which check sees it? --------------------------------------------------------------------------------

CHECKS = ("parity", "sum", "CRC")
ROWS = ("A", "B", "C", "D")
#: What noise or a mistake does to three characters; "swapped" takes the parity bits along.
DAMAGE = ("one bit", "two bits in one", "one up one down", "swapped", "both up")


def _bits_where(number: int, level: int) -> list[int]:
    return [1 << k for k in range(8) if (number >> k & 1) == level]


def _damaged(rng: random.Random, sent: list[int], kind: str) -> list[int] | None:
    """Return three characters after a damage, or None where these numbers do not allow it."""
    got = list(sent)
    one, other = rng.sample(range(3), 2)
    if kind == "one bit":
        got[one] ^= 1 << rng.randrange(8)
    elif kind == "two bits in one":
        first, second = rng.sample(range(8), 2)
        got[one] ^= 1 << first | 1 << second
    elif kind == "swapped":
        if (sent[one] ^ sent[other]).bit_count() != 1:
            return None
        got[one], got[other] = got[other], got[one]
    else:
        up = set(_bits_where(sent[one], 0))
        both = up & set(_bits_where(sent[other], 1 if kind == "one up one down" else 0))
        if not both:
            return None
        bit = rng.choice(sorted(both))
        got[one] ^= bit
        got[other] ^= bit
    return got


def _check_variant(rng: random.Random) -> Givens:
    while True:
        calls = rng.randint(1, 120)
        sent = [rng.choice((1, 2)), calls, calls ^ 1 << rng.randrange(7)]
        kinds = rng.sample(DAMAGE, 4)
        received = [_damaged(rng, sent, kind) for kind in kinds]
        arrived = [one for one in received if one is not None]
        seen = {repr(_seen_by(sent, *pair)) for pair in zip(arrived, kinds, strict=False)}
        if len(arrived) == len(kinds) and len(seen) >= 3:
            return {"sent": tuple(sent), "received": tuple(map(tuple, arrived)), "kinds": tuple(kinds)}


def _seen_by(sent: Iterable[int], received: Iterable[int], kind: str) -> list[str]:
    """Return the checks that notice: the check character, and each parity bit, arrive as they were sent."""
    before, after = bytes(sent), bytes(received)
    kept = [parity_bit(byte, "even") for byte in (after if kind == "swapped" else before)]
    seen = {
        "parity": [parity_bit(byte, "even") for byte in after] != kept,
        "sum": OnesComplementSum().of(after) != OnesComplementSum().of(before),
        "CRC": FRAME_CRC.of(after) != FRAME_CRC.of(before),
    }
    return [check for check in CHECKS if seen[check]]


def _binary(number: int) -> str:
    return f"{number:08b}"


def _check_question(givens: Givens) -> str:
    def row(name: str, numbers: Iterable[int], words: str) -> str:
        numbers = list(numbers)
        cells = [f"{number} `{_binary(number)}`" for number in numbers]
        return f"| {name} | {' | '.join(cells)} | {words} |"

    notes = dict.fromkeys(DAMAGE, "the parity bits as sent") | {"swapped": "parity bits swapped, too"}
    rows = [row("sent", givens["sent"], "")]
    rows += [
        row(name, received, notes[kind])
        for name, received, kind in zip(ROWS, givens["received"], givens["kinds"], strict=True)
    ]
    return (
        "Three characters are sent (here with the highest bit at the left, as on paper), and four times they "
        "arrive damaged. The check character itself arrives as it was sent.\n\n"
        "| | first | second | third | |\n| --- | --- | --- | --- | --- |\n" + "\n".join(rows) + "\n\nWhich "
        "checks notice the damage: an even parity bit in each character (`parity`), the sum of the three "
        "(`sum`), or our CRC-8 (`CRC`)? Give a list for each row."
    )


def _each(givens: Givens, change: dict[str, tuple[str, bool]] | None = None) -> Answer:
    """Return the table, with one belief changed: kind of damage -> (check, whether it is said to notice)."""
    answer = {}
    for name, received, kind in zip(ROWS, givens["received"], givens["kinds"], strict=True):
        seen = _seen_by(givens["sent"], received, kind)
        if change and kind in change:
            check, notices = change[kind]
            seen = [one for one in CHECKS if (notices if one == check else one in seen)]
        answer[name] = seen
    return answer


def _believes(name: str, hint: str, check: str, notices: bool, *kinds: str) -> WrongModel:
    return WrongModel(name, hint, lambda givens: _each(givens, dict.fromkeys(kinds, (check, notices))))


def _one_row(check: str, notices: bool, *kinds: str) -> Callable[[Givens], Several]:
    """Return a model that is wrong about one check in one row, whichever of these kinds it has."""

    def wrong(givens: Givens) -> Several:
        return Several(_each(givens, {kind: (check, notices)}) for kind in kinds if kind in givens["kinds"])

    return wrong


#: Single slips that no belief above explains: name, check, whether it is said to notice, kinds, hint.
_ONE_ROW: tuple[tuple[str, str, bool, tuple[str, ...], str], ...] = (
    (
        "parity misses one bit",
        "parity",
        False,
        ("one bit",),
        "In one row a single bit is wrong. Count the ones before and after: even or odd?",
    ),
    (
        "parity misses a pair",
        "parity",
        False,
        ("one up one down", "both up"),
        "In one row the two wrong bits lie in two characters. Count the ones of each character by itself.",
    ),
    (
        "sum misses a change",
        "sum",
        False,
        ("one bit", "two bits in one", "both up"),
        "In one row add up all three numbers, before and after. Is the total the same?",
    ),
    (
        "CRC misses a change",
        "CRC",
        False,
        ("one bit", "two bits in one", "one up one down", "both up"),
        "In one row few bits are wrong, and the CRC is left out. How many wrong bits does it always notice?",
    ),
)


WHICH = Exercise(
    id="6.2",
    title="Which check sees it?",
    points=3,
    variant=_check_variant,
    question=_check_question,
    solve=_each,
    compare=Table(ROWS, ChoiceSet(CHECKS)),
    wrong_models=(
        _believes(
            "parity sees two bits",
            "Two wrong bits in one character leave the number of its ones even, or odd, as it was.",
            "parity",
            True,
            "two bits in one",
        ),
        _believes(
            "one parity bit for all",
            "Each character has a parity bit of its own. Two wrong bits in two characters are one in each.",
            "parity",
            False,
            "one up one down",
            "both up",
        ),
        _believes(
            "the sum sees each bit",
            "One number has grown by as much as another has shrunk. What does that do to their total?",
            "sum",
            True,
            "one up one down",
        ),
        _believes(
            "the sum sees the order",
            "Add the numbers in the other order. Is the total another one?",
            "sum",
            True,
            "swapped",
        ),
        _believes(
            "parity sees the order",
            "Each character came with its own parity bit, only in another place. Does it still fit?",
            "parity",
            True,
            "swapped",
        ),
        _believes(
            "nothing sees the order",
            "To a CRC the place of a bit counts. And up to three wrong bits it always notices.",
            "CRC",
            False,
            "swapped",
        ),
        *(
            WrongModel(name, hint, _one_row(check, notices, *kinds))
            for name, check, notices, kinds, hint in _ONE_ROW
        ),
    ),
)


# 6.3: how long until it runs again? -----------------------------------------------------------------------


def _back_variant(rng: random.Random) -> Givens:
    watchdog_s = rng.randint(4, 30)
    return {
        "watchdog_s": watchdog_s,
        "short_cycle_s": rng.choice((180, 240, 300)),
        "gap_s": watchdog_s + rng.randint(10, 80),
    }


def _back_question(givens: Givens) -> str:
    return (
        "`cool-1` runs over a link with one poll a second and a watchdog of "
        f"{givens['watchdog_s']} s. The outdoor board keeps a compressor that has stopped at rest for "
        f"{givens['short_cycle_s']} s. Now a loose splice in SIG lets go for {givens['gap_s']} s and then "
        "holds again. How many seconds after the splice let go does the compressor start again? (A second or "
        "two does not count.)"
    )


def _back(givens: Givens) -> float:
    job = demo_job("forge-office").with_equipment(short_cycle_s=float(givens["short_cycle_s"]))
    link = replace(job.outdoor_run.link, watchdog_s=float(givens["watchdog_s"]))
    bench = PatientBench(job.with_run("outdoor", link=link), call="cool-1")
    bench.pass_time(30)
    broke_s = bench.time_s
    bench.set_faults(["outdoor.SIG=open"])
    bench.pass_time(float(givens["gap_s"]))
    bench.set_faults([])
    bench.pass_time(600)
    return next(begin - broke_s for begin, _ in bench.log.spans("out:contactor") if begin > broke_s)


BACK = Exercise(
    id="6.3",
    title="How long until it runs again?",
    points=2,
    variant=_back_variant,
    question=_back_question,
    solve=_back,
    compare=Number(rel=0.0, absolute=2.5, unit="s"),
    wrong_models=(
        WrongModel(
            "from the repair",
            "The rest of the compressor begins when it stops, not when the splice holds again.",
            lambda givens: float(givens["gap_s"] + givens["short_cycle_s"]),
        ),
        WrongModel(
            "stops at once",
            "Silence is not noticed at once. What does the relay board wait for before it lets go?",
            lambda givens: float(givens["short_cycle_s"]),
        ),
        WrongModel(
            "no rest",
            "The link is back then, but a compressor that has stopped has to rest for a while.",
            lambda givens: float(givens["gap_s"]),
        ),
        WrongModel(
            "one behind the other",
            "You added the time of the broken splice. It passes while watchdog and rest are running.",
            lambda givens: float(givens["gap_s"] + givens["watchdog_s"] + givens["short_cycle_s"]),
        ),
        WrongModel(
            "when it stops",
            "That is when the compressor stops. The question is when it starts again.",
            lambda givens: float(givens["watchdog_s"]),
        ),
    ),
    nudge="When does it stop, and how long does it rest from then on?",
)

EXERCISES = (CLOCK, WHICH, BACK, *FAULT_EXERCISES, DESIGN)
