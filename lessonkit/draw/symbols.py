"""Symbols of a supply: transformer, fuse, breaker, as circuit diagrams have them.

A fuse is a box with the wire through it, a breaker an arc over two points, a transformer two rows of turns
beside a core (IEC 60617 for the fuse's box and the turns, from memory). A blown or tripped one is open and
crossed, a burnt-out winding is crossed.
"""

from __future__ import annotations

from lessonkit.bench.state import LIVE_V, State
from lessonkit.draw.marks import cross
from lessonkit.draw.palette import INK, LOOKS, PAPER, Look
from lessonkit.draw.svg import Canvas
from lessonkit.job.calls import PLACE_WORDS
from lessonkit.job.model import Job

__all__ = ["fuse_symbol", "supply_look", "transformer_symbol", "upright_transformer"]

_TURNS = 4


def fuse_symbol(canvas: Canvas, x: float, y: float, state: State, job: Job, place: str) -> None:
    """Draw what protects a supply, 32 pixels wide around a point of its hot leg."""
    supply, whole = job.supply_at(place), state.fuses[place] == "whole"
    look = supply_look(state, place)
    title = f"{supply.fuse_a:g} A {supply.protector} at the {PLACE_WORDS[place]}, {state.fuses[place]}"
    if supply.protector == "none":
        canvas.line(x - 16, y, x + 16, y, look)
        return
    with canvas.group(title):
        if supply.protector == "fuse":
            canvas.rect(x - 12, y - 6, 24, 12, fill=PAPER, stroke=INK, stroke_width=2)
            if whole:
                canvas.line(x - 16, y, x + 16, y, stroke=INK, stroke_width=2)
        else:
            for end in (x - 12, x + 12):
                canvas.circle(end, y, 3.5, fill=PAPER, stroke=INK, stroke_width=1.5)
            rise = 8 if whole else 16
            canvas.add(
                "path", d=f"M{x - 11} {y - 4}q11 {-rise} 22 0", fill="none", stroke=INK, stroke_width=2
            )
        if not whole:
            cross(canvas, x, y, 5)


def supply_look(state: State, place: str) -> Look:
    """Return how the hot side behind a supply's fuse looks."""
    return LOOKS["live" if state.between(f"{place}:R", f"{place}:C") >= LIVE_V else "dead"]


def _turns(x: float, y: float, r: float, dx: float, dy: float, sweep: int) -> str:
    """Return the turns of one winding as a path: half rings side by side, each a step further."""
    return f"M{x:g} {y:g}" + f"a{r:g} {r:g} 0 0 {sweep} {dx:g} {dy:g}" * _TURNS


def transformer_symbol(canvas: Canvas, x: float, y: float, state: State, place: str) -> None:
    """Draw a transformer lying in its secondary's row, 44 pixels wide, the line side above it."""
    title = f"transformer at the {PLACE_WORDS[place]}, {state.transformers[place]}"
    on = state.power[place]
    r = 5.5
    with canvas.group(f"{title}, disconnect {'closed' if on else 'open'}"):
        for d in (_turns(x - 22, y, r, 2 * r, 0, 1), _turns(x - 22, y - 25, r, 2 * r, 0, 0)):
            canvas.add("path", d=d, fill="none", stroke=INK, stroke_width=2)
        for k in (0, 3):
            canvas.line(x - 22, y - 11 - k, x + 22, y - 11 - k, stroke=INK, stroke_width=1.5)
        canvas.line(x - 22, y - 25, x - 22, y - 38, stroke=INK, stroke_width=2)
        tip = (x + 22, y - 38) if on else (x + 31, y - 36)
        canvas.line(x + 22, y - 25, *tip, stroke=INK, stroke_width=2)
        if state.transformers[place] != "whole":
            cross(canvas, x, y - 12, 5)


def upright_transformer(canvas: Canvas, x: float, y: float, state: State, place: str) -> None:
    """Draw a transformer with upright windings, from (x, y) 28 pixels down, its line side on the right."""
    r, on = 3.5, state.power[place]
    with canvas.group(
        f"transformer at the {PLACE_WORDS[place]}, {state.transformers[place]}, "
        f"disconnect {'closed' if on else 'open'}"
    ):
        for d in (_turns(x, y, r, 0, 2 * r, 1), _turns(x + 16, y, r, 0, 2 * r, 0)):
            canvas.add("path", d=d, fill="none", stroke=INK, stroke_width=2)
        for k in (0, 3):
            canvas.line(x + 6.5 + k, y, x + 6.5 + k, y + 28, stroke=INK, stroke_width=1.2)
        canvas.line(x + 16, y + 28, x + 28, y + 28, stroke=INK, stroke_width=2)
        canvas.line(x + 16, y, *((x + 28, y) if on else (x + 25, y - 8)), stroke=INK, stroke_width=2)
        if state.transformers[place] != "whole":
            cross(canvas, x + 8, y + 14, 5)
