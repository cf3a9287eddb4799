"""The outermost box of every panel."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import ipywidgets as widgets

from lessonkit.panels.keys import shown
from lessonkit.panels.page import PANEL, page_mark
from lessonkit.panels.session import Session

__all__ = ["Panel"]


class Panel(widgets.VBox):
    """The outermost box of a panel. Without a page, it is a sentence."""

    def __init__(self, name: str, children: Sequence[Any], session: Session) -> None:
        self.panel_name, self.session = name, session
        super().__init__([shown(page_mark(name)), *children])
        self.add_class(PANEL)
        session.show()

    def __repr__(self) -> str:
        """Return what a notebook shows where no widget can live."""
        return f"<{self.panel_name}: run this cell to use it.>"
