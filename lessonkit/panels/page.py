"""What a panel needs of the page around it: how it looks, and a page that listens.

A notebook has shortcuts of its own, and they fire while a key of a panel has the focus: `x` would cut the
cell with the panel in it. The page leaves a control alone that carries `data-lm-suppress-shortcuts`, an
attribute that widgets can't set. So an invisible mark in the panel brings a handler (`page.js`), which runs
the moment the mark appears, because an animation of no visible effect begins then. The same handler tells
screen readers which keys are pressed and what is new, keeps the focus where a key has gone, and passes a
click on a conductor in a picture on to the key that breaks it. A page may forbid handlers that stand in it;
for that page the same file is installed beside JupyterLab's own (`labextension/`), which runs it when a
mark appears.

The style (`page.css`) also holds the sentence that a panel shows when its kernel is gone.
"""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from xml.etree.ElementTree import Element, SubElement, tostring

from lessonkit.draw.palette import EDGE, FAINT, INK, OKABE_ITO, PAPER

__all__ = ["PANEL", "page_mark"]

PANEL = "lk-panel"
"""Class of the outermost box of every panel."""

LOST = (
    "This panel has lost its kernel, so its keys do nothing. Run the notebook again from its top "
    "(Run, Run All Cells): your answers stay, and the panel starts afresh."
)

_COLOURS = {"PAPER": PAPER, "INK": INK, "FAINT": FAINT, "EDGE": EDGE} | {
    name.upper(): colour for name, colour in OKABE_ITO.items()
}


@cache
def _style() -> str:
    text = _one_line("page.css")
    return re.sub(r"\b[A-Z]{3,}\b", lambda word: _COLOURS.get(word[0], word[0]), text)


@cache
def _one_line(name: str) -> str:
    """Return a file beside this room without its comments, as one line."""
    text = Path(__file__).with_name(name).read_text(encoding="utf-8")
    return " ".join(re.sub(r"/\*.*?\*/", "", text, flags=re.DOTALL).split())


def page_mark(name: str) -> str:
    """Return the invisible mark of a panel as HTML; `name` is what a screen reader calls the panel."""
    box = Element("div")
    SubElement(box, "style").text = _style()
    SubElement(
        box,
        "span",
        {
            "class": "lk-mark",
            "title": name,
            "onanimationstart": _one_line("page.js") + " lessonkitPanel(this)",
        },
    )
    SubElement(box, "div", {"class": "lk-told", "aria-live": "polite"})
    SubElement(box, "p", {"class": "lk-lost"}).text = LOST
    return tostring(box, encoding="unicode", method="html")
