"""The call table: what must hold for every call of every unit, and what a broken set is told."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lessonkit.errors import BadParameter
from lessonkit.job.calls import (
    ALL_CALL_TERMINALS,
    CALL_TERMINALS,
    CALLS,
    INDOOR_TERMINALS,
    OUTDOOR_TERMINALS,
    TERMINAL_WORDS,
    TERMINALS,
    broken_rules,
    call_table,
    from_bits,
    is_cooling,
    is_heating,
    terminals_for,
    to_bits,
)

calls = st.sampled_from(CALLS)
valves = st.sampled_from("OB")
stages = st.sampled_from((1, 2))
sets = st.frozensets(st.sampled_from(CALL_TERMINALS))


@given(calls, valves, stages)
def test_what_holds_for_every_call(call: str, valve: str, stage: int) -> None:
    """No call of any unit breaks a rule that every sound call keeps."""
    live = terminals_for(call, valve, stage)
    assert broken_rules(live) == ()
    assert not {"O", "B"} <= live, "never both valve letters"
    assert "Y2" not in live or "Y1" in live, "the second stage needs the first"
    assert not live & {"Y1", "Y2"} or "G" in live, "a compressor needs air"
    assert not (is_cooling(call) and live & {"W1", "E"}), "no heat while cooling"
    assert "E" not in live or not live & {"Y1", "Y2"}, "emergency rests the compressor"
    assert live <= set(CALL_TERMINALS)
    assert ({"O", "B"} - {valve}).isdisjoint(live), "only the unit's own valve letter"
    assert stage == 2 or "Y2" not in live


@given(calls, stages)
def test_the_valve_letters_are_each_other_turned_round(call: str, stage: int) -> None:
    """Where a compressor runs, an O unit energises its valve exactly when a B unit does not."""
    o_unit, b_unit = terminals_for(call, "O", stage), terminals_for(call, "B", stage)
    assert o_unit - {"O"} == b_unit - {"B"}
    if "Y1" in o_unit:
        assert ("O" in o_unit) != ("B" in b_unit)
        assert ("O" in o_unit) == is_cooling(call)
    else:
        assert "O" not in o_unit
        assert "B" not in b_unit


def test_more_asks_for_more() -> None:
    """Each step up in a mode keeps what the step below asked for."""
    for valve in "OB":
        for low, high in (("cool-1", "cool-2"), ("heat-1", "heat-2"), ("heat-2", "heat-aux"), ("off", "fan")):
            assert terminals_for(low, valve) < terminals_for(high, valve)


@given(sets)
def test_bits_and_terminals_are_the_same_thing(terminals: frozenset[str]) -> None:
    """A set of terminals packed into a call byte comes out as it went in."""
    assert from_bits(to_bits(terminals)) == terminals
    assert 0 <= to_bits(terminals) < 2 ** len(CALL_TERMINALS) <= 128, "the top bit is left for D"


BROKEN_RULES = {
    "O and B are energised together": (frozenset("OB"), frozenset()),
    "Y2 is energised without Y1": (frozenset({"Y2"}), frozenset({"Y1"})),
    "the compressor is called without the blower": (frozenset({"Y1"}), frozenset("G")),
    "auxiliary heat is called while the valve is set to cool": (frozenset({"O", "W1"}), frozenset()),
    "emergency heat is called together with the compressor": (frozenset({"E", "Y1"}), frozenset()),
}


def test_every_broken_set_is_told_why() -> None:
    """Of all sets of terminals, each breaks the rules whose words it is told, and sound calls break none.

    A rule is broken by terminals that are there beside one that is missing, as the staging tables in `calls`
    have it (common practice).
    """
    sound = {terminals_for(call, valve, n) for call in CALLS for valve in "OB" for n in (1, 2)}
    for bits in range(2 ** len(CALL_TERMINALS)):
        terminals = from_bits(bits)
        said = {
            w
            for w, (there, lacking) in BROKEN_RULES.items()
            if there <= terminals and not lacking & terminals
        }
        assert set(broken_rules(terminals)) == said
        assert terminals not in sound or not said


def test_the_table_is_the_terminals() -> None:
    """The truth table says of each call and terminal what `terminals_for` says."""
    table = call_table("B", 1)
    assert list(table) == list(CALLS)
    for call, row in table.items():
        assert {t for t, on in row.items() if on} == terminals_for(call, "B", 1)
        assert list(row) == list(CALL_TERMINALS)


def test_every_terminal_has_a_place_and_words() -> None:
    """Indoor and outdoor terminals share out the call terminals, and each terminal has its words."""
    assert set(INDOOR_TERMINALS) | set(OUTDOOR_TERMINALS) == set(ALL_CALL_TERMINALS)
    assert not set(INDOOR_TERMINALS) & set(OUTDOOR_TERMINALS)
    assert set(TERMINALS) < set(TERMINAL_WORDS)
    assert not any(is_cooling(call) and is_heating(call) for call in CALLS)


@pytest.mark.parametrize(
    ("call", "valve", "stage", "said"),
    [
        ("cool-3", "O", 2, "call is 'cool-3', but must be one of off, fan, cool-1"),
        ("COOL-1", "O", 2, "call is 'COOL-1'"),
        ("off", "X", 2, "valve is 'X', but must be O .energised to cool. or B"),
        ("off", "O", 3, "stages is 3, but must be 1 or 2"),
    ],
)
def test_unknown_words_are_refused(call: str, valve: str, stage: int, said: str) -> None:
    """A call, valve or number of stages that there is not is answered with those that there are."""
    with pytest.raises(BadParameter, match=said):
        terminals_for(call, valve, stage)
