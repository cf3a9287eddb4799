"""The glossary: plain data in order, a page made of it, and pictures that belong to words."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import pytest

from lessonkit.draw.vignettes import VIGNETTES, vignette_svg
from lessonkit.exercises.glossary import GLOSSARY, anchor, glossary_notebook, glossary_words
from lessonkit.exercises.notebooks import notebook_bytes, source_of

NOTEBOOKS = Path(__file__).resolve().parents[3] / "notebooks"


def test_words_are_in_order_and_take_a_line() -> None:
    """Words stand in the order of the alphabet, each with one short line that ends as a sentence does."""
    words = glossary_words()
    assert list(words) == sorted(words, key=str.casefold)
    assert [word for word, line in words.items() if "\n" in line or len(line) > 140 or line[-1] != "."] == []


def test_the_page_is_made_of_the_words() -> None:
    """The notebook in the checkout is what the words make; after a change, run `lessonkit figures`."""
    assert (NOTEBOOKS / GLOSSARY).read_bytes() == notebook_bytes(glossary_notebook())


def test_the_page_has_a_heading_for_each_word() -> None:
    """Each word has a cell of its own, whose heading a link leads to, and no cell has to be run."""
    cells = glossary_notebook()["cells"]
    assert {cell["cell_type"] for cell in cells} == {"markdown"}
    headings = [source_of(cell).partition("\n")[0].removeprefix("## ") for cell in cells[1:]]
    assert headings == list(glossary_words())
    assert anchor("short-cycle delay") == "short-cycle-delay"


@pytest.mark.parametrize("word", VIGNETTES)
def test_a_small_picture_belongs_to_a_word(word: str) -> None:
    """Each small picture is of a word of the glossary, is whole, and says in words what it shows."""
    assert word in glossary_words()
    picture = ElementTree.fromstring(vignette_svg(word))
    assert VIGNETTES[word][1] in picture.attrib["aria-label"]
    assert len(list(picture.iter())) > 3
