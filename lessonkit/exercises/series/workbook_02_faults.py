"""The exercises of workbook 02 about memory and faults: coil, fuse, chatter, ohmmeter.

Each one is tried on a bench: the job is the full cable with other numbers, the fault is put in, and what
responds is read off. `workbook_02` holds the other half and the table of all of them.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from functools import lru_cache

from lessonkit.bench.bench import Bench
from lessonkit.bench.meter import Meter
from lessonkit.bench.state import State
from lessonkit.exercises.compare import Choice, ChoiceSet, ListOf, Number, Table
from lessonkit.exercises.core import Exercise, Givens, Several, WrongModel
from lessonkit.exercises.slips import row_slips
from lessonkit.job.calls import terminals_for
from lessonkit.job.parts import RATED_V, Coil
from lessonkit.job.toml import demo_job
from lessonkit.studies.experiment import experiment

#: Seconds: long enough for a thermostat to fall asleep and start several times.
LOOK_S = 6.0


# 2.5: pick-up, drop-out and memory ------------------------------------------------------------------------

SEALED, OPEN = "sealed", "open"
_STEPS = 7


def _memory_variant(rng: random.Random) -> Givens:
    pickup_v, dropout_v = rng.choice((17.0, 17.5, 18.0, 18.5, 19.0)), rng.choice((9.0, 10.0, 11.0, 12.0))
    while True:
        bands = {
            "low": (3.0, dropout_v - 1.0),
            "between": (dropout_v + 1.0, pickup_v - 1.0),
            "high": (pickup_v + 1.0, 26.0),
        }
        steps = [bands[rng.choice(("low", "between", "between", "high"))] for _ in range(_STEPS)]
        volts = tuple(round(rng.uniform(*band), 1) for band in steps)
        givens: Givens = {"pickup_v": pickup_v, "dropout_v": dropout_v, "volts": volts}
        told_apart = {tuple(row) for row in _memory_rows(givens)}
        if len(told_apart) == 4:
            return givens


def _memory_question(givens: Givens) -> str:
    shown = ", ".join(f"{volts:g}" for volts in givens["volts"])
    return (
        f"A contactor pulls in at {givens['pickup_v']:g} V and lets go below {givens['dropout_v']:g} V. It "
        f"starts open. Its coil gets, one after the other, {shown} V. Where is the armature after each "
        f"step, `{SEALED}` or `{OPEN}`? Give a list of {_STEPS} words."
    )


def _words(held: list[bool]) -> list[str]:
    return [SEALED if sealed else OPEN for sealed in held]


def _with_memory(givens: Givens) -> list[str]:
    coil = Coil(30.0, 10.0, 10.0, givens["pickup_v"], givens["dropout_v"])
    held: list[bool] = []
    for volts in givens["volts"]:
        held.append(coil.holds(volts, held[-1] if held else False))
    return _words(held)


def _by_threshold(givens: Givens, threshold_v: float) -> list[str]:
    return _words([volts >= threshold_v for volts in givens["volts"]])


def _never_lets_go(givens: Givens) -> list[str]:
    held = [volts >= givens["pickup_v"] for volts in givens["volts"]]
    return _words([any(held[: k + 1]) for k in range(len(held))])


def _memory_rows(givens: Givens) -> list[list[str]]:
    return [
        _with_memory(givens),
        _by_threshold(givens, givens["pickup_v"]),
        _by_threshold(givens, givens["dropout_v"]),
        _never_lets_go(givens),
    ]


MEMORY = Exercise(
    id="2.5",
    title="A coil remembers",
    points=2,
    variant=_memory_variant,
    question=_memory_question,
    solve=_with_memory,
    compare=ListOf(Choice((SEALED, OPEN)), _STEPS),
    wrong_models=(
        WrongModel(
            "pick-up only",
            "Once sealed, it needs only the drop-out volts to stay. Between the two it keeps its place.",
            lambda givens: _by_threshold(givens, givens["pickup_v"]),
        ),
        WrongModel(
            "drop-out only",
            "To pull in from open it needs the pick-up volts. Between the two it keeps its place.",
            lambda givens: _by_threshold(givens, givens["dropout_v"]),
        ),
        WrongModel(
            "never lets go",
            "A sealed armature does let go: as soon as its volts fall below drop-out.",
            _never_lets_go,
        ),
    ),
    nudge="Walk through the list: at each step ask where the armature was before.",
)


# 2.6: what a touching wire does ---------------------------------------------------------------------------

TRANSFORMER_AHEAD = "transformer"
THERMOSTAT = "thermostat"
_KIT = ("blower", "compressor stage 1", "compressor stage 2", "reversing valve", "auxiliary heat")
#: Which equipment hangs on which terminal, for those who think that only that circuit dies.
_HANGS_ON = {
    "Y1": {"compressor stage 1", "compressor stage 2"},
    "Y2": {"compressor stage 2"},
    "G": {"blower"},
    "O": {"reversing valve"},
    "W1": {"auxiliary heat"},
}


def _fuse_variant(rng: random.Random) -> Givens:
    call = rng.choice(("cool-2", "cool-1", "heat-2", "heat-1", "heat-aux", "fan"))
    live = sorted(terminals_for(call))
    quiet = sorted({"Y1", "Y2", "G", "O", "W1"} - set(live))
    # One in six is a short; the others ask whether a wire is live at all, and what it is then joined to.
    short = [(one, "C") for one in live]
    harmless = [(one, "C") for one in quiet]
    on_r = [(one, "R") for one in quiet]
    on_live = [(one, other) for one in quiet for other in live]
    one, other = rng.choice(rng.choice([short, harmless, on_r, on_r, on_live, on_live]))
    va, fuse_a = rng.choice(((40.0, 3.0), (60.0, 3.0), (75.0, 3.0)))
    return {"call": call, "one": one, "other": other, "rated_va": va, "fuse_a": fuse_a}


def _fuse_question(givens: Givens) -> str:
    options = ", ".join(f"`{name}`" for name in (TRANSFORMER_AHEAD, THERMOSTAT, *_KIT))
    return (
        f"A heat pump with an O valve runs under `{givens['call']}`; the supply is {givens['rated_va']:g} "
        f"VA with a {givens['fuse_a']:g} A fuse. In the cable to the thermostat, {givens['one']} touches "
        f"{givens['other']}. Which of these have volts or run afterwards: {options}? "
        f"(`{TRANSFORMER_AHEAD}` means its own screws, ahead of the fuse.)"
    )


def _fuse_state(givens: Givens, touching: bool = True) -> State:
    job = demo_job("full-cable").with_supply(rated_va=givens["rated_va"], fuse_a=givens["fuse_a"])
    touch = [f"thermostat.{givens['one']}=short:{givens['other']}"] if touching else []
    return experiment(job, givens["call"], touch, LOOK_S, LOOK_S).state()


def _alive(state: State) -> set[str]:
    found = {name for name in _KIT if state.responding[name] != "off"}
    if state.volts["air:XFMR"] > RATED_V / 2:
        found.add(TRANSFORMER_AHEAD)
    if state.boards["stat:thermostat"].awake:
        found.add(THERMOSTAT)
    return found


def _listed(names: set[str]) -> list[str]:
    return [name for name in (TRANSFORMER_AHEAD, THERMOSTAT, *_KIT) if name in names]


def _only_that_circuit(givens: Givens) -> list[str] | None:
    if givens["other"] != "C":
        return None
    return _listed(_alive(_fuse_state(givens, touching=False)) - _HANGS_ON[givens["one"]])


FUSE = Exercise(
    id="2.6",
    title="Two wires touch",
    points=2,
    variant=_fuse_variant,
    question=_fuse_question,
    solve=lambda givens: _listed(_alive(_fuse_state(givens))),
    compare=ChoiceSet((TRANSFORMER_AHEAD, THERMOSTAT, *_KIT)),
    wrong_models=(
        WrongModel(
            "only that circuit",
            "A live wire on C is a short across the whole supply, and one fuse feeds everything.",
            _only_that_circuit,
        ),
        WrongModel(
            "all dead",
            "Not all is dead: what stands ahead of a blown fuse keeps its volts, line volts among them.",
            lambda givens: [] if _fuse_state(givens).fuse == "blown" else None,
        ),
        WrongModel(
            "every touch blows it",
            "A fuse needs current. Ask first whether that wire is live under this call, and what it touches.",
            lambda givens: Several(([TRANSFORMER_AHEAD], [])),
        ),
        WrongModel(
            "nothing happens",
            "The touch is a new path. Follow it from R: what does it join, and what flows there now?",
            lambda givens: _listed(_alive(_fuse_state(givens, touching=False))),
        ),
    ),
    nudge="Is the wire live under this call? On C it is then a short. On R, or a live wire, it goes live.",
)


# 2.7: a splice in R of the thermostat run -----------------------------------------------------------------

RUNS, STAYS_OUT, RESTARTS = OUTCOMES = ("runs", "hums", "restarts")

_CALLS = ("cool-1", "cool-2", "heat-1", "heat-aux")
#: VA and volts at no load of the transformers that a student may get: each moves the edges.
SUPPLIES = ((50.0, 27.2), (60.0, 28.2), (75.0, 27.6), (75.0, 28.8), (100.0, 26.8), (100.0, 28.4))
_SPLICES_OHM = (1.5, 2, 2.5, 3, 3.5, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 18, 20, 22, 24, 26, 28)
#: So far from an edge, as a share of it, lies every splice that is asked about.
CLEAR = 0.08


@lru_cache(maxsize=64)
def edges_ohm(call: str, supply: tuple[float, float]) -> tuple[float, float]:
    """Return the ohms at which one outcome turns into the next, found on the bench by halving.

    They only keep the questions clear of the edges: what is right, the bench says each time.
    """
    found: list[float] = []
    for outcome in (RUNS, STAYS_OUT):
        low, high = found[-1] if found else 1.0, 40.0
        while high - low > 0.05:
            middle = (low + high) / 2
            below = OUTCOMES.index(start(call, supply, middle)) <= OUTCOMES.index(outcome)
            low, high = (middle, high) if below else (low, middle)
        found.append(low)
    return found[0], found[1]


def chatter_choices(call: str, supply: tuple[float, float]) -> tuple[list[float], ...]:
    """Return the splices that 2.7 may ask about, a band for each outcome, clear of the edges."""
    first, second = edges_ohm(call, supply)
    clear = [ohm for ohm in _SPLICES_OHM if all(abs(ohm - edge) > CLEAR * edge for edge in (first, second))]
    return (
        [ohm for ohm in clear if ohm < first],
        [ohm for ohm in clear if first < ohm < second],
        [ohm for ohm in clear if ohm > second],
    )


def _chatter_variant(rng: random.Random) -> Givens:
    while True:
        call, supply = rng.choice(_CALLS), rng.choice(SUPPLIES)
        bands = chatter_choices(call, supply)
        if not all(bands):
            continue
        ohms = [rng.choice(band) for band in bands]
        ohms.append(rng.choice([ohm for band in bands for ohm in band if ohm not in ohms]))
        rng.shuffle(ohms)
        return {"call": call, "rated_va": supply[0], "open_v": supply[1], "ohms": tuple(ohms)}


def _row(ohm: float) -> str:
    return f"{ohm:g} ohm"


def _chatter_question(givens: Givens) -> str:
    shown = ", ".join(map(_row, givens["ohms"]))
    supply = f"rated_va={givens['rated_va']:g}, open_v={givens['open_v']:g}"
    return (
        f"The full cable has a transformer of {givens['rated_va']:g} VA with {givens['open_v']:g} V at no "
        f'load: `job = lk.demo_job("full-cable").with_supply({supply})`. A splice in R of the thermostat run '
        f"has gone bad. All is at rest; then the call `{givens['call']}` comes. What follows with a splice "
        f"of {shown}? `{RUNS}`: the contactor pulls in and stays; `{STAYS_OUT}`: it hums and stays out; "
        f"`{RESTARTS}`: the thermostat falls asleep and starts again and again. (Try each one on a bench.)"
    )


def _seen(state: State) -> str:
    if "stat:thermostat" in state.chatter:
        return RESTARTS
    return RUNS if state.coils["out:contactor"].sealed else STAYS_OUT


def _spliced(call: str, supply: tuple[float, float], ohm: float, before_s: float) -> State:
    job = demo_job("full-cable").with_supply(rated_va=supply[0], open_v=supply[1])
    return experiment(job, call, f"thermostat.R=resistance:{ohm:g}", before_s, LOOK_S).state()


def start(call: str, supply: tuple[float, float], ohm: float) -> str:
    """Return what a call from rest meets with this splice in R of the thermostat run."""
    return _seen(_spliced(call, supply, ohm, 0.0))


def _already_running(call: str, supply: tuple[float, float], ohm: float) -> str:
    return _seen(_spliced(call, supply, ohm, LOOK_S))


def _rows(givens: Givens, what: Callable[[str, tuple[float, float], float], str]) -> dict[str, str]:
    supply = (givens["rated_va"], givens["open_v"])
    return {_row(ohm): what(givens["call"], supply, ohm) for ohm in givens["ohms"]}


def _instead(old: str, new: str) -> Callable[[Givens], dict[str, str]]:
    """Return a model that sees one outcome where another comes."""
    return lambda givens: {row: new if word == old else word for row, word in _rows(givens, start).items()}


CHATTER = Exercise(
    id="2.7",
    title="Runs, hums or starts again",
    points=3,
    variant=_chatter_variant,
    question=_chatter_question,
    solve=lambda givens: _rows(givens, start),
    compare=lambda givens: Table(tuple(map(_row, givens["ohms"])), Choice((RUNS, STAYS_OUT, RESTARTS))),
    wrong_models=(
        WrongModel(
            "as if it ran already",
            "A sealed contactor holds on little. Here it starts from rest, and the inrush meets the splice.",
            lambda givens: _rows(givens, _already_running),
        ),
        WrongModel(
            "a thermostat needs no volts",
            "Look at the thermostat's own supply: the splice is in its R. Below its limit it falls asleep.",
            _instead(RESTARTS, STAYS_OUT),
        ),
        WrongModel(
            "no band between",
            "Too weak to pull in is not yet too weak to stay awake: a thermostat works on fewer volts.",
            _instead(STAYS_OUT, RESTARTS),
        ),
        *row_slips(
            lambda givens: _rows(givens, start),
            4,
            {
                RUNS: "the inrush is about three times the sealed current. What does this splice leave of "
                "the volts then?",
                STAYS_OUT: "compare with the two limits. Is it below pick-up, and still enough for the "
                "thermostat?",
                RESTARTS: "the thermostat sleeps only where hardly any volts are left. Are so few left here?",
            },
        ),
    ),
)


# 2.8: ohms with a second path -----------------------------------------------------------------------------

_COILS = {
    "Y2": ("unloader", 7.0),
    "G": ("blower-relay", 3.0),
    "O": ("reversing-valve", 7.0),
    "W1": ("sequencer", 5.0),
    "E": ("emergency-relay", 3.0),
}


def _ohms_variant(rng: random.Random) -> Givens:
    one, other = rng.sample(sorted(_COILS), 2)
    limit = {"Y2": 45, "O": 45, "G": 95, "W1": 85, "E": 95}
    first = rng.randrange(28, limit[one])
    second = rng.randrange(28, limit[other])
    return {"one": one, "other": other, "one_ohm": first, "other_ohm": second}


def _ohms_question(givens: Givens) -> str:
    name, other = (_COILS[givens[key]][0].replace("-", " ") for key in ("one", "other"))
    return (
        "The disconnect is open and the circuit proved dead. In the cable to the thermostat, "
        f"{givens['one']} touches {givens['other']}. Behind {givens['one']} sits the {name}, "
        f"{givens['one_ohm']} ohm of copper; behind {givens['other']} the {other}, {givens['other_ohm']} "
        f"ohm. What does an ohmmeter show at the air handler, from {givens['one']} to C, in ohms?"
    )


def _ohms_read(givens: Givens) -> float:
    job = demo_job("full-cable")
    for terminal, ohm in (("one", "one_ohm"), ("other", "other_ohm")):
        job = job.with_coil(_COILS[givens[terminal]][0], r_ohm=float(givens[ohm]))
    bench = Bench(job, faults=f"thermostat.{givens['one']}=short:{givens['other']}@1")
    bench.set_power(False)
    return Meter(bench).ohms(f"air:{givens['one']}", "air:C").value


def _impedances(givens: Givens) -> float:
    one, other = (_COILS[givens[key]][1] for key in ("one", "other"))
    return RATED_V**2 / (one + other)


OHMS = Exercise(
    id="2.8",
    title="Ohms with a second path",
    points=2,
    variant=_ohms_variant,
    question=_ohms_question,
    solve=_ohms_read,
    compare=Number(rel=0.04, absolute=0.7, unit="ohm"),
    wrong_models=(
        WrongModel(
            "one coil only",
            "The touch puts the other coil beside this one. The meter's current takes both ways to C.",
            lambda givens: float(givens["one_ohm"]),
        ),
        WrongModel(
            "sum",
            "Side by side, two paths carry more current than one, so the reading is smaller than either.",
            lambda givens: float(givens["one_ohm"] + givens["other_ohm"]),
        ),
        WrongModel(
            "mean",
            "Not the mean: add 1/R of both paths, then turn the sum over.",
            lambda givens: (givens["one_ohm"] + givens["other_ohm"]) / 2,
        ),
        WrongModel(
            "impedance for ohms",
            "You used 24 x 24 / VA, the impedance at 60 Hz. An ohmmeter sends direct current: copper only.",
            _impedances,
        ),
    ),
    nudge="Two resistances side by side: product over sum.",
)

FAULT_EXERCISES: tuple[Exercise, ...] = (MEMORY, FUSE, CHATTER, OHMS)
