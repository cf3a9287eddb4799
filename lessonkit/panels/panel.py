"""The outermost box of every panel."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import ipywidgets as widgets
from IPython.display import display

from lessonkit.draw.image import asleep_html
from lessonkit.panels.keys import shown
from lessonkit.panels.page import PANEL, page_mark
from lessonkit.panels.session import Session

__all__ = ["Panel"]


class Panel(widgets.VBox):
    """The outermost box of a panel. Without a page, it is a sentence.

    Shown in a notebook, it leaves a still picture as well, which a page hides while the panel is alive: it is
    what remains on paper, in an export, and the next day, when no kernel knows the panel any more. A panel
    about paper has no `session`.
    """

    def __init__(self, name: str, children: Sequence[Any], session: Session | None = None) -> None:
        self.panel_name = name
        if session is not None:
            self.session = session
        super().__init__([shown(page_mark(name)), *children])
        self.add_class(PANEL)
        if session is not None:
            session.show()

    def __repr__(self) -> str:
        """Return what a notebook shows where no widget can live."""
        return f"<{self.panel_name}: run this cell to use it.>"

    def still(self) -> tuple[str, str]:
        """Return what remains of the panel when it is gone: HTML, and the same in words."""
        return "", ""

    def _ipython_display_(self) -> None:
        display(super()._repr_mimebundle_(), raw=True)
        html, words = self.still()
        left = {"text/html": asleep_html(self.panel_name, html), "text/plain": words or repr(self)}
        display(left, raw=True)

    def close(self) -> None:
        """Take the panel off its bench and out of every page."""
        if "session" in vars(self):  # a panel that failed halfway is closed too, and one without a bench
            self.session.close()
        super().close()
