"""Breaking a job: a key for every conductor, a chooser for everything else, and the list of what is broken.

In a page, a click on a conductor in the wiring picture does the same as its key.
"""

from __future__ import annotations

from functools import partial

import ipywidgets as widgets

from lessonkit.bench.state import State
from lessonkit.job.calls import PLACE_WORDS
from lessonkit.job.faults import Kind, fault_parts
from lessonkit.job.naming import fault_words
from lessonkit.panels.keys import key, named, press, row
from lessonkit.panels.session import Session

__all__ = ["BreakKeys", "FaultChooser"]


class BreakKeys:
    """A key for each conductor of both runs and for the earth path: press to break, press again to mend."""

    def __init__(self, session: Session) -> None:
        self._session = session
        job = session.bench.job
        self.keys: dict[str, widgets.Button] = {}
        rows = []
        for run, cable in job.runs.items():
            names = [*cable.conductors, *(["earth"] if run == "outdoor" else [])]
            for name in names:
                part = f"{run}.{name}"
                self.keys[part] = key(
                    name,
                    partial(session.do, partial(self._toggle, part)),
                    tip=f"{run} run: break {name}",
                    toggle=True,
                    classes=["lk-breaks", f"lk-break-{run}-{name}"],
                )
            rows.append(row(*(self.keys[f"{run}.{name}"] for name in names), label=f"Break, {run} run:"))
        self.box = row(*rows)
        session.watch(self._show)

    def _toggle(self, part: str) -> None:
        bench = self._session.bench
        opened = [f for f in bench.faults if f"{f.where}.{f.part}" == part and f.kind == "open"]
        if opened:
            bench.set_faults([f for f in bench.faults if f not in opened])
        else:
            bench.add_fault(f"{part}=open")

    def _show(self, state: State) -> None:
        broken = {
            text.partition("=")[0] for text in state.faults if text.partition("=")[2].startswith("open")
        }
        for part, button in self.keys.items():
            press(button, part in broken)


class FaultChooser:
    """Any fault that the job can have, with its value; and a key to mend each one that is there."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._parts = fault_parts(session.bench.job)
        self._part = named([(_part_words(part), part) for part in self._parts], "What:")
        self._kind = named(_kind_words(next(iter(self._parts.values()))), "how:")
        self._number = widgets.FloatText(description="value:", tooltip="")
        self._unit = widgets.Label(tooltip="")
        self._other = named(["R", "C"], "other:")
        self._at = widgets.BoundedFloatText(
            value=0.5,
            min=0.0,
            max=1.0,
            step=0.1,
            description="at (0 near, 1 far):",
            tooltip="",
        )
        self._add = key("add this fault", self._add_fault)
        self._mend_all = key("mend all", lambda: session.do(lambda: session.bench.set_faults([])))
        self._present = row()
        self._nothing = widgets.Label("nothing", tooltip="")
        self._mends: list[widgets.Button] = []
        self._listed: tuple[str, ...] | None = None
        self.box = widgets.VBox(
            [
                row(
                    *(self._part, self._kind, self._number, self._unit, self._other, self._at, self._add),
                    label="Any fault:",
                ),
                row(self._present, self._mend_all, label="Broken now:"),
            ]
        )
        self.box.add_class("lk-group")
        self._part.observe(lambda _: self._offer_kinds(), "value")
        self._kind.observe(lambda _: self._offer_values(), "value")
        self._offer_kinds()
        session.watch(self._show)

    @property
    def _chosen(self) -> Kind:
        return self._parts[self._part.value][self._kind.value]

    def choose(self, part: str, kind: str, value: float | str | None = None) -> None:
        """Set the choices as a hand would, without adding the fault."""
        self._part.value, self._kind.value = part, kind
        if isinstance(value, str):
            self._other.value = value
        elif value is not None:
            self._number.value = value

    def _offer_kinds(self) -> None:
        self._kind.options = _kind_words(self._parts[self._part.value])
        self._offer_values()

    def _offer_values(self) -> None:
        if self._kind.value not in self._parts[self._part.value]:  # between two sets of options
            return
        kind = self._chosen
        run, _, name = self._part.value.partition(".")
        _display(kind.value == "number", self._number, self._unit)
        _display(kind.value == "conductor", self._other)
        _display(kind.placed, self._at)
        if kind.value == "number":
            self._number.value, self._unit.value = kind.default, kind.unit
        elif kind.value == "conductor":
            self._other.options = [c for c in self._session.bench.job.runs[run].conductors if c != name]

    def _add_fault(self) -> None:
        kind = self._chosen
        text = f"{self._part.value}={kind.name}"
        if kind.value == "number":
            text += f":{self._number.value:g}"
        elif kind.value == "conductor":
            text += f":{self._other.value}"
        if kind.placed and self._at.value != 0.5:
            text += f"@{self._at.value:g}"
        self._session.do(lambda: self._session.bench.add_fault(text))

    def _mend(self, place: int) -> None:
        present = self._session.bench.state.present
        if place < len(present):  # a second click on a key that is on its way out
            self._session.do(lambda: self._session.bench.clear_fault(present[place]))

    def _show(self, state: State) -> None:
        if state.faults == self._listed:
            return
        self._listed = state.faults
        job = self._session.bench.job
        # The keys stay and take the next fault's words, so that the one with the focus keeps it.
        while len(self._mends) < len(state.present):
            self._mends.append(key("", partial(self._mend, len(self._mends))))
        for button, fault in zip(self._mends, state.present, strict=False):
            button.description = f"mend {fault.where}.{fault.part}: {fault_words(fault, job)}"
        self._present.children = tuple(self._mends[: len(state.present)]) or (self._nothing,)
        self._mend_all.disabled = not state.present


def _kind_words(kinds: dict[str, Kind]) -> list[tuple[str, str]]:
    return [(kind.words, name) for name, kind in kinds.items()]


def _part_words(part: str) -> str:
    where, _, name = part.partition(".")
    return f"{PLACE_WORDS.get(where, f'{where} run')}: {name}"


def _display(on: bool, *shown: widgets.Widget) -> None:
    for one in shown:
        one.layout.display = None if on else "none"
