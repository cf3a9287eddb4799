"""The glossary: one line a word, and a small picture where one helps, made into a notebook to read.

The words are plain data, `glossary.toml` beside this room. `lessonkit figures` makes the notebook
`notebooks/glossary/glossary.ipynb` of them: text cells alone, with a heading a word. So a workbook links to a
word as `glossary/glossary.ipynb#short-cycle-delay`, the page reads without running anything, and it prints. A
test holds the two equal.
"""

from __future__ import annotations

import tomllib
from base64 import b64encode
from pathlib import Path

from lessonkit.draw.vignettes import VIGNETTES, vignette_svg
from lessonkit.exercises.notebooks import Notebook, markdown_cell, new_notebook

__all__ = ["GLOSSARY", "anchor", "glossary_notebook", "glossary_words"]

#: Where the glossary lies, under the folder of the workbooks.
GLOSSARY = "glossary/glossary.ipynb"

_TITLE = """# Glossary

One line for each word, in the order of the alphabet. A click on a word in a workbook opens this page; while
the page is open, it goes to the word.

> **Caution.** A word is no instruction. Before you touch a real system: switch off, lock, and prove dead.
> Local codes, makers' instructions and licensed practice come first."""


def glossary_words() -> dict[str, str]:
    """Return the words with their lines, as the file has them: in the order of the alphabet."""
    text = (Path(__file__).parent / "glossary.toml").read_text(encoding="utf-8")
    return {word: str(line) for word, line in tomllib.loads(text).items()}


def anchor(word: str) -> str:
    """Return where a word stands on the page, for a link.

    >>> anchor("short-cycle delay")
    'short-cycle-delay'
    """
    return word.replace(" ", "-")


def glossary_notebook() -> Notebook:
    """Return the glossary as a notebook of text cells, a word in each."""
    cells = [markdown_cell(_TITLE, "title")]
    for word, line in glossary_words().items():
        text = f"## {word}\n\n{line}"
        if word in VIGNETTES:
            picture = b64encode(vignette_svg(word).encode()).decode()
            text += f"\n\n![{VIGNETTES[word][1]}](data:image/svg+xml;base64,{picture})"
        cells.append(markdown_cell(text, f"word-{anchor(word)}"))
    return new_notebook(cells)
