"""The gain of a class, by a small one worked by hand: who counts, what it is, and what can't be said."""

from __future__ import annotations

from pathlib import Path

import pytest

from lessonkit.__main__ import main
from lessonkit.grading.gain import Taken, band, class_gain, normalised_gain, read_taken
from lessonkit.grading.gain_page import gain_page, gain_picture
from lessonkit.grading.tables import BadTable

HEAD = "student,workbook,exercise,verdict,points,of,hint,misunderstanding,changed_to,reason,how"

# Worked by hand. Five took the form before, five the form after; four took both. Of those four:
#   question 1: Ann was right before (25 %); Ann, Bo and Cy were right after (75 %): (75 - 25) / 75 = 2/3
#   question 2: Ann and Bo before (50 %); all four after (100 %): 50 / 50 = 1
#   the class: 37.5 % before, 87.5 % after: 50 / 62.5 = 0.8
BEFORE = {"Ann": "11", "Bo": "01", "Cy": "00", "Di": "00", "Ed": "11"}
AFTER = {"Fay": "00", "Di": "01", "Cy": "11", "Bo": "11", "Ann": "11"}


def write(folder: Path, book: str, answers: dict[str, str], *more: str) -> Path:
    """Write the verdicts of a form as `grade` does: 1 is right, 0 a misunderstanding, - missing."""
    rows = [HEAD]
    for student, row in answers.items():
        for number, mark in enumerate(row, 1):
            said = {
                "1": "right,1,1,,",
                "0": f"not yet,0,1,a hint,slip {number}",
                "-": "missing,,1,,",
            }[mark]
            rows.append(f"{student},{book},{book}.{number},{said},,,typed")
    folder.mkdir()
    (folder / "verdicts.csv").write_text("\r\n".join([*rows, *more]) + "\r\n", encoding="utf-8")
    return folder


@pytest.fixture
def forms(tmp_path: Path) -> tuple[Path, Path]:
    """Return the marks of both forms."""
    return write(tmp_path / "was", "20", BEFORE), write(tmp_path / "now", "21", AFTER)


def test_the_class_worked_by_hand(forms: tuple[Path, Path]) -> None:
    """Before, after and gain of the class and of each question are those on paper."""
    gain = class_gain(*map(read_taken, forms))
    assert (gain.before, gain.after, gain.gain) == (37.5, 87.5, pytest.approx(0.8))
    assert [(item.before, item.after) for item in gain.items] == [(25.0, 75.0), (50.0, 100.0)]
    assert [item.gain for item in gain.items] == [pytest.approx(2 / 3), 1.0]
    assert gain.items[0].met_before == "slip 1 (3)"
    assert gain.items[1].met_after == ""


def test_who_took_one_form_is_said_and_left_out(forms: tuple[Path, Path]) -> None:
    """Ed and Fay change no number, and are named."""
    gain = class_gain(*map(read_taken, forms))
    assert gain.students == ("Ann", "Bo", "Cy", "Di")
    assert (gain.only_before, gain.only_after) == (("Ed",), ("Fay",))


def test_what_was_not_handed_in_was_not_taken(tmp_path: Path) -> None:
    """Rows that say missing don't make somebody a student who had everything wrong."""
    was = write(tmp_path / "was", "20", {"Ann": "10", "Bo": "--"})
    now = write(tmp_path / "now", "21", {"Ann": "11", "Bo": "11"})
    gain = class_gain(read_taken(was), read_taken(now))
    assert (gain.students, gain.only_after, gain.gain) == (("Ann",), ("Bo",), 1.0)


def test_nothing_left_to_gain_is_said() -> None:
    """All right before: no division by nothing, and no number that looks like one."""
    assert normalised_gain(100.0, 100.0) is None
    assert normalised_gain(100.0, 90.0) is None
    assert normalised_gain(50.0, 25.0) == -0.5
    full = Taken("20", {"Ann": {"1": 1.0}}, {})
    gain = class_gain(full, Taken("21", {"Ann": {"1": 1.0}}, {}))
    assert gain.gain is None
    assert "not defined" in gain_page(gain, {})


@pytest.mark.parametrize(
    ("gain", "word"),
    [(-0.1, "a loss"), (0.0, "low"), (0.29, "low"), (0.3, "medium"), (0.69, "medium"), (0.7, "high")],
)
def test_bands_are_the_published_ones(gain: float, word: str) -> None:
    """Below 0.3 low, from 0.7 on high (Hake 1998, from memory)."""
    assert band(gain) == word


def test_a_teacher_s_decision_counts(tmp_path: Path) -> None:
    """What the teacher has changed is what was reached."""
    was = write(
        tmp_path / "was", "20", {"Ann": "0"}, "Bo,20,20.1,not yet,0,1,a hint,slip 1,1,said aloud,typed"
    )
    now = write(tmp_path / "now", "21", {"Ann": "1", "Bo": "1"})
    gain = class_gain(read_taken(was), read_taken(now))
    assert (gain.before, gain.items[0].met_before) == (50.0, "slip 1 (1)")


def test_tables_for_a_spreadsheet_are_read(tmp_path: Path) -> None:
    """Semicolons, decimal commas and the word before the number make no difference."""
    table = tmp_path / "verdicts.csv"
    line = "Ann;20;exercise 20.1;right;0,5;1;;;;;typed"
    table.write_text("\ufeff" + HEAD.replace(",", ";") + f"\n{line}\n", encoding="utf-8")
    assert read_taken(table).points == {"Ann": {"1": 0.5}}


@pytest.mark.parametrize(
    ("was", "now", "words"),
    [
        (("20", {"Ann": "11"}), ("21", {"Ann": "1"}), "other questions"),
        (("20", {"Ann": "11"}), ("21", {"Bo": "11"}), "No student took both"),
        (("20", {"Ann": "--"}), ("21", {"Ann": "11"}), "must hold one form"),
    ],
)
def test_forms_that_don_t_fit_are_refused(tmp_path: Path, was: tuple, now: tuple, words: str) -> None:
    """Other questions, nobody in both, nothing handed in: a sentence that says so."""
    folders = write(tmp_path / "was", *was), write(tmp_path / "now", *now)
    with pytest.raises(BadTable, match=words):
        class_gain(*map(read_taken, folders))


def test_marks_of_another_table_are_refused(tmp_path: Path) -> None:
    """A table without verdicts, or with two workbooks, is no form of a test."""
    (tmp_path / "marks.csv").write_text("student,20.1\nAnn,1\n")
    with pytest.raises(BadTable, match="no column workbook"):
        read_taken(tmp_path / "marks.csv")
    both = write(tmp_path / "two", "20", {"Ann": "1"}, "Ann,01,01.1,right,1,1,,,,,typed")
    with pytest.raises(BadTable, match="01, 20"):
        read_taken(both)


def test_the_command_prints_and_writes_the_page(
    forms: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The sentence, a line a question, who was left out; the page has the same and a picture with words."""
    page = tmp_path / "gain.html"
    assert main(["gain", *map(str, forms), "--html", str(page)]) == 0
    said = capsys.readouterr().out
    assert "4 students took both forms: 37.5 % before, 87.5 % after. Normalised gain 0.80, high." in said
    assert "left out, took only the form before the course: Ed" in said
    assert "left out, took only the form after the course: Fay" in said
    text = page.read_text(encoding="utf-8")
    assert "Normalised gain 0.80, high" in text
    assert "question 1 from 25 % to 75 %; question 2 from 50 % to 100 %; the class from 38 % to 88 %" in text
    assert "slip 1 (3)" in text


def test_the_picture_has_its_words(forms: tuple[Path, Path]) -> None:
    """What the picture shows is said in words, the least gain first."""
    words = gain_picture(class_gain(*map(read_taken, forms))).words
    assert words.index("question 1") < words.index("question 2") < words.index("the class")
