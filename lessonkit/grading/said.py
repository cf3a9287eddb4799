"""Words that came out of a student's file or process, made fit to be shown.

Such words may hold half a character (a lone surrogate, which no file can be written with), escape sequences
that colour or clear a terminal, signs that turn the direction of what follows, or a million letters. They are
cleaned once, where they come in, so that no table, page or terminal has to think of it.
"""

from __future__ import annotations

import re
import unicodedata

from lessonkit.grading.tables import JOINERS, tidy_text

__all__ = ["fit_lines", "fit_page", "fit_to_show"]

_ESCAPES = re.compile(r"\x1b(?:\[[0-?]*[ -/]*[@-~]|[@-Z\\-_])|\x9b[0-?]*[ -/]*[@-~]")
_LONGEST = 300


def fit_to_show(text: str, most: int = _LONGEST) -> str:
    """Return words on one line, of at most `most` signs, each of which a reader can see.

    Escape sequences, control signs and signs that turn the direction are left out; a sign that is none
    becomes U+FFFD.

    >>> fit_to_show("no \\x1b[31mcell \\ud800\\n assigns it")
    'no cell \ufffd assigns it'
    """
    words = "".join(map(_fit, tidy_text(_ESCAPES.sub("", text[: 4 * most]))))
    return words if len(words) <= most else words[: most - 1] + "…"


def fit_lines(text: str) -> str:
    """Return a text of several lines, each as `fit_to_show` has it, and indented as it was."""
    lines = text.splitlines()
    return "\n".join(" " * (len(line) - len(line.lstrip(" "))) + fit_to_show(line) for line in lines)


def fit_page(text: str, most: int) -> str:
    """Return a text of at most `most` signs, its lines and blanks as they stand: Markdown needs them.

    >>> fit_page("| a |  b |\\n| \\u202e1 | 2\\x07 |", 100)
    '| a |  b |\\n| 1 | 2 |'
    """
    text = text[:most]
    if text.replace("\n", "").isprintable():  # as every honest text is
        return text
    return "".join(sign if sign == "\n" else _fit_in_line(sign) for sign in _ESCAPES.sub("", text))


def _fit_in_line(sign: str) -> str:
    kind = unicodedata.category(sign)
    return "" if kind == "Cf" and sign not in JOINERS else " " if kind in ("Zl", "Zp") else _fit(sign)


def _fit(sign: str) -> str:
    kind = unicodedata.category(sign)
    return "" if kind == "Cc" else "\ufffd" if kind in ("Cs", "Co", "Cn") else sign
