"""The pictures in figures/ are those that the code makes now."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from lessonkit.__main__ import main
from lessonkit.draw.gallery import GALLERY, still_svg
from lessonkit.draw.rates import error_rate_picture

FIGURES = Path(__file__).resolve().parents[3] / "figures"


def _words(svg: str) -> str:
    found = re.search(r"<dc:description>(.*?)</dc:description>", svg, re.DOTALL)
    assert found, "a still picture carries its words"
    return unescape(" ".join(found[1].split()))


def _lines_of(svg: str) -> tuple[str, list[float]]:
    """Return a picture without its numbers, and its numbers; names that follow from them are left out."""
    drawn = re.sub(r"\b[a-z][0-9a-f]{10}\b", "", svg)
    number = r"-?\d+(?:\.\d+)?(?:e-?\d+)?"
    return re.sub(number, "", drawn), [float(found) for found in re.findall(number, drawn)]


def test_figures_holds_the_gallery_and_nothing_else() -> None:
    """Every picture of the gallery is there, and no leftover."""
    assert sorted(path.name for path in FIGURES.iterdir()) == sorted(GALLERY)


@pytest.mark.parametrize("name", GALLERY)
def test_each_picture_is_up_to_date(name: str) -> None:
    """Our own SVG is the same letter for letter; a still picture says the same in words."""
    made, stored = GALLERY[name](), (FIGURES / name).read_text(encoding="utf-8")
    if isinstance(made, str):
        assert stored == made, "run `lessonkit figures`"
    else:
        assert _words(stored) == " ".join(made.words.split()), "run `lessonkit figures`"
        (before, there), (now, here) = _lines_of(stored), _lines_of(still_svg(name, made))
        assert now == before, "run `lessonkit figures`"
        assert np.allclose(here, there, atol=1.0), "run `lessonkit figures`"


@pytest.mark.parametrize("name", GALLERY)
def test_each_picture_is_well_formed_and_says_what_it_shows(name: str) -> None:
    """Each file is XML and carries words for those who can't see it."""
    stored = (FIGURES / name).read_text(encoding="utf-8")
    root = ElementTree.fromstring(stored)
    assert root.tag.endswith("svg")
    if root.get("role") == "img":
        assert len(root.get("aria-label", "")) > 80
    else:
        assert len(_words(stored)) > 80


def test_the_error_rates_say_what_is_theory_and_what_is_counted() -> None:
    """The legend tells lines from marks, in words and by a sample that has the one and not the other."""
    (plot,) = error_rate_picture(decibels=(0, 4), bits=2000).figure.axes
    handles, labels = plot.get_legend_handles_labels()
    found = dict(zip(labels, handles, strict=True))
    line, mark = found["lines: theory"], found["marks: counted"]
    assert (line.get_linestyle(), line.get_marker()) == ("-", "None")
    assert (mark.get_linestyle(), mark.get_marker()) == ("None", "o")
    assert {text.get_text() for text in plot.get_legend().get_texts()} == set(labels)


def test_a_still_is_the_same_when_made_twice() -> None:
    """No date and no chance is left in a still picture."""
    assert still_svg("edges.svg", GALLERY["edges.svg"]()) == still_svg("edges.svg", GALLERY["edges.svg"]())


def test_the_command_makes_one_picture_where_it_is_told(tmp_path: Path) -> None:
    """`lessonkit figures --only` writes that picture alone."""
    assert main(["figures", "--only", "bench.svg", "--out", str(tmp_path / "new")]) == 0
    assert [path.name for path in (tmp_path / "new").iterdir()] == ["bench.svg"]


def test_an_unknown_picture_is_refused_in_one_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    """A name that no picture has gets the list of names and exit status 2."""
    assert main(["figures", "--only", "bensch.svg"]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "bench.svg" in said
