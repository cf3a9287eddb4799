"""What a bench shows at one moment: volts, coils, links, equipment.

A `State` is a value: it keeps what was read and never changes after.  All volts and amperes are RMS at the
supply frequency, measured against C at the air handler; direct-current signal levels are in the links.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType
from typing import Any

from lessonkit.bench.layout import REFERENCE, BoardPlace
from lessonkit.bench.link import Ends, LinkState
from lessonkit.bench.reading import Reading
from lessonkit.bench.settling import Settled
from lessonkit.bench.signal_path import SignalPath
from lessonkit.bench.wiring import Wiring
from lessonkit.copper.network import Solution, UnknownNode
from lessonkit.errors import require
from lessonkit.job.calls import PLACES, TERMINALS
from lessonkit.job.faults import Fault
from lessonkit.job.model import RUN_ENDS
from lessonkit.job.parts import RATED_V

#: A working link that gets fewer than this share of its polls answered, as the circuit is now, is poor.
POOR_BELOW = 0.9

#: What a thermostat, a board or the defrost board can make live.
LIVE_TERMINALS = frozenset(TERMINALS) - {"C"}

#: A conductor or terminal is called live from here on: half the rated volts, below which no coil of a
#: 24-volt control works. This is how a reader of a meter speaks. What an encoder's input counts as live is a
#: matter of that part (`parts.INPUT_LIVE_V`), even where the number is the same.
LIVE_V = RATED_V / 2

#: What a thermostat's battery gives: two cells (common practice).
BATTERY_V = 3.0

#: The load that tells a ghost: a meter's low input impedance, about 3 kilohms (common practice).
GHOST_LOAD_OHM = 3e3

#: A ghost loses at least this share of its volts to that load.
GHOST_LOSES = 0.5

#: What can leave a terminal hanging; without one of these there are no ghosts to look for.
_LOOSENING = frozenset({"open", "burnt-out", "swapped", "stuck-open", "dead", "resistance"})

#: Terminals that feed others, and metal: never a ghost.
_FEEDING = (":R", ":C", ":XFMR", ":GND")


@dataclass(frozen=True)
class CoilState:
    """One coil: the RMS volts across it, and whether its armature is in."""

    volts: float
    sealed: bool

    @property
    def word(self) -> str:
        """Return `sealed` or `open`."""
        return "sealed" if self.sealed else "open"

    def __repr__(self) -> str:
        """Return the volts and the word."""
        return f"{self.volts!r}, {self.word}"


@dataclass(frozen=True)
class BoardState:
    """Electronics: the RMS volts that feed them, and whether they work."""

    volts: float
    awake: bool


@dataclass(frozen=True)
class State:
    """A bench at one moment.

    `volts` maps "place:terminal" to RMS volts against C at the air handler and `phasors` to the same as
    complex numbers; `amps` maps conductors "run.conductor" (at their near end), fuses "place:fuse" and coils
    "place:name" to RMS amperes; `coils` and `boards` map "place:name"; `closed` holds the points
    "place:terminal" whose contact from R is closed, at the thermostat and on relay boards.

    Of each supply: `fuses` says whether it is whole (a breaker `tripped`); `powered` says whether any
    disconnect is closed, `power` which; `va` is what each supply gives, its volts times its amperes,
    `rated_va` what it may, `overloaded` the places that give more than their rated amperes, `transformers`
    whether each is `whole` or `burnt-out`.

    `mode` is what the thermostat is set to, "heat", "cool" or "" (off), as the last calls left it.

    `responding` maps equipment to words, `off` when it does nothing, and `delivering` sums them up;
    `chatter` names coils and boards that pull in and let go again and again; `fuse` is `whole`, or `blown`
    if any is, and `fuses` says which, by the place of its transformer; `coil_c` is the outdoor coil and
    `frost` the share of its capacity that frost has taken; `present` are the faults as values, and `hands`
    says what hands have changed.
    """

    job: str
    time_s: float
    call: str
    faults: tuple[str, ...]
    volts: MappingProxyType[str, float]
    phasors: MappingProxyType[str, complex]
    amps: MappingProxyType[str, float]
    coils: MappingProxyType[str, CoilState]
    boards: MappingProxyType[str, BoardState]
    closed: frozenset[str]
    responding: MappingProxyType[str, str]
    delivering: str
    links: MappingProxyType[str, LinkState]
    chatter: tuple[str, ...]
    fuse: str
    fuses: MappingProxyType[str, str]
    called: frozenset[str]
    powered: bool
    power: MappingProxyType[str, bool]
    va: MappingProxyType[str, float]
    rated_va: MappingProxyType[str, float]
    overloaded: tuple[str, ...]
    transformers: MappingProxyType[str, str]
    outdoor_c: float
    coil_c: float
    frost: float
    waiting_s: float
    present: tuple[Fault, ...] = field(repr=False)
    solution: Solution = field(repr=False, compare=False)
    hands: tuple[str, ...] = ()
    mode: str = ""

    @property
    def earth_a(self) -> float:
        """Return the RMS amperes on the equipment ground between air handler and outdoor unit."""
        return self.amps["outdoor.earth"]

    def between(self, one: str, two: str) -> float:
        """Return the RMS volts between two nodes, as an ideal meter would read them."""
        for node in (one, two):
            if not isinstance(node, str):
                raise UnknownNode(node, self.volts)
        return Reading(abs(self.solution.v(one, two)), "V", (one, two))

    def __repr__(self) -> str:
        """Return job, time, call, faults and what the house gets, in one line."""
        broken = f", broken: {', '.join(self.faults)}" if self.faults else ""
        return (
            f"{self.job} after {self.time_s:g} s: call {self.call}{broken}, the house gets {self.delivering}"
        )

    def energised(self, place: str) -> frozenset[str]:
        """Return the terminals at a place that are live against its own common.

        Live means half the rated volts or more, as a meter of high impedance reads them: a terminal that
        floats at a high ghost counts. Spares and signal conductors are no terminals.
        """
        _check_place(place)
        common = f"{place}:C"
        live = set()
        for node in self.volts:
            where, _, terminal = node.partition(":")
            if where == place and terminal in LIVE_TERMINALS and self.between(node, common) >= LIVE_V:
                live.add(terminal)
        return frozenset(live)

    def reference(self, place: str) -> str:
        """Return the node that volts at a place are told against.

        Its own C, as a meter held there would; or C of the air handler where the own C is `LIVE_V` or more
        away from that, so that every reading against it would mislead. A place with a transformer of its own
        keeps its own C.
        """
        own = f"{_check_place(place)}:C"
        return REFERENCE if place not in self.fuses and self.volts[own] >= LIVE_V else own

    @cached_property
    def ghosts(self) -> frozenset[str]:
        """Return the nodes that look live and lose half their volts to a meter of low input impedance.

        A conductor that hangs loose lies beside live ones for its whole length, and their capacitance lifts
        it to as much as half the supply. A meter of high impedance believes it; a few kilohms take it away.
        """
        if not self.hands and not any(fault.kind in _LOOSENING for fault in self.present):
            return frozenset()
        found = set()
        for node in self.volts:
            against = self.reference(node.partition(":")[0])
            if node.endswith(_FEEDING) or self.between(node, against) < LIVE_V:
                continue
            source = self.solution.thevenin(node, against)
            if abs(source.loaded_v(GHOST_LOAD_OHM)) < (1 - GHOST_LOSES) * abs(source.open_v):
                found.add(node)
        return frozenset(found)

    def to_dict(self) -> dict[str, Any]:
        """Return the state as plain data, ready for JSON."""
        return {
            "job": self.job,
            "call": self.call,
            "mode": self.mode,
            "faults": list(self.faults),
            "hands": list(self.hands),
            "seconds": round(self.time_s, 6),
            "volts": {node: round(volts, 6) for node, volts in self.volts.items()},
            "coils": {name: {"volts": round(c.volts, 6), "state": c.word} for name, c in self.coils.items()},
            "responding": dict(self.responding),
            "delivering": self.delivering,
            "links": {
                run: {
                    "sent": link.sent,
                    "accepted": link.accepted,
                    "replies": link.replies,
                    "state": link.state,
                    "outputs": sorted(link.outputs),
                    "why": link.why,
                }
                for run, link in self.links.items()
            },
            "chatter": list(self.chatter),
            "fuse": self.fuse,
            "amps": {name: round(amps, 6) for name, amps in self.amps.items()},
            "va": {place: round(va, 6) for place, va in self.va.items()},
            "rated_va": dict(self.rated_va),
            "overloaded": list(self.overloaded),
            "earth_a": round(self.earth_a, 6),
            "power": dict(self.power),
            "transformers": dict(self.transformers),
        }


def _check_place(place: str) -> str:
    """Return the place, or say which there are."""
    require(isinstance(place, str) and place in PLACES, "place", place, f"one of {', '.join(PLACES)}")
    return place


def _lives_on(board: BoardPlace, solution: Solution) -> float:
    """Return the volts that a board lives on; a battery's are its own."""
    if board.battery:
        return 0.0 if board.dead else BATTERY_V
    return abs(solution.v(board.hot, board.common))


def read_circuit(wiring: Wiring, settled: Settled) -> dict[str, Any]:
    """Return the fields of a `State` that are read off a settled circuit."""
    solution, latches = settled.solution, settled.latches
    nodes = (n for n in wiring.template.nodes if n.partition(":")[0] in PLACES)
    phasors = {node: solution.v(node) for node in nodes}
    amps = {
        f"{name}.{conductor}": solution.a(f"{name}.{conductor}#0")
        for name, run in wiring.job.runs.items()
        for conductor in run.conductors
    }
    amps["outdoor.earth"] = solution.a("earth outdoor")
    amps |= {f"{place}:fuse": solution.a(f"fuse {place}") for place in wiring.supplies}
    amps |= {name: solution.a(f"coil {name}") for name in wiring.coils}
    coils = {
        name: CoilState(Reading(abs(solution.v(at.a, at.b)), "V", (name,)), name in latches.sealed)
        for name, at in wiring.coils.items()
    }
    boards = {
        name: BoardState(_lives_on(at, solution), name in latches.awake) for name, at in wiring.boards.items()
    }
    fuses, transformers, va, rated_va, overloaded = {}, {}, {}, {}, []
    burnt = {f.where for f in wiring.faults if (f.part, f.kind) == ("transformer", "burnt-out")}
    for place in wiring.supplies:
        supply, given_a = wiring.job.supply_at(place), abs(solution.a(f"fuse {place}"))
        opened = "tripped" if supply.protector == "breaker" else "blown"
        fuses[place] = opened if f"fuse {place}" in latches.blown else "whole"
        transformers[place] = "burnt-out" if place in burnt else "whole"
        va[place] = Reading(abs(solution.v(f"{place}:XFMR", f"{place}:C")) * given_a, "VA", (place,))
        rated_va[place] = supply.rated_va
        overloaded += [place] if given_a > supply.transformer.rated_a else []
    return {
        "fuses": MappingProxyType(fuses),
        "transformers": MappingProxyType(transformers),
        "va": MappingProxyType(va),
        "rated_va": MappingProxyType(rated_va),
        "overloaded": tuple(overloaded),
        "volts": MappingProxyType(
            {node: Reading(abs(v), "V", (node, REFERENCE)) for node, v in phasors.items()}
        ),
        "phasors": MappingProxyType(phasors),
        "amps": MappingProxyType({name: Reading(abs(a), "A", (name,)) for name, a in amps.items()}),
        "coils": MappingProxyType(coils),
        "boards": MappingProxyType(boards),
        "closed": wiring.closed_contacts(settled.on),
        "solution": solution,
    }


def _word(state: str, odds: float) -> str:
    """Return the far end's word, or `poor` where it holds its relays by luck."""
    return "poor" if state == "working" and odds < POOR_BELOW else state


def read_link(
    wiring: Wiring, settled: Settled, ends: Ends, inputs: frozenset[str], down: SignalPath, up: SignalPath
) -> LinkState:
    """Return a link as a reader sees it: both ends, and what their receivers get."""
    why = ""
    for place, part in zip(RUN_ENDS[ends.run], ("encoder", "relay-board"), strict=True):
        name = f"{place}:{part}"
        if name not in settled.latches.awake and not why:
            board = wiring.boards[name]
            volts = abs(settled.solution.v(board.hot, board.common))
            why = f"the {part} at {place} does nothing ({volts:.1f} V between its R and C)"
    return LinkState(
        run=ends.run,
        state="dead" if why else _word(ends.far.state, down.odds * up.odds),
        sent=ends.sent,
        accepted=ends.accepted,
        replies=ends.replies,
        inputs=inputs,
        outputs=ends.far.outputs,
        wants_heat="D" in ends.near.outputs,
        low_v=down.low_v,
        high_v=down.high_v,
        hum_v=down.hum_v,
        odds=down.odds,
        reply_odds=up.odds,
        last_good_s=ends.far.heard_s,
        why=why,
    )
