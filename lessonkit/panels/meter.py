"""The meter: two probes or a clamp, and a knob with everything that the bench's meter can do.

Volts, alternating at a high or a low input impedance or direct; ohms, capacitance and insulation on a dead
circuit, refused with the reason on a live one; amperes with a clamp around a wire or a cable.

`meter_panel` stands alone beside a bench of its own; the bench panel has the same meter built in.
"""

from __future__ import annotations

from functools import partial
from html import escape
from typing import Any

import ipywidgets as widgets

from lessonkit.bench.bench import Bench
from lessonkit.bench.meter import METER_OHM, Meter
from lessonkit.bench.reading import Reading
from lessonkit.bench.state import State
from lessonkit.errors import LessonError
from lessonkit.job.naming import node_words
from lessonkit.panels.keys import key, named, press, row, shown
from lessonkit.panels.panel import Panel
from lessonkit.panels.session import Session

__all__ = ["MeterPanel", "MeterPart", "meter_panel"]

#: What each setting of the knob is called.
_SETTINGS = {"high": "V, 10 MΩ", "low": "V, 3 kΩ", "ohms": "ohms"}
_TIPS = {"high": "volts: V, 10 MΩ input", "low": "volts: V, 3 kΩ input"}
#: The settings that are used less, in a list beside those keys.
_MORE = {
    "dc": "V direct",
    "clamp": "clamp A",
    "capacitance": "farads",
    "250 V": "MΩ, 250 V",
    "500 V": "MΩ, 500 V",
}
#: What each reading is, beside its digits.
_WHAT = {"high": "RMS", "low": "RMS", "dc": "direct", "clamp": "RMS"}


class MeterPart:
    """A meter on the bench of a session; it measures again whenever the bench changes.

    `box` is the meter; `more` lists the settings that are used less, for a row of their own.
    """

    def __init__(
        self, session: Session, red: str = "air:R", black: str | None = None, setting: str = "high"
    ) -> None:
        black = f"{red.partition(':')[0]}:C" if black is None else black
        self._session = session
        self._meter = Meter(session.bench)
        nodes = [(node_words(node), node) for node in self._meter.nodes()]
        self.red = named(nodes, "red:", red)
        self.black = named(nodes, "black:", black)
        self._setting = setting
        self.keys = {
            name: key(words, partial(self.turn, name), tip=_TIPS.get(name, ""), toggle=True)
            for name, words in _SETTINGS.items()
        }
        self.around = named([(_around_words(one), one) for one in _arounds(session.bench)], "around:")
        self.more = named([("more", ""), *((words, name) for name, words in _MORE.items())], "Meter, also:")
        self.more.value = setting if setting in _MORE else ""
        self.display = shown("", "lk-reading")
        self._probes = row(self.red, self.black, self.around, classes=["lk-probes"])
        self.box = widgets.VBox([self._probes, row(*self.keys.values()), self.display])
        self.box.add_class("lk-meter")
        self.red.observe(self._follow, "value")
        self.more.observe(lambda change: self.turn(change["new"] or self._setting), "value")
        for probe in (self.red, self.black, self.around):
            probe.observe(lambda _: session.look(self._show), "value")
        session.watch(self._show)

    def _follow(self, change: dict[str, Any]) -> None:
        """Let the black probe go to another place with the red one while it is held to C there."""
        was, now = (f"{change[key].partition(':')[0]}:C" for key in ("old", "new"))
        if self.black.value == was:
            self.black.value = now

    def turn(self, setting: str) -> None:
        """Turn the knob to a setting, such as `high`, `low`, `ohms` or `clamp`."""
        self._setting = setting
        self.more.value = setting if setting in _MORE else ""
        self._session.look(self._show)

    def _read(self, red: str, black: str) -> Reading:
        """Return what the meter reads in its present setting."""
        meter, setting = self._meter, self._setting
        if setting == "clamp":
            return meter.amps(self.around.value)
        if setting in METER_OHM:
            return meter.volts(red, black, setting)
        if setting.endswith(" V"):
            return meter.insulation(red, black, int(setting.removesuffix(" V")))
        reads = {"dc": meter.dc_volts, "ohms": meter.ohms, "capacitance": meter.capacitance}
        return reads[setting](red, black)

    def _show(self, state: State) -> None:
        for name, button in self.keys.items():
            press(button, name == self._setting)
        clamps = self._setting == "clamp"
        for choice, on in ((self.red, not clamps), (self.black, not clamps), (self.around, clamps)):
            choice.layout.display = None if on else "none"
        red, black = self.red.value, self.black.value
        try:
            digits, words = str(self._read(red, black)), _WHAT.get(self._setting, "power off")
            more = _around_words(self.around.value) if clamps else _probe_words(self._setting, red, black)
        except LessonError as refused:
            digits, words, more = "– – –", str(refused), ""
        self.reading = f"{digits} {words} {more}".rstrip()
        # Where the probes are stands above it; whoever hears the reading hears that too.
        self.display.value = (
            f'<div class="lk-display"><strong>{escape(digits)}</strong> {escape(words)} '
            f'<span class="lk-heard">{escape(more)}</span></div>'
        )


def _arounds(bench: Bench) -> tuple[str, ...]:
    """Return what a clamp goes around: conductors, cables, and the wires at fuses and coils."""
    return (*bench.state.amps, *bench.job.runs)


def _around_words(around: str) -> str:
    if around in ("thermostat", "outdoor"):
        return f"the whole cable of the {around} run"
    return around.replace(".", " run: ") if "." in around else node_words(around)


def _probe_words(setting: str, red: str, black: str) -> str:
    where = f"from {node_words(red)} to {node_words(black)}"
    if setting not in METER_OHM:
        return where
    ohms = f"{METER_OHM[setting]:,.0f} Ω".replace(",000,000 Ω", " MΩ").replace(",000 Ω", " kΩ")
    return f"{where}, input {ohms}"


class MeterPanel(Panel):
    """A meter by itself."""

    def __init__(self, name: str, part: MeterPart, session: Session) -> None:
        self.part = part
        super().__init__(name, [part.box, row(part.more)], session)

    def still(self) -> tuple[str, str]:
        """Return the reading as it is now."""
        return f"<p>{escape(self.part.reading)}</p>", self.part.reading


def meter_panel(
    bench: Bench, red: str = "air:R", black: str | None = None, setting: str = "high"
) -> MeterPanel:
    """Return a meter on a bench that a notebook has already.

    The black probe starts at C of the place where the red one is.
    """
    session = Session(bench, 0.0)
    part = MeterPart(session, red, black, setting)
    return MeterPanel(f"Meter on {bench.job.name}", part, session)
