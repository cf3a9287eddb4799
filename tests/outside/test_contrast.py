"""Colours held against published contrast figures.

Sources: WCAG 2.2, 1.4.3 and 1.4.11 (4.5 to 1 for text, 3 to 1 for graphics; black on white is 21 to 1), and
the pair of greys often quoted for its limit, #767676 (4.54, passes) and #777777 (4.48, fails; from memory);
Okabe and Ito, "Color Universal Design" (2008), for the eight colours, as colour-scheme libraries list them.
"""

from __future__ import annotations

import re
from itertools import combinations

import pytest

from lessonkit.draw.palette import FAINT, INK, LOOKS, OKABE_ITO, PAPER, SOFT, contrast
from lessonkit.draw.view import show_bench


@pytest.mark.parametrize(
    ("colour", "ratio"), [("#000000", 21.0), ("#767676", 4.54), ("#777777", 4.48), ("#ffffff", 1.0)]
)
def test_contrast_agrees_with_published_pairs(colour: str, ratio: float) -> None:
    """Contrast against white is the published figure, to its two decimals."""
    assert contrast(colour, PAPER) == pytest.approx(ratio, abs=0.005)


def test_colours_are_those_of_okabe_and_ito() -> None:
    """The eight colours are the published ones."""
    published = "000000 e69f00 56b4e9 009e73 f0e442 0072b2 d55e00 cc79a7"
    assert [colour.lstrip("#") for colour in OKABE_ITO.values()] == published.split()


@pytest.mark.parametrize("look", LOOKS.values(), ids=lambda look: look.word)
def test_every_state_stands_out_from_paper(look: object) -> None:
    """Lines of each state reach 3 to 1 on paper."""
    assert contrast(look.colour, PAPER) >= 3.0  # type: ignore[attr-defined]


def test_words_reach_text_contrast() -> None:
    """Ink and soft ink reach 4.5 to 1 on paper and on the ground of boxes."""
    assert min(contrast(ink, ground) for ink in (INK, SOFT) for ground in (PAPER, FAINT)) >= 4.5


def test_states_differ_without_colour() -> None:
    """Any two states differ in dash or width, or one of them has a shape of its own."""
    shaped = {"signalling", "covered"}  # a square wave; and covered is drawn with no other beside it
    for one, two in combinations(LOOKS.values(), 2):
        same = (one.dash, one.width) == (two.dash, two.width)
        assert not same or {one.word, two.word} & shaped, (one.word, two.word)


def test_pictures_are_written_large_and_dark_enough() -> None:
    """No text in the bench or the scope is under 14 px, or paler than 4.5 to 1 on the ground of boxes."""
    view = show_bench("two-run", "cool-2", ["outdoor.SIG=open"], scope="outdoor")
    for svg in (view.svg, view.scope):
        sizes = [float(size) for size in re.findall(r'font-size="([\d.]+)"', svg)]
        assert min(sizes) >= 14
        inks = set(re.findall(r'<text[^>]* fill="(#\w+)"', svg)) | {INK}
        assert min(contrast(ink, FAINT) for ink in inks) >= 4.5
