"""A bench that passes over repeated polls shows what the ordinary bench shows, to the last bit."""

from __future__ import annotations

from typing import Any

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.bench.patient import PatientBench
from lessonkit.errors import BadParameter
from lessonkit.job.model import LinkSettings
from lessonkit.job.toml import demo_job, demo_names

CALLS = ("off", "heat-1", "heat-2", "heat-aux")


def story(bench: Bench, faults: tuple[str, ...], strides: tuple[float, ...]) -> list[dict[str, Any]]:
    """Return what a bench shows after each stride of a story with calls, faults, frost and a mended job."""
    seen = []
    for k, seconds in enumerate(strides):
        bench.set_call(CALLS[k // 2 % len(CALLS)])
        if k == 4:
            bench.set_faults(faults)
        if k == len(strides) - 4:
            bench.set_faults(())
        bench.set_outdoor_c(6.0 - k)
        state = bench.advance(seconds)
        seen.append({"links": dict(state.links), "coil": state.coil_c, "log": bench.log, **state.to_dict()})
    return seen


@pytest.mark.parametrize("name", demo_names())
@pytest.mark.parametrize(
    "fault",
    ["", "outdoor.SIG=open", "air.transformer=weak:0.6", "outdoor.R=resistance:12", "outdoor.earth=open"],
)
def test_every_state_is_the_same(name: str, fault: str) -> None:
    """Volts, coils, links with all their counts, timers and the log agree exactly, at odd moments too."""
    job = demo_job(name)
    if fault.startswith("outdoor.SIG") and "outdoor" not in job.links:
        fault = "outdoor.Y1=open"
    if fault.startswith("outdoor.R") and "R" not in job.outdoor_run.conductors:
        fault = "outdoor.C=resistance:12"
    strides = (60.0, 31.7, 60.0, 400.0, 60.0, 0.0, 97.3, 5.0, 1200.0, 60.0, 12.25, 60.0)
    faults = (fault,) if fault else ()
    assert story(PatientBench(job, seed=3), faults, strides) == story(Bench(job, seed=3), faults, strides)


@pytest.mark.parametrize("watchdog_s", [8.7, 8.8, 8.9, 9.0, 9.1, 9.3])
def test_a_watchdog_that_runs_out_just_before_a_poll_is_lived_through(watchdog_s: float) -> None:
    """A link that is whole again may still let go: its silence lasts until the next poll."""
    link = LinkSettings(interval_s=0.7, acceptance=2, watchdog_s=watchdog_s)
    seen = []
    for make in (Bench, PatientBench):
        bench = make(demo_job("wire-return").with_run("outdoor", link=link), call="cool-1")
        bench.advance(60.0)
        bench.set_faults(["outdoor.SIG=open"])
        bench.advance(8.0)
        bench.set_faults([])
        state = bench.advance(30.0)
        seen.append((bench.log, state.to_dict()))
    assert seen[0] == seen[1]


def test_a_call_in_between_is_heard_at_the_next_poll() -> None:
    """What was passed over never reaches beyond the moment to which time was let pass."""
    patient, plain = PatientBench("two-run"), Bench("two-run")
    for bench in (patient, plain):
        bench.advance(600.25)
        bench.set_call("fan")
    for _ in range(8):
        assert patient.advance(0.5).responding == plain.advance(0.5).responding
    assert patient.state.responding["blower"] == "on"


def test_frames_passed_over_are_counted_and_not_lived_through() -> None:
    """Ten quiet hours count every poll of both links, and remember next to none of their frames."""
    bench = PatientBench("two-run")
    state = bench.advance(36000.0)
    assert {link.sent for link in state.links.values()} == {36000}
    assert {link.accepted for link in state.links.values()} == {36000}
    assert len(bench.frames) < 100


def test_where_a_frame_s_fate_is_open_every_poll_is_lived_through() -> None:
    """On a poor earth return frames are lost by chance; the patient bench loses the very same ones."""
    faults = ("outdoor.earth=resistance:3",)
    seen = []
    for kind in (PatientBench, Bench):
        bench = kind("earth-return", seed=5, faults=faults)
        bench.set_call("cool-2")
        link = bench.advance(900.0).links["outdoor"]
        seen.append((link.sent, link.accepted, link.replies, link.state))
    assert seen[0] == seen[1]
    assert seen[0][1] < seen[0][0]


def test_a_look_changes_nothing_that_happens() -> None:
    """Where frames are lost by chance, a bench looked at on the way loses the very same ones."""
    for kind in (PatientBench, Bench):
        looked_at, left_alone = (
            kind("earth-return", seed=5, faults=["outdoor.earth=resistance:3"], call="cool-2")
            for _ in range(2)
        )
        for _ in range(4):
            assert looked_at.advance(60.3).responding == looked_at.responding
            left_alone.pass_time(60.3)
        assert (left_alone.fuse, left_alone.log) == (looked_at.state.fuse, looked_at.log)
        assert left_alone.state == looked_at.state


def test_time_that_can_t_pass_is_refused() -> None:
    """The sentence is the ordinary bench's."""
    for wrong in (-1.0, "long", float("nan")):
        with pytest.raises(BadParameter, match="seconds is"):
            PatientBench("two-run").advance(wrong)  # type: ignore[arg-type]
