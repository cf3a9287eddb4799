"""The judging half: nbval over generated notebooks, held against nbval itself and against faulty judges.

The reference is nbval as anyone would run it, over the answered files themselves.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

sys.path.insert(0, str(Path(__file__).parent / "school"))
import orchard

from lessonkit.exercises import notebooks, open_workbook
from lessonkit.exercises.core import modelled
from lessonkit.exercises.plain import encode
from lessonkit.grading.judging.judge import JudgingFailed, Submission, judge_batch
from lessonkit.grading.judging.report import ASKED, questions
from lessonkit.grading.school import BadSchool, load_school


@pytest.fixture(scope="module")
def school(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Return the folder of the invented school."""
    with orchard.on_path():
        yield orchard.make_school(tmp_path_factory.mktemp("school"))


def submission(key: str, variant: int, changes: dict[str, Any], book: str = "orchard_a") -> Submission:
    """Return right answers, but for some."""
    answers = orchard.right(book, variant) | changes
    return Submission(key, book, variant, tuple((name, encode(value)) for name, value in answers.items()))


def wrong_answers(book: str, variant: int) -> dict[str, Any]:
    """Return a wrong answer to each exercise, a known misunderstanding where there is one."""
    workbook = open_workbook(book, variant)
    found: dict[str, Any] = {}
    for exercise in workbook.exercises:
        led_to = modelled(exercise, workbook.givens(exercise.id))
        found[exercise.id] = next(iter(led_to.values()), "what?")
    return found


def test_verdicts_are_those_of_nbval_over_the_files_themselves(school: Path, tmp_path: Path) -> None:
    """Right and wrong are the same as when nbval runs each answered notebook."""
    answers = {
        f"s{variant}": {
            exercise: value
            for place, (exercise, value) in enumerate(wrong_answers("orchard_a", variant).items())
            if (place + variant) % 3 == 0
        }
        for variant in range(4)
    }
    written = {key: orchard.answered("orchard_a", int(key[1:]), changes) for key, changes in answers.items()}
    for key, notebook in written.items():
        notebooks.write_notebook(tmp_path / f"{key}.ipynb", notebook)
    words = ["-m", "pytest", "-q", "-p", "nbval.plugin", "--nbval-lax", "--junit-xml=report.xml"]
    # Other plugins that are installed have no part in it, and take seconds to load.
    env = {**os.environ, "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"}
    told = {"stdout": subprocess.DEVNULL, "check": False}
    subprocess.run([sys.executable, *words, "-p", "no:cacheprovider"], cwd=tmp_path, env=env, **told)
    expected = {}
    for case in ElementTree.parse(tmp_path / "report.xml").getroot().iter("testcase"):
        key = case.attrib["classname"].removesuffix(".ipynb").rsplit(".", 1)[-1]
        code = [cell for cell in written[key]["cells"] if cell["cell_type"] == "code"]
        source = notebooks.source_of(code[int(case.attrib["name"].split()[1])])
        if "NBVAL_CHECK_OUTPUT" in source:
            exercise = source.split('check("')[1].split('"')[0]
            expected[key, exercise] = case.find("failure") is None and case.find("error") is None
    ours = judge_batch(str(school), [submission(key, int(key[1:]), answers[key]) for key in answers])
    assert len(expected) == 32
    assert {pair: judged.outcome == "right" for pair, judged in ours.items()} == expected
    assert set(expected.values()) == {True, False}


def test_order_of_the_class_changes_nothing(school: Path) -> None:
    """Judged forwards, backwards and with other workbooks between, everybody gets the same verdicts."""
    batch = [submission(f"s{n}", n, wrong_answers("orchard_a", n) if n % 2 else {}) for n in range(4)]
    batch += [submission("other", 5, {}, "orchard_b")]
    forward = judge_batch(str(school), batch)
    assert judge_batch(str(school), batch[::-1]) == forward
    assert len(forward) == 4 * 8 + 2


def test_missing_answer_is_not_taken_from_the_student_before(school: Path) -> None:
    """Only what was given is judged; nothing is left over from the one before."""
    some = Submission("b", "orchard_a", 1, (("91.2", encode(0.0)),))
    judged = judge_batch(str(school), [submission("a", 1, {}), some])
    assert [pair for pair in judged if pair[0] == "b"] == [("b", "91.2")]
    assert judged["b", "91.2"].outcome == "not yet"


def test_faulty_judge_harms_no_other_answer(school: Path) -> None:
    """A judge that fails, hangs or dies on one answer leaves that to the teacher, and does all the rest."""
    batch = [submission(f"s{n}", n, {"91.8": n}) for n in (666, 667, 668)] + [submission("s", 1, {})]
    batch.append(Submission("asked", "orchard_b", 3, (), ask=True))  # one who has answered nothing
    judged = judge_batch(str(school), batch, timeout_s=2)
    workbook = open_workbook("orchard_b", 3)
    asked = {item.id: item.question(workbook.givens(item.id)) for item in workbook.exercises}
    assert questions(judged.pop(("asked", ASKED)).hint) == asked
    left = {pair: one.hint for pair, one in judged.items() if one.outcome != "right"}
    assert set(left) == {("s666", "91.8"), ("s667", "91.8"), ("s668", "91.8")}
    assert {one.outcome for pair, one in judged.items() if pair in left} == {"teacher"}
    assert "failed" in left["s666", "91.8"]
    assert len(judged) == 4 * 8


@pytest.mark.parametrize(
    ("said", "read"),
    [
        ('{"1.1": "| a |  b |\\n| 1 |  2 |"}', {"1.1": "| a |  b |\n| 1 |  2 |"}),
        (
            '{"1.1": "red\\u001b[31m \\ud800\\u202e\\u0007, \\u2028wide", "1.2": 7}',
            {"1.1": "red \ufffd,  wide"},
        ),
        ('{"1.1": "cut off', {}),
        ("[1]", {}),
        ("[" * 99_999, {}),
    ],
)
def test_questions_are_cleaned_and_keep_their_lines(said: str, read: dict[str, str]) -> None:
    """What a page shows keeps blanks and lines, and has no escape, no control and no half character in it."""
    assert questions(said) == read


def test_text_of_an_answer_is_never_read_as_code_or_verdict(school: Path) -> None:
    """A text that looks like a marker, a magic or a verdict is judged as the wrong word that it is."""
    texts = ["\r91.3 right", "'''\n# NBVAL_SKIP\n'''", "%exit", "!exit", "?", "\u2028x", "\x00"]
    batch = [submission(f"s{number}", 1, {"91.3": text}) for number, text in enumerate(texts)]
    judged = judge_batch(str(school), batch)
    assert {judged[one.key, "91.3"].outcome for one in batch} == {"unreadable"}
    assert sum(one.outcome == "right" for one in judged.values()) == 7 * len(texts)


def test_settings_of_whoever_grades_have_no_say(
    school: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """pytest's options, a start-up file of IPython and a pytest.ini do not reach the judge."""
    startup = tmp_path / "profile_default" / "startup"
    startup.mkdir(parents=True)
    (startup / "00.py").write_text("print('hello')\nimport sys; sys.exit()")
    (tmp_path / "pytest.ini").write_text("[pytest]\naddopts = --deselect judge_00.ipynb\n")
    monkeypatch.setenv("IPYTHONDIR", str(tmp_path))
    monkeypatch.setenv("PYTEST_ADDOPTS", "-k nothing")
    monkeypatch.setenv("PYTHONWARNINGS", "error")
    monkeypatch.chdir(tmp_path)
    judged = judge_batch(str(school), [submission("s", 1, {})])
    assert {one.outcome for one in judged.values()} == {"right"}


def test_school_whose_workbook_cannot_be_imported_there_is_not_graded(school: Path) -> None:
    """If no check can be run, nobody gets a mark."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("lessonkit.grading.judging.judge._nbval", lambda *_: [])
        with pytest.raises(JudgingFailed, match="can't run the school's checks"):
            judge_batch(str(school), [submission("s", 1, {})])


def test_check_that_was_not_written_is_not_believed(school: Path) -> None:
    """A report about somebody who is not in the batch stops the run."""
    line = {"submission": "stranger", "exercise": "91.1", "passed": True, "how": "", "text": "91.1 right\n"}
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("lessonkit.grading.judging.judge._nbval", lambda *_: [line])
        with pytest.raises(JudgingFailed, match="not written"):
            judge_batch(str(school), [submission("s", 1, {})])


@pytest.mark.parametrize("fault", ["no count", "no output", "wrong output", "no cell"])
def test_school_s_copy_that_nbval_would_pass_is_refused(tmp_path: Path, fault: str) -> None:
    """nbval passes a check cell that was never run, whatever it prints; a school can't have one."""
    notebook = json.loads(json.dumps(orchard.pristine("orchard_b")))
    cell = next(cell for cell in notebook["cells"] if cell["id"] == "check-92-1")
    if fault == "no count":
        cell["execution_count"] = None
    elif fault == "no output":
        cell["outputs"] = []
    elif fault == "wrong output":
        cell["outputs"][0]["text"] = ["92.1 not yet\n"]
    else:
        notebook["cells"].remove(cell)
    notebooks.write_notebook(tmp_path / "92_gate.ipynb", notebook)
    with pytest.raises(BadSchool, match=r"92_gate\.ipynb.*92\.1"):
        load_school(tmp_path)


def test_folder_without_workbooks_is_one_sentence(tmp_path: Path) -> None:
    """A folder with no pristine workbook is named."""
    notebooks.write_notebook(tmp_path / "note.ipynb", notebooks.new_notebook([notebooks.code_cell("1", "a")]))
    with pytest.raises(BadSchool, match="no workbook with exercises"):
        load_school(tmp_path)
