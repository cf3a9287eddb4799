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
from collections.abc import Callable, Iterable, Sequence
from copy import copy
from functools import cached_property
from typing import Any, TypeVar

from lessonkit.bench.appliances import lay_out
from lessonkit.bench.forms import Form, Values, form_of
from lessonkit.bench.layout import REFERENCE, Layout
from lessonkit.copper.elements import Branch, Resistance
from lessonkit.copper.network import Network, Solution
from lessonkit.copper.two_way import Equations, two_way_equations
from lessonkit.job.faults import Fault
from lessonkit.job.handwork import HandWork
from lessonkit.job.model import Job
from lessonkit.job.parts import Coil
from lessonkit.job.supply import Supply

Kept = TypeVar("Kept")


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
        self._whole = frozenset(to.conductors)
        self._toggles = tuple(to.toggles.values())
        self._place = {key: place for place, key in enumerate(self.keys)}
        self._equations: dict[float, Equations] = {}
        self._values: dict[float, Values] = {}
        # What was opened has its values from the wiring that it was opened of, and the places that are open.
        self._opened_of: tuple[Wiring, tuple[int, ...]] | None = None
        self._kept: dict[str, Any] = {}

    def opened(self, faults: tuple[Fault, ...]) -> Wiring:
        """Return this circuit with some conductors open, each in the middle.

        It is that of a new wiring with these faults, has the form of this one, and costs next to nothing.
        """
        made, gone = copy(self), {f"{fault.where}.{fault.part}#0" for fault in faults} & self._whole
        form = self.form
        made._opened_of = self, tuple(k for k, branch in enumerate(self._fixed) if branch.name in gone)
        made._fixed = tuple(_opened(branch) if branch.name in gone else branch for branch in self._fixed)
        made._whole, made.faults = self._whole - gone, self.faults + faults
        made._equations, made._values, made._kept = {}, {}, {}
        made.__dict__.pop("template", None)
        made.__dict__["form"] = form
        return made

    @cached_property
    def form(self) -> Form:
        """Return what this circuit shares with others that differ in numbers alone."""
        return form_of(self)

    def kept(self, name: str, made: Callable[[], Kept]) -> Kept:
        """Return what somebody keeps for this wiring under a name; the first time it is `made`."""
        if name not in self._kept:
            self._kept[name] = made()
        kept: Kept = self._kept[name]
        return kept

    def values(self, freq_hz: float) -> Values:
        """Return what the branches admit and drive at a frequency."""
        if freq_hz not in self._values:
            if self._opened_of is not None:
                whole, places = self._opened_of
                self._values[freq_hz] = whole.values(freq_hz).opened(whole.template, places)
            else:
                on = (toggle.on for toggle in self._toggles)
                all_on = Network((*self._fixed, *on), REFERENCE)
                self._values[freq_hz] = Values.of(self.template, all_on, freq_hz)
        return self._values[freq_hz]

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
        return Network((*self._fixed, *(toggle.off for toggle in self._toggles)), REFERENCE)

    def network(self, on: frozenset[str], extra: Iterable[Branch] = ()) -> Network:
        """Return the network in one state, with extra branches (a meter, say) if wanted."""
        chosen = (t.on if key in on else t.off for key, t in zip(self.keys, self._toggles, strict=True))
        return Network((*self._fixed, *chosen, *extra), REFERENCE)

    def _at(self, freq_hz: float) -> Equations:
        """Return the equations at a frequency, written once."""
        if freq_hz not in self._equations:
            on = [toggle.on for toggle in self._toggles]
            self._equations[freq_hz] = two_way_equations(self.template, on, freq_hz)
        return self._equations[freq_hz]

    def _places(self, on: frozenset[str]) -> list[int]:
        """Return the two-way branches of a state, by their numbers."""
        place = self._place
        return [place[key] for key in on if key in place]

    def solve(
        self, states: Sequence[frozenset[str]], freq_hz: float, silenced: Sequence[str | None] = ()
    ) -> list[Solution]:
        """Solve several states at one frequency in one call.

        `silenced` names, for each state, one driver that sends a space: its impedance stays, its volts go.
        """
        place = self._place
        quiet = [(None if key is None else place[key],) for key in silenced]
        return self._at(freq_hz).system([self._places(on) for on in states], quiet).solve()

    def solution(self, on: frozenset[str], freq_hz: float) -> Solution:
        """Return the solution of one state."""
        return self.solve([on], freq_hz)[0]


def _opened(branch: Branch) -> Branch:
    return Resistance(branch.name, branch.a, branch.b, math.inf, "")
