"""The scope shows the frame that the link decides on."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import numpy as np
import pytest

from lessonkit.bench.bench import Bench
from lessonkit.bench.link import down_frame
from lessonkit.draw.frames_view import byte_words, last_frame
from lessonkit.draw.scope import min_max_columns, scope_svg, scope_words
from lessonkit.errors import BadParameter
from lessonkit.job.toml import demo_job


def _bench(*faults: str, seconds: float = 4.0) -> Bench:
    bench = Bench(demo_job("two-run"))
    bench.set_call("cool-2")
    bench.advance(15)
    bench.set_faults(faults)
    bench.advance(seconds)
    return bench


def test_a_good_frame_is_read_as_it_was_sent() -> None:
    """On a sound link the receiver reads the very frame that carries the live terminals."""
    bench = _bench()
    view = last_frame(bench, "outdoor")
    sent = bench.state.links["outdoor"].sent
    assert view.frame is not None
    assert view.frame.sent == down_frame("outdoor", frozenset({"Y1", "Y2", "O"}), sent)
    assert view.frame.reading.frame == view.frame.sent
    assert "A good frame" in scope_words(view)


def test_looking_twice_shows_the_same_and_changes_nothing() -> None:
    """The picture is a function of the bench, and the bench goes on as if nobody had looked."""
    looked, alone = _bench("outdoor.SIG=noise:2"), _bench("outdoor.SIG=noise:2")
    assert scope_svg(last_frame(looked, "outdoor")) == scope_svg(last_frame(looked, "outdoor"))
    assert looked.advance(60).to_dict() == alone.advance(60).to_dict()


def test_the_next_frame_lies_where_the_last_lay() -> None:
    """The screen is whole bits wide: no tick, and no character sent, moves from frame to frame."""
    bench, found = _bench(), []
    for _ in range(3):
        bench.advance(5)
        drawn = scope_svg(last_frame(bench, "outdoor"))
        found.append(re.findall(r'<(?:line|rect) x1?="[^"]*" y1?="(?:312|344)"', drawn))
    assert len(found[0]) > 12
    assert found[0] == found[1] == found[2]


def test_a_poor_earth_shifts_the_signal_with_the_senders_common() -> None:
    """Through a poor earth the other common swings by volts, and the signal with it: the frame is refused."""
    views = [last_frame(_bench(*faults), "outdoor") for faults in (["outdoor.earth=resistance:8"], [])]
    poor, sound = (view.frame for view in views)
    assert poor is not None
    assert sound is not None
    assert sound.common.peak_v < 1 < 5 < poor.common.peak_v
    assert poor.reading.frame is None
    assert "refused" in scope_svg(views[0])
    ripple = poor.wave.volts - poor.wave.clean_v
    assert np.ptp(ripple) / 2 == pytest.approx(poor.common.peak_v, rel=0.1)


def test_a_broken_signal_brings_no_start_bit() -> None:
    """With SIG open the receiver hears nothing and says so."""
    view = last_frame(_bench("outdoor.SIG=open"), "outdoor")
    assert view.frame is not None
    assert view.frame.reading.characters == b""
    assert "No start bit" in scope_words(view)


def test_the_reply_comes_back_to_the_near_end() -> None:
    """Looking up shows the relay board's reply at the encoder."""
    view = last_frame(_bench(), "outdoor", "up")
    assert (view.at, view.other) == ("air", "out")
    assert view.frame is not None
    assert (view.frame.at, view.frame.other) == ("air", "out")
    assert view.frame.reading.frame == view.frame.sent


def test_a_frame_that_is_refused_has_no_reply() -> None:
    """Nothing comes back for a frame that was not heard, nor before the first poll; the screen says so."""
    assert "the last frame down was not answered" in scope_svg(
        last_frame(_bench("outdoor.SIG=open"), "outdoor", "up")
    )
    assert "none has been sent yet" in scope_svg(last_frame(Bench("two-run"), "outdoor"))


def test_a_dead_board_leaves_the_screen_empty() -> None:
    """Without an encoder there is no frame, and the screen says why."""
    svg = scope_svg(last_frame(_bench("air.encoder=dead"), "outdoor"))
    assert "the encoder at the air handler does nothing" in svg


@pytest.mark.parametrize(("run", "way"), [("indoors", "down"), ("outdoor", "sideways")])
def test_what_is_not_there_is_refused(run: str, way: str) -> None:
    """A run without a link, or a way that is none, gets one sentence."""
    with pytest.raises(BadParameter, match="must be"):
        last_frame(_bench(), run, way)


def test_no_peak_is_lost_in_a_column() -> None:
    """However long a trace, every column of pixels keeps its least and greatest value."""
    rng = np.random.default_rng(3)
    x, y = np.linspace(0, 99.99, 20_000), rng.normal(0, 30, 20_000)
    points = np.array(min_max_columns(x, y, 0.0, 100.0))
    assert len(points) == 200
    for column in (0, 57, 99):
        inside = y[(x >= column) & (x < column + 1)]
        kept = points[points[:, 0] == column][:, 1]
        assert (kept.min(), kept.max()) == (inside.min(), inside.max())


def test_bytes_are_put_into_words() -> None:
    """Each byte of a frame is named by what it means."""
    data = down_frame("outdoor", frozenset({"Y1", "O"}), 12).to_bytes()
    assert [byte_words(k, byte) for k, byte in enumerate(data)] == [
        "sync",
        "to outdoor",
        "Y1 O",
        "number 12",
        "check",
    ]


def test_the_screen_is_well_formed() -> None:
    """The scope is XML with a role and words."""
    root = ElementTree.fromstring(scope_svg(last_frame(_bench(), "thermostat")))
    assert root.get("role") == "img"
    assert "the sender's common" in (root.get("aria-label") or "").lower()
