"""An apprentice's folder: filled from the pristine one, and never written over."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from lessonkit.errors import LessonError
from lessonkit.exercises import notebooks, pristine
from lessonkit.exercises.pristine import RECORD, NoWorkbooks, copy_workbooks, pristine_folder, workbook_names


@pytest.fixture
def source(tmp_path: Path) -> Path:
    """Return a small pristine folder: two workbooks and a demonstration."""
    folder = tmp_path / "pristine"
    (folder / "classroom").mkdir(parents=True)
    (folder / ".ipynb_checkpoints").mkdir()
    (folder / "00_start.ipynb").write_text("start")
    (folder / "01_calls.ipynb").write_text("calls")
    (folder / "classroom" / "ghosts.ipynb").write_text("ghosts")
    (folder / ".ipynb_checkpoints" / "00_start.ipynb").write_text("rubbish")
    return folder


def test_new_folder_gets_the_whole_series(source: Path, tmp_path: Path) -> None:
    """A folder that did not exist gets every workbook and nothing hidden."""
    own = tmp_path / "deep" / "own"
    copied = copy_workbooks(own, source=source)
    assert copied.added == ("00_start.ipynb", "01_calls.ipynb", "classroom/ghosts.ipynb")
    assert copied.kept == copied.older == copied.beside == ()
    assert copied.first == "00_start.ipynb"
    assert (own / "classroom" / "ghosts.ipynb").read_text() == "ghosts"
    found = sorted(path.name for path in own.rglob("*") if path.is_file())
    assert found == [RECORD, "00_start.ipynb", "01_calls.ipynb", "ghosts.ipynb"]


def test_answers_stay_and_a_deleted_workbook_comes_back(source: Path, tmp_path: Path) -> None:
    """A workbook with answers is kept to the byte; a missing one is added."""
    own = tmp_path / "own"
    copy_workbooks(own, source=source)
    (own / "00_start.ipynb").write_text("start, answered")
    (own / "01_calls.ipynb").unlink()
    copied = copy_workbooks(own, source=source)
    assert copied.added == ("01_calls.ipynb",)
    assert copied.older == ()
    assert (own / "00_start.ipynb").read_text() == "start, answered"


def test_new_edition_is_named_and_laid_beside_only_on_request(source: Path, tmp_path: Path) -> None:
    """A changed pristine workbook is reported, and laid beside when asked, once."""
    own = tmp_path / "own"
    copy_workbooks(own, source=source)
    (own / "00_start.ipynb").write_text("start, answered")
    (source / "00_start.ipynb").write_text("start, second edition")
    told = copy_workbooks(own, source=source)
    assert (told.older, told.beside) == (("00_start.ipynb",), ())
    laid = copy_workbooks(own, source=source, beside=True)
    assert laid.beside == ("00_start.new.ipynb",)
    assert (own / "00_start.new.ipynb").read_text() == "start, second edition"
    assert (own / "00_start.ipynb").read_text() == "start, answered"
    assert copy_workbooks(own, source=source, beside=True).beside == ()


def test_third_edition_does_not_write_over_the_second(source: Path, tmp_path: Path) -> None:
    """An edition laid beside earlier may hold answers too, so it is kept."""
    own = tmp_path / "own"
    copy_workbooks(own, source=source)
    (own / "00_start.new.ipynb").write_text("second edition, answered")
    (source / "00_start.ipynb").write_text("third edition")
    copied = copy_workbooks(own, source=source, beside=True)
    assert copied.beside == ("00_start.new-2.ipynb",)
    assert (own / "00_start.new.ipynb").read_text() == "second edition, answered"


def test_unknown_origin_is_not_called_older(source: Path, tmp_path: Path) -> None:
    """Without a record, or with a spoilt one, a file of the same name is kept and not judged."""
    own = tmp_path / "own"
    own.mkdir()
    (own / "00_start.ipynb").write_text("from somewhere else")
    (own / RECORD).write_text('{"editions": [')
    copied = copy_workbooks(own, source=source)
    assert copied.kept == ("00_start.ipynb",)
    assert copied.older == ()
    assert "01_calls.ipynb" in json.loads((own / RECORD).read_text())["editions"]


def test_copies_of_read_only_workbooks_can_be_written(source: Path, tmp_path: Path) -> None:
    """A school's read-only installation still gives files that can be saved."""
    (source / "00_start.ipynb").chmod(0o444)
    own = tmp_path / "own"
    copy_workbooks(own, source=source)
    assert (own / "00_start.ipynb").stat().st_mode & 0o200


def test_a_file_in_place_of_the_folder_is_refused(source: Path, tmp_path: Path) -> None:
    """A path that is a file is named in the error, with the way out."""
    (tmp_path / "own").write_text("a letter")
    with pytest.raises(LessonError, match=r"own is a file.*--folder"):
        copy_workbooks(tmp_path / "own", source=source)


@pytest.mark.parametrize("inside", [".", "classroom"])
def test_the_pristine_folder_itself_is_refused(source: Path, inside: str) -> None:
    """Nobody works in the pristine files, nor in a folder among them."""
    with pytest.raises(LessonError, match="pristine"):
        copy_workbooks(source / inside, source=source)


def test_missing_series_is_one_sentence(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """An installation without workbooks says so and says what to do."""
    monkeypatch.setattr(pristine, "__file__", str(tmp_path / "lessonkit" / "pristine.py"))
    with pytest.raises(NoWorkbooks, match="install lessonkit again") as trouble:
        pristine_folder()
    assert "Errno" not in str(trouble.value)


def test_workbook_names_are_in_lesson_order(source: Path) -> None:
    """Workbooks are listed by number, without the demonstrations."""
    assert workbook_names(source) == ("00_start.ipynb", "01_calls.ipynb")


def test_copies_of_the_series_say_nothing_before_they_are_answered(tmp_path: Path) -> None:
    """No check cell of a copy shows a verdict, and nbval would not pass it; the pristine ones keep theirs."""
    copied = copy_workbooks(tmp_path / "own")
    checks = 0
    for name in copied.added:
        if not name.endswith(".ipynb"):
            continue
        own, kept = (notebooks.read_notebook(folder / name) for folder in (copied.folder, pristine_folder()))
        for index in notebooks.find_checks(own).values():
            checks += 1
            assert own["cells"][index]["outputs"] == []
            assert own["cells"][index]["execution_count"] is not None
            assert kept["cells"][index]["outputs"]
        assert notebooks.with_verdicts(own) == kept
        assert "right\\n" not in (copied.folder / name).read_text(encoding="utf-8")
    assert checks > 10
    assert copy_workbooks(tmp_path / "own").older == ()
