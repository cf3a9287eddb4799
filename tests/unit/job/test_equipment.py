"""What equipment does about the coils that are in, and what the house gets: words for every case.

What a valve, a fan in defrost, strips and a furnace do is common practice; the words are those of the rooms'
docstrings.
"""

from __future__ import annotations

import pytest

from lessonkit.job.equipment import delivering, responding, second_heat, valve_cools
from lessonkit.job.faults import coils_of
from lessonkit.job.kit import Equipment
from lessonkit.job.toml import demo_job

O_UNIT, B_UNIT = Equipment(valve="O"), Equipment(valve="B")
FURNACE = Equipment(heat="fossil", heat_stages=2)
STRIPS = Equipment(heat_stages=2)
LOCKING = Equipment(high_pressure=True, lockout="relay")

STAGE_1, STAGE_2, VALVE, BLOWER = "out:contactor", "out:unloader", "out:reversing-valve", "air:blower-relay"
STRIP_1, STRIP_2, FIRE_1, FIRE_2 = "air:sequencer", "air:sequencer-2", "air:furnace", "air:furnace-2"
EMERGENCY = "air:emergency-relay"

AT_REST = {
    "blower": "off",
    "compressor stage 1": "off",
    "compressor stage 2": "off",
    "reversing valve": "off",
    "outdoor fan": "off",
    "auxiliary heat": "off",
    "emergency heat": "off",
    "defrost": "off",
}


def words(
    *sealed: str,
    kit: Equipment = O_UNIT,
    defrosting: bool = False,
    welded: bool = False,
    blows: bool = False,
    line: bool = True,
) -> dict[str, str]:
    """Return what does something, in words."""
    found = responding(set(sealed), kit, defrosting, welded, blows, line)
    return {name: said for name, said in found.items() if said != "off"}


@pytest.mark.parametrize(
    ("energised", "valve", "cools"),
    [(True, "O", True), (False, "O", False), (True, "B", False), (False, "B", True), (False, "none", True)],
)
def test_which_way_a_valve_stands(energised: bool, valve: str, cools: bool) -> None:
    """O is energised to cool and B to heat; without a valve a unit can only cool."""
    assert valve_cools(energised, valve) is cools


def test_equipment_at_rest_is_off() -> None:
    """Every piece has its word, and furnace and lockout have one where there is one."""
    assert responding(frozenset(), O_UNIT, False, False, False) == AT_REST
    assert responding(frozenset(), FURNACE, False, False, False) == {**AT_REST, "furnace": "off"}
    assert responding(frozenset(), LOCKING, False, False, False) == {**AT_REST, "lockout": "off"}


RUNS = {"compressor stage 1": "on", "outdoor fan": "on"}


def test_a_compressor_runs_on_its_contactor_and_its_line() -> None:
    """The second stage needs the first; welded contacts run it too; without line power nothing does."""
    assert words(STAGE_1) == words(welded=True) == RUNS
    assert words(STAGE_1, STAGE_2) == RUNS | {"compressor stage 2": "on"}
    assert words(STAGE_2) == words(STAGE_1, STAGE_2, line=False) == words(welded=True, line=False) == {}


@pytest.mark.parametrize(
    ("kit", "sealed", "said"),
    [
        (O_UNIT, (STAGE_1, VALVE), {"reversing valve": "on, cooling", "defrost": "on"}),
        (O_UNIT, (STAGE_1,), {"defrost": "on, but nothing warms the coil"}),
        (B_UNIT, (STAGE_1,), {"defrost": "on"}),
        (
            B_UNIT,
            (STAGE_1, VALVE),
            {"reversing valve": "on, heating", "defrost": "on, but nothing warms the coil"},
        ),
    ],
)
def test_a_defrost_rests_the_fan_and_needs_the_valve(
    kit: Equipment, sealed: tuple[str, ...], said: dict[str, str]
) -> None:
    """The fan stands while a defrost runs, and the coil gets warm where compressor and valve follow."""
    assert words(*sealed, kit=kit, defrosting=True) == {"compressor stage 1": "on"} | said
    lame = {**said, "defrost": "on, but nothing warms the coil"}
    assert words(*sealed[1:], kit=kit, defrosting=True) == lame, "no compressor, no heat"


@pytest.mark.parametrize(
    ("kit", "sealed", "heat"),
    [
        (STRIPS, (), "off"),
        (STRIPS, (STRIP_1,), "on"),
        (STRIPS, (STRIP_2,), "on"),
        (STRIPS, (STRIP_1, STRIP_2), "on, stage 2"),
        (STRIPS, (FIRE_1, FIRE_2), "off"),
        (FURNACE, (FIRE_1,), "on"),
        (FURNACE, (FIRE_2,), "off"),
        (FURNACE, (FIRE_1, FIRE_2), "on, stage 2"),
        (FURNACE, (STRIP_1, STRIP_2), "off"),
    ],
)
def test_second_heat(kit: Equipment, sealed: tuple[str, ...], heat: str) -> None:
    """A furnace without its first stage has no fire; a second bank of strips heats by itself."""
    assert second_heat(frozenset(sealed), kit) == heat


def test_who_runs_the_blower() -> None:
    """Its relay, or the strips; a furnace runs it by its own board, and its fire alone does not."""
    assert words(BLOWER) == {"blower": "on"}
    assert words(STRIP_1)["blower"] == "on, with the heat"
    assert words(BLOWER, STRIP_1)["blower"] == "on"
    assert "blower" not in words(FIRE_1, kit=FURNACE)
    assert words(kit=FURNACE, blows=True) == {"blower": "on, with the furnace"}
    assert words(BLOWER, kit=FURNACE, blows=True) == {"blower": "on"}
    assert "blower" not in words(blows=True), "no furnace, no blower of a furnace"


def test_emergency_heat_lockout_and_the_furnace_in_a_defrost() -> None:
    """Each says what it does, and what it can't do."""
    assert words(EMERGENCY) == {"emergency heat": "asked for, no heat"}
    assert words(EMERGENCY, STRIP_1)["emergency heat"] == "on"
    assert words("out:lockout-relay", kit=LOCKING) == {"lockout": "on, until the call is taken away"}
    assert words("out:lockout-relay") == {}
    assert words(FIRE_1, kit=FURNACE)["furnace"] == "on"
    assert words(FIRE_1, FIRE_2, kit=FURNACE, defrosting=True)["furnace"] == "on, stage 2, tempering the air"
    assert "furnace" not in words(kit=FURNACE, defrosting=True)


@pytest.mark.parametrize(
    ("sealed", "more", "gets"),
    [
        ((), {}, "nothing"),
        ((BLOWER,), {}, "air only"),
        ((BLOWER, STAGE_1), {}, "heating, stage 1"),
        ((BLOWER, STAGE_1, VALVE), {}, "cooling, stage 1"),
        ((BLOWER, STAGE_1, STAGE_2, VALVE), {}, "cooling, stage 2"),
        ((STAGE_1,), {}, "heating, stage 1, but no air moves"),
        ((BLOWER, STAGE_1), {"kit": B_UNIT}, "cooling, stage 1"),
        ((BLOWER, STAGE_1, STRIP_1), {}, "heating, stage 1, with auxiliary heat"),
        ((STRIP_1,), {}, "auxiliary heat alone"),
        ((STRIP_1, EMERGENCY), {}, "auxiliary heat alone, emergency heat on"),
        ((BLOWER, EMERGENCY), {}, "emergency heat asked for, no heat"),
        ((FIRE_1,), {"kit": FURNACE}, "the furnace alone, no air moves yet"),
        ((FIRE_1,), {"kit": FURNACE, "blows": True}, "the furnace alone"),
        ((BLOWER, STAGE_1, FIRE_1), {"kit": FURNACE}, "heating, stage 1, with the furnace"),
        ((BLOWER, STAGE_1, VALVE), {"defrosting": True}, "defrost, the indoor coil cold"),
        (
            (BLOWER, STAGE_1, VALVE, STRIP_1),
            {"defrosting": True},
            "defrost, the indoor coil cold, with auxiliary heat",
        ),
        ((BLOWER, STAGE_1), {"defrosting": True}, "heating, stage 1"),
    ],
)
def test_what_the_house_gets(sealed: tuple[str, ...], more: dict[str, object], gets: str) -> None:
    """Each combination of compressor, valve, heat and air has its phrase."""
    kit = more.get("kit", O_UNIT)
    assert isinstance(kit, Equipment)
    said = responding(set(sealed), kit, bool(more.get("defrosting")), False, bool(more.get("blows")))
    assert delivering(said, kit.valve) == gets


@pytest.mark.parametrize(
    ("changes", "indoors"),
    [
        ({}, {"sequencer", "emergency-relay"}),
        ({"heat_stages": 2}, {"sequencer", "sequencer-2", "emergency-relay"}),
        ({"heat": "fossil", "heat_stages": 2}, {"furnace", "furnace-2", "emergency-relay", "interlock"}),
        ({"heat": "none"}, set()),
        ({"emergency_by": "W1"}, {"sequencer"}),
    ],
)
def test_the_coils_of_second_heat(changes: dict[str, object], indoors: set[str]) -> None:
    """Strips hang on sequencers, a fire on a furnace's relays, one a stage; E has a relay where used."""
    job = demo_job("two-run").with_equipment(**changes)
    assert set(coils_of(job)) == {
        "air:blower-relay", "out:contactor", "out:reversing-valve", "out:unloader",
        *(f"air:{name}" for name in indoors),
    }  # fmt: skip
    assert "out:unloader" not in coils_of(job.with_equipment(stages=1))
    assert "out:lockout-relay" in coils_of(job.with_equipment(low_pressure=True, lockout="relay"))
