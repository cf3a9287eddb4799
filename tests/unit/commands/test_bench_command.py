"""`lessonkit bench`: what it prints, its JSON, its netlist, its list, and one sentence for wrong input."""

from __future__ import annotations

import json
import os
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from lessonkit.__main__ import main
from lessonkit.job.faults import fault_parts
from lessonkit.job.toml import demo_job, demo_names, job_to_toml

Capture = pytest.CaptureFixture[str]


def as_json(capsys: Capture, *words: str) -> dict[str, Any]:
    """Return the object that the command prints."""
    assert main(["bench", *words, "--json"]) == 0
    printed = capsys.readouterr()
    assert printed.err == ""
    found: dict[str, Any] = json.loads(printed.out)
    return found


def test_both_stages_valve_and_blower(capsys: Capture) -> None:
    """Job (d) under cool-2: both compressor stages, valve and blower are on."""
    seen = as_json(capsys, "two-run", "--call", "cool-2")
    on = {name for name, words in seen["responding"].items() if words != "off"}
    assert on == {"compressor stage 1", "compressor stage 2", "reversing valve", "blower", "outdoor fan"}
    assert seen["fuse"] == "whole"


def test_an_open_signal_releases_the_outdoor_unit(capsys: Capture) -> None:
    """Job (d) with SIG of the outdoor run open: released after the watchdog, and the blower still on."""
    seen = as_json(capsys, "two-run", "--call", "cool-2", "--fault", "outdoor.SIG=open", "--seconds", "30")
    assert {name for name, words in seen["responding"].items() if words != "off"} == {"blower"}
    assert seen["links"]["outdoor"]["state"] == "silent"
    before = as_json(capsys, "two-run", "--call", "cool-2", "--fault", "outdoor.SIG=open", "--seconds", "2")
    assert before["responding"]["compressor stage 1"] != "off", "the watchdog has not run out yet"


def test_a_lost_bond_and_a_short(capsys: Capture) -> None:
    """Job (b) with its bond lost follows from the circuit, and R on C blows the fuse."""
    seen = as_json(capsys, "earth-return", "--call", "cool-2", "--fault", "outdoor.earth=open")
    assert seen["volts"]["out:C"] > 24
    assert seen["coils"]["out:contactor"] == {"volts": pytest.approx(0, abs=0.1), "state": "open"}
    seen = as_json(capsys, "earth-return", "--fault", "thermostat.R=short:C")
    assert seen["fuse"] == "blown"


@pytest.mark.parametrize("job", demo_names()[:4])
def test_the_fields_of_the_object(job: str, capsys: Capture) -> None:
    """The object holds what was agreed, and volts for every terminal of the job."""
    seen = as_json(capsys, job, "--call", "heat-aux", "--fault", "air.transformer=weak:0.9", "--seconds", "5")
    expected = {
        "job",
        "call",
        "faults",
        "seconds",
        "volts",
        "coils",
        "responding",
        "links",
        "chatter",
        "fuse",
    }
    assert expected <= set(seen)
    assert (seen["job"], seen["call"], seen["faults"]) == (job, "heat-aux", ["air.transformer=weak:0.9"])
    assert seen["seconds"] == 5
    called = demo_job(job).call_terminals
    assert {f"{place}:{t}" for place in ("stat", "air") for t in ("R", "C", *called)} <= set(seen["volts"])
    assert {f"out:{t}" for t in ("R", "C", "Y1", "Y2", "D")} <= set(seen["volts"])
    assert all(isinstance(volts, float) for volts in seen["volts"].values())
    assert all(set(coil) == {"volts", "state"} for coil in seen["coils"].values())
    assert {coil["state"] for coil in seen["coils"].values()} == {"sealed", "open"}
    assert set(seen["links"]) == set(demo_job(job).links)
    for link in seen["links"].values():
        assert link["sent"] >= link["accepted"] > 0
        assert link["state"] == "working"
    assert seen["chatter"] == []


def test_the_object_is_the_same_each_time(capsys: Capture) -> None:
    """The same command prints the same object, and another seed another history of noise."""
    words = ("earth-return", "--call", "cool-1", "--fault", "outdoor.SIG=noise:3", "--seconds", "60")
    first = as_json(capsys, *words)
    assert as_json(capsys, *words) == first
    others = [as_json(capsys, *words, "--seed", str(seed))["links"] for seed in range(1, 5)]
    assert any(other != first["links"] for other in others)


def test_the_tables_for_people(capsys: Capture) -> None:
    """Without --json it prints tables that name equipment, coils, terminals, links and the fuse."""
    assert main(["bench", "two-run", "--call", "cool-2", "--fault", "outdoor.SIG=open"]) == 0
    out = capsys.readouterr().out
    for words in ("Old Ferrywright School", "outdoor.SIG=open", "blower", "out:contactor", "silent", "whole"):
        assert words in out


@pytest.mark.parametrize("job", demo_names())
def test_the_list_of_what_can_break(job: str, capsys: Capture) -> None:
    """--list names every part of the job that can break, with every kind."""
    assert main(["bench", job, "--list"]) == 0
    out = capsys.readouterr().out
    for part, kinds in fault_parts(demo_job(job)).items():
        assert part in out
        assert all(kind in out for kind in kinds)


def test_the_netlist_is_written(tmp_path: Path, capsys: Capture) -> None:
    """--spice writes a netlist of the last state, with its analysis card and its title."""
    deck = tmp_path / "state.cir"
    assert main(["bench", "wire-return", "--call", "heat-1", "--spice", str(deck)]) == 0
    text = deck.read_text(encoding="utf-8")
    assert text.startswith("* wire-return: heat-1, no fault\n")
    assert ".ac lin 1 60 60" in text
    assert text.endswith(".end\n")


@pytest.fixture
def bad_job(tmp_path: Path) -> str:
    """Return the path of a job file with a mistake."""
    path = tmp_path / "shed.toml"
    path.write_text(job_to_toml(demo_job("two-run")).replace("watchdog_s", "wachdog_s", 1), encoding="utf-8")
    return str(path)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["four-run"], "four-run: there is no such file; give the path of a job file or a demo job"),
        (["."], "the file can't be read"),
        (["two-run", "--call", "cool-3"], "call is 'cool-3', but must be one of off, fan"),
        (["two-run", "--fault", "SIG"], "fault 'SIG' can't be read"),
        (["two-run", "--fault", "outdoor.SIG=bent"], "it can be open, resistance"),
        (["two-run", "--fault", "outdoor.SIG=open", "--fault", "air.R=open"], "this job has no air.R"),
        (
            ["two-run", "--fault", "outdoor.SIG=noise:1", "--fault", "outdoor.SIG=noise:2"],
            "the same fault twice",
        ),
        (["two-run", "--fault", "outdoor.SIG=open\nsecond line"], "can't be 'open second line'"),
        (["two-run", "--power", "maybe"], "--power is 'maybe', but must be on or off"),
        (["two-run", "--hand", "cut out:outdoor.R"], "is no work of hands; write one of: lift"),
        (["two-run", "--hand", "lift out:outdoor.R"], "lift out:outdoor.R refused: outdoor.R is live"),
        (["two-run", "--meter", "out:R", "attic:C"], "there is no terminal 'attic:C' here"),
        (["two-run", "--steps", "nowhere.toml"], "nowhere.toml: there is no such file"),
        (["two-run", "--seconds", "soon"], "--seconds is 'soon', but must be a number"),
        (["two-run", "--seconds", "-5"], "--seconds is -5.0, but must be"),
        (["two-run", "--seconds", "nan"], "--seconds is nan, but must be"),
        (["two-run", "--seconds", "inf"], "--seconds is inf, but must be"),
        (["two-run", "--outdoor", "hot"], "--outdoor is 'hot', but must be a number"),
        (["two-run", "--outdoor", "nan"], "--outdoor is 'nan'"),
        (["two-run", "--outdoor", "99"], "--outdoor is '99', but must be from -40 to 55 C"),
        (["two-run", "--seed", "-1"], "--seed is '-1', but must be a whole number"),
        (["two-run", "--seed", "1.5"], "--seed is '1.5'"),
        (["two-run", "--seed", "inf"], "--seed is 'inf'"),
        (["two-run", "--seed", "nan"], "--seed is 'nan'"),
        (["two-run", "--spice", "no/such/folder/x.cir"], "can't be written to no/such/folder/x.cir"),
        ([], "the following arguments are required: JOB"),
        (["two-run", "--volts"], "unrecognized arguments: --volts"),
    ],
)
def test_wrong_input_gets_one_sentence_and_status_2(
    words: list[str], said: str, capsys: Capture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever is wrong on the command line is told in one line on standard error, with status 2."""
    monkeypatch.chdir(tmp_path)
    assert main(["bench", *words]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert said in printed.err
    assert printed.err.count("\n") == 1
    assert "Traceback" not in printed.err


def test_a_mistake_in_the_job_file_is_named(bad_job: str, capsys: Capture) -> None:
    """A misspelt key is named with the file and what was probably meant."""
    assert main(["bench", bad_job]) == 2
    printed = capsys.readouterr()
    assert (
        "shed.toml: runs.thermostat.link.wachdog_s is not a key of a job (did you mean watchdog_s?)"
        in printed.err
    )
    assert printed.err.count("\n") == 1


def test_as_a_program(run_lessonkit: Callable[..., subprocess.CompletedProcess[str]], tmp_path: Path) -> None:
    """Run from a shell, in a folder of its own, it reads a job file there and prints the object alone."""
    (tmp_path / "shed.toml").write_text(job_to_toml(demo_job("two-run")), encoding="utf-8")
    done = run_lessonkit("bench", f".{os.sep}shed.toml", "--call", "fan", "--json")
    assert (done.returncode, done.stderr) == (0, "")
    assert json.loads(done.stdout)["responding"]["blower"] == "on"
    wrong = run_lessonkit("bench", "shed.toml", "--seed", "inf")
    assert wrong.returncode == 2
    assert wrong.stdout == ""
    assert wrong.stderr.count("\n") == 1


def test_hands_fuse_test_pins_and_meter(capsys: Capture) -> None:
    """What the panel does, the command does: disconnect, wiring, fuse, test pins, and both probes."""
    seen = as_json(
        capsys, "two-run", "--call", "cool-2", "--power", "off", "--hand", "lift out:outdoor.SIG",
        "--hand", "lift air:outdoor.SIG", "--meter", "out:outdoor.SIG", "out:R",
        "--meter", "out:R", "out:C",
    )  # fmt: skip
    assert seen["hands"] == ["lift out:outdoor.SIG", "lift air:outdoor.SIG"]
    assert seen["meter"][0]["why"] == "OL"
    assert 0 < seen["meter"][1]["ohms"] < 1000
    assert seen["meter"][1]["volts"] < 0.1
    live = as_json(capsys, "two-run", "--meter", "out:SIG", "out:C")["meter"][0]
    assert 9 < live["dc_volts"] < 12
    assert "the power is still on" in live["why"]
    assert live["ohms"] is None
    blown = "two-run", "--call", "cool-2", "--fault", "air.fuse=blown"
    assert as_json(capsys, *blown)["fuse"] == "blown"
    assert main(["bench", *blown, "--fuse"]) == 0
    assert "by hand: a whole fuse put in" in capsys.readouterr().out


def test_a_story_is_told_and_handed_in(capsys: Capture, tmp_path: Path) -> None:
    """A story prints its steps, is an object in JSON, and has status 1 where a step came out otherwise."""
    story = tmp_path / "story.toml"
    text = (
        "[[step]]\ndo = 'call cool-1'\n[[step]]\nwait_s = 30\n[[step]]\nread = 'volts out:R'\nlow = {low}\n"
    )
    story.write_text(text.format(low=20), encoding="utf-8")
    seen = as_json(capsys, "two-run", "--steps", str(story))
    assert [step["as_said"] for step in seen["steps"]] == [True, True, True]
    assert seen["seconds"] == 30
    assert seen["call"] == "cool-1"
    story.write_text(text.format(low=40), encoding="utf-8")
    assert main(["bench", "two-run", "--steps", str(story)]) == 1
    assert "NOT AS SAID" in capsys.readouterr().out
