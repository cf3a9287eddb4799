"""Marks for faults: what is wrong with a conductor, drawn where it sits.

Each kind has a shape of its own (a gap with a cross, a zigzag, a bridge, an earth symbol, crossing ends, a
jagged line) besides the fault colour, and its words stand beside it.
"""

from __future__ import annotations

from dataclasses import dataclass

from lessonkit.draw.grid import Grid
from lessonkit.draw.looks import Conductor
from lessonkit.draw.palette import LOOKS, PAPER
from lessonkit.draw.svg import Canvas, text_width
from lessonkit.job.faults import Fault
from lessonkit.job.naming import fault_words

__all__ = ["FaultMark", "cross", "earth_symbol", "mark_conductor", "fault_marks"]

_FAULT = LOOKS["faulted"]


def cross(canvas: Canvas, x: float, y: float, r: float = 7.0) -> None:
    """Draw the cross that says: here."""
    canvas.circle(x, y, r + 5, fill=PAPER, stroke=_FAULT.colour, stroke_width=2.5)
    canvas.line(x - r * 0.7, y - r * 0.7, x + r * 0.7, y + r * 0.7, stroke=_FAULT.colour, stroke_width=3.5)
    canvas.line(x - r * 0.7, y + r * 0.7, x + r * 0.7, y - r * 0.7, stroke=_FAULT.colour, stroke_width=3.5)


def earth_symbol(canvas: Canvas, x: float, y: float, colour: str) -> None:
    """Draw the symbol for grounded metal, hanging from y."""
    for k, half in enumerate((11.0, 7.0, 3.0)):
        canvas.line(x - half, y + 5 * k, x + half, y + 5 * k, stroke=colour, stroke_width=2.5)


@dataclass(frozen=True)
class FaultMark:
    """Where a fault is drawn: on its conductor at (x, y), and over to `to_y` if it touches something."""

    fault: Fault
    x: float
    y: float
    to_y: float

    def crosses(self, y: float) -> bool:
        """Return whether its line goes through, or ends on, the row at y."""
        return self.to_y != self.y and min(self.y, self.to_y) - 12 <= y <= max(self.y, self.to_y) + 12


def fault_marks(grid: Grid, conductor: Conductor) -> tuple[FaultMark, ...]:
    """Return the marks of a conductor's own faults, at their places along the run."""
    left, right = grid.conductor_span(conductor.run, conductor.name)
    y = grid.conductor_y(conductor.name)
    own = [fault for fault in conductor.faults if fault.part == conductor.name]
    found = []
    for k, fault in enumerate(own):
        to_y = grid.y(str(fault.value)) if fault.kind == "short" else y
        if fault.kind == "earth":
            to_y = grid.ground_y
        x = left + (right - left) * min(max(fault.at, 0.12), 0.88) + 26.0 * (k - (len(own) - 1) / 2)
        found.append(FaultMark(fault, _clear_of_words(grid, conductor.run, x, y, to_y), y, to_y))
    return tuple(found)


def _clear_of_words(grid: Grid, run: str, x: float, y: float, to_y: float) -> float:
    """Return x, or where a line passes the words about a link beside them: there is room along the boards."""
    if not grid.is_link(run):
        return x
    top, bottom = grid.board_rows()
    if max(y, to_y) < top or min(y, to_y) > bottom - 20:
        return x
    left, right = grid.signal_span(run)
    return left + 7 if x - left < right - x else right - 7


def mark_conductor(canvas: Canvas, grid: Grid, conductor: Conductor) -> None:
    """Draw every fault of a conductor at its place along the run."""
    left, right = grid.conductor_span(conductor.run, conductor.name)
    for mark in fault_marks(grid, conductor):
        x, y = mark.x, mark.y
        _draw(canvas, mark)
        words = _short(mark.fault, grid)
        wide = text_width(words, bold=True)
        # A swapped conductor leaves its row before the end.
        if x + 17 + wide < right - (40 if mark.fault.kind == "swapped" else 6):
            canvas.text(x + 17, y + 6, words, bold=True, halo=True)
        elif x - 17 - wide > left + 6:
            canvas.text(x - 17, y + 6, words, anchor="end", bold=True, halo=True)
        else:
            beside = y + 30 if conductor.name == "earth" else y - 16
            canvas.text((left + right) / 2, beside, words, anchor="middle", bold=True, halo=True)


def _short(fault: Fault, grid: Grid) -> str:
    """Return words that fit beside a mark."""
    if fault.kind == "resistance":
        return f"{fault.value:g} Ω"
    if fault.kind == "earth":
        return "to metal"
    if fault.kind == "noise":
        return f"noise {fault.value:g} V"
    if fault.kind == "swapped":
        return f"with {fault.value}"
    if fault.kind == "short":
        return f"to {fault.value}"
    return fault_words(fault, grid.job)


def _draw(canvas: Canvas, mark: FaultMark) -> None:
    colour, fault, x, y = _FAULT.colour, mark.fault, mark.x, mark.y
    if fault.kind in ("open", "swapped"):
        cross(canvas, x, y)
    elif fault.kind in ("resistance", "noise"):
        step, up = (5.0, 8.0) if fault.kind == "resistance" else (3.0, 11.0)
        teeth = [(x + (k - 2.5) * step, y + (up if k % 2 else -up)) for k in range(6)]
        points = [(x - 3 * step, y), *teeth, (x + 3 * step, y)]
        canvas.rect(x - 3 * step - 2, y - 12, 6 * step + 4, 24, fill=PAPER)
        canvas.path(points, stroke=colour, stroke_width=3)
    elif fault.kind == "short":
        canvas.line(x, y, x, mark.to_y, _FAULT)
        for end in (y, mark.to_y):
            canvas.circle(x, end, 6, fill=colour)
    elif fault.kind == "earth":
        canvas.line(x, y, x, mark.to_y - 2, _FAULT)
        canvas.circle(x, y, 6, fill=colour)
        earth_symbol(canvas, x, mark.to_y - 2, colour)
