"""What each call energises, and what a defrost does, against published staging tables.

Held on the bench, not on the table in `calls`: the terminals are read at the air handler of every demo job,
behind whatever carries them there, a wire each or a link.

Sources, with the word of where each was seen:

* staging table of a multi-stage installation manual: cool 1 "Y1 & G & O", cool 2 "Y1 & Y2 & G & O", heat 1
  "Y1 & G & B", emergency "E & G" (seen; that W1 comes with E is from memory).
* outdoor unit's manual: high-stage heating Y1 and Y2 with O at rest (seen).
* off, fan, and auxiliary heat beside both stages: from memory (common practice).
* service manual of an outdoor unit with an O valve: in defrost the board "energizes the reversing valve and
  W1 ... while de-energizing outdoor fan motor" (seen). That a B valve rests in defrost follows from what it
  means.
* list of terminals in Herman and Sparkman, Electricity and Controls for HVAC-R, 6th ed., unit 29: O valve
  energised in cooling, B valve in heating (seen).
"""

from __future__ import annotations

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.exercises.trials import call_terminals_at, responds, settled
from lessonkit.job.toml import demo_job

#: Call -> the terminals without the valve's, and whether the valve of an O and of a B unit is energised.
ROWS = {
    "off": ("", False, False),
    "fan": ("G", False, False),
    "cool-1": ("Y1 G", True, False),
    "cool-2": ("Y1 Y2 G", True, False),
    "heat-1": ("Y1 G", False, True),
    "heat-2": ("Y1 Y2 G", False, True),
    "heat-aux": ("Y1 Y2 G W1", False, True),
    "emergency": ("G W1 E", False, False),
}
JOBS = ("full-cable", "earth-return", "wire-return", "two-run")


@pytest.mark.parametrize("job", JOBS)
@pytest.mark.parametrize("call", ROWS)
def test_call_energises_the_published_row(job: str, call: str) -> None:
    """At the air handler exactly the terminals of the published row are live."""
    valve = demo_job(job).equipment.valve
    letters, with_o, with_b = ROWS[call]
    expected = {*letters.split(), *([valve] if (with_o if valve == "O" else with_b) else [])}
    assert set(call_terminals_at(settled(job, call), "air")) == expected


@pytest.mark.parametrize("job", JOBS)
def test_defrost_does_what_the_service_manual_says(job: str) -> None:
    """In defrost: compressor on, outdoor fan off, auxiliary heat on, the valve as in cooling."""
    found = responds(settled(job, "heat-1", outdoor_c=-2.0, defrost_for_s=30.0))
    valve = ["reversing valve"] if demo_job(job).equipment.valve == "O" else []
    assert set(found) == {"blower", "compressor stage 1", "auxiliary heat", *valve}


@pytest.mark.parametrize("job", JOBS)
def test_compressor_waits_as_long_as_published(job: str) -> None:
    """A compressor that stopped starts again after 3 to 5 minutes, whatever is called.

    3 to 5 minutes to equalise (a contractor's page, seen); 5 minutes after Y opens (wiring notes, seen).
    """
    bench = Bench(job)
    bench.set_call("cool-1")
    bench.advance(60)
    bench.set_call("off")
    bench.advance(15)
    bench.set_call("cool-1")
    assert bench.advance(180 - 20).responding["compressor stage 1"] == "off"
    assert bench.advance(300 - 160).responding["compressor stage 1"] == "on"
