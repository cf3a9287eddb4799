"""The start page: read from the files alone, true about them, and never in the way of somebody's own work."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

import lessonkit as lk
from lessonkit.exercises import notebooks
from lessonkit.exercises.notebooks import read_notebook, source_of, write_notebook
from lessonkit.exercises.pristine import copy_workbooks
from lessonkit.exercises.progress import minutes_of, read_progress, series_books, title_of
from lessonkit.exercises.start_page import START, progress, start_notebook, write_start_page


@pytest.fixture
def own(tmp_path: Path) -> Path:
    """Return an apprentice's folder, as `lessonkit lab` fills it."""
    copy_workbooks(tmp_path / "own")
    return tmp_path / "own"


def said(notebook: notebooks.Notebook, exercise: str, words: str) -> None:
    """Let a check cell have said something."""
    cell = notebook["cells"][notebooks.find_checks(notebook)[exercise]]
    cell["outputs"] = [{"output_type": "stream", "name": "stdout", "text": [words + "\n"]}]


def answered(path: Path, **answers: str) -> None:
    """Write answers into a file, and what each check said behind a bar: `e1_1="26.4 | 1.1 right"`."""
    notebook = read_notebook(path)
    for name, both in answers.items():
        exercise = name.removeprefix("e").replace("_", ".")
        text, _, words = both.partition(" | ")
        cell = notebook["cells"][notebooks.find_answers(notebook)[exercise]]
        cell["source"] = [f"{notebooks.answer_name(exercise)} = {text}"]
        if words:
            said(notebook, exercise, words)
    write_notebook(path, notebook)


def test_a_new_folder_is_all_open_and_begins_with_the_first_workbook(own: Path) -> None:
    """Nothing is begun, each workbook says how long it takes, and the first one comes next."""
    found = read_progress(own)
    assert [book.file for book in found.books] == sorted(path.name for path in own.glob("*.ipynb"))
    assert not any(book.begun or book.trouble for book in found.books)
    assert all(20 <= book.minutes <= 180 for book in found.books)
    assert found.next == found.books[0]
    assert "begin [00 Start here](00_start_here.ipynb). Time to expect: about 40 minutes." in (
        progress(own)._repr_markdown_()
    )


def test_states_are_what_was_written_and_what_the_check_said(own: Path) -> None:
    """Right, not yet, unchecked, unfinished and mistyped answers are told apart, and the hint comes first."""
    answered(
        own / "01_calls.ipynb",
        e1_1="['Y1'] | 1.1 right",
        e1_2="'heat-1' | 1.2 not yet: Look at O.",
        e1_3="26,4 V",
        e1_4="{'a': 'on', 'b': ...}",
        e1_5="bench.state.volts",
        e1_6="3 | 1.6 unreadable: This expects a word.",
    )
    book = read_progress(own).books[1]
    assert list(book.states.values()) == ["right", "not yet", "written", "open", "written", "not yet", "open"]
    assert book.begun
    assert not book.done
    first = read_progress(own).books[0].states
    answered(own / "00_start_here.ipynb", **{f"e{n}".replace(".", "_"): f"1 | {n} right" for n in first})
    assert read_progress(own).books[0].done
    told = progress(own)._repr_markdown_()
    assert "look again at [exercise 1.2](01_calls.ipynb#cell-id=ask-1-2)" in told
    assert "1 of 7 |" in told
    assert "2 not yet right, 2 to check, 2 open" in told


def test_a_finished_series_says_so(own: Path) -> None:
    """When each check says right there is nothing left, and the page says that."""
    for path in sorted(own.glob("*.ipynb")):
        notebook = read_notebook(path)
        answers = dict.fromkeys(notebooks.find_answers(notebook), 1)
        write_notebook(path, notebooks.with_verdicts(notebooks.with_answers(notebook, answers)))
    found = read_progress(own)
    assert all(book.done for book in found.books)
    assert found.next is None
    text = progress(own)._repr_markdown_()
    assert "All exercises of all workbooks are right" in text
    assert text.count("| all right |") == len(found.books)


def test_a_handed_out_copy_counts_by_what_it_opens(own: Path) -> None:
    """A file of any name counts for its workbook, and of two the one with more in it."""
    copy = own / "01_calls_ida-holm.ipynb"
    write_notebook(copy, notebooks.with_variant(read_notebook(own / "01_calls.ipynb"), 4711))
    answered(copy, e1_1="['G'] | 1.1 right")
    assert read_progress(own).books[1].file == copy.name


def test_spoilt_files_are_named_and_do_no_harm(own: Path) -> None:
    """What is no notebook is said in its row; foreign notebooks and missing ones do not matter."""
    (own / "02_the_24_volt_circuit.ipynb").write_text("{", encoding="utf-8")
    (own / "03_proving_the_conductors.ipynb").unlink()
    (own / "04_too_few_conductors.ipynb").write_text('{"cells": [1, {"cell_type": "code", "source": 3}]}')
    (own / "notes.ipynb").write_text(json.dumps({"cells": []}))
    (own / "shopping.ipynb").write_text("[" * 100_000)
    books = {book.id: book for book in read_progress(own).books}
    assert "can't be read" in books["02"].trouble
    assert books["03"].file == books["04"].file == ""
    assert "not in this folder" in progress(own)._repr_markdown_()
    with pytest.raises(lk.LessonError, match="is no folder"):
        lk.progress(own / "nowhere")


def test_no_code_of_a_file_is_run(own: Path, tmp_path: Path) -> None:
    """A cell that would leave a trace leaves none."""
    trace = tmp_path / "trace"
    answered(own / "01_calls.ipynb", e1_1=f"open({str(trace)!r}, 'w')")
    assert read_progress(own).books[1].states["1.1"] == "written"
    assert not trace.exists()


def test_the_page_is_made_again_and_keeps_what_somebody_added(own: Path) -> None:
    """Today's state stands in our cells, an added cell stays, and another file of that name is left alone."""
    assert write_start_page(own)
    page = read_notebook(own / START)
    page["cells"].append(notebooks.markdown_cell("My own note.", "note"))
    write_notebook(own / START, page)
    answered(own / "00_start_here.ipynb", e0_1="1 | 0.1 right")
    assert write_start_page(own)
    text = [source_of(cell) for cell in read_notebook(own / START)["cells"]]
    assert text[-1] == "My own note."
    assert any("| 1 of " in part for part in text)
    write_notebook(own / START, notebooks.new_notebook([]))
    before = (own / START).read_bytes()
    assert not write_start_page(own)
    assert (own / START).read_bytes() == before


def test_the_page_s_links_lead_somewhere(own: Path) -> None:
    """Each link of the page is a file of the folder, and its title is that of the workbook."""
    write_start_page(own)
    text = "\n".join(source_of(cell) for cell in start_notebook(read_progress(own))["cells"])
    links = re.findall(r"\]\(([^)#]+)", text)
    assert len(set(links)) == len(series_books()) + 1  # and the glossary
    assert all((own / link).is_file() for link in links)


def test_every_workbook_says_how_long_it_takes() -> None:
    """Minutes to expect stand in the opening of each workbook, and a title with its number."""
    for number, notebook in series_books().items():
        assert minutes_of(notebook) >= 20, number
        assert title_of(notebook).startswith(f"{number} "), number
