"""Parts: what a nameplate means in ohms, pick-up with memory, and numbers that no part can have."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lessonkit.copper.elements import Source, Winding
from lessonkit.copper.network import Network, solve
from lessonkit.errors import BadParameter
from lessonkit.job.parts import (
    CONTACTOR,
    RELAY,
    SEQUENCER,
    UNLOADER,
    VALVE,
    Coil,
    Electronics,
    Fuse,
    Transformer,
)

COILS = {"contactor": CONTACTOR, "relay": RELAY, "sequencer": SEQUENCER, "unloader": UNLOADER, "valve": VALVE}
each_coil = pytest.mark.parametrize("coil", COILS.values(), ids=COILS)


@each_coil
@pytest.mark.parametrize("sealed", [False, True])
@pytest.mark.parametrize("freq_hz", [50.0, 60.0])
def test_a_coil_draws_its_nameplate(coil: Coil, sealed: bool, freq_hz: float) -> None:
    """At 24 V and its own frequency a coil draws the volt-amperes on its plate, open and sealed."""
    winding = Winding("coil", "R", "C", coil.r_ohm, coil.l_henry(sealed, freq_hz))
    stiff = Source("supply", "R", "C", 1e-6, 24 + 0j)
    solution = solve(Network((stiff, winding), "C"), freq_hz)
    drawn_va = abs(solution.v("R")) * abs(solution.a("coil"))
    assert drawn_va == pytest.approx(coil.sealed_va if sealed else coil.inrush_va, rel=1e-4)


@each_coil
def test_a_sealed_coil_holds_on_less(coil: Coil) -> None:
    """A coil needs its pick-up volts to pull in, and holds down to its drop-out volts."""
    assert not coil.holds(coil.pickup_v - 0.01, sealed=False)
    assert coil.holds(coil.pickup_v, sealed=False)
    assert coil.holds(coil.dropout_v, sealed=True)
    assert not coil.holds(coil.dropout_v - 0.01, sealed=True)
    assert coil.reactance_ohm(True) > coil.reactance_ohm(False)


@given(st.lists(st.floats(0, 30), max_size=30))
def test_a_coil_remembers_where_it_was(volts: list[float]) -> None:
    """Whatever the volts do, between the two thresholds the armature stays where it was."""
    sealed = False
    for v in volts:
        now = CONTACTOR.holds(v, sealed)
        if CONTACTOR.dropout_v <= v < CONTACTOR.pickup_v:
            assert now == sealed
        else:
            assert now == (v >= CONTACTOR.pickup_v)
        sealed = now


def test_electronics_need_more_to_start_than_to_go_on() -> None:
    """A board starts at its restart volts and works down to its brown-out volts."""
    board = Electronics()
    assert not board.awake(board.restart_v - 0.1, was_awake=False)
    assert board.awake(board.restart_v, was_awake=False)
    assert board.awake(board.brownout_v, was_awake=True)
    assert not board.awake(board.brownout_v - 0.1, was_awake=True)
    assert 24**2 / board.r_ohm == pytest.approx(board.load_va)


def test_a_transformer_gives_its_rated_volts_at_its_rated_load() -> None:
    """Loaded with its rated amperes by a resistance, the transformer gives 24 V."""
    plate = Transformer(24.0, 40.0, 28.5)
    load_ohm = plate.rated_v / plate.rated_a
    assert plate.open_v * load_ohm / (load_ohm + plate.r_ohm) == pytest.approx(24.0)


@pytest.mark.parametrize(
    "make",
    [
        lambda: Transformer(rated_va=0),
        lambda: Transformer(rated_va=100.5),
        lambda: Transformer(open_v=24.0),
        lambda: Transformer(open_v=30.1),
        lambda: Transformer(rated_v=math.nan),
        lambda: Fuse(0.0),
        lambda: Fuse(3.0, blows_at=1.0),
        lambda: Fuse(3.0, blows_at=3.0, quick_at=2.0),
        lambda: Coil(9.0, 10.0, 10.0),
        lambda: Coil(20.0, 0.0, 10.0),
        lambda: Coil(20.0, 10.0, 30.0),
        lambda: Coil(20.0, 10.0, 0.0),
        lambda: replace(CONTACTOR, pickup_v=10.0),
        lambda: replace(CONTACTOR, pickup_v=25.0),
        lambda: replace(CONTACTOR, dropout_v=0.0),
        lambda: Electronics(0.0),
        lambda: Electronics(brownout_v=18.0),
        lambda: Electronics(boot_s=-1.0),
        lambda: Electronics(restart_v=math.inf),
    ],
)
def test_impossible_plates_are_refused(make: object) -> None:
    """Numbers that no such part has are refused, with what is allowed."""
    with pytest.raises(BadParameter, match="but must be"):
        make()  # type: ignore[operator]


def test_small_values_of_a_coil_are_fine_and_none_is_not() -> None:
    """Half an ohm of copper and half a volt of drop-out make a coil; 0 of either does not."""
    assert Coil(30.0, 10.0, 0.5, dropout_v=0.5).r_ohm == 0.5
    for wrong in ({"r_ohm": 0.0}, {"r_ohm": 10.0, "dropout_v": 0.0}):
        with pytest.raises(BadParameter):
            Coil(30.0, 10.0, **wrong)
