"""The scope as a picture of its own: a whole frame, or one character of it turned up until its bits show.

    scope_picture(bench)                    the last frame of a link, as its receiver got it
    scope_picture(bench, character=3)       its third character, bit by bit
    scope_picture(bench, covered=True)      the volts and the looks alone: read it yourself
    scope_levels(bench)                     what the receiver found at its looks, as zeros and ones
    scope_numbers(bench)                    the characters that it made of them, as numbers

What is shown is the frame that the bench decided, never one made for the picture.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lessonkit.bench.bench import Bench
from lessonkit.bench.exchange import FrameSeen
from lessonkit.draw.frames_view import FrameView, byte_words, last_frame
from lessonkit.draw.image import svg_image_html
from lessonkit.draw.palette import INK, OKABE_ITO, PAPER, SOFT
from lessonkit.draw.scope import scope_svg, scope_words
from lessonkit.draw.still import TEXT_PT, Still, axes
from lessonkit.errors import BadParameter, require
from lessonkit.job.calls import PLACE_WORDS
from lessonkit.signal.frames import FRAME_BYTES

__all__ = ["BIT_NAMES", "ScopeView", "scope_levels", "scope_numbers", "scope_picture"]

BIT_NAMES = ("start", "1", "2", "4", "8", "16", "32", "64", "128", "stop")
"""The ten bits of a character in the order on the line: data bits by what they are worth."""


@dataclass(frozen=True)
class ScopeView:
    """A scope's screen and the same in words; shown last in a cell, it is an image with its words."""

    words: str
    svg: str

    def __repr__(self) -> str:
        """Return the words, as a notebook without pictures shows them."""
        return self.words

    def _repr_html_(self) -> str:
        return svg_image_html(self.svg)


def _run_of(bench: Bench, run: str) -> str:
    """Return the run that was asked for, or the job's only one with a link."""
    if not run and len(bench.job.links) == 1:
        return bench.job.links[0]
    return run


def scope_picture(
    bench: Bench, run: str = "", way: str = "down", *, character: int = 0, covered: bool = False
) -> ScopeView | Still:
    """Return the last frame of a link, as its receiver sees it.

    `run` may be left out where the job has one link; `way` is "down" (the encoder's frame) or "up" (the
    reply); `character` from 1 to 5 turns one character up, 0 shows them all. `covered` leaves out what the
    receiver made of it. Raises `BadParameter` for a run without a link, or a character that did not come.
    """
    require(character in range(FRAME_BYTES + 1), "character", character, f"from 1 to {FRAME_BYTES}, or 0")
    view = last_frame(bench, _run_of(bench, run), way)
    if not character:
        return ScopeView(scope_words(view, covered), scope_svg(view, covered))
    return _one_character(view, _heard(view, character), character - 1, covered)


def scope_levels(bench: Bench, run: str = "", way: str = "down") -> list[int]:
    """Return the levels of the last frame, in the order sent.

    They are those at the looks of the receiver, fifty of them in a whole frame: 0 for a space, 1 for a mark.
    Raises `BadParameter` where none was heard.
    """
    frame = _heard(last_frame(bench, _run_of(bench, run), way), 1)
    return [int(level) for level in np.ravel(frame.reading.sample_levels)]


def scope_numbers(bench: Bench, run: str = "", way: str = "down") -> list[int]:
    """Return the characters of the last frame, as numbers.

    From 0 to 255, as the receiver read them: sync, address, call bits, number, check. Raises `BadParameter`
    where none was heard.
    """
    return list(_heard(last_frame(bench, _run_of(bench, run), way), 1).reading.characters)


def _heard(view: FrameView, character: int) -> FrameSeen:
    """Return the frame, if its receiver found so many characters in it."""
    came = len(view.frame.reading.characters) if view.frame else 0
    if view.frame is None or came < character:
        why = view.silent or f"{came} came, {view.frame.why.rstrip('.') if view.frame else ''}"
        raise BadParameter("character", character, f"one that the receiver found; {why}")
    return view.frame


def _one_character(view: FrameView, frame: FrameSeen, k: int, covered: bool) -> Still:
    """Draw one character's volts, the looks at it, and what each bit is worth."""
    wave, reading, receiver = frame.wave, frame.reading, view.receiver
    looks_ms, looks_v = reading.sample_times_s[k] * 1000, reading.sample_volts[k]
    marks = reading.sample_levels[k].astype(bool)
    half_ms = float(looks_ms[1] - looks_ms[0]) / 2
    first, last = float(looks_ms[0]) - 3 * half_ms, float(looks_ms[-1]) + 3 * half_ms
    shown = (wave.time_s * 1000 >= first) & (wave.time_s * 1000 <= last)
    figure, (plot,) = axes(8.6, 3.9)
    plot.plot(wave.time_s[shown] * 1000, wave.volts[shown], color=OKABE_ITO["blue"], linewidth=2.2)
    top = max(float(wave.volts[shown].max()), receiver.high_threshold_v) + 3.4
    for threshold_v, word in ((receiver.high_threshold_v, "mark"), (receiver.low_threshold_v, "space")):
        plot.axhline(threshold_v, color=SOFT, linestyle=(0, (6, 3)), linewidth=1.4)
        plot.text(last, threshold_v, f" {word} {threshold_v:g} V", va="center", fontsize=TEXT_PT - 1)
    plot.plot(looks_ms[marks], looks_v[marks], "o", color=INK, markersize=9)
    plot.plot(looks_ms[~marks], looks_v[~marks], "o", color=INK, markerfacecolor=PAPER, markersize=9)
    for at, name in zip(looks_ms, BIT_NAMES, strict=True):
        plot.axvline(at - half_ms, color=SOFT, linewidth=0.8, linestyle=":")
        plot.text(at, top - 0.3, name, ha="center", va="top", fontsize=TEXT_PT - 1)
    plot.axvline(looks_ms[-1] + half_ms, color=SOFT, linewidth=0.8, linestyle=":")
    plot.set(xlim=(first, last), ylim=(min(float(wave.volts[shown].min()), 0.0) - 1.0, top))
    plot.set_xlabel("milliseconds from the first fall; above, what each bit is worth")
    plot.set_ylabel("volts at the receiver")
    byte = reading.characters[k]
    meaning = "" if covered else f"{byte}, {byte_words(k, byte, frame.way == 'up', frame.run)}"
    named = f"Character {k + 1} of the {'reply' if frame.way == 'up' else 'frame'}"
    plot.set_title(named + (f": {meaning}" if meaning else ""), fontsize=TEXT_PT + 1)
    bits = "".join("1" if mark else "0" for mark in marks)
    return Still(
        figure,
        f"{named} at the {PLACE_WORDS[view.at]}. Looks in the order on the line: "
        f"start {bits[0]}; data, lowest first, {' '.join(bits[1:-1])}; stop {bits[-1]}."
        + ("" if covered else f" It is the number {meaning}."),
    )
