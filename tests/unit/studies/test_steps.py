"""Stories in steps: played as written, marked where they come out otherwise, refused where they can't be."""

from __future__ import annotations

from pathlib import Path

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.job.toml import demo_job
from lessonkit.studies.steps import BadStory, Told, load_story, play

STORY = """
title = "Wire or board?"
[[step]]
do = "break outdoor.SIG=open"
[[step]]
do = "call cool-2"
[[step]]
wait_s = 60
[[step]]
read = "equipment compressor stage 1"
is = "off"
[[step]]
read = "dc-volts air:SIG-out"
low = 9
high = 12
[[step]]
read = "dc-volts out:SIG"
low = -0.1
high = 0.1
[[step]]
do = "lift out:outdoor.R"
refused = true
[[step]]
read = "ohms out:R out:GND"
refused = true
[[step]]
do = "power off"
[[step]]
do = "lift out:outdoor.SIG"
[[step]]
do = "lift air:outdoor.SIG"
[[step]]
do = "lift air:outdoor.R"
[[step]]
do = "twist out:outdoor.SIG out:outdoor.R"
[[step]]
read = "ohms air:outdoor.SIG air:outdoor.R"
[[step]]
do = "put-back out:outdoor.SIG"
"""


def _told(text: str, folder: Path, job: str = "two-run") -> tuple[Told, ...]:
    file = folder / "story.toml"
    file.write_text(text, encoding="utf-8")
    return play(Bench(job), load_story(file, demo_job(job)))


def test_a_story_is_played_step_by_step(tmp_path: Path) -> None:
    """Acts, waits and readings come out of the bench, refusals too, and minutes add up with the walks."""
    told = _told(STORY, tmp_path)
    assert [one.as_said for one in told] == [True] * len(told)
    assert [k for k, one in enumerate(told) if one.refused] == [6, 7]
    assert told[13].value is None
    assert told[13].shown == "OL ohm from air:outdoor.SIG to air:outdoor.R"
    assert told[2].time_s == 60
    assert told[-1].minutes > 20
    assert told[4].to_dict()["read"] == "dc-volts air:SIG-out"


def test_a_step_that_comes_out_otherwise_is_marked(tmp_path: Path) -> None:
    """A number outside its band, another word, an act that was to be refused and was not."""
    told = _told(
        """
        [[step]]
        read = "volts out:R"
        high = 5
        [[step]]
        read = "link outdoor"
        is = "dead"
        [[step]]
        do = "lift out:outdoor.SIG"
        refused = true
        """,
        tmp_path,
    )
    assert [one.as_said for one in told] == [False, False, False]


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "step is missing; begin each step with a line [[step]]"),
        ("steps = 1", "steps is not a key of a story"),
        ("[[step]]\nsay = 'x'", "step 1: a step is 'empty', but must be exactly one of do, wait_s and read"),
        ("[[step]]\nwait_s = -1", "step 1: wait_s is -1.0, but must be from 0 to 604800, a week"),
        ("[[step]]\nwait = 1", "step 1.wait is not a key of a story (did you mean wait_s?)"),
        ("[[step]]\nwait_s = 'x'", "step 1.wait_s is 'x', but must be a number"),
        ("[[step]]\ndo = 'dance'", "step 1: do is 'dance', but must be one of: lift"),
        ("[[step]]\ndo = 'power maybe'", "must be power on or power off"),
        ("[[step]]\ndo = 'call warm'", "warm"),
        ("[[step]]\ndo = 'outdoor cold'", "'cold' is no number"),
        ("[[step]]\ndo = 'lift out:outdoor.Q'", "there is no conductor 'outdoor.Q'"),
        ("[[step]]\nread = 'smell out:R'", "step 1: read is 'smell out:R', but must be one of volts"),
        ("[[step]]\nread = 'volts'", "must be volts and one or two probes"),
        ("[[step]]\nread = 'link attic'", "must be link and one of thermostat, outdoor"),
        ("[[step]]\nread = 'volts out:R'\nlow = 5\nhigh = 1", "low is 5.0, but must be at most high, 1"),
    ],
)
def test_wrong_stories_name_the_key(text: str, why: str, tmp_path: Path) -> None:
    """Every mistake is a sentence with the step, the key and what is allowed; nothing is played then."""
    with pytest.raises(BadStory) as caught:
        _told(text, tmp_path)
    assert why in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_probe_on_nothing_stops_the_story(tmp_path: Path) -> None:
    """A loose end that nobody has lifted is not there to be read."""
    with pytest.raises(BadStory, match="step 1: there is no terminal 'out:outdoor.SIG' here"):
        _told("[[step]]\nread = 'volts out:outdoor.SIG'", tmp_path)
