"""`lessonkit prove`: what it prints and writes, and one sentence for wrong input."""

from __future__ import annotations

import json
import re
from html import escape
from pathlib import Path

import pytest

import lessonkit as lk
from lessonkit.__main__ import main
from lessonkit.studies.prove import prove

Capture = pytest.CaptureFixture[str]


@pytest.fixture(scope="module")
def broken(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a sheet that a bench with a broken conductor has filled in."""
    path = tmp_path_factory.mktemp("sheet") / "filled.csv"
    proof = prove("four-wire")
    path.write_text(proof.csv(proof.filled(["outdoor.C=open"])), encoding="utf-8", newline="")
    return path


def test_the_sheet_is_told_part_by_part(capsys: Capture) -> None:
    """Without options each part stands above its steps, and the caution ends it."""
    assert main(["prove", "four-wire"]) == 0
    said = capsys.readouterr().out
    assert said.index("Prove dead") < said.index("Ring out") < said.index("Cooling") < said.index("Hand-over")
    assert "prove dead before you touch a wire" in said


def test_the_object_is_the_sheet(capsys: Capture) -> None:
    """--json prints one object with every step and its band; OL stands for more than a meter shows."""
    assert main(["prove", "four-wire", "--json"]) == 0
    printed = json.loads(capsys.readouterr().out)
    assert printed == prove("four-wire").to_dict()
    assert {"step", "part", "call", "act", "red", "black", "unit", "low", "high"} == set(printed["steps"][0])
    assert any(step["high"] == "OL" for step in printed["steps"] if step["unit"] == "Mohm")


def test_a_table_is_written_to_fill_in(tmp_path: Path, capsys: Capture) -> None:
    """--csv writes the table with an empty last column, which judged as it is says that nothing was read."""
    path = tmp_path / "sheet.csv"
    assert main(["prove", "four-wire", "--csv", str(path)]) == 0
    assert path.read_text(encoding="utf-8").startswith("step,call,act,red,black,unit,low,high,reading")
    capsys.readouterr()
    assert main(["prove", "four-wire", "--readings", str(path), "--json"]) == 0
    printed = json.loads(capsys.readouterr().out)
    assert printed["empty"] == len(prove("four-wire").steps)
    assert printed["out"] == []
    assert printed["next"] is None


def test_a_filled_sheet_is_judged(broken: Path, capsys: Capture) -> None:
    """--readings says what is out and by how much, which fault explains it, and how the site fits."""
    assert main(["prove", "four-wire", "--readings", str(broken), "--json"]) == 0
    printed = json.loads(capsys.readouterr().out)
    assert {"out", "empty", "explained_by", "next", "fit"} == set(printed)
    assert printed["explained_by"][0]["faults"] == ["outdoor.C=open"]
    assert sum(one["probability"] for one in printed["explained_by"]) == pytest.approx(1.0, abs=0.02)
    loop = next(one for one in printed["out"] if one["unit"] == "ohm")
    assert (loop["reading"], loop["by"]) == ("OL", "OL")
    words = next(one for one in printed["out"] if one["act"] == "look: compressor stage 1")
    assert (words["low"], words["reading"], words["by"]) == ("on", "off", "off")
    assert printed["fit"]["line"] == pytest.approx(1.0, abs=0.01)


def test_a_judged_sheet_is_told_in_words(broken: Path, capsys: Capture) -> None:
    """Without --json the same stands there for people."""
    assert main(["prove", "four-wire", "--readings", str(broken)]) == 0
    said = capsys.readouterr().out
    assert "steps have a reading" in said
    assert re.search(r"Best explained by:\n\s+\d+\.\d%  outdoor\.C=open", said)
    assert "The model fits" in said


def test_python_judges_the_same(broken: Path) -> None:
    """`lk.judge_sheet` takes the same file, and `lk.prove` makes the same sheet."""
    assert str(lk.judge_sheet("four-wire", broken).explained_by[0].faults[0]) == "outdoor.C=open"
    assert lk.prove("four-wire").steps == prove("four-wire").steps


@pytest.mark.parametrize("job", ["two-run", "wire-dual-fuel", "second-transformer"])
def test_the_page_stands_alone_and_prints(job: str, tmp_path: Path, capsys: Capture) -> None:
    """The page has its picture inside, both units, boxes, cautions, and a place for the licence number."""
    page = tmp_path / "sheet.html"
    assert main(["prove", job, "--html", str(page)]) == 0
    capsys.readouterr()
    text = page.read_text(encoding="utf-8")
    assert 'src="data:image/svg+xml' in text
    assert not re.search(r'(?:src|href)="(?!data:)', text)
    for words in (
        "Caution.",
        "Licence number",
        "Metric",
        "AWG",
        "mm²",
        "@media print",
        'class="box"',
        "≥ 0.50",
    ):
        assert words in text
    assert ("Equipment ground carries" in text) == (job == "two-run")
    assert ("Open both disconnects" in text) == (job == "second-transformer")
    assert 'content: "Page " counter(page)' in text
    lists = re.findall(r'<ul class="steps">(.*?)</ul>', text)
    assert 6 <= max(one.count("<li>") for one in lists) <= 12  # a list on one sheet of paper
    assert '</ul></div><div class="together"><ul class="steps">' in text, "it goes on between two steps"
    last = text[text.rindex('<div class="together"><h2>Hand-over') :]
    assert "<h2>Signed</h2>" in last  # on the same sheet of paper
    assert 'V = <span class="line word">' in text
    assert ("outdoor unit: C to metal" in text) == (job == "two-run")
    assert ('licence <span class="line word"></span>, date <span class="line date">' in text) == (
        job == "two-run"
    )
    steps = prove(job).steps
    assert all(f'<p class="live">{escape(step.warning)}.</p>' in text for step in steps if step.warning)
    assert all(f"<b>{step.number}</b>" in text for step in steps)


def test_a_job_s_words_are_escaped(tmp_path: Path, capsys: Capture) -> None:
    """A job whose title looks like a tag shows it as text."""
    job = tmp_path / "job.toml"
    job.write_text('name = "x"\ntitle = "<script>x</script>"\n', encoding="utf-8")
    page = tmp_path / "sheet.html"
    assert main(["prove", str(job), "--html", str(page)]) == 0
    capsys.readouterr()
    text = page.read_text(encoding="utf-8")
    assert "<script>" not in text
    assert r"\3c script\3e x\3c \2f script\3e" in text  # in a string of CSS, for the foot of each sheet


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["no-such-job"], "there is no such file"),
        (["four-wire", "--readings", "no-such-sheet.csv"], "no-such-sheet.csv: there is no such file"),
        (["four-wire", "--readings", ""], "a file without a name"),
    ],
)
def test_wrong_input_gets_one_sentence(arguments: list[str], says: str, capsys: Capture) -> None:
    """A job or a sheet that isn't there is named with what to give instead, and the status is 2."""
    assert main(["prove", *arguments]) == 2
    said = capsys.readouterr()
    assert says in said.err
    assert len(said.err.strip().splitlines()) == 1
    assert "Traceback" not in said.err


def test_a_place_that_can_t_be_written_is_named(tmp_path: Path, capsys: Capture) -> None:
    """A folder in the place of the file is answered with its path and what to do."""
    (tmp_path / "file").write_text("")
    assert main(["prove", "four-wire", "--csv", str(tmp_path / "file" / "sheet.csv")]) == 2
    said = capsys.readouterr().err
    assert "can't be written" in said
    assert "choose another place" in said
