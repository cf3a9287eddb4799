"""Vignettes: one small picture for a word of the glossary, where a picture helps.

Each is a function that draws on a canvas; `VIGNETTES` has them by their word, with the words that say the
same to those who can't see it. Electrical states look as in the wiring picture.
"""

from __future__ import annotations

from collections.abc import Callable
from types import MappingProxyType

from lessonkit.draw.palette import INK, LOOKS, OKABE_ITO, PAPER
from lessonkit.draw.svg import Canvas

__all__ = ["VIGNETTES", "vignette_svg"]

WIDE, HIGH = 280.0, 76.0
_BAD = OKABE_ITO["vermilion"]
_LEFT, _RIGHT, _MIDDLE, _Y = 40.0, 240.0, 140.0, 38.0


def _wire(canvas: Canvas, y: float, state: str, left: float = _LEFT, right: float = _RIGHT) -> None:
    canvas.path([(left, y), (right, y)], LOOKS[state])


def _screw(canvas: Canvas, x: float, y: float, letter: str, live: bool = False) -> None:
    canvas.circle(x, y, 6, fill=INK if live else PAPER, stroke=INK, stroke_width=1.5)
    at, anchor = (x - 14, "end") if x < _MIDDLE else (x + 12, "start")
    canvas.text(at, y + 6, letter, bold=True, anchor=anchor)


def _coil(canvas: Canvas) -> None:
    for x, sealed, word in ((70.0, False, "open"), (190.0, True, "sealed")):
        canvas.rect(x, 20, 22, 22, fill=INK if sealed else PAPER, stroke=INK, stroke_width=1.5)
        gap = 0 if sealed else 8
        canvas.path([(x + 24 + gap, 18), (x + 24 + gap, 44)], stroke=INK, stroke_width=4)
        canvas.text(x + 12, 64, word, anchor="middle")


def _state(state: str) -> Callable[[Canvas], None]:
    def draw(canvas: Canvas) -> None:
        _wire(canvas, _Y, state)
        for x in (_LEFT, _RIGHT):
            canvas.circle(x, _Y, 6, fill=PAPER, stroke=INK, stroke_width=1.5)

    return draw


def _open(canvas: Canvas) -> None:
    _wire(canvas, _Y, "live", right=_MIDDLE - 14)
    _wire(canvas, _Y, "dead", left=_MIDDLE + 14)
    for x in (_MIDDLE - 8, _MIDDLE + 4):
        canvas.path([(x, _Y - 14), (x + 6, _Y + 14)], stroke=_BAD, stroke_width=3)


def _short(canvas: Canvas) -> None:
    _wire(canvas, 22, "live")
    _wire(canvas, 56, "common")
    canvas.path([(_MIDDLE, 22), (_MIDDLE, 56)], stroke=_BAD, stroke_width=4)
    canvas.text(_LEFT - 8, 28, "R", anchor="end", bold=True)
    canvas.text(_LEFT - 8, 62, "C", anchor="end", bold=True)


def _splice(canvas: Canvas) -> None:
    _wire(canvas, _Y, "live", right=_MIDDLE - 20)
    _wire(canvas, _Y, "live", left=_MIDDLE + 20)
    points = [(_MIDDLE - 20 + 5 * k, _Y + (0 if k in (0, 8) else 9 if k % 2 else -9)) for k in range(9)]
    canvas.path(points, stroke=_BAD, stroke_width=3)


def _ghost(canvas: Canvas) -> None:
    _wire(canvas, 16, "live")
    _wire(canvas, _Y, "floating")
    _wire(canvas, 60, "live")
    for y in (27.0, 49.0):
        canvas.path([(_MIDDLE - 8, y - 2), (_MIDDLE + 8, y - 2)], stroke=INK, stroke_width=2)
        canvas.path([(_MIDDLE - 8, y + 2), (_MIDDLE + 8, y + 2)], stroke=INK, stroke_width=2)


def _reading(canvas: Canvas) -> None:
    _wire(canvas, 20, "live", left=60, right=220)
    _wire(canvas, 60, "common", left=60, right=220)
    canvas.rect(_MIDDLE - 34, 28, 68, 24, fill=PAPER, stroke=INK, stroke_width=1.5)
    canvas.text(_MIDDLE, 46, "26.5 V", anchor="middle")
    canvas.path([(_MIDDLE, 28), (_MIDDLE, 20)], stroke=INK, stroke_width=2)
    canvas.path([(_MIDDLE, 52), (_MIDDLE, 60)], stroke=INK, stroke_width=2)
    canvas.text(52, 26, "R", anchor="end", bold=True)
    canvas.text(52, 66, "C", anchor="end", bold=True)


def _relay(canvas: Canvas) -> None:
    canvas.rect(70, 24, 26, 26, fill=INK, stroke=INK)
    canvas.path([(96, _Y - 1), (150, _Y - 1)], stroke=INK, stroke_width=1.2, stroke_dasharray="3 4")
    canvas.path([(130, 56), (150, 56), (176, 40)], stroke=INK, stroke_width=3)
    canvas.path([(178, 56), (220, 56)], stroke=INK, stroke_width=3)
    canvas.text(83, 68, "coil", anchor="middle", size=14)
    canvas.text(196, 72, "contact", anchor="middle", size=14)


def _half_split(canvas: Canvas) -> None:
    _wire(canvas, 30, "live")
    for k in range(5):
        x = _LEFT + k * (_RIGHT - _LEFT) / 4
        canvas.circle(x, 30, 5, fill=PAPER, stroke=INK, stroke_width=1.5)
    canvas.path([(_MIDDLE, 62), (_MIDDLE, 40)], stroke=INK, stroke_width=3)
    canvas.text(_MIDDLE + 10, 64, "test here first", size=14)


def _watchdog(canvas: Canvas) -> None:
    for k in range(5):
        canvas.path([(40 + 14 * k, 46), (40 + 14 * k, 28)], stroke=OKABE_ITO["green"], stroke_width=3)
    canvas.path([(30, 46), (250, 46)], stroke=INK, stroke_width=1.5)
    canvas.path([(98, 52), (98, 60), (214, 60), (214, 52)], stroke=INK, stroke_width=1.5)
    canvas.text(156, 74, "10 s of silence", anchor="middle", size=14)
    canvas.text(218, 40, "let go", size=14, bold=True)
    canvas.text(40, 20, "frames", size=14)


def _pick_up(canvas: Canvas) -> None:
    canvas.path([(50, 58), (180, 58), (180, 20), (250, 20)], stroke=OKABE_ITO["blue"], stroke_width=3)
    falling = [(250, 24), (110, 24), (110, 54), (50, 54)]
    canvas.path(falling, stroke=_BAD, stroke_width=3, stroke_dasharray="6 4")
    canvas.text(110, 74, "drop-out", anchor="middle", size=14)
    canvas.text(184, 74, "pick-up", anchor="middle", size=14)
    canvas.text(46, 28, "sealed", size=14)


def _signal(canvas: Canvas) -> None:
    steps = [(_LEFT + 12.5 * (k // 2), _Y + (10 if k // 2 % 2 else -10)) for k in range(1, 34)]
    points = [(x, y) for (x, _), (_, y) in zip(steps, [*steps[1:], steps[-1]], strict=True)]
    canvas.path(points, stroke=LOOKS["signalling"].colour, stroke_width=3)


def _terminal(canvas: Canvas) -> None:
    _wire(canvas, _Y, "live")
    _screw(canvas, _LEFT, _Y, "Y1", live=True)
    _screw(canvas, _RIGHT, _Y, "Y1", live=True)
    canvas.text(_LEFT, 70, "air:Y1", anchor="middle", size=14)
    canvas.text(_RIGHT - 6, 70, "out:Y1", anchor="middle", size=14)


#: Word of the glossary -> what draws it, and the same in words.
VIGNETTES: MappingProxyType[str, tuple[Callable[[Canvas], None], str]] = MappingProxyType(
    {
        "coil": (_coil, "Two coils: one open, with a gap before its armature; one sealed, without."),
        "common": (_state("common"), "A thin full line: common."),
        "floating": (_state("floating"), "A dashed line: floating."),
        "ghost": (_ghost, "A floating wire between two live ones, with capacitance to both."),
        "half-split": (_half_split, "Five points along a wire; the test is made at the middle one first."),
        "live": (_state("live"), "A thick full line: live."),
        "open": (_open, "A live wire with a break; behind the break it is dead."),
        "pick-up": (
            _pick_up,
            "Rising volts: open until pick-up. Falling: sealed down to drop-out.",
        ),
        "reading": (_reading, "A meter between R and C shows 26.5 V."),
        "relay": (_relay, "A coil beside a contact that it moves."),
        "short": (_short, "A bridge from a live wire R to the common wire C."),
        "SIG": (_signal, "A line of pulses: signalling."),
        "splice": (_splice, "A live wire with a resistance in its middle."),
        "terminal": (_terminal, "A wire from the screw Y1 at the air handler to the screw Y1 outdoors."),
        "watchdog": (_watchdog, "Frames arrive, then ten seconds of silence, and the outputs are let go."),
    }
)


def vignette_svg(word: str) -> str:
    """Return the small picture of a word of the glossary."""
    draw, words = VIGNETTES[word]
    canvas = Canvas(WIDE, HIGH, word, words)
    draw(canvas)
    return str(canvas)
