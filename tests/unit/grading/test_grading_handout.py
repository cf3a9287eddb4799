"""Handing out: own numbers for each student, the same files each time, and rosters of every kind."""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterator
from pathlib import Path

import nbformat
import pytest

sys.path.insert(0, str(Path(__file__).parent / "school"))
import orchard

from lessonkit.errors import LessonError
from lessonkit.exercises import notebooks
from lessonkit.exercises.core import givens_for
from lessonkit.grading.handout.copies import hand_out
from lessonkit.grading.roster import Used, assign, read_names, read_roll, slug
from lessonkit.grading.school import School, load_school
from lessonkit.grading.tables import BadTable, read_table, write_table

NAMES = ["Anna Berg", "Anna-Berg", "Björn Ärlig", "李 小龍", "Con", "O'Neill, Pat"]


@pytest.fixture(scope="module")
def school(tmp_path_factory: pytest.TempPathFactory) -> Iterator[School]:
    """Return the invented school."""
    with orchard.on_path():
        yield load_school(orchard.make_school(tmp_path_factory.mktemp("school")))


def write_roster(path: Path, names: list[str]) -> Path:
    """Write a roster with a second column."""
    path.write_bytes(write_table(["Name", "group"], [(name, "a") for name in names]))
    return path


def test_same_roster_and_seed_give_the_same_files(school: School, tmp_path: Path) -> None:
    """Two hand-outs are equal byte for byte, and a third into the first folder changes nothing."""
    roster = write_roster(tmp_path / "roster.csv", NAMES)
    one, two = tmp_path / "one", tmp_path / "two"
    for out in (one, two, one):
        hand_out(school, roster, "seed", out)
    files = sorted(path.relative_to(one).as_posix() for path in one.rglob("*") if path.is_file())
    assert len(files) == len(NAMES) * 2 + 1
    assert files == sorted(path.relative_to(two).as_posix() for path in two.rglob("*") if path.is_file())
    assert all((one / name).read_bytes() == (two / name).read_bytes() for name in files)


def test_every_file_is_a_valid_blank_notebook_with_its_own_numbers(school: School, tmp_path: Path) -> None:
    """What is handed out opens the variant of the manifest, is unanswered, and shows its own questions."""
    made = hand_out(school, write_roster(tmp_path / "roster.csv", NAMES), 1, tmp_path / "out")
    with made.manifest.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["student"] for row in rows[::2]] == NAMES
    for row in rows:
        notebook = notebooks.read_notebook(tmp_path / "out" / row["file"])
        nbformat.validate(nbformat.from_dict(notebook))
        assert notebooks.opened(notebook) == (row["workbook"], int(row["variant"]))
        assert notebooks.blank(notebook) == notebook
        assert notebooks.with_variant(notebook, int(row["variant"])) == notebook


def test_what_is_handed_out_says_nothing_before_it_is_answered(school: School, tmp_path: Path) -> None:
    """No check cell carries a verdict, though the school's own copies do."""
    made = hand_out(school, write_roster(tmp_path / "roster.csv", NAMES[:1]), 1, tmp_path / "out")
    for place in made.roll.places:
        notebook = notebooks.read_notebook(tmp_path / "out" / place.file)
        book = school.book(place.book)
        assert book is not None
        for exercise, index in notebooks.find_checks(notebook).items():
            assert notebook["cells"][index]["outputs"] == []
            assert book.checks[exercise]["outputs"]


def test_names_stay_outside_the_file_unless_asked_for(school: School, tmp_path: Path) -> None:
    """A file's inside holds a number and no name; with the option it holds the name once."""
    roster = write_roster(tmp_path / "roster.csv", NAMES)
    hand_out(school, roster, 1, tmp_path / "plain")
    hand_out(school, roster, 1, tmp_path / "named", names_inside=True)
    plain = (tmp_path / "plain" / "björn-ärlig" / "91_pump_björn-ärlig.ipynb").read_text(encoding="utf-8")
    named = (tmp_path / "named" / "björn-ärlig" / "91_pump_björn-ärlig.ipynb").read_text(encoding="utf-8")
    assert "rlig" not in plain
    assert named.count("Björn Ärlig") == 1


def test_no_two_of_three_hundred_share_all_numbers(school: School) -> None:
    """In a class of 300 no two students have the same numbers in all exercises of the larger workbook."""
    names = [f"Student {number}" for number in range(300)]
    roll = assign(school, names, 2026)
    book = school.books[0]
    numbers = {
        repr([givens_for(exercise, place.variant) for exercise in book.exercises])
        for place in roll.places
        if place.book == book.id
    }
    assert len(numbers) == 300


def test_variants_are_told_apart_as_by_drawing_everything(school: School) -> None:
    """The first variant with the same numbers throughout is found, as when all of both are held together."""
    for book in school.books:
        first: dict[str, int] = {}
        used = Used(book.exercises)
        for variant in range(120):
            numbers = repr([sorted(givens_for(one, variant).items()) for one in book.exercises])
            assert used.same_as(variant) == first.get(numbers)
            first.setdefault(numbers, variant)
    assert len(first) < 120  # the smaller workbook has fewer


def test_seed_and_name_decide_alone(school: School) -> None:
    """A student keeps the numbers when others join or leave; another seed gives others."""
    few, many = assign(school, NAMES[:1], 7), assign(school, [*NAMES[::-1], "Zoe"], 7)
    place = few.of(NAMES[0], "orchard_a")
    other = assign(school, NAMES[:1], 8).of(NAMES[0], "orchard_a")
    assert place is not None
    assert other is not None
    assert place.variant != other.variant
    # "Anna-Berg" takes the same file name; whoever comes second in the roster gets the number.
    assert many.of("Björn Ärlig", "orchard_a") == assign(school, ["Björn Ärlig"], 7).of(
        "Björn Ärlig", "orchard_a"
    )


def test_another_file_in_the_way_stops_before_anything_is_written(school: School, tmp_path: Path) -> None:
    """Answers in the folder are never written over."""
    roster = write_roster(tmp_path / "roster.csv", ["Anna", "Zoe"])
    answered = tmp_path / "out" / "zoe" / "92_gate_zoe.ipynb"
    answered.parent.mkdir(parents=True)
    answered.write_text("my answers")
    with pytest.raises(LessonError, match=r"zoe\.ipynb is there already"):
        hand_out(school, roster, 1, tmp_path / "out")
    assert [path.name for path in (tmp_path / "out").rglob("*.ipynb")] == [answered.name]
    assert answered.read_text() == "my answers"


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "is empty"),
        (b"\n\n", "is empty"),
        (b"first,last\nA,B\n", "no column name"),
        (b"name\n", "names nobody"),
        (b"name\nAnna\nAnna\n", "line 3: Anna stands in line 2"),
        (b"name,group\n,a\n", "line 2: there is no name"),
        (b"name\n\x07bell\n", "can't be printed"),
        (b"name\nBj\xf6rn\n", "not in UTF-8"),
        (b"name,group\nAnna,a,b\n", "line 2: the line has 3 columns"),
        (b'name\n"Anna\n', "no table in CSV"),
    ],
)
def test_bad_roster_is_one_sentence(tmp_path: Path, content: bytes, said: str) -> None:
    """Each mistake names the file, the line and what to do."""
    path = tmp_path / "roster.csv"
    path.write_bytes(content)
    with pytest.raises(BadTable, match=said) as trouble:
        read_names(path)
    assert str(path) in str(trouble.value)


def test_missing_roster_is_one_sentence(tmp_path: Path) -> None:
    """A path that is no file is named."""
    with pytest.raises(BadTable, match="No such file"):
        read_names(tmp_path / "roster.csv")


@pytest.mark.parametrize(
    "text",
    ["name,group\nAnna,1\nBo,2\n", "\ufeffgroup;name\r\n1;Anna\r\n2;Bo\r\n", "NAME\tgroup\nAnna\t1\n\nBo\t2"],
)
def test_rosters_that_spreadsheets_write_are_read(tmp_path: Path, text: str) -> None:
    """Commas, semicolons, tabs, the byte-order mark and empty lines are all usual."""
    path = tmp_path / "roster.csv"
    path.write_bytes(text.encode("utf-8"))
    assert read_names(path) == ("Anna", "Bo")


def test_table_follows_rfc_4180(tmp_path: Path) -> None:
    """Quotes are doubled, lines end in CR LF (RFC 4180, section 2), and no cell starts a formula."""
    data = write_table(["a", "b"], [('say "x", y', "=1+1"), ("two\nlines", -3)])
    assert data == b'a,b\r\n"say ""x"", y",\'=1+1\r\n"two\nlines",-3\r\n'
    path = tmp_path / "t.csv"
    path.write_bytes(data)
    assert read_table(path)[1][0] == (2, ['say "x", y', "=1+1"])


def test_manifest_and_roster_with_seed_are_the_same_roll(school: School, tmp_path: Path) -> None:
    """Grading may take either; without the seed a roster is not enough."""
    roster = write_roster(tmp_path / "roster.csv", NAMES)
    made = hand_out(school, roster, "s", tmp_path / "out")
    assert read_roll(made.manifest, school, None) == read_roll(roster, school, "s") == made.roll
    with pytest.raises(BadTable, match="--seed"):
        read_roll(roster, school, None)


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("Anna,zz,f.ipynb,3", "no workbook 'zz'"),
        ("Anna,orchard_a,f.ipynb,-3", "the variant is '-3'"),
        ("", "nobody"),
    ],
)
def test_bad_manifest_is_one_sentence(school: School, tmp_path: Path, line: str, said: str) -> None:
    """A manifest that somebody edited is refused with its line."""
    path = tmp_path / "manifest.csv"
    path.write_text(f"student,workbook,file,variant\n{line}\n")
    with pytest.raises(BadTable, match=said):
        read_roll(path, school, None)


@pytest.mark.parametrize(
    "name", ["CON", "nul", "Aux.", "COM1", "lpt9", "\U00020000" * 90, "李" * 90, "x" * 300]
)
def test_every_system_can_make_the_files_of_a_name(name: str) -> None:
    """No name is a device's of Windows, and with a workbook's before it stays under 255 bytes."""
    # Source: Microsoft, "Naming Files, Paths, and Namespaces", for the names of devices (from memory).
    devices = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))}
    assert slug(name) not in devices
    assert len(f"02_the_24_volt_circuit_{slug(name)}.ipynb".encode()) < 255


def test_names_differ_in_more_than_the_signs_that_platforms_drop(school: School) -> None:
    """Ann Abel, Annabel and Zoë twice get files that still differ when hyphens and blanks are gone."""
    names = [
        "Ann Abel",
        "Annabel",
        "An-nabel",
        "Zoe",
        "zoe",
        "Zoe 2",
        "CON",
        "Student Con",
        "x" * 60,
        "x" * 70,
    ]
    files = [place.file for place in assign(school, names, 1).places if place.book == "orchard_a"]
    assert len({file.split("/")[0].replace("-", "") for file in files}) == len(names)


@pytest.mark.parametrize("name", ["=cmd|'/c calc'!A1", "+1", "-x", "@home"])
def test_name_that_looks_like_a_formula_comes_back(school: School, tmp_path: Path, name: str) -> None:
    """In the manifest it has an apostrophe in front; read again it is the roster's name."""
    made = hand_out(school, write_roster(tmp_path / "roster.csv", [name]), 1, tmp_path / "out")
    assert f"'{name}" in made.manifest.read_text(encoding="utf-8")
    assert read_roll(made.manifest, school, None).students == (name,)


@pytest.mark.parametrize("name", ["../../x", "a/b\\c", "..", "  ", "%s$(x)", "CON", "\u202eabc", "x" * 300])
def test_name_never_leaves_its_folder(name: str) -> None:
    """A name becomes letters and digits joined by hyphens, whatever it holds."""
    assert all(sign.isalnum() or sign == "-" for sign in slug(name))
    assert slug(name).strip("-")


def test_fresh_hand_out_has_numbers_that_nobody_can_know(
    school: School, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Made twice on the day, the numbers differ; the manifest alone is enough to grade by."""
    from lessonkit.__main__ import main

    roster = write_roster(tmp_path / "roster.csv", NAMES)
    words = ["hand-out", "--roster", str(roster), "--workbooks", str(school.folder), "--fresh", "--out"]
    rolls = []
    for name in ("one", "two"):
        assert main([*words, str(tmp_path / name)]) == 0
        rolls.append(read_roll(tmp_path / name / "manifest.csv", school, None))
    assert "keep" in capsys.readouterr().out
    assert rolls[0].students == rolls[1].students
    assert not {one.variant for one in rolls[0].places} & {one.variant for one in rolls[1].places}
    assert main([*words, str(tmp_path / "three"), "--seed", "1"]) == 2
