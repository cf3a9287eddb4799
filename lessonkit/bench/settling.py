"""Settling: coils, boards and fuses against the circuit, until nothing changes.

Coils compare their volts with pick-up and drop-out and keep their state in between; boards fall asleep on
too few volts; a fuse opens on too many amperes.  Each of these changes the network, which changes the
volts.  `settle` goes round until a pass changes nothing.  If it comes back to a state that it has been in,
the circuit has no rest: that is chatter.  The coils that differ along the way are named, and held open so
that the rest of the circuit still has an answer: an armature that buzzes holds nothing.

Boards only fall asleep here; waking takes time, so it belongs to the bench.  Everything in this room is a
value.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterable
from dataclasses import dataclass

from lessonkit.bench.asking import Asks
from lessonkit.bench.wiring import Wiring
from lessonkit.copper.network import Solution
from lessonkit.job.faults import Fault
from lessonkit.job.model import Job
from lessonkit.job.parts import Fuse

#: Where the coils sit that the outdoor board's own logic needs to know, as "place:name".
CONTACTOR_AT, VALVE_AT = "out:contactor", "out:reversing-valve"


@dataclass(frozen=True)
class Latches:
    """What a circuit remembers: coils that are in, boards that work, fuses that are blown ("fuse PLACE")."""

    sealed: frozenset[str] = frozenset()
    awake: frozenset[str] = frozenset()
    blown: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Settled:
    """The end of settling.

    `on` names the two-way elements that are on, `solution` is the network then, `chattering` the coils that
    found no rest, and `released` the coils and boards that let go on the way, in their order.
    """

    latches: Latches
    on: frozenset[str]
    solution: Solution
    chattering: frozenset[str]
    released: tuple[str, ...]


def elements_on(wiring: Wiring, latches: Latches, asks: Asks) -> frozenset[str]:
    """Return the names of all two-way elements that are on."""
    on = {key for key, board in asks.items() if not board or board in latches.awake}
    on |= {f"fuse {place}" for place in wiring.supplies} - latches.blown
    on |= {f"coil {name}" for name in latches.sealed}
    on |= {key for key, (coil, closes) in wiring.follows.items() if (coil in latches.sealed) == closes}
    return frozenset(on)


def settling(
    wiring: Wiring,
    latches: Latches,
    asks: Asks,
    held: frozenset[str] = frozenset(),
    carried: frozenset[str] = frozenset(),
) -> Generator[frozenset[str], Solution, Settled]:
    """Settle step by step: yields what is on, wants the solution sent back, returns `Settled`.

    `held` names coils and boards that have lost their volts too shortly ago to let go, `carried` boards
    that a store carries just now, whatever volts they get.

    Written as a generator, for whoever solves decides how. `side_by_side` does the same for many at once.
    """
    seen: list[tuple[Latches, frozenset[str]]] = []
    chattering: frozenset[str] = frozenset()
    released: list[str] = []
    while True:
        on = elements_on(wiring, latches, asks)
        solution = yield on
        if (latches, on) in seen:
            circle = [was.sealed for was, _ in seen[seen.index((latches, on)) :]]
            chattering |= frozenset.union(*circle) - frozenset.intersection(*circle)
            seen = []
        seen.append((latches, on))
        after = _react(wiring, latches, solution, chattering, held, carried)
        if after == latches:
            return Settled(latches, on, solution, chattering, tuple(released))
        released += sorted((latches.awake - after.awake) | (latches.sealed - after.sealed))
        latches = after


def settle(
    wiring: Wiring,
    latches: Latches,
    asks: Asks,
    solved: Callable[[frozenset[str]], Solution],
    held: frozenset[str] = frozenset(),
    carried: frozenset[str] = frozenset(),
) -> Settled:
    """Settle one circuit; `solved` solves it for what is on, `held` and `carried` as in `settling`."""
    steps = settling(wiring, latches, asks, held, carried)
    on = next(steps)
    while True:
        try:
            on = steps.send(solved(on))
        except StopIteration as end:
            settled: Settled = end.value
            return settled


def blown_by(faults: Iterable[Fault]) -> frozenset[str]:
    """Return the fuses that the faults say are blown already."""
    return frozenset(f"fuse {fault.where}" for fault in faults if fault.kind == "blown")


def fuse_of(job: Job, place: str) -> Fuse:
    """Return the fuse of the supply at a place."""
    return job.supply_at(place).fuse


def is_fed(wiring: Wiring, name: str, solution: Solution, awake: bool) -> bool:
    """Return whether a board has the volts to go on (`awake`) or to start."""
    board = wiring.boards[name]
    if board.dead or board.battery:
        return not board.dead
    return board.electronics.awake(abs(solution.v(board.hot, board.common)), awake)


def too_weak(wiring: Wiring, names: Iterable[str], solution: Solution, awake: bool) -> frozenset[str]:
    """Return the boards among `names` that lack those volts."""
    return frozenset(name for name in names if not is_fed(wiring, name, solution, awake))


def _react(
    wiring: Wiring,
    latches: Latches,
    solution: Solution,
    chattering: frozenset[str],
    held: frozenset[str],
    carried: frozenset[str],
) -> Latches:
    """Let the coils react, or else the boards, or else a fuse: the quicker one happens first, alone.

    Common practice: an armature moves in some hundredths of a second, a board's capacitors carry it over a
    tenth or so, and a fuse takes its time at a small overload.  On a dead short it is the fuse that goes: a
    board would start again onto the same short until it did.  A breaker is slower still: `power` trips it.
    """
    volts, was_in = solution.phasors, latches.sealed
    sealed = frozenset(
        name
        for name, coil, one, other in wiring.armatures
        if coil.holds(abs(volts[one] - volts[other]), name in was_in) or (name in held and name in was_in)
    )
    sealed -= chattering
    if sealed != was_in:
        return Latches(sealed, latches.awake, latches.blown)
    fuses = {place: s.fuse for place, s in wiring.supplies.items() if s.protector == "fuse"}
    amps = {place: abs(solution.a(f"fuse {place}")) for place in fuses}
    shorted = any(amps[place] >= fuse.quick_a for place, fuse in fuses.items())
    weak = too_weak(wiring, latches.awake - carried, solution, awake=True)
    if weak and not shorted:
        return Latches(sealed, latches.awake - (weak - held), latches.blown)
    blown = {f"fuse {place}" for place, fuse in fuses.items() if amps[place] >= fuse.blow_a}
    return Latches(sealed, latches.awake, latches.blown | blown)
