"""Points and faults of a job in plain words, said in one way everywhere.

A point is written `place:terminal`. A fault is said in two ways: short where a picture shows the place of it
already, and as a sentence where nothing else does.
"""

from __future__ import annotations

from types import MappingProxyType

from lessonkit.job.calls import PLACE_WORDS, TERMINAL_WORDS
from lessonkit.job.faults import Fault, fault_parts
from lessonkit.job.model import RUN_ENDS, Job
from lessonkit.job.ohms import ohm_words

__all__ = ["fault_sentence", "fault_words", "node_words", "point_words", "terminal_words"]

# Points that carry no letter of the trade: what they are, and where in the circuit.
_INNER = MappingProxyType(
    {
        "GND": ("grounded metal", ""),
        "XFMR": ("transformer", "ahead of the fuse"),
        "CC": ("contactor coil", "behind the board"),
        "RV": ("valve solenoid", "behind the board"),
        "Y1-out": ("Y1 outdoors", "behind the contacts at the air handler"),
        "YT": ("Y1", "behind the outdoor thermostat"),
        "WT1": ("second heat", "behind the outdoor thermostat"),
        "WT2": ("second heat, stage 2", "behind the outdoor thermostat"),
        "FU": ("furnace", "behind the interlock"),
        "CL": ("Y1", "behind the lockout's contact"),
        "CH": ("Y1", "behind the high-pressure contact"),
        "CO": ("contactor coil", "behind the safety contacts"),
        "TS": ("thermostat", "ahead of the idle load that it lives on"),
    }
)

# The parts of the equipment that a sentence about a fault names.
_PART_WORDS = MappingProxyType(
    {
        "contactor": "the coil of the contactor",
        "unloader": "the solenoid of the second stage",
        "reversing-valve": "the solenoid of the reversing valve",
        "blower-relay": "the coil of the blower relay",
        "sequencer": "the coil of the heat sequencer",
    }
)


def terminal_words(terminal: str) -> str:
    """Return what a terminal or an inner point is, for the row of a table.

    >>> terminal_words("XFMR")
    'transformer, ahead of the fuse'
    >>> terminal_words("SIG-out")
    'signal conductor, to the outdoor unit'
    """
    if terminal in _INNER:
        return ", ".join(filter(None, _INNER[terminal]))
    name, _, place = terminal.rpartition("-")
    if place not in PLACE_WORDS:
        name, place = terminal, ""
    what = TERMINAL_WORDS.get(name, "not in use")
    return f"{what}, to the {PLACE_WORDS[place]}" if place else what


def point_words(terminal: str) -> str:
    """Return what a point is called at its place: its letter, or what an inner point is.

    >>> point_words("Y1")
    'Y1'
    >>> point_words("CO")
    'contactor coil, behind the safety contacts'
    """
    return terminal_words(terminal) if terminal in _INNER else terminal


def node_words(node: str) -> str:
    """Return the words for a point: its place, and what it is called there.

    >>> node_words("out:GND")
    'outdoor unit grounded metal'
    """
    place, _, terminal = node.partition(":")
    return f"{PLACE_WORDS[place]} {point_words(terminal)}"


def fault_words(fault: Fault, job: Job) -> str:
    """Return a few words for a fault where its place is seen, such as `bad splice, 20 ohm`."""
    kind = fault_parts(job)[f"{fault.where}.{fault.part}"][fault.kind]
    if kind.value == "number":
        value = float(fault.value or 0.0)
        return f"{kind.words}, {ohm_words(value) if kind.unit == 'ohm' else f'{value:g} {kind.unit}'}"
    if kind.value == "conductor":
        return kind.words.replace("another conductor", str(fault.value))
    return kind.words


def fault_sentence(fault: Fault | str) -> str:
    """Return a fault as a sentence without its full stop.

    For faults that an exercise sets: breaks and touches of conductors, relays that stick, coils that burn
    out, the valve's type. Raises a `KeyError` for others.

    >>> fault_sentence("outdoor.Y2=open")
    'the conductor Y2 of the outdoor run is broken'
    """
    target, _, kind = str(fault).partition("=")
    where, _, part = target.partition(".")
    kind, _, value = kind.partition(":")
    if where in RUN_ENDS:
        happened = {"open": "is broken", "short": f"touches the conductor {value}"}[kind]
        return f"the conductor {part} of the {where} run {happened}"
    if part.startswith("relay-") and part != "relay-board":
        happened = {"stuck-open": "never closes", "stuck-closed": "never opens"}[kind]
        return f"the relay {part.removeprefix('relay-')} on the board at the {PLACE_WORDS[where]} {happened}"
    if kind == "burnt-out":
        return f"{_PART_WORDS[part]} is burnt out"
    return {
        "stat.valve=reversed": "the thermostat is set for the other valve type",
        "out.contactor=stuck-closed": "the contacts of the contactor are welded together",
    }[str(fault)]
