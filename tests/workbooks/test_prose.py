"""The words of every workbook and of README: short, no idioms, one name a thing, links that lead somewhere.

Workbooks are found by themselves. How the reading grade is computed, and its source, stands in `prose.py`.
"""

from __future__ import annotations

import re
from pathlib import Path

import prose
import pytest

from lessonkit.exercises.notebooks import read_notebook, source_of

CHECKOUT = Path(__file__).resolve().parents[2]
NOTEBOOKS = CHECKOUT / "notebooks"
SERIES = sorted(NOTEBOOKS.glob("[0-9][0-9]_*.ipynb"))
#: What students and instructors read: the series, the demonstrations, the glossary.
READ = sorted(path for path in NOTEBOOKS.rglob("*.ipynb") if ".ipynb_checkpoints" not in path.parts)

HIGHEST_GRADE = 7.0

#: Said otherwise than the words mean: a reader with English as a second language stumbles over it.
IDIOMS = (
    r"plays? along",
    r"plays? (?:the same|a|tricks?)\b.* trick",
    r"shall rest",
    r"hangs? on",
    r"in no time",
    r"for granted",
    r"behind (?:[\w'’]+ ){1,2}back",
    r"goes home too early",
    r"(?:begin|beginning|start) anew",
    r"hardly worth a word",
    r"under your hands",
    r"rules? of thumb",
    r"out of the blue",
    r"piece of cake",
    r"at a glance",
    r"on the fly",
    r"on the safe side",
    r"keep an eye",
    r"has two lives",
    r"is health\b",
    r"makes? do\b",
    r"in the long run",
    r"in a nutshell",
    r"by and large",
    r"once and for all",
    r"at the end of the day",
    r"odds and ends",
    r"the other way round",
    r"fall(?:s)? short",
    r"ring(?:s)? a bell",
    r"get(?:s)? the hang",
    r"trial and error",
    r"a far cry",
    r"from scratch",
    r"when in doubt",
    r"sooner or later",
    r"so to speak",
    r"needless to say",
    r"let alone",
    r"if need be",
    r"\bshall\b",
    r"\bwhilst\b",
    r"\bhence\b",
    r"\bthus\b",
    r"\bi\.e\.",
    r"\be\.g\.",
)

#: Another name for a thing that has a name here.
OTHER_NAMES = {
    r"multimeters?": "meter",
    r"voltmeters?": "meter",
    r"t-?stats?": "thermostat",
    r"condensing units?": "outdoor unit",
    r"indoor units?": "air handler",
    r"air handling units?": "air handler",
    r"changeover valves?": "reversing valve",
    r"mains": "line voltage",
    r"aux heat": "auxiliary heat",
    r"neutral(?! conductor)": "C, common",
    r"earth ground": "equipment ground",
}

each_workbook = pytest.mark.parametrize("path", SERIES, ids=lambda path: path.stem)
each_notebook = pytest.mark.parametrize("path", READ, ids=lambda path: path.stem)


def text_of(path: Path) -> str:
    """Return the Markdown of a notebook, or a document as it is."""
    if path.suffix != ".ipynb":
        return path.read_text(encoding="utf-8")
    cells = read_notebook(path)["cells"]
    return "\n\n".join(source_of(cell) for cell in cells if cell["cell_type"] == "markdown")


def lesson_of(path: Path) -> str:
    """Return what a workbook teaches; its sources are titles of books and standards."""
    return re.split(r"^#+ Sources.*$", text_of(path), flags=re.MULTILINE)[0]


def test_the_grade_is_the_published_formula() -> None:
    """Two sentences counted by hand: 6 words of 6 syllables, and 10 words of 14."""
    assert prose.grade("The cat sat on the mat.") == pytest.approx(0.39 * 6 + 11.8 * 1 - 15.59)
    # The cus-tom-er turns on the heat, and noth-ing hap-pens.
    hard = "The customer turns on the heat, and nothing happens."
    assert prose.grade(hard) == pytest.approx(0.39 * 9 + 11.8 * 13 / 9 - 15.59)
    # A word of the trade has the length of a short word.
    assert prose.grade("The transformer hums.") == prose.grade("The cat hums.")


def test_what_is_no_sentence_is_left_out() -> None:
    """Lines to type, tables, names of the bench and addresses don't count as prose."""
    text = "# Title\n\nOne two three.\n\n    lessonkit lab\n\n| a | b |\n\n* `x` is [this](y.ipynb#z) one"
    assert prose.sentences(text) == [["One", "two", "three"], ["x", "is", "this", "one"]]


@each_workbook
def test_workbooks_are_easy_to_read(path: Path) -> None:
    """The reading grade of a workbook's prose is 7 or less, words of the trade excepted."""
    reached = prose.grade(lesson_of(path))
    assert reached <= HIGHEST_GRADE, "\n".join([f"grade {reached:.1f}", *prose.hardest(lesson_of(path))])


def test_readme_is_easy_to_read() -> None:
    """The reading grade of README is 7 or less, words of the trade excepted."""
    text = text_of(CHECKOUT / "README.md")
    reached = prose.grade(text)
    assert reached <= HIGHEST_GRADE, "\n".join([f"grade {reached:.1f}", *prose.hardest(text)])


@pytest.mark.parametrize("path", [*READ, CHECKOUT / "README.md"], ids=lambda path: path.stem)
def test_no_idioms(path: Path) -> None:
    """What is said is what the words mean."""
    text = " ".join(prose.plain(text_of(path)).split())
    found = [match[0] for idiom in IDIOMS for match in re.finditer(rf"\b(?:{idiom})", text, re.IGNORECASE)]
    assert found == []


@each_notebook
def test_one_name_a_thing(path: Path) -> None:
    """A thing that has a name here is not called by another one."""
    text = " ".join(prose.plain(lesson_of(path)).split())
    found = {
        match[0]: f"say {name}"
        for other, name in OTHER_NAMES.items()
        for match in re.finditer(rf"\b(?:{other})\b", text, re.IGNORECASE)
    }
    assert found == {}


def anchors(path: Path) -> set[str]:
    """Return the places in a notebook that a link can lead to: its headings, blanks as hyphens."""
    headings = re.findall(r"^#+ (.+)$", text_of(path), re.MULTILINE)
    return {heading.strip().replace(" ", "-") for heading in headings}


@each_notebook
def test_links_and_pictures_lead_somewhere(path: Path) -> None:
    """Every relative link of a notebook is a file beside it, and its anchor a heading there."""
    for target in re.findall(r"\]\(([^)\s]+)\)", text_of(path)):
        if re.match(r"[a-z]+:", target):
            continue
        name, _, anchor = target.partition("#")
        file = (path.parent / name).resolve() if name else path
        assert file.exists(), f"{target} leads nowhere"
        assert NOTEBOOKS in file.parents, f"{target} is not in the learner's folder"
        assert not anchor or anchor in anchors(file), f"{file.name} has no heading {anchor}"
