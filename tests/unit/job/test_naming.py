"""Points and faults in plain words."""

from __future__ import annotations

import math

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.bench.meter import Meter
from lessonkit.job.faults import BadFault, fault_parts, parse_fault
from lessonkit.job.naming import fault_sentence, fault_words, node_words, terminal_words
from lessonkit.job.ohms import ohm_words
from lessonkit.job.toml import demo_job, demo_names


@pytest.mark.parametrize("name", demo_names())
def test_no_two_points_of_a_job_have_one_name(name: str) -> None:
    """Whoever chooses where a probe goes can tell all points apart."""
    words = [node_words(node) for node in Meter(Bench(demo_job(name))).nodes()]
    assert len(set(words)) == len(words)


def test_inner_points_are_said_in_words() -> None:
    """A point without a letter of the trade is said by what it is and where."""
    assert node_words("out:GND") == "outdoor unit grounded metal"
    assert node_words("air:XFMR") == "air handler transformer, ahead of the fuse"
    assert node_words("stat:Y1") == "thermostat Y1"
    assert terminal_words("SIG-out") == "signal conductor, to the outdoor unit"
    assert terminal_words("spare1") == "not in use"


def test_faults_are_said_short_and_as_sentences() -> None:
    """The words for a fault name its value, and its sentence names its place."""
    job = demo_job("two-run")
    assert fault_words(parse_fault("outdoor.SIG=resistance:20", job), job) == "bad splice, 20 ohm"
    assert fault_words(parse_fault("outdoor.SIG=short:R", job), job) == "touches R"
    assert (
        fault_sentence("outdoor.SIG=short:R")
        == "the conductor SIG of the outdoor run touches the conductor R"
    )
    assert (
        fault_sentence("air.relay-G=stuck-open") == "the relay G on the board at the air handler never closes"
    )
    assert fault_sentence("out.contactor=burnt-out") == "the coil of the contactor is burnt out"


@pytest.mark.parametrize("name", demo_names())
def test_every_fault_of_every_job_has_words(name: str) -> None:
    """No fault is shown as its code."""
    job = demo_job(name)
    for part, kinds in fault_parts(job).items():
        for kind in kinds.values():
            where, _, broken = part.partition(".")
            others = (
                [c for c in job.runs[where].conductors if c != broken] if kind.value == "conductor" else []
            )
            value = f":{others[0]}" if others else "" if kind.value == "none" else f":{kind.default}"
            words = fault_words(parse_fault(f"{part}={kind.name}{value}", job), job)
            assert words
            assert "=" not in words
            assert "another conductor" not in words


def test_many_ohms_are_said_as_a_meter_says_them() -> None:
    """Many ohms have their unit and no exponent, endless ones are open; limits of a fault say the same."""
    assert [ohm_words(ohm) for ohm in (0.001, 0.5, 20.0, 17.7828, 2200.0, 1e6, 1e9, math.inf)] == [
        "0.001 ohm", "0.5 ohm", "20 ohm", "17.7828 ohm", "2.2 kohm", "1 Mohm", "1 Gohm", "open",
    ]  # fmt: skip
    assert ohm_words(999_999.7) == "1 Mohm"
    job = demo_job("full-cable")
    assert fault_words(parse_fault("outdoor.C=resistance:1e9", job), job) == "bad splice, 1 Gohm"
    with pytest.raises(BadFault, match=r"a number from 0.01 to 1000000000 \(1 Gohm\)"):
        parse_fault("outdoor.C=resistance:1e12", job)
