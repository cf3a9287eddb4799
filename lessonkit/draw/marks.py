"""Marks for faults: what is wrong with a conductor, drawn where it sits.

Each kind has a shape of its own (a gap with a cross, a zigzag, a bridge, an earth symbol, crossing ends, a
jagged line) besides the fault colour, and its words stand beside it.
"""

from __future__ import annotations

from lessonkit.draw.grid import Layout
from lessonkit.draw.looks import Wire, fault_words
from lessonkit.draw.palette import LOOKS, PAPER
from lessonkit.draw.svg import Sheet, text_width
from lessonkit.faults import Fault

__all__ = ["cross", "earth_symbol", "mark_wire"]

_FAULT = LOOKS["faulted"]


def cross(sheet: Sheet, x: float, y: float, r: float = 7.0) -> None:
    """Draw the cross that says: here."""
    sheet.circle(x, y, r + 5, fill=PAPER, stroke=_FAULT.colour, stroke_width=2.5)
    sheet.line(x - r * 0.7, y - r * 0.7, x + r * 0.7, y + r * 0.7, stroke=_FAULT.colour, stroke_width=3.5)
    sheet.line(x - r * 0.7, y + r * 0.7, x + r * 0.7, y - r * 0.7, stroke=_FAULT.colour, stroke_width=3.5)


def earth_symbol(sheet: Sheet, x: float, y: float, colour: str) -> None:
    """Draw the symbol for grounded metal, hanging from y."""
    for k, half in enumerate((11.0, 7.0, 3.0)):
        sheet.line(x - half, y + 5 * k, x + half, y + 5 * k, stroke=colour, stroke_width=2.5)


def mark_wire(sheet: Sheet, layout: Layout, wire: Wire, y: float) -> None:
    """Draw every fault of a conductor at its place along the run."""
    left, right = layout.wire_span(wire.run, wire.conductor)
    own = [fault for fault in wire.faults if fault.part == wire.conductor]
    for k, fault in enumerate(own):
        shift = 26.0 * (k - (len(own) - 1) / 2)
        x = left + (right - left) * min(max(fault.at, 0.12), 0.88) + shift
        _mark(sheet, layout, fault, x, y)
        words = _short(fault, layout)
        wide = text_width(words, bold=True)
        if x + 17 + wide < right - 10:
            sheet.text(x + 17, y + 6, words, bold=True, halo=True)
        elif x - 17 - wide > left + 10:
            sheet.text(x - 17, y + 6, words, anchor="end", bold=True, halo=True)
        else:
            beside = y + 30 if wire.conductor == "earth" else y - 16
            sheet.text((left + right) / 2, beside, words, anchor="middle", bold=True, halo=True)


def _short(fault: Fault, layout: Layout) -> str:
    """Return words that fit beside a mark."""
    if fault.kind == "resistance":
        return f"{fault.value:g} Ω"
    if fault.kind == "earth":
        return "to metal"
    if fault.kind == "noise":
        return f"noise {fault.value:g} V"
    if fault.kind == "swapped":
        return f"with {fault.value}"
    return fault_words(fault, layout.job)


def _mark(sheet: Sheet, layout: Layout, fault: Fault, x: float, y: float) -> None:
    colour = _FAULT.colour
    if fault.kind in ("open", "swapped"):
        cross(sheet, x, y)
    elif fault.kind in ("resistance", "noise"):
        step, up = (5.0, 8.0) if fault.kind == "resistance" else (3.0, 11.0)
        teeth = [(x + (k - 2.5) * step, y + (up if k % 2 else -up)) for k in range(6)]
        points = [(x - 3 * step, y), *teeth, (x + 3 * step, y)]
        sheet.rect(x - 3 * step - 2, y - 12, 6 * step + 4, 24, fill=PAPER)
        sheet.path(points, stroke=colour, stroke_width=3)
    elif fault.kind == "short":
        to_y = layout.y(str(fault.value))
        sheet.line(x, y, x, to_y, _FAULT)
        for end in (y, to_y):
            sheet.circle(x, end, 6, fill=colour)
    elif fault.kind == "earth":
        sheet.line(x, y, x, layout.ground_y - 2, _FAULT)
        sheet.circle(x, y, 6, fill=colour)
        earth_symbol(sheet, x, layout.ground_y - 2, colour)
