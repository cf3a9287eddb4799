"""How a bench is looked at: a coil whose loop is followed, the ladder diagram, and a size for a projector."""

from __future__ import annotations

from collections.abc import Callable

import ipywidgets as widgets

from lessonkit.bench.state import State
from lessonkit.draw.image import svg_image_html
from lessonkit.draw.ladder import ladder_svg
from lessonkit.draw.loops import follow_names
from lessonkit.job.calls import PLACE_WORDS
from lessonkit.panels.keys import is_pressed, key, named, press, row, shown
from lessonkit.panels.session import Session

__all__ = ["ViewsPart"]


class ViewsPart:
    """A choice of what to follow, a key for the ladder diagram and one for the projector.

    `redraw` is called when what is followed changes, `enlarge` with whether the panel is to be large; `more`
    stands in the same row.
    """

    def __init__(
        self,
        session: Session,
        redraw: Callable[[State], None],
        enlarge: Callable[[bool], None],
        *more: widgets.Widget,
    ) -> None:
        self._session, self._redraw = session, redraw
        names = follow_names(session.bench.state)
        self.follow_choice = named([("nothing", ""), *((_words(of), of) for of in names)], "Follow:")
        self.ladder = key("ladder diagram", self._toggle_ladder, toggle=True)
        self.large = key(
            "projector", self._toggle_large, tip="projector: the picture as large as the page", toggle=True
        )
        self._enlarge = enlarge
        self.diagram = shown("", "lk-ladder")
        self.keys = row(self.follow_choice, self.ladder, self.large, *more)
        self.box = widgets.VBox([self.keys, self.diagram])
        self.box.add_class("lk-group")
        self.follow_choice.observe(lambda _: session.look(self._follow), "value")
        session.watch(self._show)

    @property
    def follow(self) -> str:
        """Return the coil, or the electronics, whose loop is lit; empty for none."""
        return str(self.follow_choice.value)

    def _follow(self, state: State) -> None:
        self._redraw(state)
        self._show(state)

    def _toggle_ladder(self) -> None:
        press(self.ladder, not is_pressed(self.ladder))
        self._session.look(self._show)

    def _toggle_large(self) -> None:
        press(self.large, not is_pressed(self.large))
        self._enlarge(is_pressed(self.large))

    def _show(self, state: State) -> None:
        job = self._session.bench.job
        on = is_pressed(self.ladder)
        # What isn't looked at costs nothing.
        self.diagram.value = svg_image_html(ladder_svg(state, job, self.follow)) if on else ""


def _words(of: str) -> str:
    place, _, name = of.partition(":")
    return f"{name.replace('-', ' ')} at the {PLACE_WORDS[place]}"
