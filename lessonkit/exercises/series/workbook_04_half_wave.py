"""The exercises of workbook 04 about half-wave steering: a mean, what meters make of it, two failed diodes.

Each runs the circuit of `studies.steering` through time, in 64 steps a cycle (good to half a percent).
`workbook_04` holds the other half and the table of all of them.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import lru_cache

from lessonkit.exercises.compare import Choice, Number, Record, Table
from lessonkit.exercises.core import Answer, Exercise, Givens, WrongModel
from lessonkit.exercises.slips import row_slips
from lessonkit.studies.steering import DIODES, DcCoil, Steered, Steering, steer

_STEPS = 64
SQRT_2 = math.sqrt(2.0)


def _pair(supply_v: float, r_ohm: float = 160.0) -> Steering:
    """Return two equal relays with freewheel diodes; the inductance keeps step with the copper."""
    coil = DcCoil(r_ohm=r_ohm, l_henry=0.6 / 160.0 * r_ohm, freewheel=True)
    return Steering(supply_v=supply_v, first=coil, second=coil)


@lru_cache(maxsize=256)
def _steered(supply_v: float, call: str, r_ohm: float = 160.0, diode: str = "", how: str = "") -> Steered:
    site = _pair(supply_v, r_ohm)
    if how:
        site = replace(site, shorted=(diode,)) if how == SHORTED else replace(site, opened=(diode,))
    return steer(site, call, _STEPS)


# 4.4: half of a wave --------------------------------------------------------------------------------------

#: A diode that carries tens of milliamperes takes this (volts).
DIODE_V = 0.75


def _mean_variant(rng: random.Random) -> Givens:
    return {
        "supply_v": rng.choice((22.0, 23.5, 25.0, 26.5, 28.0)),
        "r_ohm": rng.choice((100, 115, 130, 150, 170, 195, 220, 250, 285)),
    }


def _mean_question(givens: Givens) -> str:
    return (
        f"A supply of {givens['supply_v']:g} V RMS steers a relay by half of its wave. The coil is for "
        f"direct current: "
        f"{givens['r_ohm']} ohm, with a freewheel diode across it. In the half that is called two diodes "
        f"lie in series "
        f"with it; in the other half its own current goes on through the freewheel diode. Each diode takes "
        f"{DIODE_V:g} V "
        "while it carries current. Leave out the conductor's ohms. What is the coil's mean current, in "
        "milliamperes?"
    )


def _mean_ma(givens: Givens) -> float:
    return 1000 * _steered(givens["supply_v"], "first", float(givens["r_ohm"])).coils["first"].mean_a


def _ma(givens: Givens, share: float, drops_v: float = 1.5 * DIODE_V) -> float:
    """Return milliamperes by hand: a share of the RMS volts, less what diodes take in the mean."""
    return 1000 * (share * float(givens["supply_v"]) - drops_v) / float(givens["r_ohm"])


MEAN = Exercise(
    id="4.4",
    title="Half of a wave",
    points=3,
    variant=_mean_variant,
    question=_mean_question,
    solve=_mean_ma,
    compare=Number(rel=0.045, unit="mA"),
    wrong_models=(
        WrongModel(
            "the whole wave",
            "Only every other half gets through. Half of the time there is nothing.",
            lambda givens: _ma(givens, 2 * SQRT_2 / math.pi, 0.0),
        ),
        WrongModel(
            "RMS of the half-wave",
            "That is the RMS of the half-wave. A coil for direct current is judged by the mean.",
            lambda givens: _ma(givens, SQRT_2 / 2, 0.0),
        ),
        WrongModel(
            "half of the RMS",
            "Half of the RMS is not the mean of a half-wave: start at the peak, and divide by pi.",
            lambda givens: _ma(givens, 0.5, 0.0),
        ),
        WrongModel(
            "no diodes",
            "The diodes take volts, too: two in one half, one in the other. What is that in the mean?",
            lambda givens: _ma(givens, SQRT_2 / math.pi, 0.0),
        ),
        WrongModel(
            "the supply's RMS",
            "That is what the coil would draw on direct volts as large as the supply's RMS. What is left of "
            "the wave?",
            lambda givens: _ma(givens, 1.0, 0.0),
        ),
        WrongModel(
            "the peak over the ohms",
            "The peak lasts for a moment. You want the mean over the whole cycle.",
            lambda givens: _ma(givens, SQRT_2, 0.0),
        ),
    ),
    nudge="Peak = 1.414 x RMS. Mean of half a wave = peak / pi, less the diodes' mean. Divide by the ohms.",
)


# 4.5: what the meter says ---------------------------------------------------------------------------------

NONE, FIRST, SECOND, BOTH = "none", "first", "second", "both"
EITHER, DARK = "first or second", "none or both"
SAYS = (NONE, FIRST, SECOND, BOTH, EITHER, DARK)
_ROWS = ("a", "b", "c", "d", "e")
_AC_WORDS = {
    "true-rms": "a true-RMS meter on alternating volts",
    "average": "an averaging meter on alternating volts",
}
_DC_WORDS = "a meter on direct volts"


def _meters_variant(rng: random.Random) -> Givens:
    kinds = ["dc", "dc", "dc", rng.choice(("true-rms", "average")), rng.choice(("true-rms", "average"))]
    calls = [*rng.sample((FIRST, SECOND, BOTH), 3), rng.choice((FIRST, SECOND)), rng.choice((NONE, BOTH))]
    rows = list(zip(kinds, calls, strict=True))
    rng.shuffle(rows)
    return {"supply_v": rng.choice((24.0, 25.0, 26.0, 27.0)), "rows": tuple(rows)}


def _reading_v(supply_v: float, kind: str, call: str) -> float:
    return _steered(supply_v, call).meter_v(kind)


def _meters_question(givens: Givens) -> str:
    lines = []
    for row, (kind, call) in zip(_ROWS, givens["rows"], strict=True):
        volts = round(_reading_v(givens["supply_v"], kind, call), 1) + 0.0
        shown = f"{volts:+.1f} V" if kind == "dc" and volts else f"{abs(volts):.1f} V"
        lines.append(f"* `{row}`: {_DC_WORDS if kind == 'dc' else _AC_WORDS[kind]}: {shown}")
    return (
        f"Two relays share one conductor by half-wave steering. The first lives in the halves where the "
        f"conductor is "
        f"positive against C. The supply has {givens['supply_v']:g} V RMS. At five moments somebody reads "
        f"from the "
        "conductor (red) to C (black):\n\n"
        + "\n".join(lines)
        + "\n\nWhich call may be on? Write all that this one reading leaves: "
        + ", ".join(f"`{word}`" for word in SAYS)
        + "."
    )


def _told(kind: str, call: str) -> str:
    """Return what a reading tells: calls that no meter of this kind can tell apart stay together."""
    volts = {each: _reading_v(24.0, kind, each) for each in (NONE, FIRST, SECOND, BOTH)}
    alike = {each for each, read in volts.items() if abs(read - volts[call]) < 0.5}
    if len(alike) == 1:
        return call
    return EITHER if alike == {FIRST, SECOND} else DARK


def _meter_rows(givens: Givens, told: Callable[[str, str], str]) -> dict[str, str]:
    return {row: told(*pair) for row, pair in zip(_ROWS, givens["rows"], strict=True)}


def _sign_forgotten(kind: str, call: str) -> str:
    return EITHER if kind == "dc" and call in (FIRST, SECOND) else _told(kind, call)


def _sign_swapped(kind: str, call: str) -> str:
    swapped: Mapping[str, str] = {FIRST: SECOND, SECOND: FIRST}
    return swapped.get(call, _told(kind, call)) if kind == "dc" else _told(kind, call)


def _no_direct_is_none(kind: str, call: str) -> str:
    return NONE if kind == "dc" and call in (NONE, BOTH) else _told(kind, call)


def _half_is_first(kind: str, call: str) -> str:
    return FIRST if kind != "dc" and call in (FIRST, SECOND) else _told(kind, call)


def _half_is_weak(kind: str, call: str) -> str:
    return NONE if kind != "dc" and call in (FIRST, SECOND) else _told(kind, call)


METERS = Exercise(
    id="4.5",
    title="What does the meter say?",
    points=3,
    variant=_meters_variant,
    question=_meters_question,
    solve=lambda givens: _meter_rows(givens, _told),
    compare=Table(_ROWS, Choice(SAYS)),
    wrong_models=(
        WrongModel(
            "no direct volts, no call",
            "No direct volts only says that both halves are alike. In which two cases are they?",
            lambda givens: _meter_rows(givens, _no_direct_is_none),
        ),
        WrongModel(
            "sign not read",
            "On direct volts the sign tells the two halves apart. You read it as if it had none.",
            lambda givens: _meter_rows(givens, _sign_forgotten),
        ),
        WrongModel(
            "sign the wrong way round",
            "The question says in which halves the first relay lives. Look at the sign again.",
            lambda givens: _meter_rows(givens, _sign_swapped),
        ),
        WrongModel(
            "alternating volts have a sign",
            "An alternating range has no sign. What half a wave reads there, the other half reads, too.",
            lambda givens: _meter_rows(givens, _half_is_first),
        ),
        WrongModel(
            "half the volts is a fault",
            "Some fourteen volts on an alternating range are no weak supply here. What does half a wave "
            "read?",
            lambda givens: _meter_rows(givens, _half_is_weak),
        ),
        *row_slips(
            lambda givens: _meter_rows(givens, _told),
            len(_ROWS),
            {
                NONE: "with no call there are no volts at all on this range. What else reads the same?",
                FIRST: "would the other half read otherwise here? And is the sign the first one's?",
                SECOND: "would the other half read otherwise here? And is the sign the second one's?",
                BOTH: "both halves together are the whole wave. What does this range show of that?",
                EITHER: "half a wave reads about half. And can this range see its sign?",
                DARK: "those two read alike on direct volts alone. Which range is this?",
            },
        ),
    ),
    nudge="For each kind of meter write what it reads in all four cases. Which cases fit this reading?",
)


# 4.6: two failed diodes -----------------------------------------------------------------------------------

OPEN, SHORTED = HOWS = ("open", "shorted")
_SUPPLY_V = 26.0
_WIRES = ("left", "right")


def _diodes_variant(rng: random.Random) -> Givens:
    failed = [(diode, how) for diode in DIODES for how in HOWS]
    return {"failed": tuple(rng.sample(failed, 2))}


def _seen(diode: str, how: str, call: str) -> str:
    steered = _steered(_SUPPLY_V, call, diode=diode, how=how)
    pulled = [name for name, coil in steered.coils.items() if coil.state == "pulled in"]
    volts = round(steered.meter_v("dc"), 1) + 0.0
    relays = " and ".join(pulled) or "none"
    direct = f"{volts:+.1f} V" if volts else "0.0 V"
    return f"{relays} | {direct} | {steered.meter_v('true-rms'):.1f} V | {steered.supply_rms_a:.2f} A"


def _diodes_question(givens: Givens) -> str:
    parts = []
    for wire, (diode, how) in zip(_WIRES, givens["failed"], strict=True):
        rows = "\n".join(f"| `{call}` | {_seen(diode, how, call)} |" for call in (FIRST, SECOND))
        parts.append(
            f"The **{wire}** house:\n\n| call | relays that pull in | direct | alternating | supply gives |\n"
            f"| --- | --- | --- | --- | --- |\n{rows}"
        )
    return (
        "In two houses a conductor is steered by four diodes: `near-first` and `near-second` at the "
        "thermostat, "
        "`far-first` and `far-second` at the relays, which have freewheel diodes. In each house one diode "
        "has failed, "
        f"`{OPEN}` or `{SHORTED}`. Volts are read from the far end of the conductor to C; the supply has "
        f"{_SUPPLY_V:g} V RMS.\n\n" + "\n\n".join(parts) + "\n\nWhich diode is it, and how did it fail?"
    )


def _diode_answer(givens: Givens, change: Callable[[str, str], tuple[str, str]]) -> dict[str, dict[str, str]]:
    found = {}
    for wire, (diode, how) in zip(_WIRES, givens["failed"], strict=True):
        changed = change(diode, how)
        found[wire] = {"diode": changed[0], "how": changed[1]}
    return found


def _other_end(diode: str, how: str) -> tuple[str, str]:
    end, _, call = diode.partition("-")
    return f"{'far' if end == 'near' else 'near'}-{call}", how


def _other_call(diode: str, how: str) -> tuple[str, str]:
    end, _, call = diode.partition("-")
    return f"{end}-{'second' if call == 'first' else 'first'}", how


def _other_how(diode: str, how: str) -> tuple[str, str]:
    return diode, OPEN if how == SHORTED else SHORTED


def _in_one_house(wire: str, change: Callable[[str, str], tuple[str, str]]) -> Callable[[Givens], Answer]:
    """Return a model that goes wrong in one of the houses only."""

    def wrong(givens: Givens) -> Answer:
        right = _diode_answer(givens, lambda diode, how: (diode, how))
        return {**right, wire: _diode_answer(givens, change)[wire]}

    return wrong


#: What can go wrong in one house, and the hint for it.
_SLIPS_IN_A_HOUSE: tuple[tuple[str, str, Callable[[str, str], tuple[str, str]]], ...] = (
    (
        "other end",
        "the call and the kind are right. Do the volts reach the far end of the conductor?",
        _other_end,
    ),
    ("other call", "the end and the kind are right. Under which call is the row odd?", _other_call),
    ("other kind", "the diode is right. Is a relay lost there, or does a wrong one pull in?", _other_how),
    (
        "other end and call",
        "the kind is right. First ask which call is odd, and then at which end.",
        lambda diode, how: _other_call(*_other_end(diode, how)),
    ),
)

FAILED = Exercise(
    id="4.6",
    title="Two failed diodes",
    points=4,
    variant=_diodes_variant,
    question=_diodes_question,
    solve=lambda givens: _diode_answer(givens, lambda diode, how: (diode, how)),
    compare=Table(_WIRES, Record((("diode", Choice(DIODES)), ("how", Choice(HOWS))))),
    wrong_models=(
        WrongModel(
            "the other end",
            "The call is right. At which end does it fail? Ask whether the volts reach the conductor's far "
            "end.",
            lambda givens: _diode_answer(givens, _other_end),
        ),
        WrongModel(
            "the other call",
            "The end is right. Which call brings the odd row of the table: its own diode, or the other "
            "one's?",
            lambda givens: _diode_answer(givens, _other_call),
        ),
        WrongModel(
            "open taken for shorted",
            "The places are right. One kind of failure takes a relay away, the other lets the wrong half "
            "through.",
            lambda givens: _diode_answer(givens, _other_how),
        ),
        *(
            WrongModel(
                f"{name}, {wire} house", f"{wire.capitalize()} house: {hint}", _in_one_house(wire, change)
            )
            for name, hint, change in _SLIPS_IN_A_HOUSE
            for wire in _WIRES
        ),
    ),
    nudge="Open: one call dies; has the conductor volts? Shorted: which half passes that should not?",
)

HALF_WAVE_EXERCISES: tuple[Exercise, ...] = (MEAN, METERS, FAILED)
