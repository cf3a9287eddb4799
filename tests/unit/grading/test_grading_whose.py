"""Whose file it is, and which of several counts, with names that are easily taken for each other."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent / "school"))
import orchard

from lessonkit.exercises.plain import encode
from lessonkit.grading.marking.claims import HandIn
from lessonkit.grading.marking.identify import identify
from lessonkit.grading.reading.read import FoundAnswer, Reading
from lessonkit.grading.roster import Roll, assign
from lessonkit.grading.school import School, load_school

NAMES = ["Ann", "Annabel", "Ann Abel", "Zoe", "zoe", "Copy"]


@pytest.fixture(scope="module")
def school(tmp_path_factory: pytest.TempPathFactory) -> Iterator[School]:
    """Return the invented school."""
    with orchard.on_path():
        yield load_school(orchard.make_school(tmp_path_factory.mktemp("school")))


@pytest.fixture(scope="module")
def roll(school: School) -> Roll:
    """Return a class of people with much the same names."""
    return assign(school, NAMES, "seed")


def read(roll: Roll, name: str | None, *, blank: bool = False) -> Reading:
    """Return the reading of a student's first workbook, or of the self-study one."""
    place = None if name is None else roll.of(name, "orchard_a")
    answer = {"fill": ..., "drain": ...} if blank else {"fill": "open", "drain": ...}
    answers = (("91.1", FoundAnswer("unanswered")), ("91.5", FoundAnswer("given", encode(answer))))
    return Reading("", "orchard_a", place.variant if place else 0, answers)


def whose(files: dict[str, Reading], school: School, roll: Roll) -> dict[str, HandIn]:
    """Return what counts, by student."""
    return {one.student: one for one in identify(files, school, roll, None)[0]}


def handed_out(roll: Roll, name: str) -> str:
    """Return the name of a student's first workbook."""
    place = roll.of(name, "orchard_a")
    assert place is not None
    return Path(place.file).name


def test_everybody_gets_the_own_file(school: School, roll: Roll) -> None:
    """Under the name of the hand-out, wrapped, copied or without its signs, a file is its student's."""
    for change in (
        lambda name: name,
        lambda name: f"x_4711_{name}",
        lambda name: name.replace(".ipynb", " (2).ipynb"),
        lambda name: name.replace("-", "").replace("_", ""),
    ):
        files = {change(handed_out(roll, name)): read(roll, name) for name in NAMES}
        found = whose(files, school, roll)
        assert set(found) == set(NAMES)
        assert all(not one.held and not one.remarks for one in found.values())


def test_stranger_s_file_takes_nobody_s_place(school: School, roll: Roll) -> None:
    """A file of Annalena, who is in no roster, is no file of Ann's, be it blank or damaged."""
    for reading in (read(roll, None), Reading("The file is empty.")):
        for files in ({}, {"zz_" + handed_out(roll, "Ann"): read(roll, "Ann")}):
            given = {**files, "91_pump_annalena.ipynb": reading}
            found, strays = identify(given, school, roll, None)
            assert [one.student for one in found] == ["Ann"] * len(files)
            assert [stray.split(":")[0] for stray in strays] == ["91_pump_annalena.ipynb"]


def test_own_numbers_come_before_others(school: School, roll: Roll) -> None:
    """A file of Ann Lee's, in no roster, has Ann's name in it; Ann's own counts, whatever its name."""
    own = "zz (3) " + handed_out(roll, "Ann")
    one = whose({own: read(roll, "Ann"), "91_pump_ann-lee.ipynb": read(roll, None)}, school, roll)["Ann"]
    assert one.file == own
    assert not one.held


@pytest.mark.parametrize("first", [True, False])
def test_answered_copy_counts_before_a_blank_one(school: School, roll: Roll, first: bool) -> None:
    """Of two files one is as it was handed out: the other counts, and the blank one is named."""
    plain = handed_out(roll, "Ann")
    files = {plain: first, plain.replace(".ipynb", " (1).ipynb"): not first}
    found = whose({name: read(roll, "Ann", blank=blank) for name, blank in files.items()}, school, roll)
    assert files[found["Ann"].file] is False
    assert "does not count" in found["Ann"].remarks[0]


def answering(roll: Roll, name: str, value: float, *others: str) -> Reading:
    """Return the reading of a student's first workbook with an answer to 91.1, and to others."""
    place = roll.of(name, "orchard_a")
    assert place is not None
    given = (("91.1", value), *((exercise, 1) for exercise in others))
    answers = tuple((exercise, FoundAnswer("given", encode(answer))) for exercise, answer in given)
    return Reading("", "orchard_a", place.variant, answers)


@pytest.mark.parametrize("theirs", ["aa_{}", "{}", "zz {}"])
def test_two_claims_on_one_student_wait_with_both_named(school: School, roll: Roll, theirs: str) -> None:
    """A file that a classmate made with Zoe's name and numbers takes nothing from Zoe; it waits."""
    own = handed_out(roll, "Zoe")
    files = {
        f"one/{own}": answering(roll, "Zoe", 2.0),
        f"two/{theirs.format(own)}": answering(roll, "Zoe", 0),
    }
    one = whose(files, school, roll)["Zoe"]
    assert one.held == "several files were handed in for this workbook, and their answers differ"
    assert one.variant is None
    assert all(file in " ".join(one.remarks) for file in files)
    assert "91.1" in one.remarks[-1]


def test_claim_from_the_own_folder_counts(school: School, roll: Roll) -> None:
    """What lies in Zoe's folder is Zoe's, also when a platform has wrapped the folder's name."""
    own = handed_out(roll, "Zoe")
    for folder in ("zoe", "Zoe_4711_assignsubmission_file"):
        files = {f"{folder}/{own}": answering(roll, "Zoe", 2.0), f"ann/{own}": answering(roll, "Zoe", 0.0)}
        one = whose(files, school, roll)["Zoe"]
        assert (one.file, one.held) == (f"{folder}/{own}", "")
        assert any("ann/" in remark for remark in one.remarks)


def test_claim_with_others_numbers_takes_nothing(school: School, roll: Roll) -> None:
    """A file named after Zoe with another's numbers does not stand beside Zoe's own."""
    own = handed_out(roll, "Zoe")
    files = {own: answering(roll, "Zoe", 2.0), f"a/{own}": answering(roll, "Ann", 0.0)}
    one = whose(files, school, roll)["Zoe"]
    assert (one.file, one.held) == (own, "")


def test_file_that_goes_further_is_no_second_claim(school: School, roll: Roll) -> None:
    """Monday's half and Friday's whole say the same as far as both go: the fuller one counts."""
    own = handed_out(roll, "Zoe")
    files = {own: answering(roll, "Zoe", 2.0), f"x {own}": answering(roll, "Zoe", 2.0, "91.2", "91.8")}
    one = whose(files, school, roll)["Zoe"]
    assert (one.file, one.held) == (f"x {own}", "")
    assert "does not count" in one.remarks[-1]


def test_folder_and_numbers_outweigh_a_name(school: School, roll: Roll) -> None:
    """A file in Ann's folder with Ann's numbers is Ann's, though it is named after Zoe; it is said."""
    found = whose({f"ann/{handed_out(roll, 'Zoe')}": read(roll, "Ann")}, school, roll)
    assert set(found) == {"Ann"}
    assert not found["Ann"].held
    assert "named after Zoe" in found["Ann"].remarks[0]


def test_folder_that_disagrees_with_the_numbers_is_said(school: School, roll: Roll) -> None:
    """Zoe's file in Ann's folder counts for Zoe, and the teacher hears where it lay."""
    found = whose({f"ann/{handed_out(roll, 'Zoe')}": read(roll, "Zoe")}, school, roll)
    assert set(found) == {"Zoe"}
    assert not found["Zoe"].held
    assert "lies in the folder of Ann" in found["Zoe"].remarks[0]


def test_spoilt_file_in_another_s_folder_zeroes_nobody(school: School, roll: Roll) -> None:
    """A file that can't be read, named after Zoe in Ann's folder, leaves Zoe's marks open."""
    found = whose({f"ann/{handed_out(roll, 'Zoe')}": Reading("The file is empty.")}, school, roll)
    assert found["Zoe"].held
