"""`lessonkit season`: what it prints, its JSON, its page to print, and one sentence for wrong input."""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path

import pytest

from lessonkit.__main__ import main
from lessonkit.draw.season import by_band, show_season
from lessonkit.draw.season_page import season_page
from lessonkit.errors import LessonError
from lessonkit.studies.house import house_names
from lessonkit.studies.season import season

Capture = pytest.CaptureFixture[str]


def test_the_object_is_the_season(capsys: Capture) -> None:
    """--json prints one object with the sums of the same season in Python."""
    assert main(["season", "harrowmere", "--weather", "cold-valley", "--json"]) == 0
    printed = json.loads(capsys.readouterr().out)
    assert printed == season("harrowmere", "cold-valley").to_dict()
    assert {"load_kwh", "backup_share", "stage_hours", "cost", "balance", "lockouts", "mistakes"} <= set(
        printed
    )


def test_the_table_is_for_people(capsys: Capture) -> None:
    """Without options the season is told in words, with a table by outdoor temperature in both units."""
    assert main(["season", "saltbarn-cottage", "--weather", "cold-valley"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Saltbarn Cottage" in said
    assert "are missing: the house cools" in said
    assert "Set the lockout at the balance point or above" in said
    assert "°C" in said
    assert "°F" in said


@pytest.mark.parametrize("name", house_names())
def test_the_page_stands_alone_and_prints(name: str, tmp_path: Path, capsys: Capture) -> None:
    """The page has pictures inside, both units, boxes to tick, a caution, a place for the licence number."""
    page = tmp_path / "season.html"
    assert main(["season", name, "--weather", "cold-valley", "--html", str(page), "--json"]) == 0
    text = page.read_text(encoding="utf-8")
    assert text.count('src="data:image/png;base64,') == 2
    assert not re.search(r'(?:src|href)="(?!data:)', text)
    for words in ("Caution.", "licence number", "Metric", "Btu/h", "kW", "@media print", "grayscale"):
        assert words in text
    assert 'class="box"' in text
    assert ("never run together" in text) == (name == "fennick-forge")
    assert ("To put right" in text) == (name in ("saltbarn-cottage", "quern-hill"))
    json.loads(capsys.readouterr().out)


def test_a_file_s_words_are_escaped(tmp_path: Path) -> None:
    """A house whose title looks like a tag shows it as text."""
    source = Path(show_season.__code__.co_filename).parents[1] / "studies" / "houses" / "harrowmere.toml"
    text = source.read_text(encoding="utf-8").replace("Harrowmere Row", "<script>x</script>")
    house = tmp_path / "h.toml"
    house.write_text(text, encoding="utf-8")
    page = tmp_path / "page.html"
    assert main(["season", str(house), "--weather", "mild-coast", "--html", str(page), "--json"]) == 0
    assert "<script>" not in page.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (
            ["nowhere", "--weather", "cold-valley"],
            "nowhere: there is no such file; give the path of a house file",
        ),
        (
            ["harrowmere", "--weather", "nowhere.epw"],
            "nowhere.epw: there is no such file; give an EPW or TMY3",
        ),
        (["harrowmere"], "--weather"),
        (["harrowmere", "--weather", "cold-valley", "--html", ""], "a file without a name"),
    ],
)
def test_wrong_input_gets_one_sentence(words: list[str], says: str, capsys: Capture) -> None:
    """Wrong input gets one sentence on standard error and status 2."""
    assert main(["season", *words]) == 2
    printed = capsys.readouterr()
    assert says in printed.err
    assert printed.err.count("\n") == 1


def test_bands_add_up_to_the_season() -> None:
    """The bands of the picture and the table hold all heat and all heating hours."""
    found = season("harrowmere", "cold-valley")
    bands = by_band(found)
    assert sum(band.hours for band in bands) == int(found.hours.heating.sum())
    assert sum(band.low_kwh + band.high_kwh for band in bands) == pytest.approx(found.heat_pump_kwh)
    assert sum(band.backup_kwh for band in bands) == pytest.approx(found.backup_kwh)


def test_the_notebook_s_view_says_what_it_shows() -> None:
    """The view has two pictures as HTML with their words, and takes other lockouts."""
    view = show_season("harrowmere", "cold-valley", compressor_below_c=0.0)
    assert "COP of 1" in view.words
    assert view._repr_html_().count("<img") == 2
    assert repr(view).count("\n") > 4


def test_where_no_page_can_be_made_the_way_to_one_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without jinja2, as in a browser page, a sentence says how the page is printed on a computer."""
    monkeypatch.setitem(sys.modules, "jinja2", None)
    with pytest.raises(LessonError, match="lessonkit season HOUSE --html"):
        season_page(show_season("harrowmere", "cold-valley"))
