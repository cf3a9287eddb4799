"""A bench that shows itself: one line of words, and a log that prints and knows when a part was on."""

from __future__ import annotations

from collections import deque

from lessonkit.bench.bench import Bench
from lessonkit.bench.log import Event, Log, Releases, outdoor_thermostat_moves
from lessonkit.job.toml import demo_job


def test_a_bench_is_one_line() -> None:
    """Job, call, faults and time stand in the line that a notebook or a terminal shows."""
    bench = Bench("two-run", call="cool-2", faults="outdoor.SIG=open")
    bench.advance(30)
    assert repr(bench) == "Bench two-run: call cool-2, broken: outdoor.SIG=open, 30 s"
    bench.set_power(False)
    assert "disconnect open" in repr(bench)
    assert repr(Bench("full-cable")) == "Bench full-cable: call off, 0 s"


def test_a_call_at_the_start_is_a_call_set_at_once() -> None:
    """The call meets the faults, as when a person sets it on a fresh bench."""
    one = Bench("full-cable", faults=["thermostat.R=resistance:7.5"], call="cool-2")
    other = Bench("full-cable", faults=["thermostat.R=resistance:7.5"])
    other.set_call("cool-2")
    assert one.advance(20).to_dict() == other.advance(20).to_dict()


def test_a_log_prints_a_line_an_event() -> None:
    """Printed, and shown last in a cell, it is its events; before anything happens it says so."""
    bench = Bench("full-cable")
    assert str(bench.log) == "nothing has happened yet"
    bench.set_call("fan")
    bench.advance(3)
    bench.set_call("off")
    assert str(bench.log).splitlines() == [str(event) for event in bench.log]
    assert repr(bench.log) == str(bench.log)
    assert bench.log[-1] == Event(3.0, "air:blower-relay", "lets go")
    assert len(bench.log[:1]) == 1


def test_a_log_is_a_value() -> None:
    """What was asked for stays as it was while the bench goes on."""
    bench = Bench("full-cable", call="fan")
    kept = bench.log
    bench.set_call("off")
    assert len(kept) == 1
    assert len(bench.log) == 2


def test_a_log_says_how_long_it_spans() -> None:
    """From the first event to the last, in seconds; nothing where less than two happened."""
    log = Log(
        (Event(601.0, "out:contactor", "lets go"), Event(901.0, "out:contactor", "pulls in")), 0.0, 950.0
    )
    assert str(log.span_s) == "300.00 s"
    assert float(Log(log.events[:1]).span_s) == float(Log().span_s) == 0.0


def test_spans_tell_when_a_part_was_on() -> None:
    """A part that began on, one that came and went, one that did nothing, and a moment."""
    steps = (
        Event(2.0, "board", "falls asleep"),
        Event(3.0, "coil", "pulls in"),
        Event(3.0, "coil", "lets go"),
        Event(4.0, "coil", "pulls in"),
    )
    log = Log(steps, 0.0, 9.0, frozenset({"coil", "quiet"}))
    assert log.spans("board") == ((0.0, 2.0),)
    assert log.spans("coil") == ((3.0, 3.0), (4.0, 9.0))
    assert log.spans("quiet") == ((0.0, 9.0),)
    assert log.spans("other") == ()
    assert log.since(3.5).spans("coil") == ((4.0, 9.0),)
    assert log.since(5.0).spans("coil") == ((5.0, 9.0),)
    assert log.of("quiet", "coil").names == ("quiet", "coil")
    assert log.names == ("board", "coil")


def test_a_replaced_fuse_stands_in_the_log() -> None:
    """A fuse that blew and was replaced is whole again in the log; replacing a whole one is no event."""
    bench = Bench("full-cable", call="cool-2", faults=["thermostat.Y2=short:C"])
    bench.set_call("off")
    bench.advance(5)
    bench.replace_fuse()
    bench.advance(5)
    assert [event.what for event in bench.log.of("fuse air")] == ["blows", "is replaced"]
    assert bench.log.spans("fuse air") == ((0.0, 0.0), (5.0, 10.0))
    bench.replace_fuse()
    assert len(bench.log.of("fuse air")) == 2


def test_a_full_log_begins_with_its_oldest_event() -> None:
    """A log that let older events go has seen nothing before the oldest one that it has."""
    latest = deque([Event(5.0, "coil", "lets go"), Event(7.0, "coil", "pulls in")], maxlen=2)
    assert Log.kept(latest, 9.0, {"coil"}).from_s == 5.0
    assert Log.kept(latest, 9.0, {"coil"}).spans("coil") == ((5.0, 5.0), (7.0, 9.0))
    latest = deque(latest, maxlen=3)
    assert Log.kept(latest, 9.0, {"coil"}).from_s == 0.0
    assert Log.kept(latest, 9.0, {"coil"}).spans("coil") == ((0.0, 5.0), (7.0, 9.0))


def test_letting_go_twice_within_the_window_is_chatter() -> None:
    """The window of 900 s reaches back to the moment itself; one release, or two far apart, is none."""
    releases = Releases()
    releases.note(["a", "b"], 100.0)
    assert releases.often(100.0) == frozenset()
    releases.note(["a"], 400.0)
    assert releases.often(1000.0) == {"a"}
    assert releases.often(1000.001) == frozenset()
    releases.note(["a"], 1000.0)
    assert releases.often(1300.0) == {"a"}, "the latest two count"
    releases.forget()
    assert releases.often(1000.0) == frozenset()


def test_an_outdoor_thermostat_says_what_it_moves() -> None:
    """What is locked out comes first, then what is let in again, each by its name."""
    job = demo_job("full-cable").with_outdoor_thermostat(auxiliary_above_c=4.0, compressor_below_c=2.0)
    moves = {
        after_c: [str(event) for event in outdoor_thermostat_moves(job, before_c, after_c, 60.0)]
        for before_c, after_c in ((8.0, -8.0), (-8.0, 8.5), (3.0, 3.5))
    }
    name = "   60.00 s  air:outdoor-thermostat"
    assert moves == {
        -8.0: [f"{name} locks out the compressor", f"{name} lets in second heat"],
        8.5: [f"{name} locks out second heat", f"{name} lets in the compressor"],
        3.5: [],
    }
    assert outdoor_thermostat_moves(demo_job("full-cable"), 8.0, -8.0, 60.0) == []
