"""The scope as a picture: whole or one character turned up, with or without what it means."""

from __future__ import annotations

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.draw.frames_view import last_frame
from lessonkit.draw.zoom import scope_levels, scope_numbers, scope_picture
from lessonkit.errors import BadParameter
from lessonkit.signal.frames import read_levels


def bench(call: str = "cool-2", *faults: str, job: str = "kiln-room") -> Bench:
    """Return a bench some seconds after a call."""
    made = Bench(job, faults=faults, call=call)
    made.advance(15)
    return made


def test_levels_and_numbers_are_those_of_the_frame() -> None:
    """What a workbook lets one read by eye is what the receiver of that very frame decided."""
    shown = bench()
    frame = last_frame(shown, "outdoor").frame
    assert frame is not None
    assert bytes(scope_numbers(shown)) == frame.sent.to_bytes() == read_levels(scope_levels(shown))
    reply = last_frame(shown, "outdoor", "up").frame
    assert reply is not None
    assert bytes(scope_numbers(shown, way="up")) == reply.sent.to_bytes()


@pytest.mark.parametrize("character", [0, 1, 2, 3, 4, 5])
def test_a_covered_picture_shows_levels_and_no_meaning(character: int) -> None:
    """Neither picture nor words of a covered scope say what it means; the levels are there."""
    shown = scope_picture(bench(), character=character, covered=True)
    words = repr(shown)
    for meaning in ("0x", "Y1", "good frame", "to outdoor,", "sync", "the number"):
        assert meaning not in words
    if character == 0:
        assert "character 3: 0 11010000 1" in words
        for meaning in ("0x", "Y1", "good frame"):
            assert meaning not in shown.svg
    if character == 3:
        assert "start 0; data, lowest first, 1 1 0 1 0 0 0 0; stop 1." in words


def test_a_picture_that_is_not_covered_says_what_it_means() -> None:
    """The same character without its cover names number and terminals, in title and words alike."""
    shown = scope_picture(bench(), character=3)
    assert "It is the number 11, Y1 Y2 O." in repr(shown)
    assert shown.figure.axes[0].get_title() == "Character 3 of the frame: 11, Y1 Y2 O"


def test_a_reply_is_called_a_reply() -> None:
    """Beside the frame's character stands the reply's, and title and words tell them apart."""
    shown = scope_picture(bench(), way="up", character=3, covered=True)
    assert shown.figure.axes[0].get_title() == "Character 3 of the reply"
    assert repr(shown).startswith("Character 3 of the reply at the air handler.")


def test_rings_are_filled_where_the_receiver_found_a_mark() -> None:
    """A character turned up has ten looks: filled ones at marks, empty ones at spaces, each at its volts."""
    made = bench()
    plot = scope_picture(made, character=3).figure.axes[0]
    marks, spaces = (line for line in plot.lines if line.get_marker() == "o")
    levels = scope_levels(made)[20:30]
    assert (len(marks.get_xdata()), len(spaces.get_xdata())) == (levels.count(1), levels.count(0))
    assert min(marks.get_ydata()) > 7.5 > 3.5 > max(spaces.get_ydata())


def test_a_frame_that_did_not_come_is_refused_with_the_reason() -> None:
    """Where SIG is open there is no character to turn up, and the sentence says why."""
    broken = bench("cool-2", "outdoor.SIG=open")
    with pytest.raises(BadParameter, match="No start bit came"):
        scope_picture(broken, character=3)
    with pytest.raises(BadParameter, match="not answered"):
        scope_levels(broken, way="up")
    assert "No start bit" in repr(scope_picture(broken))
    assert "no start bit" in repr(scope_picture(broken, covered=True)).lower()


def test_a_job_with_two_links_wants_to_know_which() -> None:
    """With one link its run may be left out; with two it has to be named."""
    two = bench(job="two-run")
    with pytest.raises(BadParameter, match="a run with a link: thermostat, outdoor"):
        scope_picture(two)
    assert scope_numbers(two, "thermostat")[1] == 1
    with pytest.raises(BadParameter, match="from 1 to 5, or 0"):
        scope_picture(two, "outdoor", character=6)
