"""Tables beside the wiring picture: equipment, coils, links, as HTML.

Written through the standard library's XML tools like the pictures, on paper of their own, so that they read
the same on a light page and on a dark one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from xml.etree.ElementTree import Element, SubElement, tostring

from lessonkit.bench.state import State
from lessonkit.draw.palette import FAINT, INK, PAPER

__all__ = ["equipment_html", "links_html", "table_html"]

_CELL = "padding:3px 10px;text-align:left;border-bottom:1px solid #c4c8cc;font-size:16px;line-height:1.35"


def table_html(caption: str, heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Return a table; a row whose second cell is not `off` is written in bold."""
    paper = f"border-collapse:collapse;background:{PAPER};color:{INK};width:100%"
    table = Element("table", {"style": paper})
    SubElement(
        table, "caption", {"style": "text-align:left;font-weight:bold;padding:4px 10px"}
    ).text = caption
    line = SubElement(SubElement(table, "thead"), "tr")
    for head in heads:
        SubElement(line, "th", {"scope": "col", "style": f"{_CELL};background:{FAINT}"}).text = head
    body = SubElement(table, "tbody")
    for row in rows:
        line = SubElement(body, "tr", {"style": f"background:{PAPER}"})
        bold = len(row) > 1 and row[1] not in ("off", "")
        for k, cell in enumerate(row):
            tag, more = ("th", {"scope": "row"}) if k == 0 else ("td", {})
            weight = ";font-weight:bold" if bold else ";font-weight:normal"
            SubElement(line, tag, {**more, "style": _CELL + weight}).text = cell
    return tostring(table, encoding="unicode", method="html")


def equipment_html(state: State) -> str:
    """Return what responds, with a mark that needs no colour."""
    rows = [(f"{'●' if words != 'off' else '○'} {name}", words) for name, words in state.responding.items()]
    return table_html("Equipment", ("", "responds"), rows)


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
