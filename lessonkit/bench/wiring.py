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

from collections.abc import Iterable, Sequence
from functools import cached_property

import numpy as np

from lessonkit.bench.appliances import lay_out
from lessonkit.bench.layout import REFERENCE, Layout
from lessonkit.copper.elements import Branch
from lessonkit.copper.network import (
    ComplexArray,
    Network,
    Solution,
    solve_stack,
)
from lessonkit.job.faults import Fault
from lessonkit.job.handwork import HandWork
from lessonkit.job.model import Job


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
        self._toggles = tuple(to.toggles.values())
        self._place = {key: place for place, key in enumerate(self.keys)}
        self._values: dict[float, tuple[ComplexArray, ...]] = {}

    def lay_out(self, job: Job, faults: tuple[Fault, ...], hands: tuple[HandWork, ...]) -> Layout:
        """Return what the job puts into the circuit."""
        return lay_out(job, faults, hands)

    @cached_property
    def supplies(self) -> tuple[str, ...]:
        """Return the places that have a transformer."""
        return tuple(key.split()[1] for key in self.keys if key.startswith("power "))

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

    def closed_contacts(self, on: frozenset[str]) -> frozenset[str]:
        """Return the points "place:terminal" whose contact from R is closed: thermostat and relay boards."""
        return frozenset(
            point for key, point, off, closed in self._contacts if (closed if key in on else off)
        )

    @cached_property
    def template(self) -> Network:
        """Return the network with everything off: the shape that all states share."""
        return self.network(frozenset())

    def network(self, on: frozenset[str], extra: Iterable[Branch] = ()) -> Network:
        """Return the network in one state, with extra branches (a meter, say) if wanted."""
        chosen = (t.on if key in on else t.off for key, t in zip(self.keys, self._toggles, strict=True))
        return Network((*self._fixed, *chosen, *extra), REFERENCE)

    def _at(self, freq_hz: float) -> tuple[ComplexArray, ...]:
        """Return admittances and sources at a frequency: fixed, off, on; computed once."""
        if freq_hz not in self._values:
            rows = (self._fixed, [t.off for t in self._toggles], [t.on for t in self._toggles])
            self._values[freq_hz] = tuple(
                np.array([getattr(branch, what)(freq_hz) for branch in row], dtype=np.complex128)
                for row in rows
                for what in ("admittance", "emf")
            )
        return self._values[freq_hz]

    @cached_property
    def shape(self) -> tuple[object, ...]:
        """Return what two wirings must share to be solved in one stack.

        That is the same branches between the same nodes.
        """
        a, b = self.template.ends
        return self.template.nodes, a.tobytes(), b.tobytes()

    def values(
        self, states: Sequence[frozenset[str]], freq_hz: float, silenced: Sequence[str | None] = ()
    ) -> tuple[ComplexArray, ComplexArray]:
        """Return admittances and sources of every branch for several states, shape (states, branches).

        `silenced` names, for each state, one driver that sends a space: its impedance stays, its volts go.
        """
        y_fixed, e_fixed, y_off, e_off, y_on, e_on = self._at(freq_hz)
        mask = np.zeros((len(states), len(self.keys)), dtype=np.bool_)
        for row, on in enumerate(states):
            mask[row, [self._place[key] for key in on if key in self._place]] = True
        fixed = y_fixed.size
        y = np.empty((len(states), fixed + len(self.keys)), dtype=np.complex128)
        e = np.empty_like(y)
        y[:, :fixed], y[:, fixed:] = y_fixed, np.where(mask, y_on, y_off)
        e[:, :fixed], e[:, fixed:] = e_fixed, np.where(mask, e_on, e_off)
        for row, key in enumerate(silenced):
            if key is not None:
                e[row, fixed + self._place[key]] = 0
        return y, e

    def solve(
        self, states: Sequence[frozenset[str]], freq_hz: float, silenced: Sequence[str | None] = ()
    ) -> list[Solution]:
        """Solve several states at one frequency in one call; `silenced` as in `values`."""
        y, e = self.values(states, freq_hz, silenced)
        node_v, branch_a = solve_stack(self.template, freq_hz, y, e)
        return [Solution(self.template, freq_hz, node_v[k], branch_a[k], y[k]) for k in range(len(states))]


def solve_side_by_side(
    cases: Sequence[tuple[Wiring, frozenset[str], str | None]], freq_hz: float
) -> list[Solution]:
    """Solve states of many wirings at one frequency, those of one shape as one stack of matrices.

    Each case is a wiring, what is on, and the driver that sends a space (None: all send a mark). A state that
    is there twice is solved once, and both cases get the same solution.
    """
    groups: dict[tuple[object, ...], dict[Wiring, list[tuple[frozenset[str], str | None]]]] = {}
    for wiring, on, silenced in dict.fromkeys(cases):
        groups.setdefault(wiring.shape, {}).setdefault(wiring, []).append((on, silenced))
    solutions: dict[tuple[Wiring, frozenset[str], str | None], Solution] = {}
    for members in groups.values():
        values = [
            wiring.values([on for on, _ in states], freq_hz, [silenced for _, silenced in states])
            for wiring, states in members.items()
        ]
        y, e = (np.concatenate([pair[part] for pair in values]) for part in (0, 1))
        node_v, branch_a = solve_stack(next(iter(members)).template, freq_hz, y, e)
        rows = [(wiring, *state) for wiring, states in members.items() for state in states]
        for row, case in enumerate(rows):
            solutions[case] = Solution(case[0].template, freq_hz, node_v[row], branch_a[row], y[row])
    return [solutions[case] for case in cases]
