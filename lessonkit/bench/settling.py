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

from collections.abc import Callable, Generator, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from lessonkit.bench.wiring import Wiring, solve_side_by_side
from lessonkit.copper.network import Solution
from lessonkit.job.faults import Fault
from lessonkit.job.model import RUN_ENDS, Job
from lessonkit.job.parts import Fuse
from lessonkit.job.supply import Supply
from lessonkit.job.thermostat import STEALS_FROM

#: Where the parts sit that the outdoor board's own logic needs to know, as "place:name".
CONTACTOR_AT, DEFROST_BOARD_AT, VALVE_AT = "out:contactor", "out:defrost-board", "out:reversing-valve"
THERMOSTAT_AT = "stat:thermostat"


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


#: What wants to be on: the name of each two-way element -> the board that has to be awake for it ("" for
#: none).
Asks = Mapping[str, str]


#: What relays hold: (run, "far") -> terminals of the relay board, (run, "near") -> {"D"} or nothing.
Outputs = Mapping[tuple[str, str], frozenset[str]]


def what_asks(
    wiring: Wiring,
    called: Iterable[str],
    outputs: Outputs,
    powered: Iterable[str] | None = None,
    free: bool = True,
    defrosting: bool = False,
    outdoor_c: float = 8.0,
) -> dict[str, str]:
    """Return what wants to be on, each with the board that has to be awake for it.

    Parameters: `called` are the terminals that the thermostat energises, `powered` the places whose
    disconnect is closed (None: all), `free` says that the compressor's delay is over, `defrosting` that a
    defrost runs and its board is awake; `outdoor_c` is what an outdoor thermostat feels.
    """
    live = wiring.supplies if powered is None else set(wiring.supplies) & set(powered)
    asks = {f"power {place}": "" for place in live}
    called = frozenset(called)
    asks |= {f"call stat:{terminal}": "stat:thermostat" for terminal in called}
    if wiring.job.thermostat.power == "stealing":
        idle = [t for t in STEALS_FROM if t in wiring.job.call_terminals and t not in called]
        asks |= {f"tap stat:{terminal}": "" for terminal in idle[:1]}
    if wiring.job.outdoor_thermostat is not None:
        closed = wiring.job.outdoor_thermostat.closed(outdoor_c)
        asks |= {
            key: ""
            for key in wiring.keys
            if key.startswith("outdoor-thermostat ") and key.split()[1] in closed
        }
    for run in wiring.job.links:
        near, far = RUN_ENDS[run]
        asks[f"driver {run}.near"] = f"{near}:encoder"
        for end, place, board in (("near", near, "encoder"), ("far", far, "relay-board")):
            for terminal in outputs.get((run, end), ()):
                asks |= {f"{what} {place}:{terminal}": f"{place}:{board}" for what in ("relay", "pull")}
    if free:
        asks["board out:compressor"] = DEFROST_BOARD_AT
    if defrosting:
        contacts = {"board out:defrost-valve", "board out:D"} & set(wiring.keys)
        asks |= dict.fromkeys(contacts, DEFROST_BOARD_AT)
    else:
        asks["board out:valve"] = ""  # at rest this contact is closed
    return asks


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

    Written as a generator so that many circuits can settle side by side and share their linear algebra.
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


def settle_many(cases: Sequence[tuple[Wiring, Latches, Asks]], freq_hz: float) -> list[Settled]:
    """Settle many circuits side by side; those of the same shape share one stack of matrices.

    Gives for each case what `settle` gives.
    """
    steps = [settling(*case) for case in cases]
    waiting = {k: next(step) for k, step in enumerate(steps)}
    done: dict[int, Settled] = {}
    while waiting:
        order = list(waiting)
        solutions = solve_side_by_side([(cases[k][0], waiting[k], None) for k in order], freq_hz)
        for k, solution in zip(order, solutions, strict=True):
            try:
                waiting[k] = steps[k].send(solution)
            except StopIteration as end:
                done[k] = end.value
                del waiting[k]
    return [done[k] for k in range(len(cases))]


def blown_by(faults: Iterable[Fault]) -> frozenset[str]:
    """Return the fuses that the faults say are blown already."""
    return frozenset(f"fuse {fault.where}" for fault in faults if fault.kind == "blown")


def supply_of(job: Job, place: str) -> Supply:
    """Return the supply that feeds a place."""
    far = job.outdoor_run.far_supply
    return far if place == "out" and far is not None else job.supply


def fuse_of(job: Job, place: str) -> Fuse:
    """Return the fuse of the supply at a place."""
    return supply_of(job, place).fuse


def is_fed(wiring: Wiring, name: str, solution: Solution, awake: bool) -> bool:
    """Return whether a board has the volts to go on (`awake`) or to start."""
    board = wiring.boards[name]
    if board.battery:
        return not board.dead
    return not board.dead and board.electronics.awake(abs(solution.v(board.hot, board.common)), awake)


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
    sealed = frozenset(
        name
        for name, at in wiring.coils.items()
        if name not in chattering
        and not at.burnt_out  # the volts may be there: no current, no pull
        and (
            at.coil.holds(abs(solution.v(at.a, at.b)), name in latches.sealed)
            or (name in held and name in latches.sealed)
        )
    )
    if sealed != latches.sealed:
        return replace(latches, sealed=sealed)
    fuses = {
        place: fuse_of(wiring.job, place)
        for place in wiring.supplies
        if supply_of(wiring.job, place).protector == "fuse"
    }
    amps = {place: abs(solution.a(f"fuse {place}")) for place in fuses}
    shorted = any(amps[place] >= fuse.quick_a for place, fuse in fuses.items())
    weak = too_weak(wiring, latches.awake - carried, solution, awake=True)
    if weak and not shorted:
        return replace(latches, awake=latches.awake - (weak - held))
    blown = {f"fuse {place}" for place, fuse in fuses.items() if amps[place] >= fuse.blow_a}
    return replace(latches, blown=latches.blown | blown)
