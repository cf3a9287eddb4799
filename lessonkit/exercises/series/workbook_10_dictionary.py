"""The exercises of workbook 10 with a dictionary of faults: a diagnosis, who looks alike, what is fickle.

One job with a link is lived through with nine faults, under one call; what each look would show comes from
there. `workbook_10` has the table of all exercises.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Mapping
from functools import lru_cache
from types import MappingProxyType

from lessonkit.bench.bench import Bench
from lessonkit.bench.meter import Meter
from lessonkit.exercises.compare import Choice, ChoiceSet, Number, Record, Table
from lessonkit.exercises.core import Exercise, Givens, Several, WrongModel
from lessonkit.exercises.slips import row_slips
from lessonkit.job.toml import demo_job
from lessonkit.studies.hunt import Hunt, LookAt, job_hunt, still_likely

JOB, CALL = "wire-return", "cool-1"

#: What may be wrong, in short words, and as the bench takes it.
SUSPECTS: Mapping[str, str] = MappingProxyType(
    {
        "Y1 open": "thermostat.Y1=open",
        "R open": "outdoor.R=open",
        "SIG open": "outdoor.SIG=open",
        "C open": "outdoor.C=open",
        "SIG touches C": "outdoor.SIG=short:C",
        "encoder dead": "air.encoder=dead",
        "relay board dead": "out.relay-board=dead",
        "relay Y1 stuck": "out.relay-Y1=stuck-open",
        "contactor burnt out": "out.contactor=burnt-out",
    }
)
#: What one can look at, in short words, and as the bench takes it.
LOOKS: Mapping[str, str] = MappingProxyType(
    {
        "Y1 indoors": "air:Y1 air:C",
        "SIG indoors": "direct air:SIG-out air:C",
        "link outdoors": "outdoor link",
        "R outdoors": "out:R out:C",
        "SIG outdoors": "direct out:SIG out:C",
        "C to ground": "out:C out:GND",
        "Y1 outdoors": "out:Y1 out:C",
    }
)


#: What the short words of looks mean, for the questions.
LOOK_WORDS = (
    "Y1 and R are read to C at the same place, SIG to C in direct volts, C to bare metal outdoors; the "
    "link is what the relay board outdoors shows of it"
)


@lru_cache(maxsize=4)
def lookbook() -> Hunt:
    """Return all suspects and all looks, in short words, as a hunt that begins at the air handler."""
    found = job_hunt(JOB, SUSPECTS.values(), LOOKS.values(), CALL, here="air")
    word = {fault: name for name, fault in SUSPECTS.items()}
    looks = {}
    for name, act in LOOKS.items():
        at = found.looks[act]
        looks[name] = LookAt({word[fault]: shown for fault, shown in at.words.items()}, at.minutes, at.place)
    return Hunt({word[fault]: chance for fault, chance in found.chance.items()}, looks, found.here)


def dictionary_table(found: Hunt) -> str:
    """Return what each suspect shows at each look, as a table."""
    head = f"| | {' | '.join(found.looks)} |\n" + "| --- " * (len(found.looks) + 1) + "|\n"
    return head + "\n".join(
        f"| {one} | {' | '.join(look.words[one] for look in found.looks.values())} |" for one in found.chance
    )


# 10.4: a diagnosis ----------------------------------------------------------------------------------------

_SITES = ("site A", "site B")
#: Suspects that the readings of the question tell apart.
_BLAMED = (
    "Y1 open",
    "R open",
    "SIG open",
    "C open",
    "SIG touches C",
    "relay board dead",
    "contactor burnt out",
)
_READINGS = (
    ("Y1 to C at the air handler", "air:Y1", "air:C", False),
    ("SIG to C at the air handler, direct", "air:SIG-out", "air:C", True),
    ("R to C outdoors", "out:R", "out:C", False),
    ("SIG to C outdoors, direct", "out:SIG", "out:C", True),
    ("C to the bare metal outdoors", "out:C", "out:GND", False),
    ("Y1 to C outdoors", "out:Y1", "out:C", False),
)


def _diagnosis_variant(rng: random.Random) -> Givens:
    return {
        "sites": tuple(
            (name, rng.choice((12.0, 20.0, 30.0, 45.0))) for name in rng.sample(_BLAMED, len(_SITES))
        )
    }


@lru_cache(maxsize=64)
def _read(name: str, length_m: float) -> tuple[str, ...]:
    """Return what the meter shows at a site with this fault, reading by reading."""
    bench = Bench(demo_job(JOB).with_run("outdoor", length_m=length_m), faults=[SUSPECTS[name]], call=CALL)
    bench.pass_time(20.0)
    meter = Meter(bench)
    return tuple(
        str((meter.dc_volts if direct else meter.volts)(red, black)).split(" from ")[0]
        for _, red, black, direct in _READINGS
    )


def _diagnosis_question(givens: Givens) -> str:
    shown = [_read(*one) for one in givens["sites"]]
    rows = "\n".join(
        f"| {words} | {' | '.join(one[k] for one in shown)} |" for k, (words, *_) in enumerate(_READINGS)
    )
    options = ", ".join(f"`{name}`" for name in _BLAMED)
    return (
        "Two heat pumps with a link over R, SIG and C outdoors. Both customers say: "
        '"The fan blows, and the air stays warm." '
        f"The call is `{CALL}`, the blower runs and the compressor does not. The meter says:\n\n| | "
        f"{' | '.join(_SITES)} |\n| --- "
        f"| --- | --- |\n{rows}\n\nWhat is wrong at each: {options}?"
    )


def _diagnosis(givens: Givens) -> dict[str, str]:
    return {name: one[0] for name, one in zip(_SITES, givens["sites"], strict=True)}


DIAGNOSIS = Exercise(
    id="10.4",
    title="What is wrong here?",
    points=3,
    variant=_diagnosis_variant,
    question=_diagnosis_question,
    solve=_diagnosis,
    compare=Table(_SITES, Choice(_BLAMED)),
    wrong_models=row_slips(
        _diagnosis,
        2,
        {
            "Y1 open": "then the call would not reach the air handler. Does it?",
            "R open": "then nothing outdoors has volts, and C is no volts from the metal. Is it so?",
            "SIG open": "then SIG has its volts indoors and none outdoors. Compare the two ends.",
            "C open": "then C outdoors has volts to the metal. Look at that reading again.",
            "SIG touches C": "then SIG is pulled down at both ends. Look at the end indoors.",
            "relay board dead": "then all is well on the way out, and nothing comes out of the board. "
            "Check each end of SIG.",
            "contactor burnt out": "then the coil has all its volts. Are they there?",
        },
    ),
)


# 10.5: who looks alike ------------------------------------------------------------------------------------


def _alike_variant(rng: random.Random) -> Givens:
    names, looks = tuple(SUSPECTS), tuple(LOOKS)
    while True:
        suspects = tuple(sorted(rng.sample(names, 8), key=names.index))
        taken = tuple(sorted(rng.sample(looks, 3), key=looks.index))
        culprit = rng.choice(suspects)
        alike = _alike({"suspects": suspects, "taken": taken, "culprit": culprit})
        if not 1 <= len(alike) <= 4:
            continue
        left = lookbook().among((culprit, *alike)).scores()
        # The best look has to be clear, and to part the culprit from somebody.
        if (
            left
            and left[0].test not in taken
            and (len(left) < 2 or left[0].bits_a_minute > 1.1 * left[1].bits_a_minute)
        ):
            return {"suspects": suspects, "taken": taken, "culprit": culprit}


def _alike(givens: Givens, taken: Iterable[str] | None = None) -> list[str]:
    found = lookbook().among(givens["suspects"])
    row = found.follow(givens["taken"] if taken is None else tuple(taken)).rows[
        givens["suspects"].index(givens["culprit"])
    ]
    return list(row.alike)


def _alike_question(givens: Givens) -> str:
    found = lookbook().among(givens["suspects"])
    places = {"air": "indoors", "out": "outdoors"}
    costs = " and ".join(
        ", ".join(f"`{name}`" for name, at in found.looks.items() if at.place == place) + f" {where}"
        for place, where in places.items()
    )
    return (
        "A part of a dictionary of faults. Each row is a suspect, each column a look "
        f"({LOOK_WORDS}):\n\n"
        f"{dictionary_table(found)}\n\nYou stand at the air handler. The looks are {costs}. Each takes "
        "half a minute, and the walk "
        f"outdoors 3 minutes more. You take {', '.join(f'`{one}`' for one in givens['taken'])}, and all "
        "three show what "
        f"`{givens['culprit']}` would show. You are back at the air handler. Which others are `alike`, "
        "that is, still possible? And "
        "which look is `next`, by bits a minute? Take all that are still possible as equally likely."
    )


def _level(givens: Givens, alike: Iterable[str]) -> Hunt:
    """Return the hunt among what is left, all equally likely, from the air handler."""
    names = (givens["culprit"], *alike)
    found = lookbook().among(names)
    return Hunt(dict.fromkeys(names, 1 / len(names)), found.looks, "air")


def _alike_answer(givens: Givens) -> dict[str, object]:
    alike = _alike(givens)
    return {"alike": alike, "next": _level(givens, alike).scores()[0].test}


def _one_look_only(givens: Givens) -> Several:
    right = _alike_answer(givens)
    return Several({**right, "alike": _alike(givens, [one])} for one in givens["taken"])


def _two_looks_only(givens: Givens) -> Several:
    right = _alike_answer(givens)
    return Several(
        {**right, "alike": _alike(givens, [one for one in givens["taken"] if one != left])}
        for left in givens["taken"]
    )


def _too_few(givens: Givens) -> Several:
    right = _alike_answer(givens)
    return Several(
        {**right, "alike": [one for one in _alike(givens) if one != gone]} for gone in _alike(givens)
    )


def _next_is(givens: Givens, wanted: Iterable[str]) -> Several:
    right = _alike_answer(givens)
    return Several({**right, "next": look} for look in wanted if look != right["next"])


def _teaches(givens: Givens) -> dict[str, float]:
    left = _level(givens, _alike(givens))
    return {look: left.bits_of(look) for look in LOOKS}


ALIKE = Exercise(
    id="10.5",
    title="Who still looks alike?",
    points=3,
    variant=_alike_variant,
    question=_alike_question,
    solve=_alike_answer,
    compare=lambda givens: Record(
        (
            ("alike", ChoiceSet(tuple(one for one in givens["suspects"] if one != givens["culprit"]))),
            ("next", Choice(tuple(LOOKS))),
        )
    ),
    wrong_models=(
        WrongModel(
            "one look used",
            "You used one of the three looks. A suspect stays only where all three columns agree.",
            _one_look_only,
        ),
        WrongModel(
            "two looks used",
            "One of the three columns is not used yet. It rules out somebody more.",
            _two_looks_only,
        ),
        WrongModel(
            "one too few",
            "Somebody is missing who shows the same in all three columns. Compare row by row.",
            _too_few,
        ),
        WrongModel(
            "a look taken again",
            "That look is taken already, and those that are left all show the same there.",
            lambda givens: _next_is(givens, givens["taken"]),
        ),
        WrongModel(
            "a look that tells nothing",
            "There all that are left show the same. Choose a column in which they differ.",
            lambda givens: _next_is(givens, [look for look, bits in _teaches(givens).items() if bits == 0]),
        ),
        WrongModel(
            "a dearer look",
            "It does tell something. Count its minutes with the walk, and how evenly it parts them.",
            lambda givens: _next_is(givens, [look for look, bits in _teaches(givens).items() if bits > 0]),
        ),
    ),
    nudge="Go down the three columns: who shows the same in each? Then look at the other columns.",
)


# 10.6: a fault that comes and goes ------------------------------------------------------------------------


def _fickle_variant(rng: random.Random) -> Givens:
    return {
        "chance": rng.choice((40, 50, 60, 70, 75, 80)),
        "shows": rng.choice((2, 3, 4, 5)),
        "looks": rng.choice((2, 3, 4, 5)),
    }


def _fickle_question(givens: Givens) -> str:
    return (
        f"Two suspects are left: a loose joint in SIG that comes and goes ({givens['chance']} %), and a "
        "thermostat that was set "
        f"wrong and has been put right ({100 - givens['chance']} %). When it is the joint, one look in "
        f"{givens['shows']} shows "
        f"it. You look {givens['looks']} times, hours apart, and all is well each time. How likely is the "
        "joint now, in percent?"
    )


def _left(givens: Givens, looks: int | None = None) -> float:
    """Return the chance of the joint in percent, after all its looks or fewer."""
    count = givens["looks"] if looks is None else looks
    return still_likely(givens["chance"], givens["shows"], count)[-1]


def _turned(givens: Givens) -> float | None:
    """Return the chance for somebody who takes how often it shows for how often it does not."""
    if givens["shows"] == 2:
        return None
    joint = float(givens["chance"] * (1 / givens["shows"]) ** givens["looks"])
    return 100 * joint / (joint + 100 - float(givens["chance"]))


FICKLE = Exercise(
    id="10.6",
    title="Now it works",
    points=2,
    variant=_fickle_variant,
    question=_fickle_question,
    solve=_left,
    compare=Number(rel=0.0, absolute=1.0, unit="%"),
    wrong_models=(
        WrongModel(
            "cleared",
            "A joint that comes and goes is also sound in most looks. So a sound look does not clear it.",
            lambda givens: 0.0,
        ),
        WrongModel(
            "nothing learnt",
            "A sound look does say something: the joint expects fewer of them than the other suspect does.",
            lambda givens: float(givens["chance"]),
        ),
        WrongModel(
            "not shared again",
            "You shrank the joint and left the other one as it was. Together they have to be 100 % again.",
            lambda givens: givens["chance"] * (1 - 1 / givens["shows"]) ** givens["looks"],
        ),
        WrongModel(
            "one look counted",
            "That is right after one look. Each further look shrinks the joint's part again.",
            lambda givens: _left(givens, looks=1),
        ),
        WrongModel(
            "how often it shows",
            "What you saw is that all was well. How often does the joint show that?",
            _turned,
        ),
        WrongModel(
            "the other suspect",
            "That is the chance of the thermostat.",
            lambda givens: 100 - _left(givens),
        ),
    ),
    nudge="Multiply the joint's part once for each look. Then make both parts 100 % together again.",
)

DICTIONARY_EXERCISES: tuple[Exercise, ...] = (DIAGNOSIS, ALIKE, FICKLE)
