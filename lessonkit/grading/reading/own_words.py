"""A student's own words: a sketch of all that somebody wrote beside the answers, small enough to compare.

The sketch is made of runs of four words, in code and in text, that are neither the school's nor an answer
that is written down; each run becomes a number, and the smallest few hundred of those stand for all. Two
files with much the same words share many of them, whatever they are called and wherever the words stand
(Broder 1997, "On the resemblance and containment of documents", from memory). Numbers count as one word,
since everybody has others.
"""

from __future__ import annotations

import ast
import hashlib
import re
from collections.abc import Iterator, Sequence
from functools import lru_cache

from lessonkit.grading.reading.intake import StudentCell
from lessonkit.grading.reading.trees import parts_of, tree_of
from lessonkit.grading.school import Book, tidy_source

__all__ = ["sketch"]

RUN = 4
KEPT = 256
MOST_WORDS = 20_000


def sketch(cells: Sequence[StudentCell], book: Book) -> list[int]:
    """Return the sketch of a file, a few hundred numbers at most; a file as it was handed out has none."""
    own: set[int] = set()
    left = MOST_WORDS
    for cell in cells:
        if tidy_source(cell.source) in book.tidied or (cell.code and _is_answer(cell.source, book)):
            continue
        for run in _runs(cell.source):
            left -= 1
            if left < 0:
                break
            own.add(run)
    return sorted(own - _known(book.sources))[:KEPT]


@lru_cache(maxsize=64)
def _known(sources: tuple[str, ...]) -> frozenset[int]:
    """Return the runs of the school's own cells."""
    return frozenset(run for source in sources for run in _runs(source))


def _runs(source: str) -> Iterator[int]:
    words = [re.sub(r"\d+", "0", word) for word in re.findall(r"\w+", source[: 8 * MOST_WORDS].casefold())]
    for place in range(len(words) - RUN + 1):
        text = " ".join(words[place : place + RUN]).encode("utf-8", "replace")
        yield int.from_bytes(hashlib.blake2b(text, digest_size=6).digest(), "big")


def _is_answer(source: str, book: Book) -> bool:
    """Tell whether a cell does nothing but write an answer down."""
    try:
        tree = tree_of(source)
    except (SyntaxError, ValueError, RecursionError, MemoryError):
        return False
    parts = parts_of(tree)
    names = {part.id for part in parts if isinstance(part, ast.Name)}
    return names <= set(book.names) and not any(isinstance(part, ast.Call | ast.Attribute) for part in parts)
