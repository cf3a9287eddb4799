"""Still pictures, and the log of a bench that one of them draws."""

from __future__ import annotations

from pathlib import Path

from lessonkit.bench.bench import Bench
from lessonkit.bench.log import Event
from lessonkit.draw.coils import log_picture, memory_picture, splice_picture
from lessonkit.job.toml import demo_job

PNG = b"\x89PNG\r\n\x1a\n"


def starving() -> Bench:
    """Return a bench whose thermostat starves itself under a call, five seconds on."""
    job = demo_job("full-cable").with_electronics("thermostat", hold_up_s=0.0)
    bench = Bench(job, faults=["thermostat.R=resistance:15"])
    bench.set_call("cool-2")
    bench.advance(5)
    return bench


def test_a_picture_is_pixels_and_words(tmp_path: Path) -> None:
    """A still picture shows as an image whose text alternative is its words, and prints as its words."""
    still = memory_picture()
    still.save(tmp_path / "memory.png")
    assert (tmp_path / "memory.png").read_bytes().startswith(PNG)
    assert f'alt="{still.words}"' in still._repr_html_()
    assert repr(still) == still.words


def test_words_of_a_picture_cannot_break_the_page() -> None:
    """What is written about a picture is escaped where it becomes markup."""
    still = memory_picture()
    spoilt = type(still)(still.figure, '"><script>')
    assert "<script>" not in spoilt._repr_html_()


def test_memory_picture_has_both_limits() -> None:
    """The two lines of a coil's memory jump at its own pick-up and drop-out."""
    still = memory_picture(
        demo_job("full-cable").with_coil("unloader", pickup_v=17.0, dropout_v=9.0), "unloader"
    )
    rising, falling = still.figure.axes[0].lines[:2]
    for line, limit_v in ((rising, 17.0), (falling, 9.0)):
        volts = [x for x, y in zip(*line.get_data(), strict=True) if y > 0.5]
        assert abs(min(volts) - limit_v) < 0.11
    assert "17 V" in still.words


def test_splice_picture_agrees_with_the_bench() -> None:
    """Just inside the edge that the picture names a fresh call runs; just outside it doesn't."""
    words = splice_picture(call="cool-1").words
    edge = float(words.partition("runs up to ")[2].partition(" ohm")[0])
    for ohm, sealed in ((edge - 0.4, True), (edge + 0.4, False)):
        bench = Bench("full-cable", faults=[f"thermostat.R=resistance:{ohm:g}"])
        bench.set_call("cool-1")
        assert bench.state.coils["out:contactor"].sealed is sealed


def test_log_tells_each_start_and_each_sleep() -> None:
    """A thermostat that starts and falls asleep in one moment leaves both in the log, once a second."""
    events = starving().log
    assert {event.name for event in events} == {"stat:thermostat"}
    assert events[0] == Event(0.0, "stat:thermostat", "falls asleep")
    starts = [event.time_s for event in events if event.what == "starts"]
    assert [round(time_s, 6) for time_s in starts] == [1, 2, 3, 4, 5]


def test_log_of_a_sound_call() -> None:
    """Coils that a call pulls in are in the log once, and once more when it ends."""
    bench = Bench("full-cable")
    bench.set_call("fan")
    bench.advance(3)
    bench.set_call("off")
    assert [str(event).split(maxsplit=2)[2] for event in bench.log] == [
        "air:blower-relay pulls in",
        "air:blower-relay lets go",
    ]


def test_log_of_a_short() -> None:
    """A short ends with the fuse, after what it pulled down."""
    bench = Bench("full-cable")
    bench.set_call("cool-1")
    bench.set_faults(["thermostat.R=short:C"])
    assert bench.log[-1].what == "blows"
    assert "out:contactor lets go" in str([str(event) for event in bench.log])


def test_log_picture_shows_moments_as_ticks() -> None:
    """Awake at the start and then at each of five seconds, each time for a moment: six ticks and no bar."""
    still = log_picture(starving().log.of("stat:thermostat", "out:contactor"))
    assert "stat:thermostat is on 6 times for a moment" in still.words
    assert "out:contactor is on never" in still.words
