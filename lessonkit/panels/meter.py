"""The meter: two probes, volts with a high or a low input impedance, ohms on a dead circuit.

`meter_panel` stands alone beside a bench of its own; the bench panel has the same meter built in.
"""

from __future__ import annotations

from functools import partial
from html import escape

import ipywidgets as widgets

from lessonkit.bench.bench import Bench
from lessonkit.bench.meter import METER_OHM, Meter
from lessonkit.bench.state import State
from lessonkit.errors import LessonError
from lessonkit.job.calls import PLACE_WORDS
from lessonkit.panels.keys import key, named, press, row, shown
from lessonkit.panels.panel import Panel
from lessonkit.panels.session import Session

__all__ = ["MeterPart", "meter_panel"]

#: What each setting of the knob is called.
_SETTINGS = {"high": "volts, 10 MΩ input", "low": "volts, 3 kΩ input", "ohms": "ohms"}


class MeterPart:
    """A meter on the bench of a session; it measures again whenever the bench changes."""

    def __init__(
        self, session: Session, red: str = "air:R", black: str = "air:C", setting: str = "high"
    ) -> None:
        self._session = session
        self._meter = Meter(session.bench)
        nodes = [(_node_words(node), node) for node in self._meter.nodes()]
        self.red = named(nodes, "red probe:", red)
        self.black = named(nodes, "black probe:", black)
        self._setting = setting
        self.keys = {
            name: key(words, partial(self.turn, name), toggle=True) for name, words in _SETTINGS.items()
        }
        self.display = shown("", "lk-reading")
        self.box = widgets.VBox([row(self.red, self.black), row(*self.keys.values()), self.display])
        for probe in (self.red, self.black):
            probe.observe(lambda _: session.look(self._show), "value")
        session.watch(self._show)

    def turn(self, setting: str) -> None:
        """Turn the knob to `high`, `low` or `ohms`."""
        self._setting = setting
        self._session.look(self._show)

    def _show(self, state: State) -> None:
        for name, button in self.keys.items():
            press(button, name == self._setting)
        red, black = self.red.value, self.black.value
        try:
            reading = (
                self._meter.ohms(red, black)
                if self._setting == "ohms"
                else self._meter.volts(red, black, self._setting)
            )
            digits, words = str(reading), _reading_words(self._setting, red, black)
        except LessonError as refused:
            digits, words = "– – –", str(refused)
        self.display.value = (
            f'<div class="lk-display"><strong>{escape(digits)}</strong> <span>{escape(words)}</span></div>'
        )


def _reading_words(setting: str, red: str, black: str) -> str:
    where = f"from {_node_words(red)} to {_node_words(black)}"
    if setting == "ohms":
        return f"{where}, power off"
    return f"RMS {where}, input {METER_OHM[setting]:,.0f} Ω".replace(",000,000 Ω", " MΩ").replace(
        ",000 Ω", " kΩ"
    )


def _node_words(node: str) -> str:
    place, _, terminal = node.partition(":")
    words = {"GND": "metal", "XFMR": "transformer", "CC": "contactor coil", "RV": "valve coil"}
    return f"{PLACE_WORDS[place]} {words.get(terminal, terminal)}"


def meter_panel(
    bench: Bench, red: str = "air:R", black: str = "air:C", setting: str = "high"
) -> widgets.VBox:
    """Return a meter on a bench that a notebook has already."""
    session = Session(bench, 0.0)
    part = MeterPart(session, red, black, setting)
    return Panel(f"Meter on {bench.job.name}", [part.box], session)
