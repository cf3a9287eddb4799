"""The scope beside the bench: the last frame of a link where its receiver sees it."""

from __future__ import annotations

import ipywidgets as widgets

from lessonkit.bench.bench import Bench
from lessonkit.bench.state import State
from lessonkit.draw.frames_view import last_frame
from lessonkit.draw.scope import scope_svg
from lessonkit.errors import BadParameter
from lessonkit.job.calls import PLACE_WORDS
from lessonkit.job.model import RUN_ENDS
from lessonkit.panels.keys import key, named, press, row, shown
from lessonkit.panels.panel import Panel
from lessonkit.panels.session import Session

__all__ = ["ScopePart", "scope_panel"]


class ScopePart:
    """A scope on the links of a session's bench; off, it costs nothing."""

    def __init__(self, session: Session, on: bool = True) -> None:
        self._session, self._on = session, on
        links = session.bench.job.links
        frames = [
            (f"{run} run, {words} at the {PLACE_WORDS[RUN_ENDS[run][end]]}", (run, way))
            for run in reversed(links)
            for way, words, end in (("down", "frame", 1), ("up", "reply", 0))
        ]
        self.power = key("scope", self._toggle, toggle=True)
        self.choice = named(frames or [("this job has no link", ("", ""))], "Look at:")
        self.picture = shown("", "lk-picture")
        self.box = widgets.VBox([row(self.power, self.choice), self.picture] if links else [])
        self.choice.observe(lambda _: session.look(self._show), "value")
        session.watch(self._show)

    def _toggle(self) -> None:
        self._on = not self._on
        self._session.look(self._show)

    def _show(self, state: State) -> None:
        press(self.power, self._on, "scope on" if self._on else "scope off")
        if not self._on or not self.choice.value[0]:
            self.picture.value = ""
            return
        run, way = self.choice.value
        self.picture.value = scope_svg(last_frame(self._session.bench, run, way))


def scope_panel(bench: Bench) -> widgets.VBox:
    """Return a scope on a bench that a notebook has already."""
    if not bench.job.links:
        raise BadParameter("bench", bench.job.name, "a bench whose job has a link, such as two-run")
    session = Session(bench, 0.0)
    return Panel(f"Scope on {bench.job.name}", [ScopePart(session).box], session)
