"""Hands on the wiring: lift a wire, put it back or elsewhere, twist, jumper, plug, each with its minutes.

Two choices say what and where to, one key does it. What is dangerous now is refused by the bench in a
sentence, and nothing is changed.
"""

from __future__ import annotations

from collections.abc import Callable

import ipywidgets as widgets

from lessonkit.bench.hands import Hands
from lessonkit.bench.state import State
from lessonkit.job.calls import PLACE_WORDS
from lessonkit.job.handwork import boards_of, terminals_of
from lessonkit.job.model import RUN_ENDS, Job
from lessonkit.panels.keys import key, named, row
from lessonkit.panels.session import Session

__all__ = ["HandsPart"]

#: Each act: its words on the panel, what it is done to, and what to (or nothing).
_ACTS = {
    "lift": ("lift a wire", "end", ""),
    "put back": ("put a wire back", "end", ""),
    "move": ("put a wire on another terminal", "end", "terminal"),
    "twist": ("twist two wires together", "end", "end"),
    "jumper": ("put in a jumper", "terminal", "terminal"),
    "take out": ("take a jumper out", "terminal", "terminal"),
    "unplug": ("pull a plug", "board", ""),
    "plug": ("put a plug in", "board", ""),
}


class HandsPart:
    """A pair of hands on the bench of a session, and the minutes that their work took."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self.hands = Hands(session.bench)
        self._known = _known(session.bench.job)
        self.act = named([(words, act) for act, (words, _, _) in _ACTS.items()], "Hands:")
        self.what = named([("", "")], "which:")
        self.other = named([("", "")], "to or with:")
        self.do = key("do it", self._do, tip="do it: the work of hands chosen beside")
        self.undo = key("undo", lambda: session.do(self.hands.undo), tip="undo the last work of hands")
        self.put_all_back = key("put all back", lambda: session.do(self.hands.put_all_back))
        self._done = widgets.Label("", tooltip="")
        self.box = widgets.VBox(
            [
                row(self.act, self.what, self.other, self.do),
                row(self.undo, self.put_all_back, self._done, label="Done by hand:"),
            ]
        )
        self.box.add_class("lk-group")
        self.act.observe(lambda _: self._offer(), "value")
        self.what.observe(lambda _: self._offer_other(), "value")
        self._offer()
        session.watch(self._show)

    def choose(self, act: str, what: str, other: str = "") -> None:
        """Set the choices as a hand would, without doing anything."""
        self.act.value, self.what.value = act, what
        if other:
            self.other.value = other

    def _offer(self) -> None:
        self.what.options = self._known[_ACTS[self.act.value][1]]
        self._offer_other()

    def _offer_other(self) -> None:
        kind, what = _ACTS[self.act.value][2], self.what.value
        self.other.layout.display = None if kind else "none"
        if kind and what:  # between two sets of options there is none
            place = what.partition(":")[0]
            there = [(words, name) for words, name in self._known[kind] if name != what]
            self.other.options = [one for one in there if one[1].partition(":")[0] == place]

    def _do(self) -> None:
        act, what, other = self.act.value, self.what.value, self.other.value
        place, _, name = what.partition(":")
        hands = self.hands
        acts: dict[str, Callable[[], object]] = {
            "lift": lambda: hands.lift(name, place),
            "put back": lambda: hands.put_back(name, place),
            "move": lambda: hands.move(name, place, other),
            "twist": lambda: hands.twist(place, name, other.partition(":")[2]),
            "jumper": lambda: hands.jumper(what, other),
            "take out": lambda: hands.take_out(what, other),
            "unplug": lambda: hands.unplug(what),
            "plug": lambda: hands.plug(what),
        }
        self._session.do(acts[act])

    def _show(self, state: State) -> None:
        done = ", ".join(state.hands) or "nothing"
        self._done.value = f"{done} ({self.hands.minutes:g} min of work)"
        self.put_all_back.disabled = not state.hands
        self.undo.disabled = not self.hands.acts


def _known(job: Job) -> dict[str, list[tuple[str, str]]]:
    """Return what hands can take hold of, by its kind, each with its words."""
    ends = [
        (f"{name} of the {run} run, at the {PLACE_WORDS[place]}", f"{place}:{run}.{name}")
        for run, places in RUN_ENDS.items()
        for place in places
        for name in job.runs[run].conductors
    ]
    terminals = [
        (f"{PLACE_WORDS[place]} {node.partition(':')[2]}", node)
        for place in PLACE_WORDS
        for node in terminals_of(job, place)
    ]
    boards = []
    for board in boards_of(job):
        place, _, name = board.partition(":")
        boards.append((f"{name.replace('-', ' ')} at the {PLACE_WORDS[place]}", board))
    return {"end": ends, "terminal": terminals, "board": boards}
