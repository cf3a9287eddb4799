"""The three places of the wiring picture: terminals, contacts, coils and what responds.

A contact is drawn between the bus R and its terminal, closed or open, wherever it sits: at the thermostat, on
a relay board indoors, on a relay board outdoors. It is the same act at each of them, done by a hand, by a
frame, by another frame. A coil is a small box, filled while its armature is in.
"""

from __future__ import annotations

from lessonkit.calls import PLACE_WORDS
from lessonkit.draw.grid import AIR, BOARD_GAP, BOARD_W, ENCODER_W, OUT, PLACES_X, STAT, Layout
from lessonkit.draw.looks import LIVE_V, contact_closed, present_faults, shown_volts
from lessonkit.draw.marks import cross, earth_symbol
from lessonkit.draw.palette import FAINT, INK, LOOKS, PAPER, SOFT
from lessonkit.draw.svg import Sheet
from lessonkit.draw.words import clock_words
from lessonkit.job import RUN_ENDS
from lessonkit.state import State

__all__ = ["draw_boards", "draw_bonds", "draw_place", "mark_parts"]

_BUS_X = STAT[0] + 16
_AIR_TEXT, _AIR_CHIP, _OUT_TEXT, _OUT_CHIP = AIR[0] + 14, AIR[0] + 112, OUT[0] + 14, OUT[0] + 103
_VOLTS_AT = 33.0
#: The coils at each place: terminal, name on the bench, word in the picture.
_COILS = {
    "air": (
        ("G", "blower-relay", "blower"),
        ("W1", "sequencer", "sequencer"),
        ("E", "emergency-relay", "emergency"),
    ),
    "out": (
        ("Y1", "contactor", "contactor"),
        ("Y2", "unloader", "unloader"),
        ("valve", "reversing-valve", "solenoid"),
    ),
}


def draw_place(
    sheet: Sheet, layout: Layout, state: State, place: str, covered: bool, ghosts: frozenset[str]
) -> None:
    """Draw one place: its box, its terminals with their volts, its coils, and what responds there.

    `covered` leaves out volts and coils, for a hunt with the meter; `ghosts` are nodes that only look live.
    """
    left, right = PLACES_X[place]
    sheet.rect(left, 6, right - left, layout.floor_y - 6, fill=FAINT, stroke=INK, stroke_width=1.5, rx=6)
    name = PLACE_WORDS[place]
    sheet.text((left + right) / 2, 34, name[0].upper() + name[1:], size=20, anchor="middle", bold=True)
    for terminal in layout.terminals(place):
        _terminal(sheet, layout, state, place, terminal, covered, ghosts)
    if place == "stat":
        _contacts(sheet, layout, state, "stat", _BUS_X, STAT[0] + 52)
    if not covered:
        _coils(sheet, layout, state, place)
    _band(sheet, layout, state, place)


def _terminal(
    sheet: Sheet,
    layout: Layout,
    state: State,
    place: str,
    terminal: str,
    covered: bool,
    ghosts: frozenset[str],
) -> None:
    y, node = layout.y(terminal), f"{place}:{terminal}"
    volts = shown_volts(state, node)
    text_x = {"stat": STAT[0] + 60, "air": _AIR_TEXT, "out": _OUT_TEXT}[place]
    live = volts >= LIVE_V and node not in ghosts and not covered
    word = "live" if live else "floating" if node in ghosts else "common" if terminal == "C" else "dead"
    look = LOOKS["covered" if covered else word]
    if place == "air" and terminal in layout.terminals("out"):
        sheet.line(_AIR_CHIP - 8, y, AIR[1], y, look)
    filled = look.colour if live or word == "common" else PAPER
    for x in _screws(place, terminal, layout):
        sheet.circle(x, y, 6, fill=filled, stroke=INK, stroke_width=1.5)
    sheet.text(text_x, y + 6, terminal, bold=True)
    if not covered:
        sheet.text(text_x + _VOLTS_AT, y + 6, f"{volts:.1f} V")


def _screws(place: str, terminal: str, layout: Layout) -> tuple[float, ...]:
    if place == "stat":
        return (STAT[1],)
    if place == "out":
        return (OUT[0],)
    left = (AIR[0],) if terminal in layout.terminals("stat") else ()
    return (*left, AIR[1]) if terminal in layout.terminals("out") else left


def _contacts(sheet: Sheet, layout: Layout, state: State, place: str, bus_x: float, end_x: float) -> None:
    """Draw the bus R and a contact from it to each call terminal."""
    rail_x = end_x if place == "stat" else bus_x
    job = layout.job
    rows = job.outdoor_terminals if place == "out" else job.call_terminals
    hot = LOOKS["live" if state.between(f"{place}:R", f"{place}:C") >= LIVE_V else "dead"]
    sheet.line(bus_x, layout.y("R"), bus_x, layout.y(rows[-1]), hot)
    sheet.line(bus_x, layout.y("R"), rail_x, layout.y("R"), hot)
    for terminal in rows:
        y = layout.y(terminal)
        closed = contact_closed(state, job, place, terminal)
        sheet.circle(bus_x, y, 4, fill=INK)
        with sheet.group(f"contact {terminal}: {'closed' if closed else 'open'}"):
            tip = (end_x, y) if closed else (end_x - 3, y - 11)
            sheet.line(bus_x, y, *tip, stroke=INK, stroke_width=4 if closed else 2, stroke_linecap="round")
            sheet.circle(end_x, y, 3, fill=INK if closed else PAPER, stroke=INK, stroke_width=1.5)


def _coils(sheet: Sheet, layout: Layout, state: State, place: str) -> None:
    for terminal, name, words in _COILS.get(place, ()):
        coil = state.coils.get(f"{place}:{name}")
        row = layout.job.equipment.valve if terminal == "valve" else terminal
        if coil is None:
            continue
        x, y = (_AIR_CHIP if place == "air" else _OUT_CHIP), layout.y(row)
        with sheet.group(f"coil {name}: {coil.volts:.1f} V across it, {coil.word}"):
            sheet.rect(x, y - 7, 13, 14, fill=INK if coil.sealed else PAPER, stroke=INK, stroke_width=1.5)
            sheet.text(x + 18, y + 6, words, size=15, bold=coil.sealed)


def draw_boards(sheet: Sheet, layout: Layout, state: State, run: str) -> None:
    """Draw the link of a run: the encoder, the relay board, and how the frames are doing."""
    near, far = RUN_ENDS[run]
    left, right = layout.span(run)
    top, bottom = layout.board_rows()
    boxes = (
        (near, "encoder", left + BOARD_GAP, ENCODER_W, "encoder"),
        (far, "relay-board", right - BOARD_W - BOARD_GAP, BOARD_W, "relay board"),
    )
    for place, part, x, wide, words in boxes:
        board = state.boards[f"{place}:{part}"]
        word = "awake" if board.awake else "asleep"
        with sheet.group(f"{words}: {board.volts:.1f} V, {word}"):
            dash = None if board.awake else "3 3"
            sheet.rect(x, top, wide, bottom - top, fill=PAPER, stroke=INK, stroke_dasharray=dash, rx=4)
            label = words if board.awake else f"{words}: asleep"
            sheet.text(x + 16, (top + bottom) / 2, label, anchor="middle", turn=-90)
    inputs = layout.job.call_terminals if near == "stat" else layout.job.outdoor_terminals
    for terminal in inputs:
        y = layout.y(terminal)
        live = state.between(f"{near}:{terminal}", f"{near}:C") >= LIVE_V
        if live:
            sheet.path([(left + 6, y - 5), (left + 13, y), (left + 6, y + 5)], stroke=INK, stroke_width=2)
    _contacts(sheet, layout, state, far, right - BOARD_W + 18, right - 6)
    _link_news(sheet, layout, state, run)


def _link_news(sheet: Sheet, layout: Layout, state: State, run: str) -> None:
    """Write how the link is doing where its terminals need no conductors."""
    link = state.links[run]
    left, right = layout.signal_span(run)
    lines = [
        "link",
        link.state,
        f"{link.sent} sent",
        f"{link.accepted} heard",
        f"{link.replies} replies",
        f"{link.low_v:z.0f} / {link.high_v:z.1f} V",
    ]
    for k, words in enumerate(lines):
        y = layout.y(layout.job.call_terminals[0]) + 6 + 24 * k
        sheet.text((left + right) / 2, y, words, anchor="middle", bold=k < 2)


def _band(sheet: Sheet, layout: Layout, state: State, place: str) -> None:
    """Write what responds at a place, a filled dot for what is on."""
    left, right = PLACES_X[place]
    sheet.line(left, layout.band_y - 22, right, layout.band_y - 22, stroke=SOFT, stroke_width=1)
    for k, (on, words) in enumerate(_lines(layout, state, place)):
        y = layout.band_line(k)
        if on is not None:
            sheet.circle(left + 17, y - 5, 6, fill=INK if on else PAPER, stroke=INK, stroke_width=1.5)
        sheet.text(left + (28 if on is not None else 11), y, words, bold=bool(on))


def _lines(layout: Layout, state: State, place: str) -> list[tuple[bool | None, str]]:
    does = state.responding
    if place == "stat":
        board = state.boards["stat:thermostat"]
        return [
            (None, "calls"),
            (state.call != "off", state.call),
            (None, "awake" if board.awake else "asleep"),
            (None, f"{board.volts:.1f} V to live on"),
        ]
    if place == "air":
        blower = does["blower"]
        power = f"supply {state.between('air:XFMR', 'air:C'):.1f} V" if state.powered else "disconnect open"
        return [
            (None, f"{power}, fuse {state.fuse}"),
            (blower != "off", f"blower {blower}"),
            (does["auxiliary heat"] != "off", f"auxiliary heat {does['auxiliary heat']}"),
            (does["emergency heat"] != "off", f"emergency heat {does['emergency heat']}"),
        ]
    stage = "stage 2" if does["compressor stage 2"] != "off" else "stage 1"
    runs = does["compressor stage 1"] != "off"
    valve = does["reversing valve"]
    cools = (valve != "off") == (layout.job.equipment.valve == "O")
    last: tuple[bool | None, str] = (does["defrost"] != "off", f"defrost {does['defrost']}")
    if state.waiting_s > 0:
        last = (None, f"rests {clock_words(state.waiting_s)} more")
    return [
        (runs, f"compressor {stage}" if runs else "compressor off"),
        (does["outdoor fan"] != "off", f"outdoor fan {does['outdoor fan']}"),
        (valve != "off", f"valve set to {'cool' if cools else 'heat'}"),
        last,
    ]


def mark_parts(sheet: Sheet, layout: Layout, state: State) -> None:
    """Put a cross on every part that has a fault."""
    for fault in present_faults(state, layout.job):
        if fault.where in PLACES_X:
            x, y = _anchor(layout, fault.where, fault.part)
            with sheet.group(str(fault)):
                cross(sheet, x, y, 6)


def _anchor(layout: Layout, place: str, part: str) -> tuple[float, float]:
    """Return where a part is in the picture."""
    left, right = PLACES_X[place]
    top = layout.board_rows()[0] if layout.job.links else 0.0
    if part == "encoder":
        return right + 19, top
    if part == "relay-board":
        return left - BOARD_W / 2 - 6, top
    if part.startswith("relay-"):
        terminal = part[6:]
        return (right + 19, layout.y("D")) if terminal == "D" else (left - 22, layout.y(terminal))
    for terminal, name, _ in _COILS.get(place, ()):
        if part == name:
            row = layout.job.equipment.valve if terminal == "valve" else terminal
            return right - 10, layout.y(row)
    if part == "valve":
        return STAT[0] + 35, layout.y(layout.job.equipment.valve)
    return right - 14, layout.band_line(2 if place == "stat" else 3 if part == "defrost-board" else 0) - 5


def draw_bonds(sheet: Sheet, layout: Layout) -> None:
    """Draw grounded metal at both ends of the earth path, and what is bonded to it."""
    y = layout.ground_y
    bonded = layout.job.outdoor_run.return_by == "earth"
    for place, x, joined in (("air", AIR[1], True), ("out", OUT[0], bonded)):
        sheet.circle(x, y, 6, fill=INK if joined else PAPER, stroke=INK, stroke_width=1.5)
        words = "metal, joined to C" if joined else "metal"
        inner = (_AIR_TEXT, "start") if place == "air" else (_OUT_TEXT, "start")
        sheet.text(inner[0], y + 6, words, anchor=inner[1])
        earth_symbol(sheet, AIR[1] - 22 if place == "air" else OUT[1] - 20, y - 2, INK)
