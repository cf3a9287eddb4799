"""Forms: what many circuits have in common, so that their states are arrays and are solved together.

The same job at another line, on another cable or with a conductor open has the same branches between the
same nodes and the same coils and boards: one form. Only numbers differ, and those are kept for each wiring:
what its branches admit and drive, off and on. A state of any of them is then a row of contacts that are on
(True), and a `Stack` solves many rows at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from lessonkit.copper.network import FloatingNode, Network, Solution, refuse_islands
from lessonkit.copper.star_mesh import Elimination, elimination

if TYPE_CHECKING:
    from lessonkit.bench.wiring import Wiring

__all__ = ["Flags", "Form", "Places", "Stack", "Values", "Volts", "form_of"]

Flags: TypeAlias = NDArray[np.bool_]
Places: TypeAlias = NDArray[np.intp]
Volts: TypeAlias = NDArray[Any]


@dataclass(frozen=True)
class Form:
    """What wirings of one form share.

    `nodes` has the reference first; `ends` are the two nodes of each branch, by number. Two-way elements
    (`keys`) are the last branches. `coils` that can pull in are (name, node, node), `boards` (name, hot,
    common, lives, fed): `lives` is False for a dead one, and one that lives on a battery is `fed` always.
    `follows` are the contacts that a coil moves: key, coil, whether it is closed while the armature is in.
    `fuses` are places.
    """

    nodes: tuple[str, ...]
    ends: tuple[tuple[int, int], ...]
    keys: tuple[str, ...]
    coils: tuple[tuple[str, int, int], ...]
    boards: tuple[tuple[str, int, int, bool, bool], ...]
    follows: tuple[tuple[str, str, bool], ...]
    fuses: tuple[str, ...]

    @cached_property
    def first(self) -> int:
        """Return the place of the first two-way element among the branches."""
        return len(self.ends) - len(self.keys)

    @cached_property
    def place(self) -> dict[str, int]:
        """Return the place of each two-way element, by name."""
        return {key: k for k, key in enumerate(self.keys)}

    @cached_property
    def elimination(self) -> Elimination:
        """Return in which order the nodes go."""
        return elimination(len(self.nodes), self.ends)

    def rows(self, states: Sequence[frozenset[str]]) -> Flags:
        """Return states, each given by the names of what is on, as rows; shape (states, keys)."""
        found = np.zeros((len(states), len(self.keys)), dtype=bool)
        place, known = self.place, dict[frozenset[str], int]()
        for k, on in enumerate(states):
            first = known.setdefault(on, k)
            if first < k:
                found[k] = found[first]
            else:
                found[k, [place[key] for key in on if key in place]] = True
        return found


@lru_cache(maxsize=128)
def _shared(form: Form) -> Form:
    """Return one and the same form for all that are equal, so that it can be told by identity."""
    return form


def form_of(wiring: Wiring) -> Form:
    """Return the form of a wiring."""
    network = wiring.template
    at = network.index
    return _shared(
        Form(
            network.nodes,
            tuple((at[branch.a], at[branch.b]) for branch in network.branches),
            wiring.keys,
            tuple((name, a, b) for name, _, a, b in wiring.armatures),
            tuple(
                (name, at[board.hot], at[board.common], not board.dead, board.battery)
                for name, board in wiring.boards.items()
            ),
            tuple((key, coil, closes) for key, (coil, closes) in wiring.follows.items()),
            tuple(wiring.supplies),
        )
    )


@dataclass(frozen=True)
class Values:
    """What the branches of a wiring admit (S) and drive (V), with all off and with all on.

    Shape (branches,) each. `hangs_together` says that no node is ever cut off.
    """

    y_off: NDArray[np.complex128]
    e_off: NDArray[np.complex128]
    y_on: NDArray[np.complex128]
    e_on: NDArray[np.complex128]
    hangs_together: bool

    @staticmethod
    def of(network: Network, on: Network, freq_hz: float) -> Values:
        """Return the values of a network with all off, and with all `on`."""
        y_off, y_on = network.admittances(freq_hz), on.admittances(freq_hz)
        together = _hangs_together(network, y_off, y_on)
        return Values(y_off, network.emfs(freq_hz), y_on, on.emfs(freq_hz), together)

    def opened(self, network: Network, places: Sequence[int]) -> Values:
        """Return the values with some branches open."""
        y_off, y_on = self.y_off.copy(), self.y_on.copy()
        y_off[list(places)] = y_on[list(places)] = 0
        return Values(y_off, self.e_off, y_on, self.e_on, _hangs_together(network, y_off, y_on))


def _hangs_together(network: Network, y_off: NDArray[Any], y_on: NDArray[Any]) -> bool:
    try:
        refuse_islands(network, ((y_off != 0) & (y_on != 0))[None])
    except FloatingNode:
        return False
    return True


class Stack:
    """Wirings of one form at one frequency, ready to be solved in any of their states."""

    def __init__(self, wirings: Sequence[Wiring], freq_hz: float) -> None:
        values = [wiring.values(freq_hz) for wiring in wirings]
        self.form, self.freq_hz, self.network = wirings[0].form, freq_hz, wirings[0].template
        self._y_off, self._e_off, self._y_on, self._e_on = (
            np.array([getattr(one, name) for one in values]) for name in ("y_off", "e_off", "y_on", "e_on")
        )
        if freq_hz == 0:
            self._y_off, self._y_on = self._y_off.real, self._y_on.real
            self._e_off, self._e_on = self._e_off.real, self._e_on.real
        self._sources = np.flatnonzero((self._e_off != 0).any(axis=0) | (self._e_on != 0).any(axis=0))
        self._together = all(one.hangs_together for one in values)

    def solve(
        self, which: Places, on: Flags, silenced: Places | None = None
    ) -> tuple[NDArray[Any], NDArray[Any], NDArray[Any]]:
        """Return volts of the nodes, and admittances and open-circuit volts of the branches.

        Parameters: `which` of the wirings each state is of, shape (states,); `on`, its two-way elements,
        shape (states, keys); `silenced`, the branch that drives nothing in each column (-1: none), shape
        (states, columns). Returns the shapes (nodes, columns, states), (states, branches) and (states,
        branches).
        """
        form, first = self.form, self.form.first
        y, e = self._y_off[which], self._e_off[which]
        y[:, first:] = np.where(on, self._y_on[which, first:], y[:, first:])
        e[:, first:] = np.where(on, self._e_on[which, first:], e[:, first:])
        if not self._together:
            refuse_islands(self.network, y != 0)
        columns = 1 if silenced is None else silenced.shape[1]
        injected = np.zeros((len(form.nodes), columns, which.size), dtype=y.dtype)
        for source in self._sources:
            amps = np.broadcast_to(y[:, source] * e[:, source], (columns, which.size))
            if silenced is not None:
                amps = np.where(source == silenced.T, 0, amps)
            a, b = form.ends[source]
            injected[a] += amps
            injected[b] -= amps
        return form.elimination.volts(y.T, injected), y, e

    def solution(self, volts: NDArray[Any], y: NDArray[Any], e: NDArray[Any]) -> Solution:
        """Return one state as a solution; `e` are the volts that drove it."""
        node_v, y, e = (row.astype(np.complex128) for row in (volts, y, e))
        return Solution(self.network, self.freq_hz, node_v, y, e)
