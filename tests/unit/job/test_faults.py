"""Faults: text and back, what each job can have, and one sentence for anything else."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessonkit.errors import LessonError
from lessonkit.job.faults import (
    BadFault,
    Fault,
    as_faults,
    check_fault,
    fault_parts,
    parse_fault,
    single_faults,
    thermostat_terminals,
)
from lessonkit.job.model import Job
from lessonkit.job.toml import demo_job, demo_names

JOBS = {name: demo_job(name) for name in demo_names()}
by_job = pytest.mark.parametrize("job", JOBS.values(), ids=JOBS)


@st.composite
def faults_of(draw: st.DrawFn, job: Job) -> Fault:
    """Draw any fault that a job can have."""
    target, kinds = draw(st.sampled_from(sorted(fault_parts(job).items(), key=lambda item: item[0])))
    where, part = target.split(".", 1)
    kind = draw(st.sampled_from(sorted(kinds.values(), key=lambda kind: kind.name)))
    value: float | str | None = None
    if kind.value == "number":
        value = draw(st.floats(kind.low, kind.high))
    elif kind.value == "conductor":
        value = draw(st.sampled_from([c for c in job.runs[where].conductors if c != part]))
    at = draw(st.floats(0.0, 1.0)) if kind.placed else 0.5
    return Fault(where, part, kind.name, value, at)


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_any_fault_survives_being_written_and_read(data: st.DataObject) -> None:
    """What a fault says of itself reads back as the very same fault, to the last digit."""
    job = data.draw(st.sampled_from(list(JOBS.values())))
    fault = data.draw(faults_of(job))
    assert parse_fault(str(fault), job) == fault
    assert check_fault(fault, job) == fault


@by_job
def test_single_faults_are_all_different_and_readable(job: Job) -> None:
    """Each single fault of a job is there once, is one that the job can have, and reads back."""
    singles = list(single_faults(job))
    assert len(set(singles)) == len(singles) > 40
    assert [parse_fault(str(fault), job) for fault in singles] == singles


@by_job
def test_every_part_and_kind_breaks_singly(job: Job) -> None:
    """No part and no kind of fault is left out of the single faults; a swap or short covers both its ends."""
    reached: set[tuple[str, str, str]] = set()
    for fault in single_faults(job):
        reached.add((fault.where, fault.part, fault.kind))
        if fault.kind in ("short", "swapped"):
            reached.add((fault.where, str(fault.value), fault.kind))
    expected = {(*target.split(".", 1), kind) for target, kinds in fault_parts(job).items() for kind in kinds}
    assert reached == expected


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "can't be read; write RUN.CONDUCTOR=KIND"),
        ("outdoor.SIG", "can't be read"),
        ("outdoor.SIG=", "can't be read"),
        ("SIG=open", "can't be read"),
        ("attic.SIG=open", "this job has no attic.SIG"),
        ("outdoor.Y1=open", "this job has no outdoor.Y1"),
        ("out.relay-bord=dead", "it has .*out.relay-board"),
        ("outdoor.SIG=opened", "can't be 'opened'; it can be open, resistance, short, earth, swapped, noise"),
        ("outdoor.R=noise:1", "can't be 'noise'"),
        ("outdoor.SIG=open:3", "takes no value, so leave out :3"),
        ("outdoor.SIG=noise:loud", "'loud', but must be a number from 0 to 100"),
        ("outdoor.SIG=noise:nan", "'nan', but must be a number"),
        ("outdoor.SIG=resistance:0", "'0', but must be a number from 0.01"),
        ("outdoor.SIG=resistance:-8", "'-8', but must be a number"),
        ("outdoor.SIG=resistance:inf", "'inf', but must be a number"),
        ("outdoor.SIG=open@1.01", "the position is '1.01'"),
        ("outdoor.SIG=open@-0.1", "the position is '-0.1'"),
        ("outdoor.SIG=open@", "the position is ''"),
        ("outdoor.SIG=swapped:R@0.2", "swapped has no position"),
        ("outdoor.SIG=short", "say which conductor"),
        ("outdoor.SIG=short:SIG", "the other conductor must be one of R"),
        ("outdoor.SIG=short:Y1", "the other conductor must be one of R"),
        ("air.transformer=weak:2", "must be a number from 0.01 to 1.2"),
        ("outdoor.\nSIG=op\ten", "can't be 'op en'"),
        ("outdoor.earth=short:R", "can't be 'short'"),
        ("\u2028.\x00=\x1b", "this job has no"),
    ],
)
def test_bad_text_gives_one_sentence(text: str, said: str) -> None:
    """Whatever can't be read is answered with one line that says what is wrong and what is allowed."""
    with pytest.raises(BadFault, match=said) as caught:
        parse_fault(text, JOBS["two-run"])
    assert "\n" not in str(caught.value)
    assert isinstance(caught.value, LessonError)
    assert isinstance(caught.value, ValueError)


@settings(max_examples=300, deadline=None)
@given(st.text(max_size=30) | st.from_regex(r"(outdoor|air|out)\.(R|SIG|earth)=[a-z]{0,8}[:@]?\S{0,6}"))
def test_no_text_at_all_breaks_the_reader(text: str) -> None:
    """Any text is either a fault of the job or refused in one line."""
    job, said = JOBS["two-run"], ""
    try:
        fault = parse_fault(text, job)
    except BadFault as error:
        said = str(error)
    assert "\n" not in said
    assert said or check_fault(fault, job) == fault


@pytest.mark.parametrize(
    "fault",
    [
        Fault("outdoor", "R", "resistance", -5.0),
        Fault("outdoor", "R", "resistance", "much"),
        Fault("outdoor", "R", "resistance", math.nan),
        Fault("outdoor", "R", "resistance", True),
        Fault("outdoor", "R", "open", 3.0),
        Fault("outdoor", "R", "open", None, 7.0),
        Fault("outdoor", "R", "open", None, math.nan),
        Fault("outdoor", "R", "resistance", 5.0, 0.2),
        Fault("outdoor", "R", "short", None),
        Fault("outdoor", "R", "short", 5.0),
        Fault("nowhere", "R", "open"),
    ],
)
def test_bad_values_are_refused_too(fault: Fault) -> None:
    """A fault made as a value is held to the same limits as one that was typed."""
    with pytest.raises(BadFault) as caught:
        check_fault(fault, JOBS["two-run"])
    assert "\n" not in str(caught.value)


def test_a_fault_without_its_number_gets_the_usual_one() -> None:
    """A bad splice of no stated size is the usual bad splice, never a silent nothing."""
    job = JOBS["two-run"]
    assert check_fault(Fault("outdoor", "R", "resistance"), job) == parse_fault("outdoor.R=resistance", job)
    assert check_fault(Fault("outdoor", "R", "resistance", 8), job).value == 8.0


def test_the_same_fault_twice() -> None:
    """Doubles are dropped; two sizes of one fault are a contradiction, two shorts are not."""
    job = JOBS["two-run"]
    assert len(as_faults(["outdoor.SIG=open", "outdoor.SIG=open@0.5"], job)) == 1
    assert len(as_faults(["thermostat.R=short:C", "thermostat.R=short:SIG"], job)) == 2
    with pytest.raises(BadFault, match="the same fault twice"):
        as_faults(["outdoor.SIG=noise:1", "outdoor.SIG=noise:2"], job)


def test_one_fault_needs_no_list() -> None:
    """A single text or fault is as good as a list of one."""
    job = JOBS["two-run"]
    assert as_faults("outdoor.SIG=open", job) == as_faults(["outdoor.SIG=open"], job)
    assert as_faults(Fault("outdoor", "SIG", "open"), job) == (Fault("outdoor", "SIG", "open"),)


def test_a_reversed_thermostat_uses_the_same_screw_the_other_way_round() -> None:
    """Set for the other valve type, it energises the valve's screw in heating instead of cooling."""
    job = JOBS["two-run"]  # an O valve
    reversed_ = as_faults(["stat.valve=reversed"], job)
    assert "O" in thermostat_terminals(job, "cool-1")
    assert "O" not in thermostat_terminals(job, "heat-1")
    assert "O" not in thermostat_terminals(job, "cool-1", reversed_)
    assert thermostat_terminals(job, "heat-1", reversed_) == {"Y1", "G", "O"}
    assert thermostat_terminals(job, "emergency", reversed_) == thermostat_terminals(job, "emergency")
