"""A link's settings tried on the bench."""

from __future__ import annotations

import pytest

from lessonkit.errors import BadParameter, LessonError
from lessonkit.job.toml import demo_job
from lessonkit.studies.link_trial import try_link


def test_a_call_waits_for_as_many_intervals_as_equal_frames_are_asked_for() -> None:
    """A call that just misses a poll waits for one more interval with each frame that has to be equal."""
    for acceptance in (1, 2, 3):
        trial = try_link("kiln-room", interval_s=0.5, acceptance=acceptance)
        assert trial.slowest_s == pytest.approx(acceptance * 0.5, abs=0.01)


def test_busy_is_frame_and_reply_in_an_interval() -> None:
    """At 1200 baud, 100 bits take a twelfth of a second, and twice the baud takes half of that."""
    assert try_link("kiln-room").busy == pytest.approx(1 / 12)
    assert try_link("kiln-room", baud=2400).busy == pytest.approx(1 / 24)
    assert "41.7 ms" in str(try_link("kiln-room"))


def test_short_bits_get_lost_on_a_long_cable() -> None:
    """On 95 m every frame at 2400 baud gets through, and at 19 200 many do not."""
    job = demo_job("kiln-room").with_run("outdoor", length_m=95.0)
    assert try_link(job, baud=2400).through == 1.0
    assert try_link(job, baud=19_200).through < 0.7


def test_a_link_that_is_not_heard_never_pulls_anything_in() -> None:
    """With noise far above the levels no call arrives, and the trial says so."""
    trial = try_link("kiln-room", noise_v=20.0)
    assert trial.slowest_s is None
    assert "did not pull in" in repr(trial)


def test_settings_that_cannot_be_are_refused_in_words() -> None:
    """Unknown settings, impossible ones, and a job without a link get a sentence each."""
    with pytest.raises(BadParameter, match="settings of a link: baud"):
        try_link("kiln-room", bauds=1200)
    with pytest.raises(LessonError, match="longer than a frame and its reply"):
        try_link("kiln-room", interval_s=0.05)
    with pytest.raises(BadParameter, match="a job with a link"):
        try_link("full-cable")
