"""The one closed loop of a coil: from the transformer through contacts and copper to the coil, and home.

    loop = loop_of(bench.state, "out:contactor")
    [part.words for part in loop.parts]

A coil works only where its loop is closed from end to end. The loop is found in the circuit itself: of all
ways from the hot side of a transformer to the coil, and from the coil to that transformer's common, the one
of least resistance. Where no way is closed, it is the one with the fewest openings, which is the way that the
call was meant to take. Electronics that live on R and C have such loops too.

Where this stops: currents of several loops share copper, and one that comes home by two ways at once (wire
and earth) is followed on the better one.
"""

from __future__ import annotations

import heapq
import math
from dataclasses import dataclass

from lessonkit.bench.state import State
from lessonkit.copper.elements import Branch
from lessonkit.errors import require
from lessonkit.job.calls import PLACE_WORDS
from lessonkit.job.model import RUN_ENDS

__all__ = ["Loop", "Part", "follow_names", "input_loops", "loop_of"]

#: Branches that a technician follows with a finger, by the first word of their names.
_WAYS = frozenset(
    {"fuse", "call", "relay", "outdoor-thermostat", "interlock", "emergency", "lockout", "safety"}
    | {"jumper", "twist", "bond", "earth"}
)
#: Contacts of the defrost board; other branches whose name begins with "board" are what boards draw.
_BOARD = {
    "board out:compressor": "defrost board, compressor",
    "board out:valve": "defrost board, at rest",
    "board out:defrost-valve": "defrost board, defrost",
    "board out:D": "defrost board, D",
}
#: Contacts by which a defrost reaches a coil that a call reaches too: of two open ways the call's is meant.
_DEFROST = ("board out:defrost-valve", "board out:D", "relay air:D")
#: Contacts that are closed at rest, by the beginning of their names.
_AT_REST = ("board out:valve", "board out:compressor", "interlock air:Y1-out", "lockout", "safety")
_OPEN_COSTS, _COIL_COSTS, _MOST_OHM = 1e6, 1e8, 1e5
#: More than this through an open way is leakage.
_FLOWS_A = 1e-3


@dataclass(frozen=True)
class Part:
    """One part of a loop: `name` is its branch in the circuit, `kind` one of those below, `words` to read.

    Kinds: "fuse", "contact", "wire" (a conductor of a run), "earth", "jumper", "coil" and "nothing". `a` and
    `b` are its nodes in the direction of the loop; `at_rest` says that a contact is closed at rest.
    """

    name: str
    kind: str
    words: str
    closed: bool
    a: str
    b: str
    at_rest: bool = False


@dataclass(frozen=True)
class Loop:
    """The loop of a coil or a board: `feed` leads from the transformer at `supply` to it, `home` back.

    `amps` is the RMS current through it.
    """

    of: str
    supply: str
    feed: tuple[Part, ...]
    home: tuple[Part, ...]
    amps: float

    @property
    def parts(self) -> tuple[Part, ...]:
        """Return all parts in the order of the loop, without the coil itself."""
        return self.feed + self.home

    @property
    def opened(self) -> tuple[Part, ...]:
        """Return the parts that keep the loop open."""
        return tuple(part for part in self.parts if not part.closed)

    @property
    def closed(self) -> bool:
        """Return whether it is closed from end to end and carries current."""
        return not self.opened and self.amps > _FLOWS_A

    @property
    def words(self) -> str:
        """Return the loop in one sentence without its full stop."""
        name, place = _name(self.of), PLACE_WORDS[self.of.partition(":")[0]]
        way = ", ".join(part.words for part in self.feed) or "straight on"
        home = ", ".join(part.words for part in self.home) or "straight on"
        state = f"carries {self.amps:.2f} A" if self.closed else "is open"
        if self.opened:
            state += f" at {', '.join(part.words for part in self.opened)}"
        ways = f"from the transformer at the {PLACE_WORDS[self.supply]}: {way}; home: {home}"
        return f"the loop of the {name} at the {place} {state}; {ways}"


def _name(of: str) -> str:
    return of.partition(":")[2].replace("-", " ")


def follow_names(state: State) -> tuple[str, ...]:
    """Return what has a loop: the coils, and the electronics that live on R and C."""
    names = state.solution.network.place_of
    return (*state.coils, *(board for board in state.boards if f"board {board}" in names))


def loop_of(state: State, of: str) -> Loop:
    """Return the loop of a coil, or of electronics, by its "place:name"."""
    known = follow_names(state)
    require(isinstance(of, str) and of in known, "coil", of, f"one of {', '.join(known)}")
    return _loop(state, of, f"coil {of}" if of in state.coils else f"board {of}")


def input_loops(state: State) -> dict[str, Loop]:
    """Return the loops of the inputs of encoders and relay boards, as "place:input TERMINAL" -> loop.

    A call that goes on over a link ends at such an input, behind every contact that lies in its way.
    """
    found = {}
    for branch in state.solution.network.branches:
        word, _, point = branch.name.partition(" ")
        if word == "input":
            of = point.replace(":", ":input ")
            found[of] = _loop(state, of, branch.name)
    return found


def _loop(state: State, of: str, name: str) -> Loop:
    """Return the loop of what the branch of this name is."""
    network = state.solution.network
    own = network.branches[network.place_of[name]]
    ways = _ways(state, name)
    hot = {f"{place}:XFMR" for place in state.fuses}
    back = _cheapest(ways, own.a, hot)
    supply = (back[-1][1] if back else next(iter(sorted(hot)))).partition(":")[0]
    common = f"{supply}:C"
    way_home = [(branch, here, there) for branch, there, here in _cheapest(ways, own.b, {common})]
    feed, home = (
        tuple(_part(state, branch, a, b) for branch, a, b in way if not _is_bond(branch))
        for way in (back[::-1], way_home)
    )
    if not back:  # a terminal that no conductor reaches
        feed = (_nothing(f"{supply}:R", own.a),)
    if not way_home and own.b != common:
        home = (_nothing(own.b, common),)
    return Loop(of, supply, feed, home, abs(state.solution.a(name)))


def _nothing(a: str, b: str) -> Part:
    """Return the part that is missing where nothing leads from one node to another."""
    return Part(
        f"nothing {a} {b}",
        "nothing",
        f"no wire on {(a if b.endswith(':C') else b).partition(':')[2]}",
        False,
        a,
        b,
    )


def _is_bond(branch: Branch) -> bool:
    return branch.name.startswith("bond")


def _ohm(state: State, branch: Branch) -> float:
    """Return the ohms of a branch as it is now (inf: open); coils count with their impedance."""
    y = abs(state.solution.branch_y[state.solution.network.place_of[branch.name]])
    return float(1 / y) if y > 0 else math.inf


def _ways(state: State, own: str) -> dict[str, list[tuple[str, Branch, float]]]:
    """Return what leads where: node -> (other node, branch, what the step costs)."""
    found: dict[str, list[tuple[str, Branch, float]]] = {}
    for branch in state.solution.network.branches:
        word = branch.name.partition(" ")[0]
        wire = word.partition(".")[0] in RUN_ENDS and "#" in word
        coil = word == "coil" and branch.name != own
        if not (wire or coil or word in _WAYS or branch.name in _BOARD):
            continue
        ohm = _ohm(state, branch)
        opened = _OPEN_COSTS * (2 if branch.name in _DEFROST else 1)
        cost = _COIL_COSTS if coil else min(ohm, _MOST_OHM) if math.isfinite(ohm) else opened
        for here, there in ((branch.a, branch.b), (branch.b, branch.a)):
            found.setdefault(here, []).append((there, branch, cost + 0.01))
    return found


def _cheapest(
    ways: dict[str, list[tuple[str, Branch, float]]], start: str, goals: set[str]
) -> list[tuple[Branch, str, str]]:
    """Return the cheapest way from a node to the nearest goal, as (branch, to, from); empty where none is."""
    came: dict[str, tuple[Branch, str]] = {}
    costs, edge = {start: 0.0}, [(0.0, start)]
    while edge:
        cost, here = heapq.heappop(edge)
        if here in goals:
            way = []
            while here != start:
                branch, before = came[here]
                way.append((branch, here, before))
                here = before
            return way[::-1]
        for there, branch, step in ways.get(here, ()):
            if cost + step < costs.get(there, math.inf):
                costs[there] = cost + step
                came[there] = branch, here
                heapq.heappush(edge, (cost + step, there))
    return []


def _part(state: State, branch: Branch, a: str, b: str) -> Part:
    word, _, rest = branch.name.partition(" ")
    closed = math.isfinite(_ohm(state, branch))
    terminal = rest.partition(":")[2]
    if "#" in word:
        return Part(branch.name, "wire", word.partition("#")[0], closed, a, b)
    kind = word if word in ("fuse", "earth", "jumper", "coil") else "contact"
    place = rest.partition(":")[0]
    words = {
        "fuse": f"fuse {rest}",
        "call": f"call {terminal}",
        "relay": f"relay {terminal} {place}",
        "outdoor-thermostat": "outdoor thermostat",
        "safety": terminal.replace("-", " "),
        "earth": "earth",
        "coil": _name(rest),
    }.get(word, word)
    words = _BOARD.get(branch.name, words)
    return Part(branch.name, kind, words, closed, a, b, branch.name.startswith(_AT_REST))
