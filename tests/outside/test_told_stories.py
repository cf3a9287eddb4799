"""The stories that come with the library: every step comes out as it says, and the log tells it in order.

Sources, with the word of how each was seen; what has none is common practice:

* defrost: pins start one only under a call for heat, valve to cool, fan off, D brings heat, cut off after 10
  to 14 minutes (service manuals, from memory; common practice).
* changeover: furnace and heat pump never together (a heat-pump best-practice guide, seen); the compressor
  rests 3 to 5 minutes (a contractor's page, seen); furnace blower 30 s behind its fire and 90 s after (two
  furnace manuals, seen).
* lockout of second heat, and defrost and emergency past it: IECC C403.4.1.1 and two control manuals, seen.
* second transformer: a supply of its own has a disconnect of its own and stays live (common practice);
  electronics hold up for a tenth of a second or so (common practice).
* a thermostat that lives on idle loads, and what starves it (common practice).
"""

from __future__ import annotations

import json

import pytest

from lessonkit.__main__ import main
from lessonkit.bench.bench import Bench
from lessonkit.studies.steps import BadStory, load_story, play, told_names

#: Each story, the job that it is told on, and what the log has to say in this order.
STORIES = {
    "defrost": (
        "full-cable",
        """600.00 out:reversing-valve pulls in
        600.00 air:sequencer pulls in
        740.85 out:reversing-valve lets go
        740.85 air:sequencer lets go
        1210.00 out:reversing-valve pulls in""",
    ),
    "changeover": (
        "dual-fuel",
        """60.00 air:outdoor-thermostat locks out the compressor
        60.00 air:outdoor-thermostat lets in second heat
        60.00 out:contactor lets go
        60.00 air:furnace pulls in
        90.00 air:furnace-blower starts
        120.00 air:furnace lets go
        210.00 air:furnace-blower stops
        360.00 out:contactor pulls in""",
    ),
    "outdoor-lockout": (
        "old-cable",
        """60.00 air:sequencer pulls in
        80.00 out:contactor lets go
        80.00 air:emergency-relay pulls in
        140.00 air:outdoor-thermostat lets in second heat
        140.00 air:emergency-relay lets go
        380.00 out:contactor pulls in""",
    ),
    "second-transformer": (
        "second-transformer",
        """1.08 out:contactor pulls in
        30.02 air:blower-relay lets go
        30.10 air:encoder falls asleep
        40.08 out:contactor lets go
        46.10 out:relay-board falls asleep""",
    ),
    "starvation": (
        "four-wire",
        """60.00 stat:thermostat lives on its store
        960.00 stat:thermostat falls asleep
        960.00 out:contactor lets go
        1020.00 stat:thermostat starts
        1260.00 out:contactor pulls in""",
    ),
}


def test_every_story_is_tested() -> None:
    """No story comes along that nobody has read."""
    assert set(told_names()) == set(STORIES)


@pytest.mark.parametrize("name", STORIES)
def test_a_story_comes_out_as_it_says(name: str) -> None:
    """Every reading and every refusal of a story is as said, and the log has its events in their order."""
    job, events = STORIES[name]
    bench = Bench(job)
    for k, told in enumerate(play(bench, load_story(name, bench.job)), 1):
        assert told.as_said, (k, told.shown)
    lines = [f"{event.time_s:.2f} {event.name} {event.what}" for event in bench.log]
    for wanted in map(str.strip, events.splitlines()):
        assert wanted in lines
    moments = [event.time_s for event in bench.log]
    assert moments == sorted(moments)


def test_furnace_and_compressor_never_heat_together_while_it_is_told() -> None:
    """Through the whole changeover the contactor and the furnace are never in at once."""
    bench = Bench("dual-fuel")
    play(bench, load_story("changeover", bench.job))
    spans = [bench.log.spans(name) for name in ("out:contactor", "air:furnace")]
    assert all(one[1] <= two[0] or two[1] <= one[0] for one in spans[0] for two in spans[1])


def test_a_story_on_another_job_is_refused_or_marked(capsys: pytest.CaptureFixture[str]) -> None:
    """The command tells a story by its name: status 0 as it says, 1 where not, 2 where it can't be told."""
    assert main(["bench", "second-transformer", "--steps", "second-transformer"]) == 0
    assert "NOT AS SAID" not in capsys.readouterr().out
    assert main(["bench", "out-of-phase", "--steps", "defrost"]) in (0, 1)
    assert main(["bench", "full-cable", "--steps", "starvation"]) == 2
    with pytest.raises(BadStory, match="one of changeover, defrost, outdoor-lockout"):
        load_story("frost.toml", Bench("full-cable").job)


@pytest.mark.parametrize(
    ("words", "dead", "live"),
    [
        (["--power", "air=off"], "air:R", "out:R"),
        (["--power", "out=off"], "out:R", "air:R"),
        (["--power", "off", "--power", "air=on"], "out:R", "air:R"),
    ],
)
def test_the_command_opens_one_disconnect(
    words: list[str], dead: str, live: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """With a second transformer each place has power of its own (common practice)."""
    assert main(["bench", "second-transformer", *words, "--meter", dead, dead[:3] + ":C", "--json"]) == 0
    state = json.loads(capsys.readouterr().out)
    assert state["meter"][0]["volts"] < 1.0
    assert state["power"] == {live[:3]: True, dead[:3]: False}
    assert state["volts"][live] > 20.0
