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
from lessonkit.draw.grid import WIDTH, Layout
from lessonkit.draw.looks import Wire, earth_wire, fault_words, shown_volts, wires
from lessonkit.draw.marks import Mark, cross, mark_wire, wire_marks
from lessonkit.draw.palette import INK, LOOKS, PAPER, SOFT, Look
from lessonkit.draw.places import draw_boards, draw_bonds, draw_link_news, draw_place, mark_parts
from lessonkit.draw.svg import TEXT_PX, Sheet, text_width
from lessonkit.draw.words import clock_words, state_words, wire_words
from lessonkit.job.calls import PLACES
from lessonkit.job.model import RUN_ENDS, Job, is_idle

__all__ = ["wiring_svg"]

_LEGEND = ("live", "dead", "common", "signalling", "floating", "faulted")
_LONGEST_NEWS = 96


def wiring_svg(state: State, job: Job, covered: bool = False) -> str:
    """Return the wiring picture of a bench state as SVG text.

    `covered` hides volts, faults and the states of conductors, and shows only what responds: for an exercise
    in finding faults. Every conductor carries `data-key`, its name in faults, for a page that listens to
    clicks.
    """
    layout = Layout(job)
    words = state_words(state, job)
    if covered:
        words = words.split(" Faults: ")[0].split(" No faults.")[0]
    sheet = Sheet(WIDTH, layout.height, f"Wiring of {job.title or job.name}, call {state.call}", words)
    for place in PLACES:
        draw_place(sheet, layout, state, place, covered)
    draw_bonds(sheet, layout)
    for run in RUN_ENDS:
        left, right = layout.span(run)
        sheet.text((left + right) / 2, 34, f"{run} run", anchor="middle")
    for run in state.links:
        draw_boards(sheet, layout, state, run)
    drawn = (*wires(state, job), earth_wire(state, job))
    marks = {run: [m for w in drawn if w.run == run for m in wire_marks(layout, w)] for run in RUN_ENDS}
    for wire in drawn:
        _conductor(sheet, layout, state, wire, () if covered else marks[wire.run], covered)
    if not covered:
        with sheet.group(pointer_events="none"):
            for wire in drawn:
                mark_wire(sheet, layout, wire)
        mark_parts(sheet, layout, state)
    for run in state.links:
        draw_link_news(sheet, layout, state, run, covered)
    _legend(sheet, layout, state, covered)
    return str(sheet)


def _conductor(
    sheet: Sheet, layout: Layout, state: State, wire: Wire, marks: Sequence[Mark], covered: bool
) -> None:
    """Draw one conductor in two halves, with its word on it and room for a finger around it."""
    left, right = layout.wire_span(wire.run, wire.conductor)
    y, far_y = layout.wire_y(wire.conductor), layout.wire_y(wire.far_conductor)
    at = next((f.at for f in wire.faults if f.kind == "open" and f.part == wire.conductor), 0.5)
    middle = left + (right - left) * min(max(at, 0.12), 0.88)
    near, far = LOOKS["covered" if covered else wire.near], LOOKS["covered" if covered else wire.far]
    title = wire.conductor if covered else wire_words(wire)
    with sheet.group(title, data_key=wire.key, style="cursor:pointer"):
        gap = 12.0 if wire.broken and not covered else 0.0
        _half(sheet, [(left, y), (middle - gap, y)], near)
        if far_y == y or covered:
            _half(sheet, [(middle + gap, y), (right, y)], far)
        else:
            _half(sheet, [(middle, y), *_crossing(layout, wire, right)], far)
        if wire.conductor.startswith("bad") and not covered:
            cross(sheet, middle, y)
        if is_idle(wire.conductor):
            _idle_ends(sheet, layout, state, wire, covered)
        _write_label(sheet, layout, wire, marks, covered)
        # On top of all, so that a click anywhere along the conductor finds it.
        sheet.line(
            left, y, right, y, stroke=PAPER, stroke_opacity="0", stroke_width=24, pointer_events="stroke"
        )


def _crossing(layout: Layout, wire: Wire, right: float) -> list[tuple[float, float]]:
    """Return the way of a swapped conductor over to the row where it ends."""
    y, far_y = layout.wire_y(wire.conductor), layout.wire_y(wire.far_conductor)
    if "SIG" not in (wire.conductor, wire.far_conductor) or not layout.is_link(wire.run):
        return [(right - 34, y), (right, far_y)]
    # Between the words about the link and the relay board.
    bend = layout.signal_span(wire.run)[1] - (6 if wire.conductor == "SIG" else 14)
    return [(bend, y), (bend, far_y), (layout.wire_span(wire.run, wire.far_conductor)[1], far_y)]


def _write_label(sheet: Sheet, layout: Layout, wire: Wire, marks: Sequence[Mark], covered: bool) -> None:
    """Write what a conductor is doing on it, or its name where that is covered."""
    left, right = layout.wire_span(wire.run, wire.conductor)
    x, y = (left + right) / 2, layout.wire_y(wire.conductor)
    marked = any(f.part == wire.conductor for f in wire.faults) or wire.conductor.startswith("bad")
    if wire.conductor == "SIG":
        sheet.text(x, y - 38, "SIG", anchor="middle", bold=True)
        if not covered and not marked:
            sheet.text(x, y - 18, _state_word(wire), anchor="middle")
    elif covered:
        sheet.text(x, y + 6, wire.conductor, anchor="middle", halo=True)
    elif not marked:
        taken = [mark.x for mark in marks if mark.crosses(y)]
        if layout.is_link(wire.run) and wire.conductor in ("R", "C"):
            taken.append(layout.bus_x(wire.run))
        _write_between(sheet, left, right, y, taken, wire)


def _write_between(
    sheet: Sheet, left: float, right: float, y: float, taken: Sequence[float], wire: Wire
) -> None:
    """Write a conductor's label beside the lines of faults, smaller or shorter where it must be."""
    edges = [left, *sorted(taken), right]
    gaps = [(b - a - 24, (a + b) / 2) for a, b in pairwise(edges)]
    wide, x = max(gaps, key=lambda gap: gap[0])
    word = _state_word(wire)
    with_amps = f"{word}, {wire.amps:.2f} A" if wire.amps >= 0.02 else word
    tries = [(words, size) for words in (with_amps, word) for size in (TEXT_PX, 14.0)]
    words, size = next((one for one in tries if text_width(*one) <= wide), tries[-1])
    sheet.text(x, y + 0.36 * size, words, size=size, anchor="middle", halo=True)


def _state_word(wire: Wire) -> str:
    if wire.conductor == "earth":
        return "earth"
    if wire.near == wire.far:
        return wire.reading or wire.near
    return f"then {wire.far}" if wire.conductor == "SIG" else f"{wire.near} | {wire.far}"


def _half(sheet: Sheet, points: list[tuple[float, float]], look: Look) -> None:
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
    sheet.path(points, look)


def _idle_ends(sheet: Sheet, layout: Layout, state: State, wire: Wire, covered: bool) -> None:
    """Write a spare or bad conductor's name and ghost volts at its ends, inside the places."""
    y = layout.y(wire.conductor)
    for place, x, anchor in zip(RUN_ENDS[wire.run], layout.span(wire.run), ("end", "start"), strict=True):
        volts = shown_volts(state, conductor_node(wire.run, wire.conductor, place))
        words = wire.conductor if covered else f"{wire.conductor} {volts:.1f} V"
        sheet.circle(x, y, 5, fill=PAPER, stroke=INK, stroke_width=1.5)
        sheet.text(x + (-10 if anchor == "end" else 10), y + 6, words, anchor=anchor)


def _legend(sheet: Sheet, layout: Layout, state: State, covered: bool) -> None:
    """Draw a sample of every state with its word, and below it what is out of order."""
    y = layout.floor_y + 26
    x = 10.0
    for word in () if covered else _LEGEND:
        look = LOOKS[word]
        with sheet.group(f"{word}: {look.means}"):
            _half(sheet, [(x, y - 5), (x + 46, y - 5)], look)
            if word == "faulted":
                cross(sheet, x + 23, y - 5, 5)
            sheet.text(x + 54, y, word)
        x += 76 + 8.4 * len(word) + 12
    sheet.text(WIDTH - 8, y, f"t = {clock_words(state.time_s)}", anchor="end", bold=True)
    for k, news in enumerate(_news(state, layout.job, covered)):
        sheet.text(10, y + 28 + 24 * k, news, bold=True)
    if covered:
        sheet.text(10, y, "Conductors and volts are covered: find out with the meter.", fill=SOFT)


def _news(state: State, job: Job, covered: bool) -> list[str]:
    """Return the lines under the picture: what the house gets, and what is out of order."""
    lines = [f"The house gets {state.delivering}."]
    if state.chatter and not covered:
        lines[0] += f" Chatter: {', '.join(state.chatter)}."
    faults = [f"{f.where}.{f.part} {fault_words(f, job)}" for f in state.present]
    if faults and not covered:
        lines.append(f"Faults: {'; '.join(faults)}.")
    return [line if len(line) <= _LONGEST_NEWS else f"{line[: _LONGEST_NEWS - 1]}…" for line in lines]
