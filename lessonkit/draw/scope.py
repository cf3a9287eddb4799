"""The scope: one frame as volts against time, and what the receiver made of it.

Zero is the receiver's own common. The sender's common is drawn beside it: where the way back carries load
current it swings, and the signal swings with it, while the thresholds stay where they are. Dots are the
moments at which the receiver looks, filled for a mark; beneath are the characters that were sent and those
that were heard, their bits in the order on the line.

A covered scope keeps what the receiver made of the frame to itself: the trace and the looks are there, the
characters are numbered boxes, and reading them is left to the reader.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from lessonkit.bench.exchange import FrameSeen
from lessonkit.draw.frames_view import FrameView, byte_words
from lessonkit.draw.palette import INK, LOOKS, OKABE_ITO, PAPER, SOFT
from lessonkit.draw.svg import Canvas, text_width
from lessonkit.job.calls import PLACE_WORDS

__all__ = ["level_words", "min_max_columns", "scope_svg", "scope_words"]

_W, _H = 1000.0, 478.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 62.0, 876.0, 64.0, 312.0
_ROWS = (("sent", 344.0), ("heard", 394.0))


def min_max_columns(
    x: NDArray[np.float64], y: NDArray[np.float64], left: float, right: float, wide: float = 1.0
) -> list[tuple[float, float]]:
    """Reduce a trace to its least and greatest value in each column that is `wide` pixels wide.

    `x` is in pixels, rising; no peak is lost, however long the trace, and a flat stretch is one line.
    """
    columns = max(int((right - left) / wide), 1)
    column = np.clip(((x - left) / wide).astype(np.int64), 0, columns - 1)
    starts = np.flatnonzero(np.diff(column, prepend=-1))
    low, high = np.minimum.reduceat(y, starts), np.maximum.reduceat(y, starts)
    first, last = y[starts], y[np.append(starts[1:], len(y)) - 1]
    # Go through the column in the order in which the trace did, so that the line does not double back.
    rises = first <= last
    flat = high - low < 1.0
    one, other = np.where(rises, low, high), np.where(rises, high, low)
    points: list[tuple[float, float]] = []
    for at, a, b, level in zip(
        (left + column[starts] * wide).tolist(), one.tolist(), other.tolist(), flat.tolist(), strict=True
    ):
        if level and len(points) > 1 and points[-1][1] == points[-2][1] and abs(points[-1][1] - a) < 0.75:
            points[-1] = (at, points[-1][1])
        elif level and points and abs(points[-1][1] - a) < 0.75:
            points.append((at, points[-1][1]))
        else:
            points += [(at, a)] if level else [(at, a), (at, b)]
    return points


def level_words(frame: FrameSeen) -> str:
    """Return what the receiver found at its looks, character by character: 0 for a space, 1 for a mark."""
    rows = ("".join("1" if mark else "0" for mark in row) for row in frame.reading.sample_levels)
    found = [f"character {k}: {row[0]} {row[1:-1]} {row[-1]}" for k, row in enumerate(rows, 1)]
    return f"Levels at the looks, in the order on the line; {'; '.join(found)}" if found else "no start bit"


def scope_words(view: FrameView, covered: bool = False) -> str:
    """Return what the scope shows, in sentences; `covered` names the levels and not what they mean."""
    sentences = [_verdict(view)]
    if view.frame is not None:
        clean = view.frame.wave.clean_v
        sent = "" if covered else f" {view.frame.sent.to_bytes().hex(' ')}"
        sentences = [
            f"Frame{sent} from {PLACE_WORDS[view.other]} to {PLACE_WORDS[view.at]}",
            f"at the receiver a space is {clean.min():z.1f} V and a mark {clean.max():z.1f} V",
            f"it hears a space at {view.receiver.low_threshold_v:g} V or below, a mark at "
            f"{view.receiver.high_threshold_v:g} V or above",
            f"the sender's common swings {view.frame.common.peak_v:.1f} V to either side of its own",
            *([level_words(view.frame)] if covered else sentences),
        ]
    return " ".join(f"{words[0].upper()}{words[1:].rstrip('.')}." for words in sentences)


def scope_svg(view: FrameView, covered: bool = False) -> str:
    """Return the scope's screen as SVG text; `covered` leaves out what the receiver made of the frame."""
    return str(_draw(view, covered))


def _draw(view: FrameView, covered: bool = False) -> Canvas:
    title = f"Scope on SIG of the {view.run} run, at the {PLACE_WORDS[view.at]}"
    canvas = Canvas(_W, _H, title, scope_words(view, covered))
    with canvas.behind():
        canvas.text(10, 28, title, size=18, bold=True)
    frame = view.frame
    if frame is None:
        canvas.text(_LEFT, 160, f"No frame: {view.silent}.", bold=True)
        return canvas
    wave = frame.wave
    common = frame.common.volts(wave.time_s)
    low, high = _range(view, frame, common)
    span = _span_s(frame)
    scale_x = (_RIGHT - _LEFT) / (span[1] - span[0])
    x = _LEFT + (wave.time_s - span[0]) * scale_x

    def y(volts: NDArray[np.float64] | float) -> NDArray[np.float64]:
        return _BOTTOM - (np.asarray(volts) - low) / (high - low) * (_BOTTOM - _TOP)

    with canvas.behind():
        _graticule(canvas, span, low, high, scale_x)
        for volts, words in (
            (view.receiver.high_threshold_v, "mark ≥"),
            (view.receiver.low_threshold_v, "space ≤"),
        ):
            at = float(y(volts))
            canvas.line(_LEFT, at, _RIGHT, at, stroke=SOFT, stroke_width=2, stroke_dasharray="8 5")
            canvas.text(_RIGHT + 7, at + 5, f"{words} {volts:g} V", size=15)
        zero = float(y(0.0))
        canvas.line(_LEFT, zero, _RIGHT, zero, stroke=INK, stroke_width=2)
        _keys(canvas, view)
    shift = min_max_columns(x, y(common), _LEFT, _RIGHT, wide=8)
    canvas.path(shift, stroke=OKABE_ITO["vermilion"], stroke_width=2.5, stroke_dasharray="3 4")
    trace = min_max_columns(x, y(wave.volts), _LEFT, _RIGHT, wide=2)
    canvas.path(trace, stroke=LOOKS["live"].colour, stroke_width=2)
    _samples(canvas, frame, scale_x, y)
    if covered:
        _numbers(canvas, frame, scale_x)
        return canvas
    _characters(canvas, frame, scale_x)
    canvas.text(_W - 10, 28, "good frame" if frame.taken else "refused", anchor="end", bold=True)
    verdict = _verdict(view)
    canvas.text(_LEFT, _H - 14, f"{verdict[0].upper()}{verdict[1:].rstrip('.')}.")
    return canvas


def _range(view: FrameView, frame: FrameSeen, common: NDArray[np.float64]) -> tuple[float, float]:
    """Return the volts at the edges of the screen, whole ones, so that a little noise moves nothing."""
    volts = frame.wave.volts
    low = min(float(volts.min()), float(common.min()), -1.0)
    high = max(float(volts.max()), float(common.max()), view.receiver.high_threshold_v + 2.0)
    room = 0.04 * (high - low)
    return float(math.floor(low - room)), float(math.ceil(high + room))


def _span_s(frame: FrameSeen) -> tuple[float, float]:
    """Return the seconds at the edges of the screen: whole bits, so that frames lie where the last lay."""
    bit_s, time_s = frame.wave.bit_s, frame.wave.time_s
    return math.floor(float(time_s[0]) / bit_s) * bit_s, math.ceil(float(time_s[-1]) / bit_s) * bit_s


def _graticule(canvas: Canvas, span: tuple[float, float], low: float, high: float, scale_x: float) -> None:
    canvas.rect(_LEFT, _TOP, _RIGHT - _LEFT, _BOTTOM - _TOP, fill="none", stroke=INK, stroke_width=1)
    step = next(s for s in (1, 2, 5, 10, 20, 50, 100, 1000) if (high - low) / s <= 9)
    for k in range(math.ceil(low / step), math.floor(high / step) + 1):
        at = _BOTTOM - (k * step - low) / (high - low) * (_BOTTOM - _TOP)
        canvas.line(_LEFT - 5, at, _LEFT, at, stroke_width=1)
        canvas.text(_LEFT - 8, at + 5, f"{k * step}", size=14, anchor="end")
    canvas.text(14, _TOP + 6, "V", size=14)
    start_s, end_s = span
    tick_s = next(s for s in (0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 1.0) if (end_s - start_s) / s <= 12)
    for k in range(math.floor(end_s / tick_s) + 1):
        at = _LEFT + (k * tick_s - start_s) * scale_x
        canvas.line(at, _BOTTOM, at, _BOTTOM + 5, stroke_width=1)
        canvas.text(at, _BOTTOM + 20, f"{k * tick_s * 1000:g}", size=14, anchor="middle")
    canvas.text(_RIGHT + 7, _BOTTOM + 20, "ms", size=14)


def _samples(
    canvas: Canvas, frame: FrameSeen, scale_x: float, y: Callable[[NDArray[np.float64]], NDArray[np.float64]]
) -> None:
    """Draw the moments at which the receiver looked: rings, filled for a mark."""
    reading = frame.reading
    x = _LEFT + (np.ravel(reading.sample_times_s) - _span_s(frame)[0]) * scale_x
    points = list(zip(x.tolist(), y(np.ravel(reading.sample_volts)).tolist(), strict=True))
    spaces = [point for point, mark in zip(points, np.ravel(reading.sample_levels), strict=True) if not mark]
    canvas.dots(points, 10.5, INK)
    canvas.dots(spaces, 7.5, PAPER)


def _characters(canvas: Canvas, frame: FrameSeen, scale_x: float) -> None:
    """Draw the characters sent and heard as boxes under the trace."""
    wave, reading = frame.wave, frame.reading
    start = _span_s(frame)[0]
    sent = frame.sent.to_bytes()
    long_s = 10 * wave.bit_s
    heard = dict(enumerate(reading.characters))
    begins = {
        "sent": [(k * long_s, byte) for k, byte in enumerate(sent)],
        "heard": [(float(reading.start_times_s[k]), byte) for k, byte in heard.items()],
    }
    for row, y in _ROWS:
        canvas.text(10, y + 20, row)
        for k, (begin_s, byte) in enumerate(begins[row]):
            left = _LEFT + (begin_s - start) * scale_x
            wide = long_s * scale_x - 6
            bad_stop = row == "heard" and not reading.sample_levels[k, -1]
            wrong = row == "heard" and (bad_stop or k >= len(sent) or byte != sent[k])
            stroke = LOOKS["faulted"].colour if wrong else INK
            canvas.rect(
                left + 1, y, wide, 44, fill=PAPER, stroke=stroke, stroke_width=3.5 if wrong else 1.5, rx=3
            )
            bits = format(byte, "08b")[::-1]
            canvas.text(left + 9, y + 18, f"0x{byte:02X}", bold=True)
            canvas.text(left + wide - 6, y + 18, bits, anchor="end", size=14)
            words = (
                byte_words(k, byte, frame.way == "up", frame.run)
                if not wrong
                else "no stop bit"
                if bad_stop
                else "wrong"
            )
            canvas.text(left + 9, y + 37, words, size=14 if text_width(words, 15) > wide - 12 else 15)


def _numbers(canvas: Canvas, frame: FrameSeen, scale_x: float) -> None:
    """Draw a numbered box under each character that was heard, and say how to read the looks."""
    start, wide = _span_s(frame)[0], 10 * frame.wave.bit_s * scale_x - 6
    for k, begin_s in enumerate(np.ravel(frame.reading.start_times_s).tolist(), 1):
        left = _LEFT + (begin_s - start) * scale_x
        canvas.rect(left + 1, _ROWS[0][1], wide, 44, fill=PAPER, stroke=INK, stroke_width=1.5, rx=3)
        canvas.text(left + wide / 2, _ROWS[0][1] + 28, f"{k}", bold=True, anchor="middle")
    words = "Each ring is one look of the receiver: filled for a mark (1), empty for a space (0)."
    canvas.text(_LEFT, _H - 48, words, size=15)


def _keys(canvas: Canvas, view: FrameView) -> None:
    """Name the three lines, between title and trace."""
    x = _LEFT
    names: tuple[tuple[str, tuple[str, float, str | None]], ...] = (
        (f"SIG at the {PLACE_WORDS[view.at]}", (LOOKS["live"].colour, 3, None)),
        ("its own common, 0 V", (INK, 2, None)),
        (f"common of the {PLACE_WORDS[view.other]}", (OKABE_ITO["vermilion"], 3, "3 4")),
    )
    y = _TOP - 11
    for words, (colour, width, dash) in names:
        canvas.line(x, y - 5, x + 32, y - 5, stroke=colour, stroke_width=width, stroke_dasharray=dash)
        canvas.text(x + 38, y, words, size=15)
        x += text_width(words, 15) + 62


def _verdict(view: FrameView) -> str:
    frame = view.frame
    if frame is None:
        return f"no frame, {view.silent}"
    if frame.taken:
        damaged = "" if frame.heard == frame.sent else ", though it is not what was sent: its check fits"
        return f"a good frame: it will be acted on{damaged}"
    return f"refused: {frame.why}"
