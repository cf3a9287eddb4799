"""The bench panel: calls, faults, the wiring, what responds, a meter, the links, and time.

    panel = lk.bench_panel("two-run")
    display(panel)

The state of the bench is drawn by pure functions (`draw.wiring`, `draw.tables`, `draw.scope`); this room only
puts keys around them. `show_bench` shows the same without keys, for reading where there is no browser.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from html import escape

import ipywidgets as widgets

from lessonkit.bench.bench import Bench
from lessonkit.bench.state import State
from lessonkit.draw.image import svg_image_html
from lessonkit.draw.tables import equipment_html, links_html
from lessonkit.draw.wiring import wiring_layers, wiring_svg
from lessonkit.draw.words import clock_words, state_words
from lessonkit.errors import require, require_finite
from lessonkit.job.calls import CALLS, SETTINGS
from lessonkit.job.faults import Fault
from lessonkit.job.model import Job
from lessonkit.panels.breaking import BreakKeys, FaultChooser
from lessonkit.panels.hands import HandsPart
from lessonkit.panels.keys import key, named, press, row, shown
from lessonkit.panels.meter import MeterPart
from lessonkit.panels.panel import Panel
from lessonkit.panels.scope import ScopePart
from lessonkit.panels.service import ServicePart
from lessonkit.panels.session import Session
from lessonkit.panels.views import ViewsPart
from lessonkit.studies.experiment import experiment

__all__ = ["BenchPanel", "bench_panel"]

_PASSES = (("nothing", 0.0), ("1 s", 1.0), ("5 s", 5.0), ("15 s", 15.0), ("1 min", 60.0))
_WAITS = (("1 s", 1.0), ("10 s", 10.0), ("1 min", 60.0), ("10 min", 600.0))


class BenchPanel(Panel):
    """A bench with keys around it.

    `bench` is the living bench; the parts are there for tests and for other panels. `living` is all that a
    click changes in the picture, the news and the tables, as one message; `behind` is the layer of the
    picture under it. `small` leaves out the scope, the table of the links, the list of all faults and what
    only a hand at the equipment does: a first panel to learn on.
    """

    def __init__(self, bench: Bench, after_s: float = 5.0, scope: bool = True, small: bool = False) -> None:
        self._small = small
        session = self.session = Session(bench, after_s)
        self.bench = bench
        self.calls = {
            call: key(call, partial(session.do, partial(bench.set_call, call)), toggle=True)
            for call in (SETTINGS if bench.job.thermostat.tells_satisfied else CALLS)
        }
        self.waits = {words: key(words, partial(session.wait, s), tip=f"wait {words}") for words, s in _WAITS}
        self.passes = named(_known_pass(after_s), "after each change pass:", after_s)
        self.passes.observe(lambda change: setattr(session, "after_s", change["new"]), "value")
        self.behind, self.living = shown("", "lk-still"), shown("", "lk-living")
        self.breaking, self.chooser = BreakKeys(session), FaultChooser(session)
        self.service, self.hands = ServicePart(session), HandsPart(session)
        self.meter = MeterPart(session)
        self.views = ViewsPart(session, self._show, self._enlarge, self.meter.more)
        self.scope = ScopePart(session, scope and not small)
        session.watch(self._show, first=True)
        top = widgets.Box([self.behind, self.living, self.meter.box])
        top.add_class("lk-top")
        super().__init__(
            f"Bench {bench.job.name}",
            [
                row(*self.calls.values(), label="Calls:"),
                top,
                row(*self.waits.values(), self.passes, label="Wait:"),
                *([] if small else [self.views.box]),
                self.breaking.box,
                *([] if small else [self.service.box, self.hands.box, self.chooser.box, self.scope.box]),
            ],
            session,
        )

    def still(self) -> tuple[str, str]:
        """Return the wiring picture as it is now, and its words."""
        state = self.bench.state
        drawn = wiring_svg(state, self.bench.job, simple=self._small, follow=self.views.follow)
        return svg_image_html(drawn), state_words(state, self.bench.job)

    def _enlarge(self, on: bool) -> None:
        (self.add_class if on else self.remove_class)("lk-projector")

    def _show(self, state: State) -> None:
        drawn = wiring_layers(state, self.bench.job, self._small, self.views.follow)
        self.behind.value = drawn.still
        news = _news(self.bench, state, self.session.refused)
        parts = {
            "drawn": drawn.living,
            "news": news,
            "equipment": equipment_html(state),
            "links": "" if self._small else links_html(state),
        }
        # One message: the page makes room for each and draws once. Empty lines part them (`page.js`).
        self.living.value = "\n\n".join(
            f'<div class="lk-{name}">{html}</div>' for name, html in parts.items()
        )
        for call, button in self.calls.items():
            press(button, call == state.call)


def _news(bench: Bench, state: State, refused: str) -> str:
    """Return the line that says what is going on."""
    called = " ".join(t for t in bench.job.call_terminals if t in state.called) or "no terminal"
    words = (
        f"After {clock_words(state.time_s)}: call {state.call} ({called}). The house gets {state.delivering}."
    )
    if bench.job.thermostat.holds_valve == "mode" and state.mode:
        words += f" The thermostat is set to {state.mode}."
    if state.waiting_s > 0 and "Y1" in state.called:
        words += f" The compressor waits another {clock_words(state.waiting_s)} (short-cycle delay)."
    if state.chatter:
        words += f" Chatter: {', '.join(state.chatter)}."
    if refused:
        return f"{escape(words)} <strong>✕ {escape(refused)}</strong>"
    return escape(words)


def _known_pass(after_s: float) -> list[tuple[str, float]]:
    known = {seconds: words for words, seconds in _PASSES}
    return [(words, s) for s, words in sorted({after_s: f"{after_s:g} s", **known}.items())]


def bench_panel(
    job: Job | str = "two-run",
    seed: int = 0,
    *,
    call: str = "off",
    faults: Iterable[Fault | str] | Fault | str = (),
    outdoor_c: float = 8.0,
    after_s: float = 5.0,
    scope: bool = True,
    small: bool = False,
    large: bool = False,
) -> BenchPanel:
    """Return a bench to work on in a notebook.

    Parameters: `job` is a job or its name; `seed` fixes noise; `call` and `faults` are there at the start,
    the faults first; `after_s` is how many seconds pass after each change; `scope` says whether the scope is
    on; `small` leaves out all that a first lesson does not need; `large` begins at the size for a projector.
    Show it with `display(panel)`.
    """
    require(0 <= require_finite("after_s", after_s) <= 3600, "after_s", after_s, "from 0 to 3600 seconds")
    tried = experiment(job, call, faults, 0.0, after_s, seed=seed, outdoor_c=outdoor_c)
    panel = BenchPanel(tried.bench(), float(after_s), scope, small)
    if large:
        panel.views.large.click()
    return panel
