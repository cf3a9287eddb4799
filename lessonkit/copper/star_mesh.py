"""Many states of one network at once: nodes are taken out one after another, star to mesh.

A node with admittances y1 ... yk to k others is a star. Without it, the others see a mesh: between each two
of them stands

    y_ij = y_i y_j / (y1 + ... + yk)

and of what is injected at the node, each of them gets its share y_i / (y1 + ... + yk) (the star-mesh
transformation, textbook; for three branches it is star and delta). So nodes go until a small core is left,
which is solved as a matrix, and then their volts come back in turn: the mean of their neighbours' volts,
weighed by admittance, and what was injected.

A wiring is nearly a tree, so stars have few branches, and that costs far less than the whole matrix. Only the
shape of the network decides in which order nodes go; the values of all states go through as columns of one
array. While nodes go, nothing is subtracted, so no digits are lost.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

__all__ = ["Elimination", "elimination"]

Places: TypeAlias = NDArray[np.intp]
#: So many nodes are left for the matrix, and a round takes out at least so many nodes.
_CORE, _LEAST = 10, 3


@dataclass(frozen=True)
class _Round:
    """Nodes that go together, no two of them neighbours.

    Their branches stand one node behind the other: `edges` (pairs of nodes by number), `owner` (which of
    `nodes`), `others` (the node at the far end); `starts` are where each node's begin. Branches `one` and
    `two` of a star make a branch of the mesh; those that go to one of the `targets` stand together from
    `target_starts` on. `by_other` sorts the branches by their far ends, `fed`, which begin at `fed_starts`.
    """

    nodes: Places
    edges: Places
    owner: Places
    others: Places
    starts: Places
    one: Places
    two: Places
    targets: Places
    target_starts: Places
    by_other: Places
    fed: Places
    fed_starts: Places


@dataclass(frozen=True)
class Elimination:
    """In which order the nodes of a shape go.

    `branches` sorts the branches of the network by the pair of nodes that they join; the branches of each of
    the first pairs begin at `pair_starts`. `pairs` is how many pairs there are in the end. The `core` keeps
    the nodes that are left: pair `inner` stands at row `row` and column `column` of their matrix, and each
    node's own pairs are `around`, beginning at `around_starts`.
    """

    branches: Places
    pair_starts: Places
    pairs: int
    rounds: tuple[_Round, ...]
    core: Places
    inner: Places
    row: Places
    column: Places
    around: Places
    around_starts: Places

    def volts(self, y: NDArray[Any], injected: NDArray[Any]) -> NDArray[Any]:
        """Return the volts of all nodes in several states.

        Parameters: `y` are the admittances of the branches in siemens, shape (branches, states); `injected`
        amperes into the nodes, shape (nodes, columns, states), where the first node is the reference.
        Returns the shape of `injected`. Every node needs a way to the reference.
        """
        g = np.zeros((self.pairs, y.shape[1]), dtype=y.dtype)
        g[: self.pair_starts.size] = np.add.reduceat(y[self.branches], self.pair_starts, axis=0)
        injected, kept = injected.copy(), []
        for step in self.rounds:
            star = g[step.edges]
            ohm = 1.0 / np.add.reduceat(star, step.starts, axis=0)
            share = star * ohm[step.owner]
            if step.targets.size:
                mesh = share[step.one] * star[step.two]
                g[step.targets] += np.add.reduceat(mesh, step.target_starts, axis=0)
            own = injected[step.nodes]
            handed = (share[:, None] * own[step.owner])[step.by_other]
            injected[step.fed] += np.add.reduceat(handed, step.fed_starts, axis=0)
            kept.append((step, share, ohm[:, None] * own))
        size = np.arange(self.core.size)
        matrix = np.zeros((y.shape[1], size.size, size.size), dtype=y.dtype)
        matrix[:, self.row, self.column] = -g[self.inner].T
        matrix[:, size, size] = np.add.reduceat(g[self.around], self.around_starts, axis=0).T
        volts = np.zeros_like(injected)
        core = np.linalg.solve(matrix, injected[self.core].transpose(2, 0, 1))
        volts[self.core] = core.transpose(1, 2, 0)
        for step, share, own in reversed(kept):
            weighed = share[:, None] * volts[step.others]
            volts[step.nodes] = np.add.reduceat(weighed, step.starts, axis=0) + own
        return volts


def _begins(ordered: Places) -> Places:
    """Return where each run of equal numbers begins."""
    first = np.ones(ordered.size, dtype=bool)
    first[1:] = ordered[1:] != ordered[:-1]
    return np.flatnonzero(first)


class _Pairs:
    """The pairs of nodes that are joined, by number, and who is whose neighbour."""

    def __init__(self) -> None:
        self.number: dict[tuple[int, int], int] = {}
        self.beside: dict[int, dict[int, int]] = {}

    def join(self, one: int, other: int) -> int:
        """Return the number of a pair."""
        key = (one, other) if one < other else (other, one)
        if key not in self.number:
            self.number[key] = len(self.number)
        number = self.number[key]
        self.beside.setdefault(one, {})[other] = self.beside.setdefault(other, {})[one] = number
        return number

    def take_out(self, nodes: list[int]) -> _Round:
        """Take nodes out, join the neighbours of each, and return it as a round."""
        edges: list[int] = []
        owner: list[int] = []
        others: list[int] = []
        stars: list[tuple[int, int, int, int]] = []
        for place, node in enumerate(nodes):
            beside, base = sorted(self.beside[node].items()), len(edges)
            edges += [number for _, number in beside]
            others += [other for other, _ in beside]
            owner += [place] * len(beside)
            stars += [
                (base + j, base + k, beside[j][0], beside[k][0])
                for j in range(len(beside))
                for k in range(j + 1, len(beside))
            ]
        for node in nodes:
            for other in self.beside.pop(node):
                del self.beside[other][node]
        made = np.array([self.join(a, b) for _, _, a, b in stars], dtype=np.intp)
        order = np.argsort(made, kind="stable")
        target_starts = _begins(made[order])
        far = np.array(others, dtype=np.intp)
        by_other = np.argsort(far, kind="stable")
        fed_starts = _begins(far[by_other])
        return _Round(
            np.array(nodes, dtype=np.intp),
            np.array(edges, dtype=np.intp),
            np.array(owner, dtype=np.intp),
            far,
            _begins(np.array(owner, dtype=np.intp)),
            np.array([j for j, *_ in stars], dtype=np.intp)[order],
            np.array([k for _, k, *_ in stars], dtype=np.intp)[order],
            made[order][target_starts],
            target_starts,
            by_other,
            far[by_other][fed_starts],
            fed_starts,
        )


@lru_cache(maxsize=128)
def elimination(nodes: int, ends: tuple[tuple[int, int], ...]) -> Elimination:
    """Return the order for a shape: `ends` are the nodes that each branch joins, the reference is node 0."""
    pairs = _Pairs()
    joined = np.array([pairs.join(a, b) for a, b in ends], dtype=np.intp)
    branches = np.argsort(joined, kind="stable")
    pair_starts = _begins(joined[branches])
    left, rounds = set(range(1, nodes)), []
    while len(left) > _CORE:
        by_size = sorted(left, key=lambda node: (len(pairs.beside[node]), node))
        most = max(4, len(pairs.beside[by_size[0]]))
        going: list[int] = []
        barred: set[int] = set()
        for node in by_size:
            if node not in barred and len(pairs.beside[node]) <= most:
                going.append(node)
                barred |= set(pairs.beside[node])
        if len(going) < _LEAST:
            break
        rounds.append(pairs.take_out(going))
        left -= set(going)
    core = sorted(left)
    place = {node: k for k, node in enumerate(core)}
    around = [
        (place[node], place.get(other, -1), n) for node in core for other, n in pairs.beside[node].items()
    ]
    rows, columns, numbers = (np.array(one, dtype=np.intp) for one in zip(*around, strict=True))
    inner = columns >= 0
    return Elimination(
        branches,
        pair_starts,
        len(pairs.number),
        tuple(rounds),
        np.array(core, dtype=np.intp),
        numbers[inner],
        rows[inner],
        columns[inner],
        numbers,
        _begins(rows),
    )
