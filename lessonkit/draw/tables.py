"""Tables beside the wiring picture: equipment, coils, links, as HTML.

Written through the standard library's XML tools; how they look is the page's affair (`panels/page.css`).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache
from xml.etree.ElementTree import Element, SubElement, tostring

from lessonkit.bench.state import State

__all__ = ["equipment_html", "links_html", "table_html"]


def table_html(
    caption: str, heads: Sequence[str], rows: Iterable[Sequence[str]], *, bold: bool = True
) -> str:
    """Return a table; with `bold`, a row whose second cell is not `off` is written in bold.

    A circle before a name is for the eye alone: what it says is in the second cell.
    """
    return _table(caption, tuple(heads), tuple(map(tuple, rows)), bold)


@lru_cache(maxsize=64)  # what responds is after most clicks what responded before
def _table(caption: str, heads: tuple[str, ...], rows: tuple[tuple[str, ...], ...], bold: bool) -> str:
    # Roles in words: a page may lay rows out in columns, and they stay rows to a screen reader.
    table = Element("table", {"class": "lk-table", "role": "table"})
    SubElement(table, "caption").text = caption
    line = SubElement(SubElement(table, "thead", {"role": "rowgroup"}), "tr", {"role": "row"})
    for head in heads:
        SubElement(line, "th", {"scope": "col", "role": "columnheader"}).text = head
    body = SubElement(table, "tbody", {"role": "rowgroup"})
    for row in rows:
        does = bold and len(row) > 1 and row[1] not in ("off", "")
        line = SubElement(body, "tr", {"role": "row", **({"class": "lk-does"} if does else {})})
        for k, cell in enumerate(row):
            if k:
                SubElement(line, "td", {"role": "cell"}).text = cell
                continue
            name = SubElement(line, "th", {"scope": "row", "role": "rowheader"})
            if cell[:1] in ("●", "○"):
                circle = SubElement(name, "span", {"aria-hidden": "true"})
                circle.text, circle.tail = cell[:2], cell[2:]
            else:
                name.text = cell
    return tostring(table, encoding="unicode", method="html")


def equipment_html(state: State) -> str:
    """Return what responds, with a mark that needs no colour."""
    rows = [(f"{'●' if words != 'off' else '○'} {name}", words) for name, words in state.responding.items()]
    return table_html("Equipment", ("equipment", "responds"), rows)


def links_html(state: State) -> str:
    """Return how each link is doing; nothing for a job without links."""
    if not state.links:
        return ""
    rows = []
    for run, link in state.links.items():
        outputs = " ".join(sorted(link.outputs)) or "nothing"
        rows.append(
            (
                run,
                link.state,
                f"{link.sent} / {link.accepted} / {link.replies}",
                f"{link.odds:.0%} / {link.reply_odds:.0%}",
                outputs,
            )
        )
    heads = ("link", "state", "sent / heard / replies", "frames, replies get through", "relays hold")
    return table_html("Links", heads, rows)
