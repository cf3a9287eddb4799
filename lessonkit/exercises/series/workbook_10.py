"""The exercises of workbook 10 about one idea: what still runs, boxes, parts tried in turn.

`workbook_10_dictionary` has those that rest on a dictionary of faults, `workbook_10_design` the order of
looks that is designed. The right answers come from the bench, and from hunts that are small
enough for hand work.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache
from itertools import pairwise, permutations

from lessonkit.exercises.compare import Choice, ChoiceSet, ListOf, Number, Record, Table
from lessonkit.exercises.core import Exercise, Givens, Several, WrongModel
from lessonkit.exercises.series.workbook_10_design import DESIGN
from lessonkit.exercises.series.workbook_10_dictionary import DICTIONARY_EXERCISES
from lessonkit.exercises.trials import responds, settled, site
from lessonkit.studies.hunt import Hunt, box_hunt

TITLE = "Finding the fault"

# 10.1: what still runs ------------------------------------------------------------------------------------

RUNS = ("blower", "compressor stage 1", "compressor stage 2", "reversing valve", "auxiliary heat")
_ROWS = ("break 1", "break 2", "break 3")
_CALLS = ("cool-1", "cool-2", "heat-2", "heat-aux")
#: What may break at each site: with a conductor for each terminal, and with a link.
_BREAKS = {
    "full-cable": (
        "thermostat.Y1",
        "thermostat.Y2",
        "thermostat.G",
        "outdoor.Y1",
        "outdoor.Y2",
        "outdoor.O",
        "outdoor.R",
    ),
    "wire-return": (
        "thermostat.Y1",
        "thermostat.Y2",
        "thermostat.G",
        "outdoor.SIG",
        "outdoor.R",
        "outdoor.C",
    ),
}


def _breaks_variant(rng: random.Random) -> Givens:
    while True:
        job, call = rng.choice(tuple(_BREAKS)), rng.choice(_CALLS)
        broken = tuple(rng.sample(_BREAKS[job], 3))
        found = {_running(job, call, one) for one in broken}
        if len(found) > 1 and any(one != _running(job, call, "") for one in found):
            return {"job": job, "call": call, "broken": broken}


@lru_cache(maxsize=256)
def _running(job: str, call: str, broken: str) -> tuple[str, ...]:
    state = settled(job, call, (f"{broken}=open",) if broken else (), 30.0)
    return tuple(name for name in responds(state) if name in RUNS)


def _breaks_question(givens: Givens) -> str:
    link = (
        "Three conductors go outdoors: R, SIG and C. A link carries the calls over SIG."
        if givens["job"] == "wire-return"
        else "Each terminal has a conductor of its own, indoors and outdoors."
    )
    rows = "\n".join(
        f"* `{row}`: {name.partition('.')[2]} of the {name.partition('.')[0]} run"
        for row, name in zip(_ROWS, givens["broken"], strict=True)
    )
    return (
        f"{site(givens['job'])} {link} The call is `{givens['call']}`. One conductor at a time is "
        f"broken:\n\n{rows}\n\n"
        "Which of these still run, or are energised, half a minute later: "
        f"{', '.join(f'`{one}`' for one in RUNS)}? Give a "
        "list for each, or `[]`."
    )


def _still(givens: Givens) -> dict[str, list[str]]:
    return {
        row: list(_running(givens["job"], givens["call"], name))
        for row, name in zip(_ROWS, givens["broken"], strict=True)
    }


def _slip(change: Callable[[Givens, str, list[str]], list[str]]) -> Callable[[Givens], Several]:
    """Return a model that reads one row wrong, whichever it is."""

    def wrong(givens: Givens) -> Several:
        right, found = _still(givens), []
        for row, name in zip(_ROWS, givens["broken"], strict=True):
            now = change(givens, name, right[row])
            if now != right[row]:
                found.append({**right, row: now})
        return Several(found)

    return wrong


def _sound(givens: Givens, name: str, right: list[str]) -> list[str]:
    return list(_running(givens["job"], givens["call"], ""))


def _only_its_own(givens: Givens, name: str, right: list[str]) -> list[str]:
    """Return what runs for somebody who sees stage 2 as independent of stage 1."""
    if not name.endswith(".Y1"):
        return right
    return [one for one in _sound(givens, name, right) if one != "compressor stage 1"]


def _link_passes(givens: Givens, name: str, right: list[str]) -> list[str]:
    if name not in ("outdoor.SIG", "outdoor.R", "outdoor.C") or givens["job"] != "wire-return":
        return right
    return [one for one in _sound(givens, name, right) if not one.startswith("compressor")]


BREAKS = Exercise(
    id="10.1",
    title="What still runs?",
    points=2,
    variant=_breaks_variant,
    question=_breaks_question,
    solve=_still,
    compare=Table(_ROWS, ChoiceSet(RUNS)),
    wrong_models=(
        WrongModel(
            "stage 2 alone",
            "Without Y1 the contactor is open, and the whole compressor stands. What can Y2 do then?",
            _slip(_only_its_own),
        ),
        WrongModel(
            "the valve outlives the link",
            "When its frames or its supply stop, a relay board lets go of all its relays, not only of one.",
            _slip(_link_passes),
        ),
        WrongModel(
            "the blower goes too",
            "Follow G: does the current of the blower relay go through the conductor that broke?",
            _slip(lambda givens, name, right: [one for one in right if one != "blower"]),
        ),
        WrongModel(
            "all stops",
            "Only what gets its current through that conductor stops. Follow each call on its own way.",
            _slip(lambda givens, name, right: []),
        ),
        WrongModel(
            "nothing stops",
            "In one row you let all run on. What does that conductor carry under this call?",
            _slip(_sound),
        ),
        WrongModel(
            "the valve forgotten",
            "Look at the valve again: in which mode is it energised here, and over which conductor?",
            _slip(lambda givens, name, right: sorted({*right} ^ {"reversing valve"}, key=RUNS.index)),
        ),
    ),
    nudge="For each row draw the loop of each coil, and that of the board ahead of it. Does one of them go "
    "through the break?",
)


# 10.2: boxes ----------------------------------------------------------------------------------------------

_BOXES = 7
_BITS, _MOST, _EACH = "bits", "most bits", "most bits a minute"


def _first_variant(rng: random.Random) -> Givens:
    while True:
        odds = tuple(rng.choice((1, 1, 1, 1, 2, 3, 5, 9)) for _ in range(_BOXES + 1))
        minutes = tuple(rng.choice((2, 3, 4, 5, 8, 10, 12)) for _ in range(_BOXES))
        found, asked = box_hunt(odds, minutes), rng.randrange(1, _BOXES + 1)
        scores = sorted(found.scores(), key=lambda score: -score.bits)
        each = sorted(scores, key=lambda score: -score.bits_a_minute)
        clear = scores[0].bits > 1.02 * scores[1].bits
        clear &= each[0].bits_a_minute > 1.06 * each[1].bits_a_minute
        bits = found.bits_of(f"box {asked}")
        fair = 0.3 < bits < 0.97 and abs(bits - _counted(asked)) > 0.06
        if clear and fair and scores[0].test != each[0].test:
            return {"odds": odds, "minutes": minutes, "asked": asked}


def _row(name: str, values: Sequence[object]) -> str:
    return f"| {name} | {' | '.join(map(str, values))} |\n"


def _first_question(givens: Givens) -> str:
    line = "| --- " * (_BOXES + 2) + "|\n"
    pieces = _row("piece", range(1, _BOXES + 2)) + line + _row("odds", givens["odds"])
    boxes = _row("box", range(1, _BOXES + 1)) + line[6:] + _row("minutes", givens["minutes"])
    return (
        f"A cable has {_BOXES + 1} pieces, with a box at each joint: box 1 after piece 1, and so on. One "
        "piece is "
        "broken. Before the break there are volts, behind it there are none. The odds of the pieces, and the "
        f"minutes to open and read a box:\n\n{pieces}\n{boxes}\nHow many `{_BITS}` does a look into box "
        f"{givens['asked']} teach on average (to 0.03; the curve of section 3 is enough)? Which box "
        "teaches the "
        f"`{_MOST}`, and which the `{_EACH}`?"
    )


def _boxes(givens: Givens) -> Hunt:
    return box_hunt(givens["odds"], givens["minutes"])


def _counted(asked: int) -> float:
    return box_hunt([1] * (_BOXES + 1)).bits_of(f"box {asked}")


def _share(givens: Givens) -> float:
    return float(sum(givens["odds"][: givens["asked"]]) / sum(givens["odds"]))


def _first(givens: Givens) -> dict[str, float]:
    found = _boxes(givens)
    scores = found.scores()
    most = max(scores, key=lambda score: score.bits)
    return {
        _BITS: found.bits_of(f"box {givens['asked']}"),
        _MOST: _number(most.test),
        _EACH: _number(scores[0].test),
    }


def _number(box: str) -> int:
    return int(box.removeprefix("box "))


def _with(name: str, compute: Callable[[Givens], Iterable[float]]) -> Callable[[Givens], Several]:
    """Return a model that gets one of the three wrong, in one way or several."""
    return lambda givens: Several({**_first(givens), name: value} for value in compute(givens))


def _quickest_boxes(givens: Givens) -> list[int]:
    least = min(givens["minutes"])
    return [k + 1 for k, cost in enumerate(givens["minutes"]) if cost == least]


def _beside(name: str) -> Callable[[Givens], Several]:
    def near(givens: Givens) -> list[int]:
        right = int(_first(givens)[name])
        return [box for box in (right - 1, right + 1) if 1 <= box <= _BOXES]

    return _with(name, near)


FIRST = Exercise(
    id="10.2",
    title="Which box first?",
    points=3,
    variant=_first_variant,
    question=_first_question,
    solve=_first,
    compare=Record(
        (
            (_BITS, Number(rel=0.0, absolute=0.03, unit="bits")),
            (_MOST, Choice(tuple(range(1, _BOXES + 1)))),
            (_EACH, Choice(tuple(range(1, _BOXES + 1)))),
        )
    ),
    wrong_models=(
        WrongModel(
            "the minutes forgotten",
            "You gave one box twice. Divide the bits of each box by its minutes, too.",
            _with(_EACH, lambda givens: [_first(givens)[_MOST]]),
        ),
        WrongModel(
            "pieces counted",
            "For the bits you counted pieces. Add up their odds instead: how large is the share before "
            "the box?",
            _with(_BITS, lambda givens: [_counted(givens["asked"])]),
        ),
        WrongModel(
            "one side only",
            "A look has two outcomes, and both teach. Add the part of the other side to the bits.",
            _with(_BITS, lambda givens: [-_share(givens) * math.log2(_share(givens))]),
        ),
        WrongModel(
            "the share itself",
            "You gave a share of the odds. Find it on the lower axis of the curve, and read the bits "
            "above it.",
            _with(_BITS, lambda givens: [_share(givens), 1 - _share(givens)]),
        ),
        WrongModel(
            "another logarithm",
            "Take the logarithm to the base 2: one fair question has to come out as 1 bit.",
            _with(_BITS, lambda givens: [_first(givens)[_BITS] * math.log(2)]),
        ),
        WrongModel(
            "all that is open",
            "That is what is open before the look. How much of it does this one look take away?",
            _with(_BITS, lambda givens: [_boxes(givens).bits]),
        ),
        WrongModel(
            "the middle by count",
            "The box in the middle has as many pieces on either side. Has it the same odds on either side?",
            _with(_MOST, lambda givens: [(_BOXES + 1) // 2]),
        ),
        WrongModel(
            "turned round",
            "Look which question is which: one of them asks about bits alone.",
            lambda givens: {**_first(givens), _MOST: _first(givens)[_EACH], _EACH: _first(givens)[_MOST]},
        ),
        WrongModel(
            "the quickest box",
            "A quick look that teaches little is no bargain. Divide its bits by its minutes and compare.",
            _with(_EACH, _quickest_boxes),
        ),
        WrongModel(
            "divided the wrong way",
            "Bits divided by minutes, and the largest wins. You may have divided minutes by bits.",
            _with(_EACH, lambda givens: [_number(_boxes(givens).scores()[-1].test)]),
        ),
        WrongModel(
            "one box beside, bits",
            "For the most bits you are one box away. Add the odds up again, from both ends.",
            _beside(_MOST),
        ),
        WrongModel(
            "one box beside, minutes",
            "For bits a minute you are one box away. Compare the two boxes: bits, divided by minutes.",
            _beside(_EACH),
        ),
    ),
    nudge="Halve the odds, not the pieces; then divide the bits of each box by its minutes.",
)


# 10.3: parts tried one after the other --------------------------------------------------------------------

_PARTS = ("relay board", "encoder", "contactor", "splice", "fuse holder", "transformer", "thermostat")


def _turn_variant(rng: random.Random) -> Givens:
    while True:
        parts = tuple(rng.sample(_PARTS, 4))
        chance = [rng.randrange(1, 11) * 5 for _ in range(3)]
        minutes = tuple(rng.choice((2, 3, 5, 8, 10, 15, 20, 30)) for _ in range(4))
        if sum(chance) > 95:
            continue
        chances = (*chance, 100 - sum(chance))
        each = sorted((c / m for c, m in zip(chances, minutes, strict=True)), reverse=True)
        if len(set(chances)) == 4 and len(set(minutes)) == 4 and all(a > 1.15 * b for a, b in pairwise(each)):
            givens = {"parts": parts, "chance": chances, "minutes": minutes}
            if _turn(givens) not in (_likeliest(givens), _quickest(givens)):
                return givens


def _turn_question(givens: Givens) -> str:
    rows = "\n".join(
        f"| `{part}` | {chance} % | {minutes} |"
        for part, chance, minutes in zip(givens["parts"], givens["chance"], givens["minutes"], strict=True)
    )
    return (
        "No look parts these four, so nothing is left but to try parts: you replace one, see whether all "
        "works again, and if "
        "not you replace the next.\n\n| part | chance | minutes to replace |\n| --- | --- | --- "
        f"|\n{rows}\n\nIn which order does "
        "it take the fewest minutes on average? Write a list of all four."
    )


def _turn_min(givens: Givens, order: Iterable[str]) -> float:
    """Return the minutes on average until the right part has been replaced."""
    chance = dict(zip(givens["parts"], givens["chance"], strict=True))
    minutes = dict(zip(givens["parts"], givens["minutes"], strict=True))
    spent, total = 0.0, 0.0
    for part in order:
        spent += minutes[part]
        total += chance[part] / 100 * spent
    return total


def _turn(givens: Givens) -> list[str]:
    """Return the best order, found by trying all of them."""
    return list(min(permutations(givens["parts"]), key=lambda order: _turn_min(givens, order)))


def _likeliest(givens: Givens) -> list[str]:
    return [part for _, part in sorted(zip(givens["chance"], givens["parts"], strict=True), reverse=True)]


def _quickest(givens: Givens) -> list[str]:
    return [part for _, part in sorted(zip(givens["minutes"], givens["parts"], strict=True))]


def _two_swapped(givens: Givens) -> Several:
    right, found = _turn(givens), []
    for k in range(3):
        found.append([*right[:k], right[k + 1], right[k], *right[k + 2 :]])
    return Several(found)


TURN = Exercise(
    id="10.3",
    title="Parts tried in turn",
    points=2,
    variant=_turn_variant,
    question=_turn_question,
    solve=_turn,
    compare=lambda givens: ListOf(Choice(givens["parts"]), 4),
    wrong_models=(
        WrongModel(
            "the likeliest first",
            "You went by chance alone. A likely part that takes long can be worth less than a quick one.",
            _likeliest,
        ),
        WrongModel(
            "the quickest first",
            "You went by minutes alone. A quick part that is hardly ever at fault only costs time.",
            _quickest,
        ),
        WrongModel(
            "from the wrong end",
            "That is the dearest order of all. Divide chance by minutes, and begin with the largest.",
            lambda givens: _turn(givens)[::-1],
        ),
        WrongModel(
            "two neighbours",
            "Two parts that follow each other are the wrong way about. Divide chance by minutes for each.",
            _two_swapped,
        ),
    ),
    nudge="Divide the chance of each part by its minutes, and sort the four numbers.",
)

EXERCISES: tuple[Exercise, ...] = (BREAKS, FIRST, TURN, *DICTIONARY_EXERCISES, DESIGN)
