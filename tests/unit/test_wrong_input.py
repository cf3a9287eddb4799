"""Wrong input of odd kinds: each gets one sentence that says where the mistake is, and status 2."""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
from pathlib import Path

import pytest

from lessonkit.__main__ import COMMANDS, Command, main
from lessonkit.job.faults import BadFault, parse_fault
from lessonkit.job.model import BadJob, Job
from lessonkit.job.toml import demo_job, job_from_toml


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (f'name = "x"\n[supply]\nfuse_a = {"9" * 5000}\n', "a number in it has more digits"),
        (f'name = "x"\n[supply]\nfuse_a = {"9" * 400}\n', "supply.fuse_a has 400 digits"),
        (f'name = "x"\n[runs.outdoor]\nohms = [{"9" * 400}, 1.0]\n', "ohms has a number of 400 digits"),
        ('name = "x"\n[supply]\nfuse_a = -5.0\n', "supply.fuse_a is -5.0"),
        ('name = " "\n', "name is empty"),
        ('name = "x"\ntitle = "Mill \\u001b[2J"\n', "title has a control character"),
        ('name = "x\\ny"\n', "name has a control character"),
    ],
)
def test_job_files_with_odd_values_are_refused_by_key(text: str, says: str) -> None:
    """Endless numbers, empty names and control characters are named under the key of the file."""
    with pytest.raises(BadJob, match=says) as caught:
        job_from_toml(text, "odd.toml")
    assert str(caught.value).count("\n") == 0


def test_a_story_may_have_lines_and_any_script() -> None:
    """Text that can be seen is left alone, line breaks in a story included."""
    job = Job("Mühle 家", title="Nørre Mølle", story="First line.\nSecond line.")
    assert job.story.endswith("Second line.")


def test_a_fault_may_have_spaces_around_its_signs() -> None:
    """Spaces are no part of a fault's name."""
    job = demo_job("two-run")
    spaced = parse_fault(" outdoor . R = earth : 20 @ 0.25 ", job)
    assert spaced == parse_fault("outdoor.R=earth:20@0.25", job)


@pytest.mark.parametrize(
    ("text", "offers"), [("OUTDOOR.SIG=open", "it has outdoor.SIG"), ("zz.zz=open", "and others (--list")]
)
def test_an_unknown_part_is_answered_with_what_may_be_meant(text: str, offers: str) -> None:
    """Wrong case finds the part; a name like no other gets a few examples, not a wall of names."""
    with pytest.raises(BadFault) as caught:
        parse_fault(text, demo_job("two-run"))
    assert offers in str(caught.value)
    assert len(str(caught.value)) < 200


@pytest.mark.parametrize(
    ("words", "says"), [(["--outdoor", "99"], "--outdoor is '99'"), (["--spice", ""], "without a name")]
)
def test_bench_names_the_option_as_it_was_given(
    words: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """An option that can't be is named as the command line spells it."""
    assert main(["bench", "full-cable", *words]) == 2
    assert says in capsys.readouterr().err


def test_a_missing_package_is_no_mistake_of_ours(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """In a bare checkout the sentence says how to get what is missing."""

    def action(options: argparse.Namespace) -> int:
        raise ModuleNotFoundError("No module named 'tomli_w'", name="tomli_w")

    room = argparse.Namespace(add_arguments=lambda parser: None, run=action)
    monkeypatch.setitem(COMMANDS, "pretend", Command("pretend", "pretend_room"))
    monkeypatch.setitem(sys.modules, "pretend_room", room)
    assert main(["pretend"]) == 2
    said = capsys.readouterr().err
    assert "has no tomli_w" in said
    assert "lessonkit.begin lab" in said
    assert said.count("\n") == 1


def test_a_table_piped_into_a_reader_that_stops_ends_quietly(tmp_path: Path) -> None:
    """The tables of `bench` end like any other output when nobody reads on."""
    read, write = os.pipe()
    os.close(read)
    try:
        done = subprocess.run(
            [sys.executable, "-m", "lessonkit", "bench", "full-cable"],
            stdout=write,
            stderr=subprocess.PIPE,
            cwd=tmp_path,
            check=False,
        )
    finally:
        os.close(write)
    assert done.stderr == b""
    assert done.returncode == 141


def test_a_command_without_standard_output_still_works(monkeypatch: pytest.MonkeyPatch) -> None:
    """A shell that closed standard output (`>&-`) leaves none to flush."""
    monkeypatch.setattr(sys, "stdout", None)
    assert main(["bench", "full-cable", "--json"]) == 0


def test_a_folder_in_nobodys_home_is_named(capsys: pytest.CaptureFixture[str]) -> None:
    """A home folder that doesn't exist is told as such, and nothing is made."""
    assert main(["lab", "--copy-only", "--folder", "~nobody-of-that-name/lessons"]) == 2
    assert "leads to no home folder" in capsys.readouterr().err
