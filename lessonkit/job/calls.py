"""Calls, terminals and what each call asks for.

A thermostat speaks by joining R, the hot side of the 24-volt supply, to other terminals:

    R    24-volt hot              Y1   compressor, first stage       O    reversing valve, energised to cool
    C    common, the way back     Y2   compressor, second stage      B    reversing valve, energised to heat
    G    indoor blower            W1   auxiliary heat                E    emergency heat
    D    heat request that the outdoor defrost board sends back indoors
    W2   second stage of the second heat, where there is one

A unit has an O valve or a B valve, never both; conventional cooling has neither.  The letters are the
trade's; the meaning of B differs between makers (some mark the common of the transformer with it), so a
maker's diagram comes first.  Wire jackets have no binding colour: the letter on the terminal counts, the
colour never does.

Source of the rows: staging tables of multi-stage installation manuals for the cooling rows, heat 1 and
emergency; fan, heat 2 of a two-speed unit, auxiliary and the quiet states from memory (common practice).
One printed table gives the second heat stage of a two-speed unit as Y1, W2, G and B, the same as its row for
one speed; that row fits a single stage with W2 as its auxiliary heat, and is no rule for two stages.  Of a
conventional unit: heat is W1, then W2; G comes with electric heat and is left to a furnace's own blower with
fossil heat (common practice).
"""

from __future__ import annotations

from functools import cache, lru_cache
from types import MappingProxyType

from lessonkit.errors import BadParameter
from lessonkit.job.second_heat import check_heat

#: What the thermostat can ask for, from nothing to everything.
CALLS = ("off", "fan", "cool-1", "cool-2", "heat-1", "heat-2", "heat-aux", "emergency")

#: What the thermostat can be set to: the calls, and `satisfied`, in which the mode of the last call goes on
#: and nothing is asked for. It differs from `off` where the thermostat holds the valve through its mode.
SETTINGS = (*CALLS, "satisfied")

#: The terminals a call can energise, in the order in which frames carry them (bit 0 first).
CALL_TERMINALS = ("Y1", "Y2", "G", "O", "B", "W1", "E")

#: These, and the one that only equipment with two stages of second heat has.
ALL_CALL_TERMINALS = (*CALL_TERMINALS, "W2")

#: What valves there are: O (energised to cool), B (energised to heat), or none (conventional cooling).
VALVES = ("O", "B", "none")

#: All terminals, supply first.
TERMINALS = ("R", "C", *ALL_CALL_TERMINALS, "D")

#: Where terminals are.
PLACES = ("stat", "air", "out")

PLACE_WORDS = MappingProxyType({"stat": "thermostat", "air": "air handler", "out": "outdoor unit"})

#: The terminals that the outdoor unit listens to.
OUTDOOR_TERMINALS = ("Y1", "Y2", "O", "B")

#: The terminals that the air handler listens to.
INDOOR_TERMINALS = ("G", "W1", "W2", "E")

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
        "W2": "auxiliary heat, second stage",
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
    """Return the call, or say which calls there are; `satisfied` is one here."""
    if not isinstance(call, str) or call not in SETTINGS:
        raise BadParameter("call", call, f"one of {', '.join(SETTINGS)}")
    return call


def check_valve(valve: str) -> str:
    """Return the valve type, or say which there are."""
    if not isinstance(valve, str) or valve not in VALVES:
        raise BadParameter(
            "valve", valve, "O (energised to cool) or B (energised to heat), or none (cooling only)"
        )
    return valve


def is_cooling(call: str) -> bool:
    """Return whether the call asks the heat pump to cool."""
    return check_call(call).startswith("cool")


def is_heating(call: str) -> bool:
    """Return whether the call asks for heat from the heat pump (emergency does not)."""
    return check_call(call).startswith("heat")


def terminals_for(
    call: str,
    valve: str = "O",
    stages: int = 2,
    heat: str = "electric",
    heat_stages: int = 1,
    emergency_by: str = "E and W1",
) -> frozenset[str]:
    """Return the terminals that a call energises.

    Parameters: `call` from `SETTINGS`; `valve` "O", "B" or "none"; `stages` 1 or 2 (a single stage has no
    Y2); `heat`, `heat_stages` and `emergency_by` as in `second_heat`. In emergency the compressor rests, so
    the valve rests too; some makes hold B there. A satisfied call energises nothing by itself.
    """
    check_valve(valve)
    if isinstance(stages, bool) or stages not in (1, 2):
        raise BadParameter("stages", stages, "1 or 2")
    check_heat(heat, heat_stages, emergency_by)
    return _terminals(check_call(call), valve, stages, heat, heat_stages, emergency_by)


@cache
def _terminals(
    call: str, valve: str, stages: int, heat: str, heat_stages: int, emergency_by: str
) -> frozenset[str]:
    energised = set(_WITHOUT_VALVE[call] if call != "satisfied" else ())
    if valve == "none" and (is_heating(call) or call == "emergency"):
        energised = _conventional_heat(call, heat)
    elif call == "emergency":
        energised -= {"E and W1": set(), "E": {"W1"}, "W1": {"E"}}[emergency_by]
    if (valve == "O" and is_cooling(call)) or (valve == "B" and is_heating(call)):
        energised.add(valve)
    if "W1" in energised and valve != "none":
        energised.add("W2")
    absent = {"Y2"} if stages == 1 else set()
    absent |= {"W2"} if heat_stages == 1 else set()
    if heat == "none":
        absent |= {"W1", "W2", "E", *({"G"} if call == "emergency" else ())}
    return frozenset(energised - absent)


def _conventional_heat(call: str, heat: str) -> set[str]:
    """Return what a heating call energises where there is no heat pump: W1, then W2."""
    energised = {"W1"} if call == "heat-1" else {"W1", "W2"}
    return energised | ({"G"} if heat == "electric" else set())


_BITS = {terminal: 1 << k for k, terminal in enumerate(ALL_CALL_TERMINALS)}


def to_bits(terminals: frozenset[str] | set[str]) -> int:
    """Return terminals as a number: bit k stands for `ALL_CALL_TERMINALS[k]`."""
    return sum(_BITS[terminal] for terminal in terminals if terminal in _BITS)


@lru_cache(maxsize=256)
def from_bits(bits: int) -> frozenset[str]:
    """Return the terminals that a number stands for."""
    return frozenset(terminal for k, terminal in enumerate(ALL_CALL_TERMINALS) if bits >> k & 1)


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
