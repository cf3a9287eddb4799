"""The three places of the wiring picture: terminals, contacts, coils and what responds.

A contact is drawn between the bus R and its terminal, closed or open, wherever it sits: at the thermostat, on
a relay board indoors, on a relay board outdoors. It is the same act at each of them, done by a hand, by a
frame, by another frame. A coil is a small box, filled while its armature is in.
"""

from __future__ import annotations

from lessonkit.bench.layout import REFERENCE
from lessonkit.bench.state import LIVE_V, State
from lessonkit.draw.following import COIL_X, supply_x
from lessonkit.draw.grid import AIR, BOARD_GAP, BOARD_W, ENCODER_W, OUT, PLACES_X, STAT, Grid
from lessonkit.draw.looks import shown_volts
from lessonkit.draw.marks import cross, earth_symbol
from lessonkit.draw.palette import FAINT, INK, LOOKS, PAPER, SOFT
from lessonkit.draw.svg import TEXT_PX, Canvas, steps, text_width
from lessonkit.draw.symbols import fuse_symbol, supply_look, upright_transformer
from lessonkit.draw.words import clock_words, link_words
from lessonkit.job.calls import PLACE_WORDS
from lessonkit.job.equipment import valve_cools
from lessonkit.job.model import RUN_ENDS

__all__ = ["draw_boards", "draw_bonds", "draw_link_news", "draw_place", "mark_parts"]

_BUS_X = STAT[0] + 16
_AIR_TEXT, _AIR_CHIP, _OUT_TEXT, _OUT_CHIP = AIR[0] + 14, COIL_X["air"], OUT[0] + 14, COIL_X["out"]
_VOLTS_AT = {"stat": 34.0, "air": 36.0, "out": 31.0}
#: Words of second rank inside a place.
_NOTE_PX = 14.0
#: The coils at each place: terminal, name on the bench, word in the picture.
_COILS = {
    "air": (
        ("G", "blower-relay", "blower"),
        ("W1", "sequencer", "sequencer"),
        ("W1", "furnace", "furnace"),
        ("W2", "sequencer-2", "sequencer 2"),
        ("W2", "furnace-2", "furnace 2"),
        ("E", "emergency-relay", "emergency"),
    ),
    "out": (
        ("Y1", "contactor", "contactor"),
        ("Y2", "unloader", "unloader"),
        ("valve", "reversing-valve", "solenoid"),
    ),
}


def draw_place(canvas: Canvas, grid: Grid, state: State, place: str, covered: bool) -> None:
    """Draw one place: its box, its terminals with their volts, its coils, and what responds there.

    `covered` leaves out volts, fuses and coils, for a hunt with the meter.
    """
    left, right = PLACES_X[place]
    with canvas.behind():
        canvas.rect(left, 6, right - left, grid.floor_y - 6, fill=FAINT, stroke=INK, stroke_width=1.5, rx=6)
        name = PLACE_WORDS[place]
        canvas.text((left + right) / 2, 28, name[0].upper() + name[1:], size=20, anchor="middle", bold=True)
    if not covered and state.reference(place) == REFERENCE != f"{place}:C":
        lines = f"C here is at {state.volts[f'{place}:C']:.1f} V", f"volts against {REFERENCE}"
        for k, line in enumerate(lines):
            at = (left + right) / 2, 44 + 15 * k
            canvas.text(*at, line, size=_NOTE_PX, anchor="middle", bold=k == 0)
    for terminal in grid.terminals(place):
        _terminal(canvas, grid, state, place, terminal, covered)
    if place == "stat":
        _contacts(canvas, grid, state, "stat", _BUS_X, STAT[0] + 52)
    if not covered:
        _supply(canvas, grid, state, place)
        _coils(canvas, grid, state, place)
    _band(canvas, grid, state, place, covered)


def _terminal(canvas: Canvas, grid: Grid, state: State, place: str, terminal: str, covered: bool) -> None:
    y, node = grid.y(terminal), f"{place}:{terminal}"
    volts = shown_volts(state, node)
    text_x = {"stat": STAT[0] + 60, "air": _AIR_TEXT, "out": _OUT_TEXT}[place]
    live = volts >= LIVE_V and node not in state.ghosts and not covered
    word = "live" if live else "floating" if node in state.ghosts else "common" if terminal == "C" else "dead"
    look = LOOKS["covered" if covered else word]
    screws = [(x, y) for x in _screws(place, terminal, grid)]
    with canvas.behind():
        for x, _ in screws:
            canvas.circle(x, y, 6, fill=PAPER, stroke=INK, stroke_width=1.5)
        canvas.text(text_x, y + 6, terminal, bold=True)
    if place == "air" and terminal in grid.terminals("out"):
        canvas.line(_AIR_CHIP - 8, y, AIR[1] - 6, y, look)
    if live or word == "common":
        canvas.dots(screws, 10.5, look.colour)
    if not covered:
        canvas.text(text_x + _VOLTS_AT[place], y + 6, f"{volts:.1f} V")


def _screws(place: str, terminal: str, grid: Grid) -> tuple[float, ...]:
    if place == "stat":
        return (STAT[1],)
    if place == "out":
        return (OUT[0],)
    left = (AIR[0],) if terminal in grid.terminals("stat") else ()
    return (*left, AIR[1]) if terminal in grid.terminals("out") else left


def _contacts(canvas: Canvas, grid: Grid, state: State, place: str, bus_x: float, end_x: float) -> None:
    """Draw the bus R and a contact from it to each call terminal."""
    job = grid.job
    # A board takes R from the conductor above it; with no R in the run, from the screw of its own place.
    fed_here = place == "out" and grid.fed_outdoors
    rail_x = end_x if place == "stat" else OUT[0] if fed_here else bus_x
    rows = job.outdoor_terminals if place == "out" else job.call_terminals
    hot = LOOKS["live" if shown_volts(state, f"{place}:R") >= LIVE_V else "dead"]
    canvas.line(bus_x, grid.y("R"), bus_x, grid.y(rows[-1]), hot)
    canvas.line(bus_x, grid.y("R"), rail_x, grid.y("R"), hot)
    canvas.dots([(bus_x, grid.y(terminal)) for terminal in rows], 8, INK)
    closed = [terminal for terminal in rows if f"{place}:{terminal}" in state.closed]
    with canvas.behind():
        for terminal in rows:
            canvas.circle(end_x, grid.y(terminal), 3, fill=PAPER, stroke=INK, stroke_width=1.5)
    with canvas.group(stroke=INK, stroke_width=2, stroke_linecap="round"):
        for terminal in rows:
            y = grid.y(terminal)
            with canvas.group(f"contact {terminal}: {'closed' if terminal in closed else 'open'}"):
                tip, wide = ((end_x, y), 4.0) if terminal in closed else ((end_x - 3, y - 10), None)
                canvas.add("path", d=steps([(bus_x, y), tip]), stroke_width=wide)
    canvas.dots([(end_x, grid.y(terminal)) for terminal in closed], 7, INK)


def _supply(canvas: Canvas, grid: Grid, state: State, place: str) -> None:
    """Draw the transformer of a place between R and C, its fuse in the hot leg."""
    if place not in state.fuses:
        return
    x, top, common = supply_x(place), grid.y("R"), grid.y("C")
    hot, up = supply_look(state, place), top - 18
    if place == "out":  # its R and C rows are empty to the right of their volts
        canvas.line(_OUT_CHIP - 8, top, x - 44, top, hot)
        canvas.line(_OUT_CHIP - 8, common, x, common, LOOKS["common"])
    canvas.path([(x - 44, top), (x - 44, up), (x - 38, up)], hot)
    before = LOOKS["live" if state.between(f"{place}:XFMR", f"{place}:C") >= LIVE_V else "dead"]
    canvas.path([(x - 6, up), (x, up), (x, up + 2)], before)
    fuse_symbol(canvas, x - 22, up, state, grid.job, place)
    canvas.line(x, up + 30, x, common, LOOKS["common"])
    upright_transformer(canvas, x, up + 2, state, place)
    canvas.dots([(x - 44, top), (x, common)], 7, INK)


def _coils(canvas: Canvas, grid: Grid, state: State, place: str) -> None:
    for terminal, name, words in _COILS.get(place, ()):
        coil = state.coils.get(f"{place}:{name}")
        if coil is None:
            continue
        row = grid.job.equipment.valve if terminal == "valve" else terminal
        x, y = COIL_X[place], grid.y(row)
        home_x, common = x + 15.5, grid.y("C")
        canvas.path([(x + 13, y), (home_x, y), (home_x, common)], stroke=INK, stroke_width=1.2)
        canvas.dots([(home_x, common)], 5, INK)
        with canvas.group(f"coil {name}: {coil.volts:.1f} V across it, {coil.word}"):
            canvas.rect(x, y - 7, 13, 14, fill=INK if coil.sealed else PAPER, stroke=INK, stroke_width=1.5)
            canvas.text(x + 20, y + 6, words, size=15, bold=coil.sealed)


def draw_boards(canvas: Canvas, grid: Grid, state: State, run: str, covered: bool) -> None:
    """Draw the link of a run: the encoder, the relay board, and which of its contacts are closed."""
    near, far = RUN_ENDS[run]
    left, right = grid.span(run)
    top, bottom = grid.board_rows()
    boxes = (
        (near, "encoder", left + BOARD_GAP, ENCODER_W, "encoder"),
        (far, "relay-board", right - BOARD_W - BOARD_GAP, BOARD_W, "relay board"),
    )
    for place, part, x, wide, words in boxes:
        board = state.boards[f"{place}:{part}"]
        word = "awake" if board.awake else "asleep"
        with canvas.behind():
            dash = None if board.awake else "3 3"
            canvas.rect(x, top, wide, bottom - top, fill=PAPER, stroke=INK, stroke_dasharray=dash, rx=4)
            label = words if board.awake else f"{words}: asleep"
            aside = 21 if part == "encoder" else 16  # clear of the marks of what it hears
            canvas.text(x + aside, (top + bottom) / 2, label, anchor="middle", turn=-90)
        fed = "" if covered else f"{board.volts:.1f} V, "
        with canvas.group(f"{words}: {fed}{word}"):
            canvas.rect(x, top, wide, bottom - top, fill="none", pointer_events="all")
    inputs = grid.job.call_terminals if near == "stat" else grid.job.outdoor_terminals
    for terminal in inputs:
        y = grid.y(terminal)
        if terminal in state.links[run].inputs:
            canvas.path([(left + 6, y - 5), (left + 13, y), (left + 6, y + 5)], stroke=INK, stroke_width=2)
    _contacts(canvas, grid, state, far, grid.bus_x(run), right - 6)


def draw_link_news(
    canvas: Canvas, grid: Grid, state: State, run: str, covered: bool, simple: bool = False
) -> None:
    """Write how the link is doing where its terminals need no conductors.

    Space and mark are the levels at the far end's receiver; words hide the line of a fault behind them.
    `simple` writes no more than whether the link works; `covered` leaves out the levels.
    """
    link = state.links[run]
    left, right = grid.signal_span(run)
    lines = (
        (link.state, TEXT_PX),
        (f"{link.sent} sent", TEXT_PX),
        (f"{link.accepted} heard", TEXT_PX),
        (f"{link.replies} replies", TEXT_PX),
        (f"space {link.low_v:z.1f} V", _NOTE_PX),
        (f"mark {link.high_v:z.1f} V", _NOTE_PX),
    )[: 1 if simple else 4 if covered else 6]
    top, bottom = grid.board_rows()
    pitch = min((bottom - 14 - 38 - 16 - top - 20) / 5, 22.5)
    halo = not covered and bool(state.present)
    with canvas.group("" if covered else link_words(state, run)):
        for k, (words, size) in enumerate(lines):
            size = size if text_width(words, size) < right - left else _NOTE_PX
            at = (left + right) / 2, top + 20 + pitch * k
            canvas.text(*at, words, size=size, anchor="middle", bold=k == 0, halo=halo)


def _band(canvas: Canvas, grid: Grid, state: State, place: str, covered: bool) -> None:
    """Write what responds at a place, a filled dot for what is on."""
    left, right = PLACES_X[place]
    with canvas.behind():
        canvas.line(left, grid.band_y - 21, right, grid.band_y - 21, stroke=SOFT, stroke_width=1)
    lines = _lines(grid, state, place, covered)
    circles = [(left + 17, grid.band_line(k) - 5) for k, (on, _) in enumerate(lines) if on is not None]
    canvas.dots(circles, 13.5, INK)
    canvas.dots(
        [(left + 17, grid.band_line(k) - 5) for k, (on, _) in enumerate(lines) if on is False], 10.5, PAPER
    )
    for k, (on, words) in enumerate(lines):
        y = grid.band_line(k)
        canvas.text(left + (28 if on is not None else 11), y, words, bold=bool(on))


def _lines(grid: Grid, state: State, place: str, covered: bool) -> list[tuple[bool | None, str]]:
    does = state.responding
    supplied = _supply_words(state, place, covered)
    if place == "stat":
        board = state.boards["stat:thermostat"]
        return [
            (None, "calls"),
            (state.call != "off", state.call),
            (None, "awake" if board.awake else "asleep"),
            (None, "" if covered else f"{board.volts:.1f} V to live on"),
        ]
    if place == "air":
        blower, heat = does["blower"], "furnace" if "furnace" in does else "auxiliary heat"
        return [
            (None, supplied),
            (blower != "off", f"blower {blower}"),
            (does["auxiliary heat"] != "off", f"{heat} {does['auxiliary heat']}"),
            (does["emergency heat"] != "off", f"emergency heat {does['emergency heat']}"),
        ]
    stage = "stage 2" if does["compressor stage 2"] != "off" else "stage 1"
    runs = does["compressor stage 1"] != "off"
    valve = does["reversing valve"]
    cools = valve_cools(valve != "off", grid.job.equipment.valve)
    last: tuple[bool | None, str] = (does["defrost"] != "off", f"defrost {does['defrost']}")
    if state.waiting_s > 0:
        last = (None, f"rests {clock_words(state.waiting_s)} more")
    if does.get("lockout", "off") != "off":
        last = (True, "locked out")
    supply: list[tuple[bool | None, str]] = [(None, supplied)] if grid.fed_outdoors else []
    return [
        *supply,
        (runs, f"compressor {stage}" if runs else "compressor off"),
        (does["outdoor fan"] != "off", f"outdoor fan {does['outdoor fan']}"),
        (valve != "off", f"valve set to {'cool' if cools else 'heat'}"),
        last,
    ]


def _supply_words(state: State, place: str, covered: bool) -> str:
    if place not in state.fuses:
        return ""
    if covered:
        return "disconnect closed" if state.power[place] else "disconnect open"
    power = (
        f"supply {state.between(f'{place}:XFMR', f'{place}:C'):.1f} V"
        if state.power[place]
        else "disconnect open"
    )
    return f"{power}, fuse {state.fuses[place]}"


def mark_parts(canvas: Canvas, grid: Grid, state: State) -> None:
    """Put a cross on every part that has a fault."""
    for fault in state.present:
        if fault.where in PLACES_X:
            x, y = _anchor(grid, fault.where, fault.part)
            with canvas.group(str(fault)):
                cross(canvas, x, y, 5)


def _anchor(grid: Grid, place: str, part: str) -> tuple[float, float]:
    """Return where a part is in the picture."""
    left, right = PLACES_X[place]
    top = grid.board_rows()[0] if grid.job.links else 0.0
    if part == "encoder":
        return right + 19, top
    if part == "relay-board":
        return left - BOARD_W / 2 - 6, top
    if part.startswith("relay-"):
        terminal = part[6:]
        # Where the contact hangs on R, so that it can still be seen whether it is closed.
        return (right + 19, grid.y("D")) if terminal == "D" else (left - BOARD_W + 24, grid.y(terminal))
    for terminal, name, _ in _COILS.get(place, ()):
        if part == name:
            row = grid.job.equipment.valve if terminal == "valve" else terminal
            return (right if place == "air" else right - 12), grid.y(row)
    if part == "valve":
        return _BUS_X, grid.y(grid.job.equipment.valve)
    if part in ("transformer", "fuse"):
        x, y = supply_x(place), grid.y("R") - 18
        return (x + 8, y + 16) if part == "transformer" else (x - 22, y)
    return right - 14, grid.band_line(2 if place == "stat" else grid.band_lines - 1) - 5


def draw_bonds(canvas: Canvas, grid: Grid) -> None:
    """Draw grounded metal at both ends of the earth path, and what is bonded to it."""
    y = grid.ground_y
    bonded = grid.job.outdoor_run.return_by == "earth"
    for place, x, joined in (("air", AIR[1], True), ("out", OUT[0], bonded)):
        canvas.circle(x, y, 6, fill=INK if joined else PAPER, stroke=INK, stroke_width=1.5)
        words = "metal, joined to C" if joined else "metal"
        inner = (_AIR_TEXT, "start") if place == "air" else (_OUT_TEXT, "start")
        canvas.text(inner[0], y + 6, words, anchor=inner[1])
        earth_symbol(canvas, AIR[1] - 22 if place == "air" else OUT[1] - 20, y - 2, INK)
