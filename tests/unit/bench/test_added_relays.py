"""Relays that hands put in: what their contact does, what it never does, what it costs, what is refused."""

from __future__ import annotations

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.bench.hands import ACT_MIN, Hands
from lessonkit.bench.meter import LiveCircuit, Meter
from lessonkit.draw.view import view
from lessonkit.job.handwork import BadHandWork, HandWork, parse_work
from lessonkit.job.parts import RELAY
from lessonkit.job.toml import demo_job

CALLS = ("off", "fan", "cool-1", "cool-2", "heat-1", "heat-aux", "emergency")
ADDED = "relay air:Y1 air:R air:G"


def responds(bench: Bench, call: str) -> dict[str, str]:
    """Return what responds under a call, long after it came."""
    bench.set_call(call)
    return dict(bench.advance(400).responding)


def test_a_relay_gives_air_where_g_has_no_conductor() -> None:
    """With five conductors the compressor runs without air; the relay brings the blower with every Y1."""
    bench = Bench("warden-flat")
    assert responds(bench, "cool-1")["blower"] == "off"
    bench.set_hands([ADDED])
    for call in CALLS:
        got = responds(bench, call)
        assert got["compressor stage 1"] == "off" or got["blower"] == "on", call
        assert bench.state.coils["air:added-relay-1"].sealed == (got["compressor stage 1"] == "on"), call


@pytest.mark.parametrize("call", CALLS)
def test_a_relay_passes_nothing_back(call: str) -> None:
    """Beside a conductor for each terminal the relay changes nothing in any call, where a jumper does."""
    bare, relay = Bench("full-cable"), Bench("full-cable")
    relay.set_hands([ADDED])
    assert responds(relay, call) == responds(bare, call)


def test_a_jumper_in_its_place_starts_a_compressor_for_a_fan() -> None:
    """That is the difference: a jumper joins both ways."""
    bench = Bench("full-cable")
    bench.set_hands(["jumper air:Y1 air:G"])
    assert responds(bench, "fan")["compressor stage 1"] == "on"


def test_a_relay_costs_its_coil() -> None:
    """Its VA come from the supply, and an ohmmeter finds its copper from the terminal to C."""
    bench, other = Bench("warden-flat", call="cool-1"), Bench("warden-flat", call="cool-1")
    other.set_hands([ADDED])
    more = other.advance(20).va["air"] - bench.advance(20).va["air"]
    # The blower relay of the equipment comes in with it.
    assert more == pytest.approx(2 * RELAY.sealed_va * (26.7 / 24) ** 2, rel=0.05)
    other.set_power(False)
    assert Meter(other).ohms("air:Y1", "air:C") == pytest.approx(RELAY.r_ohm, rel=0.02)


def test_several_relays_work_side_by_side() -> None:
    """Each has a coil of its own, numbered in the order in which they were put in; one may move the next."""
    bench = Bench("warden-flat")
    bench.set_hands([ADDED, "relay air:G air:R air:E"])
    assert responds(bench, "heat-1")["emergency heat"] == "asked for, no heat"
    assert {"air:added-relay-1", "air:added-relay-2"} <= set(bench.state.coils)
    assert responds(bench, "off")["emergency heat"] == "off"


def test_a_relay_is_taken_out_again() -> None:
    """Undone, or all put back, it leaves nothing behind, not even while it is pulled in."""
    bench = Bench("warden-flat")
    before = bench.state.volts.keys()
    hands = Hands(bench)
    hands.power(False)
    assert hands.relay("air:Y1", "air:R", "air:G").minutes == ACT_MIN["relay"]
    hands.power(True)
    assert responds(bench, "cool-1")["blower"] == "on"
    bench.set_hands([])
    assert bench.advance(5).responding["blower"] == "off"
    hands.power(False)
    hands.do(ADDED)
    assert bench.hands == (HandWork("relay", ("air:Y1", "air:R", "air:G")),)
    hands.undo()
    hands.do(ADDED)
    hands.put_all_back()
    assert bench.hands == ()
    assert bench.state.volts.keys() == before


def test_a_relay_is_put_in_with_the_power_off() -> None:
    """A live terminal refuses it, with the volts."""
    hands = Hands(Bench("warden-flat", call="cool-1"))
    with pytest.raises(LiveCircuit, match=r"relay air:Y1 air:R air:G refused: air:Y1 is live at 2\d\.\d V"):
        hands.relay("air:Y1", "air:R", "air:G")
    assert hands.minutes == 0


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("relay air:Y1 air:R", "write relay PLACE:COIL PLACE:FROM PLACE:TO"),
        ("relay air:Y1 air:R out:Y2", "hands work at one place"),
        ("relay air:Y1 air:R air:R", "names the same thing twice"),
        ("relay air:Y1 air:R air:Q", "there is no terminal 'air:Q'"),
        ("relay stat:Y1 stat:R stat:G", "a thermostat has no room for a relay"),
        ("relay air:Y1 air:R air:C", "its contact would short R to C"),
    ],
)
def test_what_no_relay_can_do_gets_a_sentence(text: str, says: str) -> None:
    """Each mistake in a relay is named."""
    with pytest.raises(BadHandWork, match=says):
        parse_work(text, demo_job("warden-flat"))


def test_a_bench_with_a_relay_is_drawn_told_and_written() -> None:
    """Picture, words, JSON and a netlist all know it."""
    bench = Bench("warden-flat", call="cool-1")
    bench.set_hands([ADDED])
    bench.advance(20)
    assert "cool-1" in view(bench).words
    assert "air:added-relay-1" in bench.state.to_dict()["coils"]
    assert "added-relay-1" in bench.to_spice()
