"""Calls, terminals and what each call asks for.

A thermostat speaks by joining R, the hot side of the 24-volt supply, to other terminals:

    R    24-volt hot              Y1   compressor, first stage       O    reversing valve, energised to cool
    C    common, the way back     Y2   compressor, second stage      B    reversing valve, energised to heat
    G    indoor blower            W1   auxiliary heat                E    emergency heat
    D    heat request that the outdoor defrost board sends back indoors

A unit has an O valve or a B valve, never both.  The letters are the trade's; the meaning of B differs
between makers (some mark the common of the transformer with it), so a maker's diagram comes first.  Wire
jackets have no binding colour: the letter on the terminal counts, the colour never does.

Source of the rows: staging tables of multi-stage installation manuals for the cooling rows, heat 1 and
emergency; fan, heat 2 of a two-speed unit, auxiliary and the quiet states from memory (common practice).
"""

from __future__ import annotations

from types import MappingProxyType

from lessonkit.errors import BadParameter

#: What the thermostat can ask for, from nothing to everything.
CALLS = ("off", "fan", "cool-1", "cool-2", "heat-1", "heat-2", "heat-aux", "emergency")

#: The terminals a call can energise, in the order in which frames carry them (bit 0 first).
CALL_TERMINALS = ("Y1", "Y2", "G", "O", "B", "W1", "E")

#: All terminals, supply first.
TERMINALS = ("R", "C", *CALL_TERMINALS, "D")

#: Where terminals are.
PLACES = ("stat", "air", "out")

PLACE_WORDS = MappingProxyType({"stat": "thermostat", "air": "air handler", "out": "outdoor unit"})

#: The terminals that the outdoor unit listens to.
OUTDOOR_TERMINALS = ("Y1", "Y2", "O", "B")

#: The terminals that the air handler listens to.
INDOOR_TERMINALS = ("G", "W1", "E")

TERMINAL_WORDS = MappingProxyType(
    {
        "R": "24-volt hot",
        "C": "common",
        "Y1": "compressor, first stage",
        "Y2": "compressor, second stage",
        "G": "indoor blower",
        "O": "reversing valve, energised to cool",
        "B": "reversing valve, energised to heat",
        "W1": "auxiliary heat",
        "E": "emergency heat",
        "D": "heat request from the defrost board",
        "SIG": "signal conductor",
    }
)

_WITHOUT_VALVE: dict[str, frozenset[str]] = {
    "off": frozenset(),
    "fan": frozenset({"G"}),
    "cool-1": frozenset({"Y1", "G"}),
    "cool-2": frozenset({"Y1", "Y2", "G"}),
    "heat-1": frozenset({"Y1", "G"}),
    "heat-2": frozenset({"Y1", "Y2", "G"}),
    "heat-aux": frozenset({"Y1", "Y2", "G", "W1"}),
    "emergency": frozenset({"G", "W1", "E"}),
}


def check_call(call: str) -> str:
    """Return the call, or say which calls there are."""
    if call not in CALLS:
        raise BadParameter("call", call, f"one of {', '.join(CALLS)}")
    return call


def check_valve(valve: str) -> str:
    """Return the valve type, or say which there are."""
    if valve not in ("O", "B"):
        raise BadParameter("valve", valve, "O (energised to cool) or B (energised to heat)")
    return valve


def is_cooling(call: str) -> bool:
    """Return whether the call asks the heat pump to cool."""
    return check_call(call).startswith("cool")


def is_heating(call: str) -> bool:
    """Return whether the call asks for heat from the heat pump (emergency does not)."""
    return check_call(call).startswith("heat")


def terminals_for(call: str, valve: str = "O", stages: int = 2) -> frozenset[str]:
    """Return the terminals that a call energises.

    Parameters: `call` from `CALLS`; `valve` "O" or "B"; `stages` 1 or 2 (a single-stage unit has no Y2).
    In emergency the compressor rests, so the valve rests too; some makes hold B there.
    """
    check_valve(valve)
    if stages not in (1, 2):
        raise BadParameter("stages", stages, "1 or 2")
    energised = set(_WITHOUT_VALVE[check_call(call)])
    if (valve == "O" and is_cooling(call)) or (valve == "B" and is_heating(call)):
        energised.add(valve)
    if stages == 1:
        energised.discard("Y2")
    return frozenset(energised)


def to_bits(terminals: frozenset[str] | set[str]) -> int:
    """Return terminals as a number: bit k stands for `CALL_TERMINALS[k]`."""
    return sum(1 << k for k, terminal in enumerate(CALL_TERMINALS) if terminal in terminals)


def from_bits(bits: int) -> frozenset[str]:
    """Return the terminals that a number stands for."""
    return frozenset(terminal for k, terminal in enumerate(CALL_TERMINALS) if bits >> k & 1)


def call_table(valve: str = "O", stages: int = 2) -> dict[str, dict[str, bool]]:
    """Return the whole truth table: call -> terminal -> energised."""
    rows = {}
    for call in CALLS:
        energised = terminals_for(call, valve, stages)
        rows[call] = {terminal: terminal in energised for terminal in CALL_TERMINALS}
    return rows


def broken_rules(terminals: frozenset[str] | set[str]) -> tuple[str, ...]:
    """Return what is wrong with a set of energised terminals, in words.

    The rules hold for every sound call of a two-speed heat pump (read off the staging tables named above):
    a trainee who meets a set that breaks one has met a fault.
    """
    rules = (
        ({"O", "B"} <= set(terminals), "O and B are energised together"),
        ("Y2" in terminals and "Y1" not in terminals, "Y2 is energised without Y1"),
        ("Y1" in terminals and "G" not in terminals, "the compressor is called without the blower"),
        ({"O", "W1"} <= set(terminals), "auxiliary heat is called while the valve is set to cool"),
        ({"E", "Y1"} <= set(terminals), "emergency heat is called together with the compressor"),
    )
    return tuple(words for broken, words in rules if broken)
