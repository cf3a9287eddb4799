"""The scope beside the bench: the last frame of a link where its receiver sees it."""

from __future__ import annotations

import ipywidgets as widgets

from lessonkit.bench import Bench
from lessonkit.calls import PLACE_WORDS
from lessonkit.draw.frames_view import last_frame
from lessonkit.draw.scope import scope_svg
from lessonkit.errors import BadParameter
from lessonkit.job import RUN_ENDS
from lessonkit.panels.desk import Desk
from lessonkit.panels.keys import key, named, press, row, shown
from lessonkit.state import State

__all__ = ["ScopePart", "scope_panel"]


class ScopePart:
    """A scope on the links of a desk's bench; off, it costs nothing."""

    def __init__(self, desk: Desk, on: bool = True) -> None:
        self._desk, self._on = desk, on
        links = desk.bench.job.links
        frames = [
            (f"{run} run, {words} at the {PLACE_WORDS[RUN_ENDS[run][end]]}", (run, way))
            for run in reversed(links)
            for way, words, end in (("down", "frame", 1), ("up", "reply", 0))
        ]
        self.power = key("scope", self._toggle, toggle=True)
        self.choice = named(frames or [("this job has no link", ("", ""))], "Look at:")
        self.picture = shown("", "lk-picture")
        self.box = widgets.VBox([row(self.power, self.choice), self.picture] if links else [])
        self.choice.observe(lambda _: desk.look(self._show), "value")
        desk.watch(self._show)

    def _toggle(self) -> None:
        self._on = not self._on
        self._desk.look(self._show)

    def _show(self, state: State) -> None:
        press(self.power, self._on, "scope on" if self._on else "scope off")
        if not self._on or not self.choice.value[0]:
            self.picture.value = ""
            return
        run, way = self.choice.value
        self.picture.value = scope_svg(last_frame(self._desk.bench, run, way, points_per_bit=32))


def scope_panel(bench: Bench) -> widgets.VBox:
    """Return a scope on a bench that a notebook has already."""
    from lessonkit.panels.bench import Panel

    if not bench.job.links:
        raise BadParameter("bench", bench.job.name, "a bench whose job has a link, such as two-run")
    desk = Desk(bench, 0.0)
    return Panel(f"Scope on {bench.job.name}", [ScopePart(desk).box], desk)
