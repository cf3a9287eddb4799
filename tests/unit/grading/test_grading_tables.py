"""Tables as spreadsheets of every part of the world write and open them, and names as people have them."""

from __future__ import annotations

import csv
import io
import re
import sys
import unicodedata
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent / "school"))
import orchard

from lessonkit.grading.handout.copies import hand_out
from lessonkit.grading.roster import assign, read_names, read_roll, slug, squeezed
from lessonkit.grading.school import School, load_school
from lessonkit.grading.tables import PLAIN, STYLES, BadTable, read_table, write_table

ALI_REZA = "\u0639\u0644\u06cc\u200c\u0631\u0636\u0627"
"""A Persian name, right to left, with the joiner that its spelling needs."""


@pytest.fixture(scope="module")
def school(tmp_path_factory: pytest.TempPathFactory) -> Iterator[School]:
    """Return the invented school."""
    with orchard.on_path():
        yield load_school(orchard.make_school(tmp_path_factory.mktemp("school")))


@pytest.mark.parametrize(
    "data",
    [
        "name;group\r\nJos\u00e9;1\r\nBo;2\r\n".encode("utf-16"),
        "name\tgroup\r\nJos\u00e9\t1\r\nBo\t2\r\n".encode("utf-16-le"),
        "sep=;\r\nname;group\r\nJos\u00e9;1\r\nBo;2\r\n".encode(),
        '\ufeff"sep=;"\nname;group\nJos\u00e9;1\nBo;2\n'.encode(),
        "name,group,,\nJos\u00e9,1,,\n,,,\nBo,2,,\n,,,\n\n\n".encode(),
        "name,group\n\u00a0Jose\u0301\u200f ,1\nBo\u00a0,2\n\u00a0,\u00a0\n".encode(),
    ],
    ids=["utf-16", "utf-16 without its mark", "sep", "quoted sep", "empty columns and lines", "signs unseen"],
)
def test_tables_of_spreadsheets_are_read(tmp_path: Path, data: bytes) -> None:
    """UTF-16, a line that names the separator, and what is left of a longer table are all usual."""
    path = tmp_path / "roster.csv"
    path.write_bytes(data)
    assert read_names(path) == ("Jos\u00e9", "Bo")


def test_line_numbers_hold_behind_the_line_that_names_the_separator(tmp_path: Path) -> None:
    """The teacher finds the line that is meant."""
    path = tmp_path / "roster.csv"
    path.write_text("sep=;\nname;group\nBo;1\nBo;2\n")
    with pytest.raises(BadTable, match="line 4: Bo stands in line 3"):
        read_names(path)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Ana\u00a0Mar\u00eda", "Ana Mari\u0301a"),
        ("\u202bDana\u202c", "Dana"),
        ("Bo  Lee", "Bo\u2009Lee"),
        ("Zo\u00eb\u200e", "Zoe\u0308"),
    ],
)
def test_same_name_in_other_signs_is_the_same_student(tmp_path: Path, one: str, other: str) -> None:
    """What nobody sees makes no second student."""
    path = tmp_path / "roster.csv"
    path.write_text(f"name\n{one}\n{other}\n", encoding="utf-8")
    with pytest.raises(BadTable, match="line 3"):
        read_names(path)


def test_joiners_stay_in_a_name_and_out_of_its_file(school: School, tmp_path: Path) -> None:
    """A Persian name keeps its joiner in the manifest; its files have letters alone, one word a word."""
    path = tmp_path / "roster.csv"
    path.write_text(f"name\n{ALI_REZA}\n", encoding="utf-8")
    made = hand_out(school, path, 1, tmp_path / "out")
    assert read_roll(made.manifest, school, None).students == (ALI_REZA,)
    assert slug(ALI_REZA) == ALI_REZA.replace("\u200c", "")


def test_accents_of_indian_letters_belong_to_them() -> None:
    """Two names that differ in a vowel sign alone are two file names."""
    one, other = "\u0930\u093e\u092e", "\u0930\u0940\u092e"
    assert slug(one) != slug(other)
    assert "-" not in slug(one)
    assert squeezed(unicodedata.normalize("NFD", "Z\u00f6e")) == squeezed("z\u00f6e")


def test_group_of_the_roster_reaches_the_roll(school: School, tmp_path: Path) -> None:
    """Group 2b is in the roster, so it is in the manifest, and both give the same roll."""
    path = tmp_path / "roster.csv"
    path.write_text("name,group\nAnn,2b\nBo,\n")
    made = hand_out(school, path, 1, tmp_path / "out")
    roll = read_roll(made.manifest, school, None)
    assert roll == read_roll(path, school, 1)
    assert (roll.group("Ann"), roll.group("Bo")) == ("2b", "")


def test_pages_are_called_as_folders_are(school: School) -> None:
    """Two names that a platform can't tell apart have the same two names everywhere."""
    roll = assign(school, ["Ann Abel", "Annabel"], 1)
    assert roll.folders == {"Ann Abel": "ann-abel", "Annabel": "annabel-2"}


# A spreadsheet parts a line at its own sign, takes off quotation marks, and sees a formula in what then
# begins with one of these (common practice of spreadsheets; wide forms in East Asian editions, from memory).
FORMULA = re.compile(r"\s*[=+\-@\uff1d\uff0b\uff0d\uff20]")
NASTY = ["=1+1", "a;=1+1", "a,\t=1+1", "a\n=1+1", "+1", "-x", "@a", "\uff1d1+1", ";=cmd|' /c calc'!A1", "'=1"]


@pytest.mark.parametrize("style", [None, *STYLES])
@pytest.mark.parametrize("opened_with", [",", ";", "\t"])
def test_no_cell_is_a_formula_whatever_parts_the_columns(style: str | None, opened_with: str) -> None:
    """A table of commas opened in a world of semicolons, and the other way round, holds text alone."""
    written = write_table(["a", "b"], [(text, "x") for text in NASTY], STYLES[style] if style else PLAIN)
    for row in csv.reader(io.StringIO(written.decode("utf-8-sig"), newline=""), delimiter=opened_with):
        for cell in row:
            for line in cell.splitlines():
                assert not FORMULA.match(line.strip('"')), row


@given(st.lists(st.text(st.sampled_from("ab =+-@';,\uff1d"), max_size=12), min_size=1, max_size=4))
def test_text_comes_back_from_every_style(texts: list[str]) -> None:
    """What was written is read again as it was, but for blanks."""
    import tempfile

    for style in STYLES.values():
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "t.csv"
            path.write_bytes(write_table(["n", "text"], [(n, text) for n, text in enumerate(texts)], style))
            assert [row[1] for _, row in read_table(path)[1]] == [" ".join(t.split()) for t in texts]


def test_spreadsheet_styles_show_what_stands_there() -> None:
    """With the byte-order mark letters are right; an exercise's number is no date and no decimal number."""
    for style in STYLES.values():
        data = write_table([style.exercise("1.1"), style.exercise("1.10")], [(style.number(2.5), "é")], style)
        assert data.startswith(b"\xef\xbb\xbf")
        head = next(csv.reader(io.StringIO(data.decode("utf-8-sig")), delimiter=style.parts))
        # No head is a number or a date in either half of the world.
        assert not any(re.fullmatch(r"[\d.,/ -]+", cell) for cell in head)
    assert (STYLES["comma"].number(2.5), STYLES["semicolon"].number(2.5)) == ("2.5", "2,5")
