"""Many circuits settle side by side: what `settling` does for one, as rows of arrays.

Circuits of one form (`forms`) share each step: all that still move are solved together, then coils, boards
and fuses of all of them react at once, by the rules of `settling`. A circuit that has come to rest is done;
one that comes back to where it was chatters. Every one ends as it does alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import compress

import numpy as np

from lessonkit.bench.asking import Asks
from lessonkit.bench.forms import Flags, Places, Stack, Volts
from lessonkit.bench.settling import Latches, Settled, elements_on
from lessonkit.bench.wiring import Wiring
from lessonkit.copper.network import Solution

__all__ = ["settle_many", "solve_side_by_side", "volts_side_by_side"]


def _by_form(wirings: Sequence[Wiring]) -> list[list[int]]:
    """Return the places of the wirings of each form."""
    found: dict[int, list[int]] = {}
    for k, wiring in enumerate(wirings):
        found.setdefault(id(wiring.form), []).append(k)
    return list(found.values())


def _numbered(wirings: Sequence[Wiring]) -> tuple[list[Wiring], list[int]]:
    """Return each wiring once, and which one each of the given is."""
    number: dict[Wiring, int] = {}
    which = [number.setdefault(wiring, len(number)) for wiring in wirings]
    return list(number), which


class _Settling:
    """Circuits of one form on their way; each array has a row for each circuit.

    `sealed`, `awake` and `blown` are what they remember, `asked` the two-way elements that are asked for and
    `asker` the board which has to be awake for each of them (one more than there are: none has to be).
    """

    def __init__(self, cases: Sequence[tuple[Wiring, Latches, Asks]], freq_hz: float) -> None:
        self.form, self.cases = cases[0][0].form, cases
        form = self.form
        self.wirings, numbers = _numbered([wiring for wiring, *_ in cases])
        self.which, self.stack = np.array(numbers, dtype=np.intp), Stack(self.wirings, freq_hz)
        coils, boards = [coil[0] for coil in form.coils], [board[0] for board in form.boards]
        fuses = [f"fuse {place}" for place in form.fuses]
        self.names = coils, boards, fuses
        self.sealed, self.awake, self.blown = (
            np.array([[name in there for name in names] for there in latches], dtype=bool).reshape(
                len(cases), len(names)
            )
            for names, latches in (
                (coils, [latches.sealed for _, latches, _ in cases]),
                (boards, [latches.awake for _, latches, _ in cases]),
                (fuses, [latches.blown for _, latches, _ in cases]),
            )
        )
        self.chattering = np.zeros_like(self.sealed)
        self.released: list[list[str]] = [[] for _ in cases]
        self._seen: list[dict[bytes, int]] = [{} for _ in cases]
        self._passed: list[list[Flags]] = [[] for _ in cases]
        self._ended: dict[tuple[object, ...], tuple[Latches, frozenset[str]]] = {}
        self._ask(boards)
        self._read_form()
        self._read_wirings()

    def _ask(self, boards: list[str]) -> None:
        form, at = self.form, {name: k for k, name in enumerate(boards)}
        self.asked = np.zeros((len(self.cases), len(form.keys)), dtype=bool)
        self.asker = np.full(self.asked.shape, len(boards), dtype=np.intp)
        at[""] = len(boards)
        known: dict[int, int] = {}  # the first case with the same asks
        for row, (_, _, asks) in enumerate(self.cases):
            first = known.setdefault(id(asks), row)
            if first < row:
                self.asked[row], self.asker[row] = self.asked[first], self.asker[first]
                continue
            for key, board in asks.items():
                place, who = form.place.get(key), at.get(board)
                if place is not None and who is not None:
                    self.asked[row, place], self.asker[row, place] = True, who

    def _read_form(self) -> None:
        """Keep places: of the two-way elements that follow what is remembered, and of the points to read."""
        form, coils = self.form, self.names[0]
        place = {name: k for k, name in enumerate(coils)}
        self._coil_keys = np.array([form.place[f"coil {name}"] for name in coils], dtype=np.intp)
        self._fuse_keys = np.array([form.place[name] for name in self.names[2]], dtype=np.intp)
        self._follow_keys = np.array([form.place[key] for key, *_ in form.follows], dtype=np.intp)
        self._followed = np.array([place.get(coil, len(coils)) for _, coil, _ in form.follows], dtype=np.intp)
        self._closes = np.array([closes for *_, closes in form.follows], dtype=bool)
        points = np.array([(a, b) for _, a, b in form.coils], dtype=np.intp).reshape(-1, 2)
        self._hot, self._back = points.T
        feeds = np.array([board[1:3] for board in form.boards], dtype=np.intp).reshape(-1, 2)
        self._fed_hot, self._fed_common = feeds.T
        self._lives = np.array([board[3] for board in form.boards], dtype=bool)
        self._always = np.array([board[3] and board[4] for board in form.boards], dtype=bool)
        self._branch = form.first + self._fuse_keys
        ends = np.array([form.ends[k] for k in self._branch], dtype=np.intp).reshape(-1, 2)
        self._fuse_a, self._fuse_b = ends.T

    def _read_wirings(self) -> None:
        """Keep the volts and amperes at which something happens, for each circuit."""
        pulls, drops, weak, quick, blows = [], [], [], [], []
        for wiring in self.wirings:
            pulls.append([coil.pickup_v for _, coil, _, _ in wiring.armatures])
            drops.append([coil.dropout_v for _, coil, _, _ in wiring.armatures])
            weak.append([board.electronics.brownout_v for board in wiring.boards.values()])
            fuses = [
                (s.fuse.quick_a, s.fuse.blow_a) if s.protector == "fuse" else (np.inf, np.inf)
                for s in wiring.supplies.values()
            ]
            quick.append([one for one, _ in fuses])
            blows.append([other for _, other in fuses])
        self._pulls, self._drops, self._weak, self._quick, self._blows = (
            np.array(one, dtype=float).reshape(len(self.wirings), -1)[self.which]
            for one in (pulls, drops, weak, quick, blows)
        )

    def run(self) -> list[Settled]:
        """Go on until nothing changes any more, and return how each circuit ends."""
        live = np.arange(len(self.cases))
        done: dict[int, Settled] = {}
        while live.size:
            on = self._on(live)
            row, volts, y, e = self._solved(live, on)
            self._remember(live, on)
            changed = self._react(live, volts[:, row], y[row], e[row])
            for k in np.flatnonzero(~changed):
                solution = self.stack.solution(volts[:, row[k]], y[row[k]], e[row[k]])
                done[int(live[k])] = self._end(int(live[k]), solution)
            live = live[changed]
        return [done[k] for k in range(len(self.cases))]

    def _on(self, live: Places) -> Flags:
        """Return what is on, as `elements_on` says."""
        awake = np.concatenate([self.awake[live], np.ones((live.size, 1), dtype=bool)], axis=1)
        sealed = self.sealed[live]
        on: Flags = self.asked[live] & np.take_along_axis(awake, self.asker[live], axis=1)
        on[:, self._fuse_keys] |= ~self.blown[live]
        on[:, self._coil_keys] |= sealed
        pulled = np.concatenate([sealed, np.zeros((live.size, 1), dtype=bool)], axis=1)
        on[:, self._follow_keys] |= pulled[:, self._followed] == self._closes
        return on

    def _solved(self, live: Places, on: Flags) -> tuple[Places, Volts, Volts, Volts]:
        """Solve each state once; return which solution each circuit has, and the solutions."""
        rows, first = distinct(self.which[live], on)
        volts, y, e = self.stack.solve(self.which[live][first], on[first])
        return rows, volts[:, 0], y, e

    def _remember(self, live: Places, on: Flags) -> None:
        """Look whether a circuit has been here; if so, the coils that differ on the way round chatter."""
        here = np.packbits(
            np.concatenate([self.sealed[live], self.awake[live], self.blown[live], on], axis=1), axis=1
        )
        for k, state in zip(live.tolist(), here, strict=True):
            seen, passed, key = self._seen[k], self._passed[k], state.tobytes()
            if key in seen:
                circle = np.array(passed[seen[key] :])
                self.chattering[k] |= circle.any(axis=0) & ~circle.all(axis=0)
                seen.clear()
                passed.clear()
            seen[key] = len(passed)
            passed.append(self.sealed[k].copy())

    def _react(self, live: Places, volts: Volts, y: Volts, e: Volts) -> Flags:
        """Let coils react, or else boards, or else fuses, as `settling` does; return where any did."""
        sealed, awake, blown = self.sealed[live], self.awake[live], self.blown[live]
        across = abs(volts[self._hot] - volts[self._back]).T
        pulled = across >= np.where(sealed, self._drops[live], self._pulls[live])
        pulled &= ~self.chattering[live]
        moved = (pulled != sealed).any(axis=1)
        feed = abs(volts[self._fed_hot] - volts[self._fed_common]).T
        weak = awake & ~(self._always | (self._lives & (feed >= self._weak[live])))
        drop = volts[self._fuse_a] - volts[self._fuse_b]
        amps = abs(y[:, self._branch].T * (drop - e[:, self._branch].T)).T
        shorted = (amps >= self._quick[live]).any(axis=1)
        starved = ~moved & weak.any(axis=1) & ~shorted
        still = ~moved & ~starved
        asleep, blows = weak & starved[:, None], (amps >= self._blows[live]) & still[:, None] & ~blown
        let_go = sealed & ~pulled
        for k in np.flatnonzero(let_go.any(axis=1) | asleep.any(axis=1)):
            gone = [*compress(self.names[1], asleep[k]), *compress(self.names[0], let_go[k])]
            self.released[live[k]] += sorted(gone)
        self.sealed[live], self.awake[live], self.blown[live] = pulled, awake & ~asleep, blown | blows
        changed: Flags = moved | starved | blows.any(axis=1)
        return changed

    def _end(self, k: int, solution: Solution) -> Settled:
        coils = self.names[0]
        wiring, _, asks = self.cases[k]
        remembered = self.sealed[k], self.awake[k], self.blown[k]
        key = id(asks), *(what.tobytes() for what in remembered)
        if key not in self._ended:  # circuits that differ in numbers end alike more often than not
            latches = Latches(
                *(frozenset(compress(n, w)) for n, w in zip(self.names, remembered, strict=True))
            )
            self._ended[key] = latches, elements_on(wiring, latches, asks)
        latches, on = self._ended[key]
        chattering = frozenset(compress(coils, self.chattering[k]))
        return Settled(latches, on, solution, chattering, tuple(self.released[k]))


def distinct(which: Places, on: Flags) -> tuple[Places, Places]:
    """Return which of the different states each one is, and the places of the first of each.

    A state is a wiring's number, `which`, and what is `on`.
    """
    number: dict[tuple[int, bytes], int] = {}
    first: list[int] = []
    rows = np.empty(which.size, dtype=np.intp)
    for k, (wiring, state) in enumerate(zip(which.tolist(), np.packbits(on, axis=1), strict=True)):
        key = wiring, state.tobytes()
        if key not in number:
            number[key] = len(first)
            first.append(k)
        rows[k] = number[key]
    return rows, np.array(first, dtype=np.intp)


def settle_many(cases: Sequence[tuple[Wiring, Latches, Asks]], freq_hz: float) -> list[Settled]:
    """Settle many circuits; gives for each case what `settle` gives."""
    found: dict[int, Settled] = {}
    for places in _by_form([wiring for wiring, *_ in cases]):
        ends = _Settling([cases[k] for k in places], freq_hz).run()
        found.update(zip(places, ends, strict=True))
    return [found[k] for k in range(len(cases))]


def solve_side_by_side(cases: Sequence[tuple[Wiring, frozenset[str]]], freq_hz: float) -> list[Solution]:
    """Solve states of many wirings at one frequency, those of one form together.

    Each case is a wiring and what is on. A state that is there twice is solved once, and both cases get the
    same solution.
    """
    found: dict[int, Solution] = {}
    for places in _by_form([wiring for wiring, _ in cases]):
        stack, which, on = _stacked([cases[k] for k in places], freq_hz)
        rows, first = distinct(which, on)
        volts, y, e = stack.solve(which[first], on[first])
        solved = [stack.solution(volts[:, 0, k], y[k], e[k]) for k in range(first.size)]
        found.update((k, solved[row]) for k, row in zip(places, rows.tolist(), strict=True))
    return [found[k] for k in range(len(cases))]


def volts_side_by_side(
    cases: Sequence[tuple[Wiring, frozenset[str]]],
    freq_hz: float,
    silenced: Sequence[tuple[str | None, ...]] = (),
) -> list[list[list[complex]]]:
    """Return the volts of all nodes for states of many wirings, in one or more columns each.

    `silenced` names for each case what is silenced in each column: one driver that is on and sends a space
    (its impedance stays, its volts go), or None. Without it each case has one column, with nothing silenced.
    """
    found: dict[int, list[list[complex]]] = {}
    for places in _by_form([wiring for wiring, _ in cases]):
        stack, which, on = _stacked([cases[k] for k in places], freq_hz)
        quiet = None
        if silenced:
            form, columns = stack.form, [silenced[k] for k in places]
            quiet = np.full((len(places), max(map(len, columns))), -1, dtype=np.intp)
            for row, wanted in zip(quiet, columns, strict=True):
                row[: len(wanted)] = [-1 if d is None else form.first + form.place[d] for d in wanted]
        rows, first = distinct(which, on if quiet is None else np.concatenate([on, quiet >= 0], axis=1))
        volts, _, _ = stack.solve(which[first], on[first], None if quiet is None else quiet[first])
        listed = volts.transpose(2, 1, 0).tolist()
        found.update((k, listed[row]) for k, row in zip(places, rows.tolist(), strict=True))
    return [found[k] for k in range(len(cases))]


def _stacked(cases: Sequence[tuple[Wiring, frozenset[str]]], freq_hz: float) -> tuple[Stack, Places, Flags]:
    wirings, numbers = _numbered([wiring for wiring, _ in cases])
    stack = Stack(wirings, freq_hz)
    return stack, np.array(numbers, dtype=np.intp), stack.form.rows([on for _, on in cases])
