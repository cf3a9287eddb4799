"""What people type where an answer belongs: read where it is plain, else said; typed or computed."""

from __future__ import annotations

import copy
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent / "school"))
import orchard

from lessonkit.exercises.compare import Number
from lessonkit.exercises.plain import decode
from lessonkit.grading.reading.reader import read_one
from lessonkit.grading.reading.typed import Meant, _number_as_meant
from lessonkit.grading.school import School, load_school


@pytest.fixture(scope="module")
def school(tmp_path_factory: pytest.TempPathFactory) -> Iterator[School]:
    """Return the invented school."""
    with orchard.on_path():
        yield load_school(orchard.make_school(tmp_path_factory.mktemp("school")))


Read = Callable[..., dict[str, Any]]


@pytest.fixture
def read(school: School) -> Read:
    """Return what reads a right file with another source in one answer cell."""

    def reading(source: str, exercise: str = "91.1", kind: str = "code") -> dict[str, Any]:
        notebook = copy.deepcopy(orchard.answered("orchard_a", 7))
        cell = f"answer-{exercise.replace('.', '-')}"
        notebook = orchard.changed(notebook, cell, source)
        next(item for item in notebook["cells"] if item["id"] == cell)["cell_type"] = kind
        return read_one(orchard.to_bytes(notebook), school)

    return reading


@pytest.mark.parametrize(
    ("source", "value"),
    [
        ("answer_91_1 = 26.4 ohm", 26.4),
        ("answer_91_1 = 26.4 \u03a9", 26.4),
        ("answer_91_1 = 26.4 Ohms  # both ways", 26.4),
        ("answer_91_1 = '26.4 ohm'", 26.4),
        ("answer_91_1 = '26,4'", 26.4),
        ("answer_91_1 = 25,4", 25.4),
        ("answer_91_1 = 25,04", 25.04),
        ("answer_91_1 = \u22125,5", -5.5),
        ("26.4", 26.4),
        ("26,4 ohm", 26.4),
        ("# mine\n26.4", 26.4),
        ("2 * 13.2", 26.4),
        ("answer_91.1 = 26.4", 26.4),
        ("answer 91.1 = 26,4", 26.4),
        ("answer_91-1 = 2 * 13.2", 26.4),
    ],
)
def test_number_typed_as_people_do_is_read(read: Read, source: str, value: float) -> None:
    """A unit that is the asked one, a comma, no variable, a point in its name: one meaning, so it is read."""
    record = read(source)
    state, wire, *_ = record["found"]["91.1"]
    assert (state, decode(wire) if wire else None) == ("given", pytest.approx(value))
    assert any(note.startswith("91.1: ") for note in record["notes"])
    assert record["typed"]["91.1"] == source
    assert [one[0] for one in record["found"].values()].count("given") == 8


def test_quotation_marks_of_a_word_processor_are_read(read: Read) -> None:
    """Curly marks around a word are marks."""
    record = read("answer_91_3 = \u201cwhole\u201d", "91.3")
    assert decode(record["found"]["91.3"][1]) == "whole"
    assert any("quotation marks" in note for note in record["notes"])


@pytest.mark.parametrize(
    "source",
    [
        "answer_91_1 = 26400 mohm",
        "answer_91_1 = 26.4 V",
        "answer_91_1 = 1,250 ohm",
        "1,250 ohm",
        "26.4 volts",
    ],
)
def test_what_could_mean_two_things_is_not_read(read: Read, source: str) -> None:
    """Another unit, or a comma that may part thousands: the student is told what was typed and what to do."""
    state, _, reason, flags = read(source)["found"]["91.1"]
    assert state == "broken"
    assert any("typed" in flag and "not read" in flag for flag in flags)
    assert "What was typed" in reason
    assert "write a number in ohm alone" in reason


def test_words_in_place_of_a_number_are_answered_with_the_form(read: Read) -> None:
    """Where nothing can be read the student is told what is expected, and the teacher what was typed."""
    _, _, reason, flags = read("answer_91_1 = about 26 I think")["found"]["91.1"]
    assert "this expects a number in ohm, such as 12.5" in reason
    assert "91.1: typed answer_91_1 = about 26 I think, which was not read" in flags


@pytest.mark.parametrize("source", ["answer_91_1 = 2,5,1", "answer_91_1 = (25, 4)", "answer_91_1 = 1,250"])
def test_other_values_stay_as_they_are(read: Read, source: str) -> None:
    """What Python reads as a list of numbers, and no person as one number, goes to the judge as it is."""
    state, wire, *_ = read(source)["found"]["91.1"]
    assert state == "given"
    assert isinstance(decode(wire), tuple)


def test_choice_is_no_number(read: Read) -> None:
    """A text where a word is asked stays that text."""
    record = read("answer_91_3 = '26.4 V'", "91.3")
    assert decode(record["found"]["91.3"][1]) == "26.4 V"


def test_whole_number_is_not_made_of_a_decimal(read: Read) -> None:
    """3,5 is no count of wires."""
    assert read("answer_91_8 = 3,5 ", "91.8")["found"]["91.8"][1] == '{"t": [3, 5]}'


@pytest.mark.parametrize(
    ("source", "kind"),
    [
        ("answer_91_1 = about 26 I think", "code"),
        ("Answer 91.1 = 26.4", "markdown"),
        ("I don't know", "code"),
        ("answer_91_1 = \u202e4.62", "code"),
    ],
)
def test_nothing_typed_is_hidden(read: Read, source: str, kind: str) -> None:
    """Whatever stands in the answer's place is kept for the page, with unseen signs written out."""
    record = read(source, kind=kind)
    assert record["found"]["91.1"][0] in ("broken", "unanswered")
    assert record["typed"]["91.1"] == source.replace("\u202e", "\\u202e")


def test_long_line_costs_no_time(read: Read) -> None:
    """A long line is passed over; everything else is read."""
    record = read("answer_91_1 = 1 " + " " * 5_000 + "V\n" + "\n" * 5_000)
    assert [one[0] for one in record["found"].values()].count("given") == 7


@pytest.mark.parametrize(
    ("source", "computed"),
    [
        ("answer_91_1 = 26.4", False),
        ("a = 13.2\nanswer_91_1 = round(2 * a, 1)", False),
        ("import math\nanswer_91_1 = math.sqrt(16)", False),
        ("answer_91_1 = workbook.givens('91.1')['length_m'] * 2", True),
        ("g = workbook.givens('91.1')\nn = g['length_m']\nanswer_91_1 = n", True),
        ("answer_91_1 = sum([n for n in bench.read()])", True),
        ("def f():\n    return 4\nanswer_91_1 = f()", True),
    ],
)
def test_computed_is_told_from_typed(read: Read, source: str, computed: bool) -> None:
    """Arithmetic with numbers that stand there is typed; what a call brings is computed."""
    assert ("91.1" in read(source)["computed"]) is computed


@pytest.mark.parametrize("typed", ["-4.2 °C", "-4.2 C", "-4.2 celsius", "-4,2 °C"])
def test_degrees_are_read_with_and_without_their_sign(typed: str) -> None:
    """Whoever types C for degrees Celsius means the unit that was asked for; Fahrenheit is another one."""
    meant = Meant([])
    assert float(_number_as_meant("9.1", typed, Number(unit="°C"), meant)) == -4.2
    assert _number_as_meant("9.1", "24 °F", Number(unit="°C"), meant) == "24 °F"
    assert "in °C alone" in meant.hints["9.1"]
