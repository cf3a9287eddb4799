"""A hidden fault on a panel: a covered picture, a meter, hands, and a clock in minutes.

    display(lk.hidden_fault_panel("earth-return", seed=4))
    display(lk.hidden_fault_panel("two-run", class_view=True))

Alone one hides a fault by its seed and looks for it.  In front of a class the instructor hides one in two
clicks (where, then what), counts hands for what the class expects, measures what it asks for, and reveals.
Afterwards both stories stand side by side, one's own and the best plan's, the picture goes through one's
own story uncovered, step by step, and scope and meter lie beside the bench as it was left.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from html import escape

import ipywidgets as widgets

from lessonkit.draw.image import svg_image_html
from lessonkit.draw.tables import table_html
from lessonkit.draw.wiring import wiring_svg
from lessonkit.draw.words import state_words
from lessonkit.errors import LessonError
from lessonkit.job.calls import PLACE_WORDS
from lessonkit.job.faults import Fault, fault_parts, parse_fault, single_faults
from lessonkit.job.model import RUN_ENDS, Job
from lessonkit.job.naming import fault_words, node_words
from lessonkit.panels.keys import key, named, press, row, shown
from lessonkit.panels.meter import MeterPart
from lessonkit.panels.panel import Panel
from lessonkit.panels.scope import ScopePart
from lessonkit.panels.session import Session
from lessonkit.studies.best_plan import NOTHING, part_of
from lessonkit.studies.commissioning import calls_of
from lessonkit.studies.hidden import HiddenFault, hidden_fault, wrong_words

__all__ = ["HiddenFaultPanel", "hidden_fault_panel"]

_WORKING = "The best plan is being worked out, which takes some seconds (in a browser page a minute)."
_METER = {"volts": "volts", "direct volts": "dc_volts", "ohms": "ohms"}


class HiddenFaultPanel(Panel):
    """A hidden fault with keys around it.

    `hidden` is the one that is looked for now. The keys are there for tests: `calls`, `reads`, `places`,
    `kinds` (after a place was chosen), `hands`, and single ones by their names.
    """

    def __init__(self, hidden: HiddenFault, seed: int = 0, class_view: bool = False) -> None:
        self.job, self.hidden, self._seed, self._class = hidden.job, hidden, seed, class_view
        self._step, self._last, self._refused = 0, "", ""
        self.drawn, self.living = shown("", "lk-drawn"), shown("", "lk-living")
        self.story = shown("")
        self._hiding()
        self._looking()
        self._counting()
        self._after()
        self.instruments = widgets.VBox([])  # scope and meter, once all is over
        self.instruments.add_class("lk-group")
        top = widgets.Box([self.drawn, self.living])
        top.add_class("lk-top")
        super().__init__(
            f"Hidden fault of {self.job.name}",
            [
                self.hide_box,
                top,
                self.look_box,
                self.count_box,
                self.after_box,
                self.instruments,
                self.story,
            ],
            Session(hidden.bench, 0.0),
        )
        if class_view:
            self.add_class("lk-projector")
        self._show()

    # ---- the keys ----

    def _hiding(self) -> None:
        self.another = key("hide another fault", lambda: self._do(self._draw_another))
        wheres = (*PLACE_WORDS, *RUN_ENDS)
        self.places = {
            where: key(
                PLACE_WORDS.get(where, f"{where} run"),
                partial(self._offer, where),
                tip=f"hide a fault: {PLACE_WORDS.get(where, f'{where} run')}",
            )
            for where in wheres
        }
        self.kinds: dict[str, widgets.Button] = {}
        self._kind_row = row(label="Hide:")
        self._kind_row.layout.display = "none"
        self.hide_box = widgets.VBox(
            [row(self.another, *self.places.values(), label="Hide a fault:"), self._kind_row]
        )
        self.hide_box.add_class("lk-group")

    def _looking(self) -> None:
        self.calls = {
            call: key(call, partial(self._act, partial(self._call, call)), toggle=True)
            for call in calls_of(self.job)
        }
        self._nodes = self.hidden.meter.nodes()
        nodes = [(node_words(node), node) for node in self._nodes]
        self.red, self.black = named(nodes, "red:", "out:R"), named(nodes, "black:", "out:C")
        self.reads = {
            words: key(words, partial(self._act, self._reading(name))) for words, name in _METER.items()
        }
        self.display = shown("", "lk-reading")
        self.power = key(
            "power", lambda: self._act(self._switch), tip="power: the disconnects are closed", toggle=True
        )
        ends = [
            (f"{run} {name} at the {PLACE_WORDS[place]}", f"{place}:{run}.{name}")
            for run, cable in self.job.runs.items()
            for name in cable.conductors
            for place in RUN_ENDS[run]
        ]
        self.end = named(ends, "wire:")
        self.lift = key("lift it", lambda: self._act(partial(self._wire, "lift")))
        self.put_back = key("put it back", lambda: self._act(partial(self._wire, "put_back")))
        self.part = named([(_part_words(part), part) for part in fault_parts(self.job)], "part:")
        self.replace = key(
            "replace this part", lambda: self._act(lambda: self.hidden.replace(self.part.value))
        )
        self.give_up = key("reveal" if self._class else "give up", lambda: self._act(self.hidden.give_up))
        self.look_box = widgets.VBox(
            [
                row(*self.calls.values(), label="Calls:"),
                row(self.red, self.black, *self.reads.values(), label="Meter:"),
                self.display,
                row(self.power, self.end, self.lift, self.put_back, label="Hands:"),
                row(self.part, self.replace, self.give_up, label="The fault is:"),
            ]
        )
        self.look_box.add_class("lk-group")

    def _counting(self) -> None:
        """Boxes for a show of hands, for a class."""
        self.votes: dict[str, widgets.BoundedIntText] = {}
        self._vote_row = row(label="Hands up for:")
        self.count_box = widgets.VBox([self._vote_row])
        self.count_box.add_class("lk-group")
        self.count_box.layout.display = None if self._class else "none"
        self._offer_votes()

    def _after(self) -> None:
        self.back = key("one step back", lambda: self._turn(-1))
        self.forward = key("one step on", lambda: self._turn(1))
        self.after_box = row(self.back, self.forward, label="The story again:")

    # ---- what the keys do ----

    def _do(self, act: Callable[[], object]) -> None:
        self._refused = ""
        try:
            act()
        except LessonError as error:
            self._refused = str(error)
        self._show()

    def _act(self, act: Callable[[], object]) -> None:
        self._last = ""
        self._do(act)

    def _reading(self, name: str) -> Callable[[], object]:
        def read() -> None:
            reading = getattr(self.hidden, name)(self.red.value, self.black.value)
            self._last = f"{reading} from {node_words(self.red.value)} to {node_words(self.black.value)}"

        return read

    def _call(self, call: str) -> None:
        self.hidden.call(call)

    def _switch(self) -> None:
        self.hidden.power(not self.hidden.bench.powered)

    def _wire(self, what: str) -> None:
        place, _, conductor = self.end.value.partition(":")
        getattr(self.hidden, what)(conductor, place)

    def _draw_another(self) -> None:
        self._seed += 1
        self._hide(hidden_fault(self.job, self._seed))

    def _offer(self, where: str) -> None:
        """Show what can be wrong at a place, which the next click hides."""
        faults = [fault for fault in single_faults(self.job) if fault.where == where]
        self.kinds = {
            str(fault): key(_fault_words(fault, self.job), partial(self._hide_this, str(fault)))
            for fault in faults
        }
        self._kind_row.children = (self._kind_row.children[0], *self.kinds.values())
        self._kind_row.layout.display = None

    def _hide_this(self, fault: str) -> None:
        self._do(lambda: self._hide(hidden_fault(self.job, 0, parse_fault(fault, self.job))))

    def _hide(self, hidden: HiddenFault) -> None:
        """Begin again with another fault; what was offered goes, so that nobody reads it."""
        self._take(hidden)
        self.kinds = {}
        self._kind_row.children = self._kind_row.children[:1]
        self._kind_row.layout.display = "none"
        self._offer_votes()

    def _take(self, hidden: HiddenFault) -> None:
        """Put another hidden fault under the keys."""
        self.session.close()
        self.hidden, self.session = hidden, Session(hidden.bench, 0.0)
        self._step, self._last, self._refused = 0, "", ""
        self.instruments.children = ()

    def _offer_votes(self) -> None:
        if not self._class:
            return
        self.votes = {
            part: widgets.BoundedIntText(
                value=0, min=0, max=99, description=_part_words(part), tooltip="", layout={"width": "auto"}
            )
            for part in self.hidden.choices()
        }
        self._vote_row.children = (self._vote_row.children[0], *self.votes.values())

    def _offer_points(self) -> None:
        """Let the probes touch the loose ends that there are now, and no others."""
        if (nodes := self.hidden.meter.nodes()) == self._nodes:
            return
        self._nodes = nodes
        for probe, usual in ((self.red, "out:R"), (self.black, "out:C")):
            kept = probe.value if probe.value in nodes else usual
            probe.options = [(node_words(node), node) for node in nodes]
            probe.value = kept

    def _turn(self, by: int) -> None:
        last = len(self.hidden.moments) - 1
        self._step = min(max(self._step + by, 0), last)
        self._show()

    # ---- what is shown ----

    @property
    def told(self) -> bool:
        """Tell whether the fault may be told."""
        return self.hidden.over

    def _waiting(self) -> str:
        """Return what is said where all is over and nothing may be told yet."""
        return ""

    def _lay_instruments(self) -> None:
        """Lay scope and meter beside the uncovered bench; what they show costs no minutes any more."""
        job, bench = self.job, self.hidden.bench
        bench.live(2 * max((job.runs[run].link.interval_s for run in job.links), default=0.0))
        scope = ScopePart(self.session)
        self.instruments.children = (MeterPart(self.session, "out:R").box, scope.box)

    def _show(self) -> None:
        over, bench = self.hidden.over, self.hidden.bench
        told = over and self.told
        self._offer_points()
        if told and not self.instruments.children:
            self._lay_instruments()
        if told and "best_plan" not in vars(self.hidden):
            self.living.value = f'<div class="lk-news">{_WORKING}</div>'
        state = self.hidden.moments[self._step] if told else bench.state
        self.drawn.value = svg_image_html(wiring_svg(state, self.job, covered=not told))
        news = self._news()
        self.living.value = f'<div class="lk-news">{news}</div>'
        self.display.value = f'<div class="lk-display">{escape(self._last)}</div>' if self._last else ""
        for call, button in self.calls.items():
            press(button, call == bench.call)
        press(self.power, bench.powered)
        for control in (*self.calls.values(), *self.reads.values(), self.power, self.lift, self.put_back):
            control.disabled = over
        self.replace.disabled = self.give_up.disabled = over
        self.back.disabled = not told or self._step == 0
        self.forward.disabled = not told or self._step == len(self.hidden.moments) - 1
        self.after_box.layout.display = None if told else "none"
        self.story.value = self._told() if told else ""

    def _news(self) -> str:
        hidden = self.hidden
        if hidden.over and not self.told:
            words = self._waiting()
        elif hidden.over:
            entry = hidden.entries[self._step]
            words = (
                f"It was {_fault_words(hidden.fault, self.job)} ({hidden.fault}). "
                f"{_sentence(str(hidden.score))} "
                f"Step {self._step + 1} of {len(hidden.entries)}: {entry.act}: {entry.shown}."
            )
        else:
            complaint = hidden.complaint or NOTHING
            words = f"Complaint: {complaint}. {hidden.minutes:g} min, {wrong_words(hidden.wrong_parts)}."
            if len(hidden.entries) > 1:  # the first is the complaint itself
                last = hidden.entries[-1]
                words += f" {_sentence(f'{last.act}: {last.shown}')}"
        if self._refused:
            return f"{escape(words)} <strong>✕ {escape(self._refused)}</strong>"
        return escape(words)

    def _told(self) -> str:
        """Return both stories as tables, and how the class has voted."""
        hidden, heads = self.hidden, ("minutes", "what was done", "what it showed")
        tables = []
        if self._class:
            right = part_of(hidden.fault)
            votes = [
                (("✓ " if part in right else "") + _part_words(part), str(box.value))
                for part, box in self.votes.items()
            ]
            tables.append(table_html("Hands up", ("part", "hands"), votes))
        for title, entries in (("This story", hidden.entries), ("The best plan", hidden.best_plan)):
            rows = [(f"{entry.minutes:g}", entry.act, entry.shown) for entry in entries]
            tables.append(table_html(title, heads, rows))
        return "".join(tables)

    def still(self) -> tuple[str, str]:
        """Return the covered picture as it is now, and its words; the fault only when all is over."""
        covered = not (self.hidden.over and self.told)
        state = self.hidden.bench.state
        words = state_words(state, self.job, covered)
        return svg_image_html(wiring_svg(state, self.job, covered)), f"{words} {self._plain_news()}"

    def _plain_news(self) -> str:
        return f"Complaint: {self.hidden.complaint or NOTHING}."


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}."


def _part_words(part: str) -> str:
    where, _, name = part.partition(".")
    return f"{PLACE_WORDS.get(where, f'{where} run')}: {name}"


def _fault_words(fault: Fault, job: Job) -> str:
    return f"{fault.part} {fault_words(fault, job)}"


def hidden_fault_panel(
    job: Job | str = "earth-return",
    seed: int = 0,
    *,
    fault: Fault | str | None = None,
    class_view: bool = False,
) -> HiddenFaultPanel:
    """Return a hidden fault to look for in a notebook.

    Parameters: `job` is a job, its name or its file; `seed` draws the fault, or `fault` names it;
    `class_view` adds boxes for a show of hands. Show it with `display(panel)`.
    """
    return HiddenFaultPanel(hidden_fault(job, seed, fault), seed, class_view)
