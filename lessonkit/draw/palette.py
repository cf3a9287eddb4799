"""Colours and dashes: what each electrical state looks like.

Colour never speaks alone: each state has a colour, a dash pattern or a shape, and a word, and a picture in
shades of grey still tells them apart. Colours are those of Okabe and Ito (2008), which people with any common
kind of colour vision can tell apart; of these, only black and blue have contrast enough for text on white, so
words are always written in ink. The colour of a wire's jacket is never drawn: it says nothing that a test
could trust.

Source: Okabe and Ito, "Color Universal Design" (2008) for the colours; WCAG 2.2, 1.4.3 and 1.4.11, for
contrast (4.5 to 1 for text, 3 to 1 for lines and symbols).
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType

__all__ = ["EDGE", "FAINT", "INK", "LOOKS", "OKABE_ITO", "PAPER", "SHADE", "SOFT", "Look", "contrast"]

INK, PAPER = "#000000", "#ffffff"
SOFT = "#595959"
"""Words of second rank; 7 to 1 on white."""
FAINT = "#eef1f4"
"""The ground of boxes; ink on it keeps 18 to 1."""
SHADE = "#d9dee4"
"""A ground to tell from that of boxes; ink on it keeps 15 to 1."""
EDGE = "#c4c8cc"
"""Lines between the rows of a table, which tell nothing by themselves."""

OKABE_ITO = MappingProxyType(
    {
        "black": "#000000",
        "orange": "#e69f00",
        "sky": "#56b4e9",
        "green": "#009e73",
        "yellow": "#f0e442",
        "blue": "#0072b2",
        "vermilion": "#d55e00",
        "purple": "#cc79a7",
    }
)


@dataclass(frozen=True)
class Look:
    """How one electrical state is drawn.

    `dash` is an SVG dash pattern, empty for a full line; `means` explains the word to a reader.
    """

    word: str
    colour: str
    width: float
    dash: str
    means: str


LOOKS = MappingProxyType(
    {
        look.word: look
        for look in (
            Look("live", OKABE_ITO["blue"], 5.0, "", "24 volts against the common"),
            Look("dead", SOFT, 2.0, "2 5", "no volts, or too few to work anything"),
            Look("common", INK, 2.5, "", "the way back, near 0 V"),
            Look("signalling", OKABE_ITO["green"], 3.0, "", "frames on the conductor"),
            Look("floating", OKABE_ITO["purple"], 2.5, "6 6", "joined to nothing; a ghost voltage only"),
            Look("faulted", OKABE_ITO["vermilion"], 4.0, "9 3", "a fault sits here"),
            Look("covered", INK, 2.0, "", "not shown: find out with the meter"),
        )
    }
)


def contrast(one: str, two: str) -> float:
    """Return the WCAG contrast ratio of two colours such as `#0072b2`, from 1 to 21.

    >>> round(contrast(OKABE_ITO["blue"], PAPER), 2)
    5.19
    """
    lighter, darker = sorted((_luminance(one), _luminance(two)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def _luminance(colour: str) -> float:
    shares = (int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5))
    linear = [s / 12.92 if s <= 0.04045 else ((s + 0.055) / 1.055) ** 2.4 for s in shares]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
