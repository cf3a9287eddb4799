"""The words that students, instructors and technicians read are spelt as a dictionary has them.

The dictionary is that of pyspellchecker, a library of general use: English words counted in film subtitles
and cleaned of misspellings (from memory). What it does not have and we mean stands in `words.txt` beside this
file: words of the trade and of computing, units, British spellings, and invented people and places. Text
between backquotes is code.
"""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import pytest
from spellchecker import SpellChecker

from lessonkit.exercises import known_workbooks, load_exercises
from lessonkit.exercises.core import givens_for
from lessonkit.exercises.glossary import glossary_words
from lessonkit.exercises.notebooks import read_notebook, source_of

CHECKOUT = Path(__file__).resolve().parents[2]
OWN = Path(__file__).with_name("words.txt")
NOTEBOOKS = sorted(
    path for path in (CHECKOUT / "notebooks").rglob("*.ipynb") if ".ipynb_checkpoints" not in path.parts
)
#: Code, markup, and where links lead.
_NO_PROSE = re.compile(
    r"```.*?```|`[^`]*`|^ {4,}.*$|<[^>]+>|\]\([^)]*\)|\w+:[/\w]\S*", re.DOTALL | re.MULTILINE
)
_WORD = re.compile(r"[^\W\d_](?:[^\W\d_]|['’])+")


@cache
def dictionary() -> SpellChecker:
    """Return the dictionary, read once."""
    return SpellChecker(language="en")


@cache
def own_words() -> frozenset[str]:
    """Return the words that we add to it, in small letters."""
    return frozenset(OWN.read_text(encoding="utf-8").casefold().split())


def misspelt(text: str) -> list[str]:
    """List the words of a text that neither the dictionary nor our own list has."""
    words = {word.replace("’", "'").strip("'") for word in _WORD.findall(_NO_PROSE.sub(" ", text))}
    return sorted(word for word in words if not any(map(_is_known, _forms(word.casefold()))))


def _forms(word: str) -> tuple[str, ...]:
    """Return a word as it stands and without a possessive's end."""
    return word, word.removesuffix("'s")


def _is_known(word: str) -> bool:
    return word in own_words() or word in dictionary()


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebooks_are_spelt_right(path: Path) -> None:
    """Every word of a notebook's text is in the dictionary, or in our own list."""
    cells = read_notebook(path)["cells"]
    assert misspelt("\n\n".join(source_of(cell) for cell in cells if cell["cell_type"] == "markdown")) == []


@pytest.mark.parametrize("number", known_workbooks())
def test_questions_and_hints_are_spelt_right(number: str) -> None:
    """So are titles, questions and hints of the exercises."""
    title, exercises = load_exercises(number)
    texts = [title]
    for exercise in exercises:
        texts += [exercise.title, exercise.question(givens_for(exercise, 0)), exercise.nudge]
        texts += [model.hint for model in exercise.wrong_models]
    assert misspelt("\n\n".join(texts)) == []


def test_readme_and_glossary_are_spelt_right() -> None:
    """So are README and the words that the glossary explains, with their lines."""
    readme = (CHECKOUT / "README.md").read_text(encoding="utf-8")
    assert misspelt(readme) == []
    assert misspelt("\n".join(f"{word}: {line}" for word, line in glossary_words().items())) == []


def test_slips_are_found_and_code_is_not_read() -> None:
    """A slip of the fingers is seen wherever it stands; code, links and possessives are no words of prose."""
    slips = "The thermostast recieves its maesured signal teh wrong way, so the conductorr is brokn."
    assert misspelt(slips) == ["brokn", "conductorr", "maesured", "recieves", "teh", "thermostast"]
    assert misspelt("See [the bench](glossary/xqz.ipynb#qzx), `lk.qqz` and the technician's meter.") == []


def test_our_own_list_is_in_order_and_needed() -> None:
    """It is sorted, has no word twice, and none that the dictionary knows already."""
    words = OWN.read_text(encoding="utf-8").split()
    assert words == sorted(set(words), key=lambda word: (word.casefold(), word))
    assert [word for word in words if word.casefold() in dictionary()] == []
