"""A canvas to draw on: SVG text in two layers, what rarely changes behind what lives.

Coordinates are pixels at normal size, x to the right and y downwards; a picture scales to the width that it
is given. Names and values go through the XML escapes of the standard library, never pasted into markup, so no
name of a job can break a picture or slip a script in.

A panel shows both layers as two pictures that lie on each other, so that after a click only the living one
has to travel and be drawn again; everywhere else they are one picture.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from functools import cache, lru_cache
from typing import NamedTuple
from xml.sax.saxutils import escape

from lessonkit.draw.palette import INK, PAPER, Look

__all__ = ["TEXT_PX", "Canvas", "Layers", "number", "steps", "text_width"]

TEXT_PX = 16.0
"""Size of ordinary text; nothing is written smaller than 14 px."""

_FONT = "system-ui, 'Segoe UI', 'DejaVu Sans', Arial, sans-serif"
#: A line of a picture is one element, so no name or value may begin another.
_LINE = {"\n": "&#10;"}
_QUOTE = {'"': "&quot;", **_LINE}

#: A path of so many points may come again; a longer one is a trace, and no two traces are alike.
_SHORT = 64

Value = float | str | None
"""What an attribute may be; None leaves it out."""

_Attributes = tuple[tuple[str, Value], ...]


class Layers(NamedTuple):
    """One picture as two that lie on each other: what rarely changes, and what lives."""

    still: str
    living: str


@lru_cache(maxsize=4096)  # a picture has few coordinates, and each of them many times
def number(value: float) -> str:
    """Return a coordinate with one decimal at most, so that a picture is the same on every machine.

    >>> number(3.0), number(2.25)
    ('3', '2.2')
    """
    text = f"{value:.1f}"
    return text[:-2] if text.endswith(".0") else text


def steps(points: Iterable[tuple[float, float]]) -> str:
    """Return a path from point to point in the short form of SVG: how far to go, not where to.

    Where a point is goes to the nearest tenth of a pixel, so that no error adds up.

    >>> steps([(10, 5), (10, 8), (12.5, 8), (14, 9)])
    'M10 5v3h2.5l1.5 1'
    """
    places = [(round(x * 10), round(y * 10)) for x, y in points]
    if not places:
        return ""
    x, y = places[0]
    made = [f"M{_tenths(x)} {_tenths(y)}"]
    for to_x, to_y in places:
        if to_x == x:
            if to_y != y:
                made.append(f"v{_tenths(to_y - y)}")
        elif to_y == y:
            made.append(f"h{_tenths(to_x - x)}")
        else:
            made.append(f"l{_tenths(to_x - x)} {_tenths(to_y - y)}")
        x, y = to_x, to_y
    return "".join(made)


@lru_cache(maxsize=1024)  # most of a picture lies where it lay in the last
def _kept_steps(points: tuple[tuple[float, float], ...]) -> str:
    return steps(points)


@lru_cache(maxsize=4096)  # the same few steps again and again
def _tenths(count: int) -> str:
    whole, rest = divmod(abs(count), 10)
    sign = "-" if count < 0 else ""
    return f"{sign}{whole}.{rest}" if rest else f"{sign}{whole}"


def text_width(words: str, size: float = TEXT_PX, bold: bool = False) -> float:
    """Return about how wide words are, in a font that runs wide."""
    narrow = sum(1 for letter in words if letter in " .,:;|ijlft'")
    return size * (0.64 * len(words) - 0.26 * narrow) * (1.1 if bold else 1.0)


class Canvas:
    """One picture in the making.

    Parameters: size in pixels; `title` names the picture, `words` tell what it shows to those who can't see
    it.
    """

    def __init__(self, width: float, height: float, title: str, words: str) -> None:
        self.width, self.height = width, height
        self.title, self.words = title, words
        self._still: list[str] = []
        self._living: list[str] = []
        self._into = self._living
        with self.behind():
            self.rect(0, 0, width, height, fill=PAPER)

    def __str__(self) -> str:
        """Return the picture as text, both layers in one: a line for its beginning, each element, its end."""
        return "\n".join([self._head(), *self._still, *self._living, "</g></svg>"])

    def layers(self) -> Layers:
        """Return both layers as pictures of their own; the living one has the words for both."""
        still = "\n".join([self._head(spoken=False), *self._still, "</g></svg>"])
        return Layers(still, "\n".join([self._head(), *self._living, "</g></svg>"]))

    def _head(self, spoken: bool = True) -> str:
        """Return how a picture begins; all that it says stands in its label, so its parts are hidden."""
        box = f"0 0 {number(self.width)} {number(self.height)}"
        head = f"<svg{_attribute('xmlns', 'http://www.w3.org/2000/svg')}{_attribute('viewBox', box)}"
        head += f"{_attribute('width', self.width)}{_attribute('height', self.height)}"
        if spoken:
            head += (
                f'{_attribute("role", "img")} aria-label="{escape(f"{self.title}. {self.words}", _QUOTE)}"'
            )
            title = f"<title>{escape(self.title, _LINE)}</title>"
        else:
            head, title = f"{head}{_attribute('aria-hidden', 'true')}", ""
        font = f"{_attribute('font-family', _FONT)}{_attribute('font-size', TEXT_PX)}"
        return f'{head}{font}>{title}<g aria-hidden="true">'

    @contextmanager
    def behind(self) -> Iterator[None]:
        """Draw what follows into the layer behind, for what changes rarely."""
        outer, self._into = self._into, self._still
        try:
            yield
        finally:
            self._into = outer

    def add(self, tag: str, content: str = "", /, **attributes: Value) -> None:
        """Add an element with words in it; `_` in the name of an attribute stands for `-`."""
        self._into.append(_element(tag, content, tuple(attributes.items())))

    @contextmanager
    def group(self, title: str = "", **attributes: Value) -> Iterator[None]:
        """Draw what follows inside a group; a `title` shows when the mouse rests on it."""
        outer, self._into = self._into, []
        self._into.append(f"<g{_attributes(tuple(attributes.items()))}>")
        if title:
            self._into.append(f"<title>{escape(title, _LINE)}</title>")
        try:
            yield
        finally:
            outer.append("".join([*self._into, "</g>"]))
            self._into = outer

    def text(
        self,
        x: float,
        y: float,
        words: str,
        *,
        size: float = TEXT_PX,
        anchor: str = "start",
        fill: str = INK,
        bold: bool = False,
        turn: float = 0.0,
        halo: bool = False,
    ) -> None:
        """Write words with their baseline at y; `halo` puts paper behind them, `turn` is in degrees."""
        if halo:
            wide = text_width(words, size, bold) + 6
            left = x - {"start": 3, "middle": wide / 2, "end": wide - 3}[anchor]
            self.rect(left, y - size * 0.8, wide, size, fill=PAPER)
        self.add(
            "text",
            words,
            x=x,
            y=y,
            font_size=None if size == TEXT_PX else size,
            text_anchor=None if anchor == "start" else anchor,
            fill=None if fill == INK else fill,
            font_weight="bold" if bold else None,
            transform=f"rotate({number(turn)} {number(x)} {number(y)})" if turn else None,
        )

    def rect(self, x: float, y: float, w: float, h: float, **more: Value) -> None:
        """Draw a box from its upper left corner."""
        self.add("rect", x=x, y=y, width=w, height=h, **more)

    def circle(self, x: float, y: float, r: float, **more: Value) -> None:
        """Draw a circle."""
        self.add("circle", cx=x, cy=y, r=r, **more)

    def path(self, points: Iterable[tuple[float, float]], look: Look | None = None, **more: Value) -> None:
        """Draw straight lines from point to point, as a look says or with attributes of your own."""
        given = {"fill": "none", **more} if look is None else {**_strokes(look), **more}
        places = tuple(points)
        drawn = _kept_steps(places) if len(places) <= _SHORT else steps(places)
        self.add("path", d=drawn, **given)

    def dots(self, points: Iterable[tuple[float, float]], wide: float, colour: str) -> None:
        """Draw many dots of one kind as one element."""
        places = "".join([f"M{number(x)} {number(y)}h0" for x, y in points])
        if places:
            self.add("path", d=places, stroke=colour, stroke_width=wide, stroke_linecap="round")

    def line(
        self, x1: float, y1: float, x2: float, y2: float, look: Look | None = None, **more: Value
    ) -> None:
        """Draw one straight line."""
        given = {"stroke": INK, "stroke_width": 2, **more} if look is None else {**_strokes(look), **more}
        self.add("line", x1=x1, y1=y1, x2=x2, y2=y2, **given)


def _strokes(look: Look) -> dict[str, Value]:
    dash = look.dash or None
    return {"fill": "none", "stroke": look.colour, "stroke_width": look.width, "stroke_dasharray": dash}


@cache
def _name(name: str) -> str:
    return name.rstrip("_").replace("_", "-")


@lru_cache(maxsize=8192)  # pictures say the same things again and again
def _element(tag: str, content: str, attributes: _Attributes) -> str:
    spelled = _attributes(attributes)
    return f"<{tag}{spelled}>{escape(content, _LINE)}</{tag}>" if content else f"<{tag}{spelled}/>"


def _attributes(attributes: _Attributes) -> str:
    return "".join([_attribute(name, value) for name, value in attributes if value is not None])


@lru_cache(maxsize=8192)
def _attribute(name: str, value: float | str) -> str:
    spelled = escape(value, _QUOTE) if isinstance(value, str) else number(value)
    return f' {_name(name)}="{spelled}"'
