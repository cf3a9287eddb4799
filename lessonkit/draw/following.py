"""A loop lit in the wiring picture: a band along everything that a coil's current goes through.

The band lies behind what is drawn, in one colour and wide, with the coil's name at its side; what keeps the
loop open has a ring around it. The loop itself is found in the circuit (`loops`).
"""

from __future__ import annotations

from collections.abc import Iterator

from lessonkit.bench.state import State
from lessonkit.draw.grid import AIR, OUT, PLACES_X, STAT, Grid
from lessonkit.draw.loops import Part, loop_of
from lessonkit.draw.palette import LOOKS, OKABE_ITO
from lessonkit.draw.svg import Canvas

__all__ = ["COIL_X", "light_loop", "supply_x"]

#: Where coils stand in their place, and where the return of each place comes up beside them.
COIL_X = {"air": AIR[0] + 113, "out": OUT[0] + 103}
_BUS_X = STAT[0] + 16
_LIT = OKABE_ITO["yellow"]

Point = tuple[float, float]


def supply_x(place: str) -> float:
    """Return where a supply's transformer stands in its place."""
    return PLACES_X[place][0] + 176


def light_loop(canvas: Canvas, grid: Grid, state: State, of: str) -> None:
    """Draw the band along the loop of a coil, or of electronics."""
    loop = loop_of(state, of)
    # Half of it lets letters behind it be read, in a panel too, where they are a picture of their own.
    with canvas.group(loop.words, opacity="0.5"):
        ways = [way for part in loop.parts for way in _ways(grid, part)]
        ways += _at_the_ends(grid, loop.of, loop.supply)
        for way in ways:
            canvas.path(way, stroke=_LIT, stroke_width=14, stroke_linecap="round", stroke_linejoin="round")
    with canvas.group(f"open: {', '.join(part.words for part in loop.opened)}" if loop.opened else ""):
        for part in loop.opened:
            for way in list(_ways(grid, part))[-1:]:
                x, y = way[len(way) // 2] if len(way) > 2 else ((way[0][0] + way[1][0]) / 2, way[0][1])
                canvas.circle(x, y, 13, fill="none", stroke=LOOKS["faulted"].colour, stroke_width=3)


def _ways(grid: Grid, part: Part) -> Iterator[list[Point]]:
    """Yield the lines along which a part lies in the picture; some parts have no place of their own in it."""
    word, _, rest = part.name.partition(" ")
    if part.kind == "wire":
        run, _, name = part.words.partition(".")
        left, right = grid.span(run)
        y = grid.conductor_y(name)
        yield [(left, y), (right, y)]
    elif part.kind == "earth":
        yield [(AIR[1], grid.ground_y), (OUT[0], grid.ground_y)]
    elif word in ("call", "relay"):
        place, _, terminal = rest.partition(":")
        y, top = grid.y(terminal), grid.y("R")
        if place == "stat":
            yield [(STAT[1], top), (_BUS_X, top), (_BUS_X, y), (STAT[1], y)]
        elif terminal != "D":
            run = "outdoor" if place == "out" else "thermostat"
            right = grid.span(run)[1]
            start = (right, top) if not (place == "air" or grid.fed_outdoors) else (grid.bus_x(run), top)
            yield [start, (grid.bus_x(run), top), (grid.bus_x(run), y), (right, y)]


def _at_the_ends(grid: Grid, of: str, supply: str) -> list[list[Point]]:
    """Return the lines from the transformer to R, from the terminal to the coil, and home to C."""
    place, _, name = of.partition(":")
    left, right = PLACES_X[supply]
    x, top, common = supply_x(supply), grid.y("R"), grid.y("C")
    lines = [[(left, top), (x - 44, top), (x - 44, top - 18), (x, top - 18), (x, common), (left, common)]]
    if supply == "air":
        lines += [[(x - 44, top), (right, top)], [(x, common), (right, common)]]
    row = grid.row_of_coil(name)
    if place in COIL_X and row:
        at, y = COIL_X[place], grid.y(row)
        lines.append(
            [(PLACES_X[place][0], y), (at + 15.5, y), (at + 15.5, common), (PLACES_X[place][0], common)]
        )
        if place == "air" and row in grid.terminals("out"):
            lines.append([(at, y), (right, y)])
    elif place == "air" or place == supply:
        return lines
    if place == "out" and supply == "air" and grid.job.outdoor_run.return_by == "earth":
        lines.append([(OUT[0], common), (OUT[0], grid.ground_y)])
        lines.append([(AIR[1], common), (AIR[1], grid.ground_y)])
    return lines
