"""Pairs whose own words are alike are named; what the school or the whole class wrote makes none."""

from __future__ import annotations

import csv
import io
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent / "school"))
import orchard

from lessonkit.exercises.notebooks import code_cell, markdown_cell
from lessonkit.grading.marking.alike import alike_csv
from lessonkit.grading.marking.claims import HandIn
from lessonkit.grading.reading.read import Reading
from lessonkit.grading.reading.reader import read_one
from lessonkit.grading.school import School, load_school

ANN = "I first took one way only, then I saw that the current comes back, so I doubled the length of the run."
BO = "The loop has two wires. Each of them has half of what a meter shows when the far ends are twisted."
ALL = "Our teacher said to write down what we did, step by step, with the unit beside every single number."
CODE = (
    "def loop(length, per_m):\n    there = length * per_m\n    back = length * per_m\n    return there + back"
)


@pytest.fixture(scope="module")
def school(tmp_path_factory: pytest.TempPathFactory) -> Iterator[School]:
    """Return the invented school."""
    with orchard.on_path():
        yield load_school(orchard.make_school(tmp_path_factory.mktemp("school")))


@pytest.fixture
def pairs(school: School) -> Callable[..., set[tuple[str, str]]]:
    """Return what finds the pairs of a class: name -> texts and code of its own."""

    def found(**own: tuple[str, ...]) -> set[tuple[str, str]]:
        hand_ins = []
        for variant, (name, texts) in enumerate(own.items()):
            notebook = orchard.answered("orchard_a", variant)
            for number, text in enumerate(texts):
                make = code_cell if text.startswith("def") else markdown_cell
                notebook["cells"].insert(2 * number, make(text, f"own-{number}"))
            words = tuple(read_one(orchard.to_bytes(notebook), school)["words"])
            hand_ins.append(HandIn(name, "orchard_a", f"{name}.ipynb", Reading(words=words)))
        rows = list(csv.DictReader(io.StringIO(alike_csv(hand_ins).decode("utf-8"))))
        assert all(40 <= int(row["percent"]) <= 100 for row in rows)
        return {(row["student"], row["other"]) for row in rows}

    return found


def test_same_words_and_same_code_make_a_pair(pairs: Callable[..., set[tuple[str, str]]]) -> None:
    """Words that two share are found, with other numbers, in another order, with more beside them."""
    told = pairs(ann=(ANN,), bo=(BO,), cy=(CODE, BO + " I measured 3.2 ohm."), di=(ANN.upper(), CODE), ed=())
    assert told >= {("ann", "di"), ("bo", "cy")}
    assert not any("ed" in pair for pair in told)


def test_answers_alone_make_no_pair(pairs: Callable[..., set[tuple[str, str]]]) -> None:
    """Those who wrote nothing but answers are alike in nothing."""
    assert pairs(ann=(), bo=(), cy=()) == set()


def test_what_the_whole_class_wrote_makes_no_pair(pairs: Callable[..., set[tuple[str, str]]]) -> None:
    """A sentence that a teacher dictated is the class's."""
    assert pairs(ann=(ALL, ANN), bo=(ALL, BO), cy=(ALL,), di=(ALL,), ed=(ALL,)) == set()
