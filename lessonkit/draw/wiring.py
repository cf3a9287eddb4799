"""The wiring picture: three places, two runs, and what every conductor is doing.

    print(wiring_svg(bench.state, bench.job), file=open("bench.svg", "w"))

Look along a row: the thermostat's contact, the conductor (or the link that carries the call instead), the
terminal, the coil. A conductor is drawn from both ends to its middle, each half as its own end finds it, so a
break shows where the volts stop; a whole one looks the same from end to end. Volts are RMS, each against C of
the same place, or against C of the air handler where the picture says that a place's own C has moved.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from lessonkit.bench.layout import conductor_node
from lessonkit.bench.state import State
from lessonkit.draw.following import light_loop
from lessonkit.draw.grid import WIDTH, Grid
from lessonkit.draw.looks import Conductor, conductors, earth_path, shown_volts
from lessonkit.draw.marks import FaultMark, cross, fault_marks, mark_conductor
from lessonkit.draw.palette import INK, LOOKS, PAPER, SOFT, Look
from lessonkit.draw.places import draw_boards, draw_bonds, draw_link_news, draw_place, mark_parts
from lessonkit.draw.svg import TEXT_PX, Canvas, Layers, steps, text_width
from lessonkit.draw.words import clock_words, conductor_words, state_words
from lessonkit.job.calls import PLACES
from lessonkit.job.model import RUN_ENDS, Job, is_idle
from lessonkit.job.naming import fault_words

__all__ = ["wiring_layers", "wiring_svg"]

_LEGEND = ("live", "dead", "common", "signalling", "floating", "faulted")
_LONGEST_NEWS = 96


def wiring_svg(state: State, job: Job, covered: bool = False, simple: bool = False, follow: str = "") -> str:
    """Return the wiring picture of a bench state as SVG text.

    `covered` hides volts, faults and the states of conductors, and shows only what responds: for an exercise
    in finding faults. `simple` leaves out what a link counts and measures. `follow` names a coil, such as
    "out:contactor", whose loop is lit from end to end. Every conductor carries `data-key`, its name in
    faults, for a page that listens to clicks.
    """
    canvas = _draw(state, job, covered, Grid(job).height, simple, follow)
    for k, news in enumerate(_news(state, job, covered)):
        canvas.text(10, Grid(job).news_y + 22 * k, news, bold=True)
    return str(canvas)


def wiring_layers(state: State, job: Job, simple: bool = False, follow: str = "") -> Layers:
    """Return the wiring picture for a panel, which tells the news in a line of its own."""
    return _draw(state, job, False, Grid(job).legend_y + 9, simple, follow).layers()


def _draw(state: State, job: Job, covered: bool, height: float, simple: bool, follow: str) -> Canvas:
    """Draw everything but the news."""
    grid = Grid(job)
    drawn = (*conductors(state, job), earth_path(state, job))
    words = state_words(state, job, covered, drawn)
    canvas = Canvas(WIDTH, height, f"Wiring of {job.title or job.name}, call {state.call}", words)
    if follow and not covered:
        light_loop(canvas, grid, state, follow)
    for place in PLACES:
        draw_place(canvas, grid, state, place, covered)
    with canvas.behind():
        draw_bonds(canvas, grid)
        for run in RUN_ENDS:
            left, right = grid.span(run)
            canvas.text((left + right) / 2, 34, f"{run} run", anchor="middle")
    for run in state.links:
        draw_boards(canvas, grid, state, run, covered)
    marks = {run: [m for c in drawn if c.run == run for m in fault_marks(grid, c)] for run in RUN_ENDS}
    for conductor in drawn:
        _conductor(canvas, grid, state, conductor, () if covered else marks[conductor.run], covered)
    if not covered:
        with canvas.group(pointer_events="none"):
            for conductor in drawn:
                mark_conductor(canvas, grid, conductor)
        mark_parts(canvas, grid, state)
    for run in state.links:
        draw_link_news(canvas, grid, state, run, covered, simple)
    with canvas.behind():
        _legend(canvas, grid, covered)
    canvas.text(WIDTH - 8, grid.legend_y, f"t = {clock_words(state.time_s)}", anchor="end", bold=True)
    return canvas


def _conductor(
    canvas: Canvas, grid: Grid, state: State, conductor: Conductor, marks: Sequence[FaultMark], covered: bool
) -> None:
    """Draw one conductor in two halves, with its word on it and room for a finger around it."""
    left, right = grid.conductor_span(conductor.run, conductor.name)
    y, far_y = grid.conductor_y(conductor.name), grid.conductor_y(conductor.far_name)
    at = next((f.at for f in conductor.faults if f.kind == "open" and f.part == conductor.name), 0.5)
    middle = left + (right - left) * min(max(at, 0.12), 0.88)
    near, far = (
        LOOKS["covered" if covered else conductor.near],
        LOOKS["covered" if covered else conductor.far],
    )
    title = conductor.name if covered else conductor_words(conductor)
    with canvas.behind():  # room for a finger: a click anywhere along the conductor finds it
        canvas.add(
            "path",
            d=steps([(left, y), (right, y)]),
            stroke=PAPER,
            stroke_opacity="0",
            stroke_width=24,
            pointer_events="stroke",
            data_key=conductor.key,
        )
    with canvas.group(title, data_key=conductor.key):
        gap = 12.0 if conductor.broken and not covered else 0.0
        _half(canvas, [*_end(canvas, conductor.near_off, left, y, 1)[::-1], (middle - gap, y)], near)
        if far_y == y or covered:
            _half(canvas, [(middle + gap, y), *_end(canvas, conductor.far_off, right, y, -1)], far)
        else:
            _half(canvas, [(middle, y), *_crossing(grid, conductor, right)], far)
        if conductor.name.startswith("bad") and not covered:
            cross(canvas, middle, y)
        if is_idle(conductor.name):
            _idle_ends(canvas, grid, state, conductor, covered)
        _write_label(canvas, grid, conductor, marks, covered)


def _end(canvas: Canvas, off: str, x: float, y: float, inwards: int) -> list[tuple[float, float]]:
    """Return how an end of a conductor runs to its terminal; one that hands took off stands up."""
    if not off:
        return [(x, y)]
    tip = (x + 16 * inwards, y - 9)
    canvas.circle(*tip, 3, fill=PAPER, stroke=INK, stroke_width=1.5)
    anchor = "start" if inwards > 0 else "end"
    canvas.text(x + 10 * inwards, y + 14, off, size=14, anchor=anchor, halo=True)
    return [(x + 30 * inwards, y), tip]


def _crossing(grid: Grid, conductor: Conductor, right: float) -> list[tuple[float, float]]:
    """Return the way of a swapped conductor over to the row where it ends."""
    y, far_y = grid.conductor_y(conductor.name), grid.conductor_y(conductor.far_name)
    if "SIG" not in (conductor.name, conductor.far_name) or not grid.is_link(conductor.run):
        return [(right - 34, y), (right, far_y)]
    # Between the words about the link and the relay board.
    bend = grid.signal_span(conductor.run)[1] - (6 if conductor.name == "SIG" else 14)
    return [(bend, y), (bend, far_y), (grid.conductor_span(conductor.run, conductor.far_name)[1], far_y)]


def _write_label(
    canvas: Canvas, grid: Grid, conductor: Conductor, marks: Sequence[FaultMark], covered: bool
) -> None:
    """Write what a conductor is doing on it, or its name where that is covered."""
    left, right = grid.conductor_span(conductor.run, conductor.name)
    x, y = (left + right) / 2, grid.conductor_y(conductor.name)
    marked = any(f.part == conductor.name for f in conductor.faults) or conductor.name.startswith("bad")
    if conductor.name == "SIG":
        canvas.text(x, y - 38, "SIG", anchor="middle", bold=True)
        if not covered and not marked:
            canvas.text(x, y - 18, _state_word(conductor), anchor="middle")
    elif covered:
        canvas.text(x, y + 6, conductor.name, anchor="middle", halo=True)
    elif not marked:
        taken = [mark.x for mark in marks if mark.crosses(y)]
        if grid.is_link(conductor.run) and conductor.name in ("R", "C"):
            taken.append(grid.bus_x(conductor.run))
        _write_between(canvas, left, right, y, taken, conductor)


def _write_between(
    canvas: Canvas, left: float, right: float, y: float, taken: Sequence[float], conductor: Conductor
) -> None:
    """Write a conductor's label beside the lines of faults, smaller or shorter where it must be."""
    edges = [left, *sorted(taken), right]
    gaps = [(b - a - 40, (a + b) / 2) for a, b in pairwise(edges)]
    wide, x = max(gaps, key=lambda gap: gap[0])
    word = _state_word(conductor)
    with_amps = f"{word}, {conductor.amps:.2f} A" if conductor.amps >= 0.02 else word
    tries = [(words, size) for words in (with_amps, word) for size in (TEXT_PX, 14.0)]
    words, size = next((one for one in tries if text_width(*one) <= wide), tries[-1])
    canvas.text(x, y + 0.36 * size, words, size=size, anchor="middle", halo=True)


def _state_word(conductor: Conductor) -> str:
    if conductor.name == "earth":
        return "earth"
    if conductor.near == conductor.far:
        return conductor.reading or conductor.near
    return f"then {conductor.far}" if conductor.name == "SIG" else f"{conductor.near} | {conductor.far}"


def _half(canvas: Canvas, points: list[tuple[float, float]], look: Look) -> None:
    """Draw half a conductor; one that carries frames is drawn as the square wave that a scope shows."""
    (x, y), (end, _) = points[0], points[-1]
    if look.word == "signalling" and len(points) == 2 and end - x > 12:
        count = max(round((end - x) / 14), 1)
        step = (end - x) / count
        points = [(x, y + 6)]
        for k in range(count):
            up, down = x + (k + 0.25) * step, x + (k + 0.75) * step
            points += [(up, y + 6), (up, y - 6), (down, y - 6), (down, y + 6)]
        points.append((end, y + 6))
    canvas.path(points, look)


def _idle_ends(canvas: Canvas, grid: Grid, state: State, conductor: Conductor, covered: bool) -> None:
    """Write a spare or bad conductor's name and ghost volts at its ends, inside the places."""
    y = grid.y(conductor.name)
    for place, x, anchor in zip(
        RUN_ENDS[conductor.run], grid.span(conductor.run), ("end", "start"), strict=True
    ):
        volts = shown_volts(state, conductor_node(conductor.run, conductor.name, place))
        words = conductor.name if covered else f"{conductor.name} {volts:.1f} V"
        with canvas.behind():
            canvas.circle(x, y, 5, fill=PAPER, stroke=INK, stroke_width=1.5)
        canvas.text(x + (-10 if anchor == "end" else 10), y + 6, words, anchor=anchor)


def _legend(canvas: Canvas, grid: Grid, covered: bool) -> None:
    """Draw a sample of every state with its word."""
    x, y = 10.0, grid.legend_y
    for word in () if covered else _LEGEND:
        look = LOOKS[word]
        with canvas.group(f"{word}: {look.means}"):
            _half(canvas, [(x, y - 5), (x + 46, y - 5)], look)
            if word == "faulted":
                cross(canvas, x + 23, y - 5, 5)
            canvas.text(x + 54, y, word)
        x += 76 + 8.4 * len(word) + 12
    if covered:
        canvas.text(10, y, "Conductors and volts are covered: find out with the meter.", fill=SOFT)


def _news(state: State, job: Job, covered: bool) -> list[str]:
    """Return the lines under the picture: what the house gets, and what is out of order."""
    lines = [f"The house gets {state.delivering}."]
    if state.chatter and not covered:
        lines[0] += f" Chatter: {', '.join(state.chatter)}."
    faults = [f"{f.where}.{f.part} {fault_words(f, job)}" for f in state.present]
    if faults and not covered:
        lines.append(f"Faults: {'; '.join(faults)}.")
    return [line if len(line) <= _LONGEST_NEWS else f"{line[: _LONGEST_NEWS - 1]}…" for line in lines]
