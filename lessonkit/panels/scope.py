"""The scope beside the bench: the last frame of a link where its receiver sees it."""

from __future__ import annotations

import ipywidgets as widgets

from lessonkit.bench.bench import Bench
from lessonkit.bench.state import State
from lessonkit.draw.frames_view import FrameView, last_frame
from lessonkit.draw.image import svg_image_html
from lessonkit.draw.scope import scope_svg, scope_words
from lessonkit.errors import BadParameter
from lessonkit.job.calls import PLACE_WORDS
from lessonkit.job.model import RUN_ENDS
from lessonkit.panels.keys import key, named, press, row, shown
from lessonkit.panels.panel import Panel
from lessonkit.panels.session import Session

__all__ = ["ScopePanel", "ScopePart", "scope_panel"]


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
        self.living = shown("", "lk-living")
        screen = widgets.Box([self.living])
        screen.add_class("lk-scope")
        self.box = widgets.VBox([row(self.power, self.choice), screen] if links else [])
        self.box.add_class("lk-group")
        self.choice.observe(lambda _: session.look(self._show), "value")
        session.watch(self._show)

    def _toggle(self) -> None:
        self._on = not self._on
        self._session.look(self._show)

    def _show(self, state: State) -> None:
        press(self.power, self._on)
        view = self._view() if self._on else None
        self.living.value = "" if view is None else f'<div class="lk-drawn">{scope_svg(view)}</div>'

    def _view(self) -> FrameView | None:
        run, way = self.choice.value
        return last_frame(self._session.bench, run, way) if run else None

    def still(self) -> tuple[str, str]:
        """Return the screen as it is now, and its words."""
        view = self._view()
        return (svg_image_html(scope_svg(view)), scope_words(view)) if view else ("", "")


class ScopePanel(Panel):
    """A scope by itself."""

    def __init__(self, bench: Bench) -> None:
        session = Session(bench, 0.0)
        self.part = ScopePart(session)
        super().__init__(f"Scope on {bench.job.name}", [self.part.box], session)

    def still(self) -> tuple[str, str]:
        """Return the screen as it is now, and its words."""
        return self.part.still()


def scope_panel(bench: Bench) -> ScopePanel:
    """Return a scope on a bench that a notebook has already."""
    if not bench.job.links:
        raise BadParameter("bench", bench.job.name, "a bench whose job has a link, such as two-run")
    return ScopePanel(bench)
