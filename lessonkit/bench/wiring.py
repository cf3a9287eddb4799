"""The circuit of a job: every conductor, contact, coil and board as branches of one network.

A job and its faults fix the wiring.  What then changes from moment to moment is a set of two-way elements,
each of which is either on or off:

    power                     the branch circuit that feeds the transformers
    fuse PLACE                whole, or blown
    call stat:T               a contact of the thermostat, R to terminal T
    relay PLACE:T             a contact of a relay board (or the encoder's contact for D), R to terminal T
    pull PLACE:T              that relay's own coil, a load on the board's supply
    board out:...             contacts of the outdoor defrost board
    outdoor-thermostat WHICH  its contact in the way of second heat ("auxiliary") or of Y1 ("compressor")
    interlock, emergency, lockout PLACE:NODE   contacts that follow the coil of that name
    tap stat:T                a stealing thermostat living on the idle load behind terminal T
    coil PLACE:NAME           sealed, or open
    driver RUN.END            an end of a link that is driving its signal conductor

So the state of the whole circuit is a set of names, and a network is that set looked up; `layout` says what
the parts are.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from copy import copy
from functools import cached_property

from lessonkit.bench.appliances import lay_out
from lessonkit.bench.layout import REFERENCE, Layout, Toggle
from lessonkit.copper.elements import Branch, Resistance
from lessonkit.copper.network import Network, Solution
from lessonkit.copper.two_way import Equations, solve_systems, two_way_equations
from lessonkit.job.faults import Fault
from lessonkit.job.handwork import HandWork
from lessonkit.job.model import Job
from lessonkit.job.parts import Coil
from lessonkit.job.supply import Supply


class Wiring:
    """The network of one job with one set of faults, for any state of its two-way elements.

    Parameters: `job`, `faults` and `hands` (each one checked against the job beforehand).  Fields: `coils`,
    `boards`, and `keys`, the names of the two-way elements.  Building costs a millisecond, so a bench keeps
    its wiring until a fault changes.
    """

    def __init__(self, job: Job, faults: tuple[Fault, ...] = (), hands: tuple[HandWork, ...] = ()) -> None:
        to = self.lay_out(job, faults, hands)
        self.job = job
        self.faults = faults
        self.coils = to.coils
        self.boards = to.boards
        self.follows = to.follows
        self.keys = tuple(to.toggles)
        self._fixed = tuple(to.fixed)
        self._breakable = frozenset(to.conductors)
        self._toggles = tuple(to.toggles.values())
        self._place = {key: place for place, key in enumerate(self.keys)}
        self._equations: dict[float, Equations] = {}
        # Conductors that can be opened stand behind the other two-way elements; `_whole` are the places of
        # those that are not. What was opened has its equations from the wiring `_opened_of`.
        self._conductors: tuple[Toggle, ...] = ()
        self._whole: tuple[int, ...] = ()
        self._opened_of: Wiring | None = None

    def breakable(self) -> Wiring:
        """Return this circuit with equations in which each conductor that is whole can be opened.

        They are written once, for `opened` of as many conductors as wanted.
        """
        made = copy(self)
        broken = tuple(branch for branch in self._fixed if branch.name in self._breakable)
        made._fixed = tuple(branch for branch in self._fixed if branch not in broken)
        made._conductors = tuple(Toggle(_opened(branch), branch) for branch in broken)
        made._whole = tuple(range(len(self.keys), len(self.keys) + len(broken)))
        made._equations = {}
        made.__dict__.pop("template", None)
        return made

    def opened(self, faults: tuple[Fault, ...]) -> Wiring:
        """Return a `breakable` circuit with some conductors open, each in the middle.

        It is that of a new wiring with these faults, and shares the equations with this one.
        """
        made, gone = copy(self), {f"{fault.where}.{fault.part}#0" for fault in faults}
        first = len(self.keys)
        made._whole = tuple(k for k in self._whole if self._conductors[k - first].on.name not in gone)
        made.faults, made._opened_of = self.faults + faults, self.shape
        return made

    @property
    def shape(self) -> Wiring:
        """Return the wiring whose equations these are: itself, or the one of which it was opened."""
        return self if self._opened_of is None else self._opened_of

    def lay_out(self, job: Job, faults: tuple[Fault, ...], hands: tuple[HandWork, ...]) -> Layout:
        """Return what the job puts into the circuit."""
        return lay_out(job, faults, hands)

    @cached_property
    def supplies(self) -> dict[str, Supply]:
        """Return the transformers that the circuit has, by place."""
        places = [key.split()[1] for key in self.keys if key.startswith("power ")]
        return {place: self.job.supply_at(place) for place in places}

    @cached_property
    def lockouts(self) -> dict[str, str]:
        """Return the contacts of the outdoor thermostat: name -> "auxiliary" or "compressor"."""
        return {key: key.split()[1] for key in self.keys if key.startswith("outdoor-thermostat ")}

    @cached_property
    def defrost_contacts(self) -> tuple[str, ...]:
        """Return the contacts that the defrost board closes while it defrosts."""
        return tuple(key for key in ("board out:defrost-valve", "board out:D") if key in self._place)

    @cached_property
    def armatures(self) -> tuple[tuple[str, Coil, int, int], ...]:
        """Return the coils that can pull in: name, coil, and where its two nodes are in a solution.

        A burnt-out one is not among them: the volts may be there, but no current, no pull.
        """
        at = self.template.index
        whole = (place for place in self.coils.values() if not place.burnt_out)
        return tuple((place.name, place.coil, at[place.a], at[place.b]) for place in whole)

    @cached_property
    def _contacts(self) -> tuple[tuple[str, str, bool, bool], ...]:
        """Return every contact from R to a terminal: its name, its point, and its two states.

        They say whether it is closed while it is off and while it is on; a stuck one is the same both ways.
        """
        found = []
        for key, toggle in zip(self.keys, self._toggles, strict=True):
            kind, _, point = key.partition(" ")
            if kind in ("call", "relay"):
                found.append((key, point, toggle.off.admittance(0.0) != 0, toggle.on.admittance(0.0) != 0))
        return tuple(found)

    @cached_property
    def stored(self) -> frozenset[str]:
        """Return the boards that have a store, which carries them when their volts fail."""
        return frozenset(name for name, board in self.boards.items() if board.store_s > 0)

    @cached_property
    def holding_up(self) -> frozenset[str]:
        """Return the boards whose capacitors carry them for a moment when their volts fail.

        A dead board has nothing to hold up; a store, which is larger, carries for its own time.
        """
        boards = ((name, board) for name, board in self.boards.items() if not board.dead)
        return frozenset(name for name, board in boards if board.electronics.hold_up_s > 0) - self.stored

    def closed_contacts(self, on: frozenset[str]) -> frozenset[str]:
        """Return the points "place:terminal" whose contact from R is closed: thermostat and relay boards."""
        return frozenset(
            point for key, point, off, closed in self._contacts if (closed if key in on else off)
        )

    @cached_property
    def template(self) -> Network:
        """Return the network with everything off: the shape that all states share."""
        if self._opened_of is not None:
            return self._opened_of.template
        off = (toggle.off for toggle in (*self._toggles, *self._conductors))
        return Network((*self._fixed, *off), REFERENCE)

    def network(self, on: frozenset[str], extra: Iterable[Branch] = ()) -> Network:
        """Return the network in one state, with extra branches (a meter, say) if wanted."""
        chosen = (t.on if key in on else t.off for key, t in zip(self.keys, self._toggles, strict=True))
        first, whole = len(self.keys), set(self._whole)
        wires = (t.on if first + k in whole else t.off for k, t in enumerate(self._conductors))
        return Network((*self._fixed, *chosen, *wires, *extra), REFERENCE)

    def _at(self, freq_hz: float) -> Equations:
        """Return the equations at a frequency; written once for all wirings of one shape."""
        if freq_hz not in self._equations:  # wirings of one shape share this shelf
            on = [toggle.on for toggle in (*self._toggles, *self._conductors)]
            self._equations[freq_hz] = two_way_equations(self.template, on, freq_hz)
        return self._equations[freq_hz]

    def _places(self, on: frozenset[str], whole: tuple[int, ...]) -> list[int]:
        """Return the two-way branches of a state, by their numbers; `whole` are its conductors."""
        place = self._place
        return [*(place[key] for key in on if key in place), *whole]

    def solve(
        self, states: Sequence[frozenset[str]], freq_hz: float, silenced: Sequence[str | None] = ()
    ) -> list[Solution]:
        """Solve several states at one frequency in one call.

        `silenced` names, for each state, one driver that sends a space: its impedance stays, its volts go.
        """
        place = self._place
        quiet = [(None if key is None else place[key],) for key in silenced]
        return self._at(freq_hz).system([self._places(on, self._whole) for on in states], quiet).solve()

    def solution(self, on: frozenset[str], freq_hz: float) -> Solution:
        """Return the solution of one state."""
        return self.solve([on], freq_hz)[0]


def solve_side_by_side(
    cases: Sequence[tuple[Wiring, frozenset[str], str | None]], freq_hz: float
) -> list[Solution]:
    """Solve states of many wirings at one frequency, those with as many nodes as one stack of matrices.

    Each case is a wiring, what is on, and the driver that sends a space (None: all send a mark). A state that
    is there twice is solved once, and both cases get the same solution; one that is there with several
    drivers silenced is one matrix with several columns.
    """
    asked: dict[Wiring, dict[tuple[frozenset[str], tuple[int, ...]], dict[str | None, None]]] = {}
    for wiring, on, silenced in cases:
        asked.setdefault(wiring.shape, {}).setdefault((on, wiring._whole), {})[silenced] = None
    drivers_rest = any(silenced is not None for _, _, silenced in cases)
    systems = []
    for shape, states in asked.items():
        place, quiet = shape._place, states.values() if drivers_rest else ()
        systems.append(
            shape._at(freq_hz).system(
                [shape._places(on, whole) for on, whole in states],
                [[None if key is None else place[key] for key in columns] for columns in quiet],
            )
        )
    found: dict[tuple[object, ...], Solution] = {}
    for (shape, states), solutions in zip(asked.items(), solve_systems(systems), strict=True):
        names = [(shape, *state, key) for state, columns in states.items() for key in columns]
        found.update(zip(names, solutions, strict=True))
    return [found[wiring.shape, on, wiring._whole, silenced] for wiring, on, silenced in cases]


def _opened(branch: Branch) -> Branch:
    return Resistance(branch.name, branch.a, branch.b, math.inf, "")
