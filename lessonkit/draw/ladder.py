"""The ladder diagram of a bench as it is now: hot on the left, common on the right, a rung for each coil.

    print(ladder_svg(bench.state, bench.job), file=open("ladder.svg", "w"))

The way in which the trade draws control circuits. Each rung is the loop of one coil (`loops`), laid out
straight: its contacts and conductors in their order, the coil, and its way home. A contact is two bars; one
with a stroke through it is closed at rest. What is live against the common of its own supply is drawn live,
so one sees at which part the volts stop. Electronics that live on R and C follow below the coils, and then
the inputs of a link whose way leads over a contact that stands on no other rung.
"""

from __future__ import annotations

from dataclasses import dataclass

from lessonkit.bench.state import LIVE_V, State
from lessonkit.draw.image import svg_image_html
from lessonkit.draw.loops import Loop, Part, follow_names, input_loops, loop_of
from lessonkit.draw.marks import cross
from lessonkit.draw.palette import FAINT, INK, LOOKS, OKABE_ITO, PAPER, SOFT, Look
from lessonkit.draw.svg import Canvas, text_width
from lessonkit.draw.symbols import fuse_symbol, transformer_symbol
from lessonkit.draw.words import clock_words
from lessonkit.job.calls import PLACE_WORDS
from lessonkit.job.model import Job
from lessonkit.job.parts import INPUT_LIVE_V

__all__ = ["Ladder", "ladder", "ladder_svg"]

WIDTH = 1036.0
_LEFT, _RIGHT = 40.0, WIDTH - 40.0
_HEAD, _RUNG = 110.0, 66.0
_COIL_X, _NAME_W, _LABEL_PX = 756.0, 50.0, 14.0
_LIT = OKABE_ITO["yellow"]


@dataclass(frozen=True)
class Ladder:
    """A ladder diagram to show in a notebook: a picture, and the same in words."""

    svg: str
    words: str

    def __repr__(self) -> str:
        """Return the rungs in words, one a line."""
        return self.words.replace(". ", ".\n")

    def _repr_html_(self) -> str:
        return svg_image_html(self.svg)


def ladder(bench: object, follow: str = "") -> Ladder:
    """Return the ladder diagram of a bench as it is now.

    `follow` names a coil, such as "out:contactor", whose loop is lit from end to end.
    """
    state: State = bench.state  # type: ignore[attr-defined]
    job: Job = bench.job  # type: ignore[attr-defined]
    return Ladder(ladder_svg(state, job, follow), ladder_words(state))


def ladder_words(state: State) -> str:
    """Return every rung in a sentence."""
    rungs = (loop.words for loop in _rungs(state).values())
    return " ".join(f"{words[0].upper()}{words[1:]}." for words in rungs)


def _rungs(state: State) -> dict[str, Loop]:
    """Return the loops that have a rung: coils, electronics, and inputs that alone show some contact."""
    loops = {of: loop_of(state, of) for of in follow_names(state)}
    # A call's own contact stands for itself; what else lies in its way to an input must not be hidden.
    drawn = {part.name for loop in loops.values() for part in loop.parts}
    for of, loop in input_loops(state).items():
        own = {part.name for part in loop.feed if part.kind == "contact" and not _is_call(part)}
        if own - drawn:
            loops[of] = loop
            drawn |= own
    return loops


def _is_call(part: Part) -> bool:
    return part.name.startswith(("call", "relay"))


def ladder_svg(state: State, job: Job, follow: str = "") -> str:
    """Return the ladder diagram of a state as SVG text; `follow` names the coil whose loop is lit."""
    loops = _rungs(state)
    if follow:
        loop_of(state, follow)  # says which there are
    supplies = [place for place in state.fuses if any(loop.supply == place for loop in loops.values())]
    height = sum(_HEAD + _RUNG * sum(loop.supply == place for loop in loops.values()) for place in supplies)
    title = f"Ladder diagram of {job.title or job.name}, call {state.call}"
    canvas = Canvas(WIDTH, height + 34, title, ladder_words(state))
    top = 0.0
    for place in supplies:
        rungs = [loop for loop in loops.values() if loop.supply == place]
        _head(canvas, state, job, place, top, len(rungs))
        for k, loop in enumerate(rungs):
            _rung(canvas, state, loop, top + _HEAD + _RUNG * k, loop.of == follow)
        top += _HEAD + _RUNG * len(rungs)
    canvas.text(10, height + 20, f"The house gets {state.delivering}.", bold=True)
    canvas.text(WIDTH - 8, height + 20, f"t = {clock_words(state.time_s)}", anchor="end", bold=True)
    return str(canvas)


def _head(canvas: Canvas, state: State, job: Job, place: str, top: float, rungs: int) -> None:
    """Draw a supply across the two rails, and the rails down to the last rung."""
    common, y, last = f"{place}:C", top + 52, top + _HEAD + _RUNG * (rungs - 1)
    live = state.between(f"{place}:R", common) >= LIVE_V
    hot = LOOKS["live" if live else "dead"]
    middle = WIDTH / 2
    canvas.line(_LEFT, y, _LEFT, last, hot)
    canvas.line(_RIGHT, y, _RIGHT, last, LOOKS["common"])
    at_fuse = _LEFT + 120
    before = LOOKS["live" if state.between(f"{place}:XFMR", common) >= LIVE_V else "dead"]
    canvas.line(_LEFT, y, at_fuse - 16, y, hot)
    canvas.line(at_fuse + 16, y, middle - 22, y, before)
    canvas.line(middle + 22, y, _RIGHT, y, LOOKS["common"])
    fuse_symbol(canvas, at_fuse, y, state, job, place)
    transformer_symbol(canvas, middle, y, state, place)
    gives = f"{state.between(f'{place}:XFMR', common):.1f} V"
    words = f"{gives}, {state.va[place]:.0f} of {state.rated_va[place]:g} VA"
    canvas.text(middle + 34, y - 10, words, size=_LABEL_PX)
    canvas.text(middle - 34, y - 10, PLACE_WORDS[place], size=_LABEL_PX, anchor="end", bold=True)
    canvas.text(_LEFT - 8, y - 14, "R", anchor="middle", bold=True)
    canvas.text(_RIGHT + 8, y - 14, "C", anchor="middle", bold=True)


def _rung(canvas: Canvas, state: State, loop: Loop, y: float, lit: bool) -> None:
    """Draw one rung: feed, coil or electronics, and the way home."""
    feed = [part for part in loop.feed if part.kind != "fuse"]
    common, x, node = f"{loop.supply}:C", _LEFT, f"{loop.supply}:R"
    with canvas.group(loop.words):
        if lit:
            canvas.line(_LEFT, y, _RIGHT, y, stroke=_LIT, stroke_width=18, stroke_linecap="round")
        step = (_COIL_X - _NAME_W - _LEFT) / max(len(feed), 1)
        for part in feed:
            looks = _look(state, part.a, common, "dead"), _look(state, part.b, common, "dead")
            _part(canvas, part, looks, x, y, step)
            x, node = x + step, part.b
        canvas.line(x, y, _COIL_X, y, _look(state, node, common, "dead"))
        x = _load(canvas, state, loop, y)
        canvas.line(x, y, x + _NAME_W, y, LOOKS["common"])
        x += _NAME_W
        step = (_RIGHT - x) / max(len(loop.home), 1)
        for part in loop.home:
            looks = _look(state, part.a, common, "common"), _look(state, part.b, common, "common")
            _part(canvas, part, looks, x, y, step)
            x += step
        canvas.line(x, y, _RIGHT, y, LOOKS["common"])


def _look(state: State, node: str, common: str, resting: str) -> Look:
    """Return how a node looks against the common of the rung's supply; `resting` where it isn't live."""
    return LOOKS["live" if abs(state.solution.v(node, common)) >= LIVE_V else resting]


def _part(canvas: Canvas, part: Part, looks: tuple[Look, Look], x: float, y: float, step: float) -> None:
    """Draw one part over a step of its rung."""
    middle = x + step / 2
    gap = 9.0 if part.kind == "contact" else 12.0
    canvas.line(x, y, middle - gap, y, looks[0])
    canvas.line(middle + gap, y, x + step, y, looks[1])
    with canvas.group(f"{part.words}: {'closed' if part.closed else 'open'}"):
        if part.kind == "contact":
            for bar in (middle - gap, middle + gap):
                canvas.line(bar, y - 11, bar, y + 11, stroke=INK, stroke_width=2.5)
            if part.at_rest:
                canvas.line(middle - gap - 3, y + 12, middle + gap + 3, y - 12, stroke=INK, stroke_width=2)
            if part.closed:
                canvas.line(middle - gap, y, middle + gap, y, looks[1])
        else:
            for end in (middle - gap, middle + gap):
                canvas.circle(end, y, 3.5, fill=PAPER, stroke=INK, stroke_width=1.5)
            if part.closed:
                canvas.line(middle - gap + 4, y, middle + gap - 4, y, looks[1])
            else:
                cross(canvas, middle, y, 5)
    wide = text_width(part.words, _LABEL_PX)
    lines = [part.words] if wide <= step - 6 else _halves(part.words)
    for k, line in enumerate(lines):
        canvas.text(middle, y - 15 - 13 * (len(lines) - 1 - k), line, size=_LABEL_PX, anchor="middle")


def _halves(words: str) -> list[str]:
    """Return words in two lines, divided at the space or point nearest the middle."""
    spaces = [k + 1 for k, sign in enumerate(words) if sign in " ."]
    if not spaces:
        return [words]
    at = min(spaces, key=lambda k: abs(k - len(words) / 2))
    return [words[:at].rstrip(), words[at:]]


def _load(canvas: Canvas, state: State, loop: Loop, y: float) -> float:
    """Draw the coil as a ring, filled while its armature is in, or electronics as a box; return its end."""
    name = loop.of.partition(":")[2].replace("-", " ")
    coil, board = state.coils.get(loop.of), state.boards.get(loop.of)
    middle = _COIL_X + 12
    if coil is not None:
        on, words = coil.sealed, f"{coil.volts:.1f} V, {coil.word}"
        canvas.circle(middle, y, 12, fill=INK if on else PAPER, stroke=INK, stroke_width=2)
    else:
        if board is not None:
            on, words = board.awake, f"{board.volts:.1f} V, {'awake' if board.awake else 'asleep'}"
        else:
            volts = state.between(loop.feed[-1].b, loop.home[0].a if loop.home else f"{loop.supply}:C")
            on = volts >= INPUT_LIVE_V
            words = f"{volts:.1f} V, {'live' if on else 'dead'}"
        canvas.rect(_COIL_X, y - 11, 24, 22, fill=SOFT if on else FAINT, stroke=INK, stroke_width=2)
    canvas.text(middle, y - 16, name, anchor="middle", size=_LABEL_PX, bold=bool(on))
    canvas.text(middle, y + 26, words, anchor="middle", size=_LABEL_PX)
    return _COIL_X + 24
