"""Ohms of the dead circuit as looks of a search: what they read, what they cost, what they tell apart.

Outside value: a loop of two conductors is twice its length times the ohms of copper for each metre, those of
the handbook's wire table (NEC chapter 9, table 8, from memory: 18 AWG solid, 7.77 ohm for 1000 ft at 75 C,
which is 6.39 at 20 C by the temperature coefficient of copper).
"""

from __future__ import annotations

import copy
import math

import numpy as np
import pytest

from lessonkit.bench.bench import Bench
from lessonkit.bench.hands import Hands
from lessonkit.bench.meter import Meter
from lessonkit.bench.wiring import Wiring
from lessonkit.job.faults import as_faults
from lessonkit.job.toml import demo_job
from lessonkit.studies.dead_looks import change_min, dead_readings, lifted, on_scale
from lessonkit.studies.find import NotUnderstood, Search

JOB = "wire-return"


@pytest.fixture(scope="module")
def built() -> Search:
    """Return a search that may lift wires; tests take a copy."""
    return Search(JOB, comes_and_goes=False, calls=("off", "cool-1"), lifts=True)


@pytest.fixture
def search(built: Search) -> Search:
    """Return a search that a test may lead."""
    return copy.copy(built)


@pytest.mark.parametrize(
    "fault", ["", "outdoor.R=open", "outdoor.SIG=resistance:40", "outdoor.R=short:SIG@0.3", "air.fuse=blown"]
)
def test_looks_read_what_a_meter_reads_on_a_bench(fault: str) -> None:
    """Each look in each state of the outdoor run is the reading of the bench's own meter, wired that way."""
    job = demo_job(JOB)
    faults = as_faults([fault] if fault else [], job)
    blown = frozenset({"fuse air"}) if "fuse" in fault else frozenset()
    read = dead_readings(job, [faults], [(Wiring(job, faults), blown)])
    joined = [("out", "outdoor", name) for name in job.outdoor_run.conductors]
    for state, hands in {
        "dead": [],
        "ring-out outdoor": lifted(job, ["outdoor"], joined),
        "apart outdoor": lifted(job, ["outdoor"]),
    }.items():
        bench = Bench(job)
        bench.set_power(False)
        bench.set_hands(hands)
        bench.set_faults(faults)
        bench.advance(10.0)
        meter = Meter(bench)
        for (where, _, red, black), ohm in read.items():
            if where == state:
                wanted = meter.ohms(red, black).value
                assert on_scale(ohm[0]) == pytest.approx(float(on_scale(wanted)), abs=0.05), (red, black)


def test_a_loop_is_two_lengths_of_copper() -> None:
    """The sound loop of R and C outdoors, against the wire table."""
    job = demo_job(JOB).with_run("outdoor", gauge_awg=18, temp_c=20.0)
    read = dead_readings(job, [()], [(Wiring(job), frozenset())])
    names = {
        (red, black): ohm[0] for (state, _, red, black), ohm in read.items() if state == "ring-out outdoor"
    }
    loop = 2 * job.outdoor_run.length_m * 6.39 / 304.8
    assert any(ohm == pytest.approx(loop, rel=0.01, abs=0.02) for ohm in names.values())


def test_minutes_are_those_of_hands() -> None:
    """From a call at the thermostat to a run lifted and joined: walk, disconnect, ends, twist, walk."""
    job = demo_job(JOB)
    bench = Bench(job)
    hands = Hands(bench, "stat")
    hands.power(False, "air")
    for place in ("air", "out"):
        for _ in job.outdoor_run.conductors:
            hands.count("lift", place, 1.0)
    hands.count("twist", "out", 1.5)
    hands.count("back", "air", 0.0)
    assert change_min(job, "off", "ring-out outdoor", "stat") == (hands.minutes, "air")
    assert change_min(job, "ring-out outdoor", "apart outdoor", "air") == (3.0 + 1.5 + 3.0, "air")
    back, at = change_min(job, "ring-out outdoor", "off", "air")
    assert (back, at) == (2.0 * len(job.outdoor_run.conductors) + 6.0 + 1.0, "air")


def test_a_dead_look_waits_until_live_ones_are_used_up(search: Search) -> None:
    """At the start a look or volts teach more for their minutes than lifting wires does."""
    step = search.next
    assert step is not None
    assert not step.look.is_ohms
    ring = next(look for look in search.pages if look.call == "ring-out outdoor")
    assert search.minutes_for(ring) > 15


def test_ohms_part_what_live_looks_leave_together(search: Search) -> None:
    """A blown fuse and the shorts that blow it stand together without ohms, and apart with them."""
    short, fuse = "outdoor.R=short:C", "air.fuse=blown"
    plain = Search(JOB, comes_and_goes=False, calls=("off", "cool-1"))
    assert any({short, fuse} <= set(group) for group in plain.groups)
    assert not any({short, fuse} <= set(group) for group in search.groups)
    assert len(search.groups) < len(plain.groups) or sum(map(len, search.groups)) < sum(
        map(len, plain.groups)
    )


def test_a_reading_in_ohms_narrows(search: Search) -> None:
    """OL around a loop convicts the broken conductor; its usual ohms acquit it."""
    chances = {}
    for text in ("OL", "0.9 ohm"):
        led = copy.copy(search)
        looks = [look for look in led.pages if look.call == "ring-out outdoor"]
        red, black = looks[0].act.removeprefix("ohms ").split()
        led.read(f"ring-out outdoor: {red} {black} {text}")
        name = black.rpartition(".")[2]
        chances[text] = sum(
            c.probability for c in led.candidates if f"outdoor.{name}=open" in map(str, c.faults)
        )
        assert led.call == "ring-out outdoor"
        assert led.belief.sum() == pytest.approx(1.0)
    assert chances["OL"] > 100 * chances["0.9 ohm"]


def test_every_outcome_of_a_look_has_its_chances(search: Search) -> None:
    """Rows of each page in ohms sum to 1, and its words are as many as its outcomes."""
    pages = [page for look, page in search.pages.items() if look.is_ohms]
    assert pages
    for page in pages:
        assert np.allclose(page.chance.sum(axis=1), 1.0)
        assert len(page.words) == page.chance.shape[1]


def test_a_search_that_lifts_nothing_knows_no_such_look() -> None:
    """Without leave to lift, the same text gets a sentence."""
    with pytest.raises(NotUnderstood, match="there is no 'ohms"):
        Search(JOB, comes_and_goes=False, calls=("off",)).read(
            "ring-out outdoor: air:outdoor.R air:outdoor.C 1 ohm"
        )
    assert float(on_scale(math.inf)) == float(on_scale(50e6))
