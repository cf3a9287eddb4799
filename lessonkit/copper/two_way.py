"""One network with two-way branches, solved for any choice of those that are on.

A contact is open or closed, a fuse whole or blown, a coil's armature out or in: each such branch has one
value while it is off and another while it is on, between the same two nodes. Everything else stays as it is.
So the equations are written once with everything off, and beside them what each two-way branch adds when it
is on:

    numbers of a state = numbers with everything off + the sum of what the branches that are on add

A state is then one small product and one solution. Volts and amperes as in `network`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lessonkit.copper.elements import Branch
from lessonkit.copper.network import (
    ComplexArray,
    FloatingNode,
    Network,
    Solution,
    refuse_islands,
)

__all__ = ["Equations", "System", "two_way_equations"]


@dataclass(frozen=True)
class System:
    """The equations of some states of one network, ready to be solved: `matrix` times volts is `injected`.

    A state may be solved with one driver silenced, and then with another: that changes what is injected, and
    nothing else. So `silenced` names for each state its columns, by the branch that drives nothing in each
    (None: no branch). `matrix` has the shape (states, n, n), and `injected` (states, n, columns), for n
    nodes; the reference's own equation says that it has no volts. `values` are the admittances (S) and the
    open-circuit volts of the branches with nothing silenced, shape (states, 2, branches).
    """

    network: Network
    freq_hz: float
    matrix: ComplexArray
    injected: ComplexArray
    values: ComplexArray
    silenced: tuple[tuple[int | None, ...], ...]

    def solve(self) -> list[Solution]:
        """Return the solutions of the states, of each state all columns."""
        return self.solutions(_volts(self.freq_hz, self.matrix, self.injected))

    def solutions(self, node_v: NDArray[np.complexfloating[Any, Any]]) -> list[Solution]:
        """Return the solutions of the states from their volts, of each state all columns."""
        found = []
        # A copy, so that a solution that is kept doesn't keep the whole matrix with it.
        for volts, (y, e), columns in zip(node_v, self.values.copy(), self.silenced, strict=True):
            for column, branch in enumerate(columns):
                emf = e
                if branch is not None:
                    emf = e.copy()
                    emf[branch] = 0
                found.append(Solution(self.network, self.freq_hz, volts[:, column], y, emf))
        return found


def _volts(freq_hz: float, matrix: ComplexArray, injected: ComplexArray) -> ComplexArray:
    """Return the volts of all nodes; direct current has real numbers only, which cost a third."""
    if freq_hz == 0:
        matrix, injected = matrix.real, injected.real  # type: ignore[assignment]
    return np.linalg.solve(matrix, injected).astype(np.complex128, copy=False)


@dataclass(frozen=True)
class Equations:
    """A network's equations at one frequency, for any choice of two-way branches that are on.

    `network` has every two-way branch off, and has them last. All numbers of a `System` for one state stand
    one behind the other, n * n of its matrix, n of what is injected, then its values: `numbers` are those
    with everything off. A state has others at the places `touched` only: the last row of `adds` is what
    stands there with everything off, each row before it what one two-way branch adds when it is on, shape
    (two-way branches + 1, places).
    """

    network: Network
    freq_hz: float
    numbers: ComplexArray
    touched: NDArray[np.intp]
    adds: ComplexArray
    hangs_together: bool

    def system(
        self, states: Sequence[Sequence[int]], silenced: Sequence[Sequence[int | None]] = ()
    ) -> System:
        """Return the equations of several states, each given by the two-way branches that are on.

        Branches are numbers here: 0 is the first two-way branch. `silenced` names, for each state, what is
        silenced in each column that is wanted: one branch that is on and drives nothing (its impedance stays,
        its volts go), or None. Without it each state has one column, with nothing silenced. Raises
        `FloatingNode` where a state cuts nodes off.
        """
        numbers = np.empty((len(states), self.numbers.size), dtype=np.complex128)
        numbers[:] = self.numbers
        for row, on in zip(numbers, states, strict=True):
            chosen = np.zeros(len(self.adds), dtype=np.complex128)
            chosen[on] = chosen[-1] = 1
            row[self.touched] = np.dot(chosen, self.adds)
        network, n = self.network, len(self.network.nodes)
        matrix, injected = numbers[:, : n * n].reshape(-1, n, n), numbers[:, n * n : n * n + n, None]
        values = numbers[:, n * n + n :].reshape(len(states), 2, -1)
        if not self.hangs_together:
            refuse_islands(network, values[:, 0] != 0)
        first = values.shape[-1] - len(self.adds) + 1
        places: tuple[tuple[int | None, ...], ...] = ((None,),) * len(states)
        if silenced:
            places = tuple(tuple(None if one is None else one + first for one in row) for row in silenced)
            injected = injected.repeat(max(map(len, places)), axis=2)
            (a, b) = network.ends
            for state, wanted in enumerate(places):
                for column, place in enumerate(wanted):
                    if place is not None:
                        amps = values[state, :, place].prod()
                        injected[state, a[place], column] -= amps
                        injected[state, b[place], column] += amps
            injected[:, 0] = 0  # the reference's own equation
        return System(network, self.freq_hz, matrix, injected, values, places)


def two_way_equations(network: Network, on: Sequence[Branch], freq_hz: float) -> Equations:
    """Return the equations of a network at a frequency in hertz.

    The last branches of `network` are the two-way ones while they are off; `on` are the same ones on.
    """
    (a, b), n = network.ends, len(network.nodes)
    y, e = network.admittances(freq_hz), network.emfs(freq_hz)
    first = y.size - len(on)
    y_on = np.array([*y[:first], *(branch.admittance(freq_hz) for branch in on)])
    e_on = np.array([*e[:first], *(branch.emf(freq_hz) for branch in on)])
    matrix, injected = network.matrices(y[None])[0], network.injected((y * e)[None])[0]
    matrix[0, :] = matrix[:, 0] = injected[0] = 0
    matrix[0, 0] = 1
    numbers = np.concatenate([matrix.ravel(), injected, y, e])

    entry, signs = network.stamp
    signs = np.where(entry // n * (entry % n) > 0, signs, 0)  # the reference's own equation stays as it is
    amps, k = y_on * e_on - y * e, np.arange(y.size)
    behind = n * n + n
    place = np.stack([*entry, n * n + a, n * n + b, behind + k, behind + y.size + k])
    adds = np.stack([*signs * (y_on - y), amps * (a > 0), -amps * (b > 0), y_on - y, e_on - e])
    touched, column = np.unique(place[:, first:], return_inverse=True)
    rows = np.zeros((len(on) + 1, touched.size), dtype=np.complex128)
    for columns, added in zip(column.reshape(len(place), -1), adds[:, first:], strict=True):
        rows[k[: len(on)], columns] += added
    rows[-1] = numbers[touched]
    try:
        refuse_islands(network, ((y != 0) & (y_on != 0))[None])
        hangs_together = True
    except FloatingNode:
        hangs_together = False
    return Equations(network, freq_hz, numbers, touched, rows, hangs_together)
