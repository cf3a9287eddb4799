"""How long a call takes, what an open contact lets through, and defrosts that are watched."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lessonkit.bench.bench import Bench
from lessonkit.errors import BadParameter, LessonError
from lessonkit.job.model import LinkSettings
from lessonkit.job.parts import INPUT_LIVE_V
from lessonkit.job.toml import demo_job
from lessonkit.studies.defrosts import RUNS, running, watch_defrost
from lessonkit.studies.latency import latency
from lessonkit.studies.leaks import SNUBBER_OHM, leak


@pytest.mark.parametrize(("interval_s", "frames"), [(0.5, 2), (1.0, 3), (2.0, 2)])
def test_a_call_waits_for_its_frames(interval_s: float, frames: int) -> None:
    """One link: from (frames - 1) intervals just before a poll to frames x interval just after one."""
    link = LinkSettings(interval_s=interval_s, acceptance=frames, watchdog_s=20.0)
    found = latency(demo_job("wire-return").with_run("outdoor", link=link), "cool-2", 9)
    assert float(found.longest_s) == pytest.approx(frames * interval_s, abs=0.01)
    assert float(found.shortest_s) == pytest.approx((frames - 1) * interval_s, abs=0.01)
    assert np.all(np.diff(found.taken_s) < 0)
    assert found.longest_s.unit == "s"


def test_links_in_a_row_add_up_and_a_wire_takes_no_time() -> None:
    """Two links take twice as long at worst; a wire for each terminal takes nothing."""
    assert float(latency("two-run", "cool-2", 3).longest_s) == pytest.approx(4.0, abs=0.01)
    assert float(latency("full-cable", "cool-2", 3).longest_s) == pytest.approx(0.0, abs=0.01)


def test_a_call_that_runs_nothing_is_refused() -> None:
    """A call without the compressor has no way to the contactor, and a count of moments is a count."""
    with pytest.raises(LessonError, match="doesn't pull in"):
        latency("wire-return", "fan", 2)
    with pytest.raises(BadParameter):
        latency("wire-return", "cool-2", 1)


@pytest.mark.parametrize(("microfarad", "load_ohm"), [(0.1, 4700.0), (0.47, 1e4), (0.22, 57.6)])
def test_a_leak_is_the_triangle_of_its_ohms(microfarad: float, load_ohm: float) -> None:
    """By hand: 24 V over the root of the squares, and so the volts of the load."""
    x_ohm = 1e6 / (2 * math.pi * 60 * microfarad)
    amps = 24 / math.hypot(load_ohm + SNUBBER_OHM, x_ohm)
    found = leak(microfarad, load_ohm)
    assert float(found.amps) == pytest.approx(amps, rel=1e-3)
    assert float(found.volts) == pytest.approx(amps * load_ohm, rel=1e-3)
    assert (found.word == "on") is (float(found.volts) >= INPUT_LIVE_V)


@pytest.mark.parametrize("bad", [{"microfarad": 0}, {"load_ohm": -1}, {"supply_v": math.nan}])
def test_a_leak_needs_numbers_above_zero(bad: dict[str, float]) -> None:
    """A capacitor, a load or a supply of nothing is refused."""
    with pytest.raises(BadParameter):
        leak(**{"microfarad": 0.1, "load_ohm": 1e4, **bad})


def test_what_is_watched_is_what_a_bench_does() -> None:
    """A defrost is seen when the valve moves, within one look, and its runs are those of the bench then."""
    job = demo_job("wire-return").with_equipment(valve="O")
    seen = watch_defrost(job, "heat-1", 40, pins_at=20)
    bench = Bench(job, outdoor_c=2.0, call="heat-1")
    bench.advance(1200)
    bench.force_defrost()
    bench.advance(600)
    begin, end = (event.time_s / 60 for event in bench.log.of("out:reversing-valve"))
    assert seen.defrosts[0] == pytest.approx((begin, end), abs=0.27)
    inside = int(np.searchsorted(seen.minute, begin + 1.0))
    bench = Bench(job, outdoor_c=2.0, call="heat-1")
    bench.advance(1200)
    bench.force_defrost()
    state = bench.advance(60)
    assert [name for name in RUNS if seen.runs[name][inside]] == running(state)
    assert seen.coil_c[inside] == pytest.approx(state.coil_c, abs=0.01)
    assert seen.capacity[inside] == pytest.approx(1.02 - state.frost, abs=1e-6)


def test_makers_differ_on_a_call_that_ends() -> None:
    """A board that forgets has one defrost, one that resumes a second, which takes the rest."""
    calls = {21.0: "off", 36.0: "heat-1"}
    forgets = watch_defrost("full-cable", minutes=45, pins_at=20, calls=calls)
    job = demo_job("full-cable").with_equipment(unfinished_defrost="resume")
    resumes = watch_defrost(job, minutes=45, pins_at=20, calls=calls)
    assert (len(forgets.defrosts), len(resumes.defrosts)) == (1, 2)
    assert resumes.defrosts[1][0] >= 36.0


def test_nothing_to_read_is_said() -> None:
    """Where no defrost was seen, its beginning can't be read; minutes have limits."""
    warm = watch_defrost("full-cable", minutes=10, outdoor_c=10.0)
    assert warm.defrosts == ()
    with pytest.raises(BadParameter):
        _ = warm.begins
    with pytest.raises(BadParameter):
        _ = warm.lasts
    with pytest.raises(BadParameter):
        watch_defrost("full-cable", minutes=2000)
