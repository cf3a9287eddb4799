"""What the equipment does with the coils it is given, indoors and outdoors.

Indoors: the blower runs when its relay is in, or when the heat sequencer is in (electric heat never runs
without air: common practice).  Outdoors: the compressor runs when its contactor is in; its second stage
needs the unloader too; the reversing valve stands where its solenoid puts it.

Second heat is electric, on while its sequencer is in, or a furnace, on while its call for heat is in; a
second stage needs the first.  A furnace runs its own blower, some time behind its fire.

Where the model stops: line voltage is there or is not, as the disconnects say; a valve moves whenever its
solenoid does, under a running compressor too (a real one needs a pressure difference, and a real thermostat
waits before it goes from heat to cool).
"""

from __future__ import annotations

from collections.abc import Mapping

from lessonkit.errors import require, require_finite
from lessonkit.job.calls import check_valve
from lessonkit.job.kit import Equipment


def check_outdoor_c(outdoor_c: float) -> float:
    """Return an outdoor temperature in Celsius if there is air like that."""
    air_c = require_finite("outdoor_c", outdoor_c)
    require(-40.0 <= air_c <= 55.0, "outdoor_c", outdoor_c, "from -40 to 55 C")
    return air_c


def valve_cools(energised: bool, valve: str) -> bool:
    """Return whether the refrigerant circuit cools: an O valve does when energised, a B valve when not.

    Without a valve it can do nothing else.
    """
    return check_valve(valve) == "none" or energised == (valve == "O")


def responding(
    sealed: frozenset[str] | set[str],
    kit: Equipment,
    defrosting: bool,
    welded: bool,
    furnace_blows: bool,
    line_outdoors: bool = True,
) -> dict[str, str]:
    """Return what each piece of equipment does, in words; `off` when it does nothing.

    `sealed` holds the coils that are in, as "place:name"; `defrosting` says that a defrost runs and its board
    is awake, `welded` that the contactor's contacts are stuck closed, `furnace_blows` that a furnace runs its
    blower, `line_outdoors` that the disconnect of the outdoor unit is closed: without line power a compressor
    stands still, whatever its contacts do. Only a job with a furnace has the word `furnace`, only one with a
    lockout relay `lockout`.
    """
    compressor = line_outdoors and (welded or "out:contactor" in sealed)
    solenoid = "out:reversing-valve" in sealed
    cooling = valve_cools(solenoid, kit.valve)
    # The board defrosts by what it sees; the coil gets warm only if compressor and valve follow.
    defrost = "on" if compressor and cooling else "on, but nothing warms the coil"
    heat = second_heat(sealed, kit)
    blower = "on" if "air:blower-relay" in sealed else "off"
    if blower == "off" and kit.heat == "fossil":
        blower = "on, with the furnace" if furnace_blows else "off"
    elif blower == "off" and heat != "off":
        blower = "on, with the heat"
    words = {
        "blower": blower,
        "compressor stage 1": "on" if compressor else "off",
        "compressor stage 2": "on" if compressor and "out:unloader" in sealed else "off",
        "reversing valve": f"on, {'cooling' if cooling else 'heating'}" if solenoid else "off",
        "outdoor fan": "on" if compressor and not defrosting else "off",
        "auxiliary heat": heat,
        "emergency heat": ("on" if heat != "off" else "asked for, no heat")
        if "air:emergency-relay" in sealed
        else "off",
        "defrost": defrost if defrosting else "off",
    }
    if kit.heat == "fossil":
        words["furnace"] = f"{heat}, tempering the air" if defrosting and heat != "off" else heat
    if kit.lockout == "relay":
        locked = "out:lockout-relay" in sealed
        words["lockout"] = "on, until the call is taken away" if locked else "off"
    return words


def second_heat(sealed: frozenset[str] | set[str], kit: Equipment) -> str:
    """Return what the second heat does: `off`, `on`, or `on, stage 2`."""
    first, second = ("furnace", "furnace-2") if kit.heat == "fossil" else ("sequencer", "sequencer-2")
    one, two = f"air:{first}" in sealed, f"air:{second}" in sealed
    if one and two:
        return "on, stage 2"
    # The strips of an electric second stage need no first; a furnace without its first stage has no fire.
    return "on" if one or (two and kit.heat == "electric") else "off"


def delivering(words: Mapping[str, str], valve: str) -> str:
    """Return what the house gets, in one phrase.

    Such as `cooling, stage 2`, `heating, stage 1, with auxiliary heat`, `nothing`.
    """
    gets = []
    if words["compressor stage 1"] != "off":
        cools = valve_cools(words["reversing valve"] != "off", valve)
        gets.append("cooling" if cools else "heating")
        gets.append("stage 2" if words["compressor stage 2"] != "off" else "stage 1")
        if words["defrost"] == "on":
            gets = ["defrost, the indoor coil cold"]
        if words["blower"] == "off":
            gets.append("but no air moves")
    if words["auxiliary heat"] != "off":
        name = "the furnace" if "furnace" in words else "auxiliary heat"
        gets.append(f"with {name}" if gets else f"{name} alone")
        if words["blower"] == "off":  # electric heat never runs without air; a furnace warms up first
            gets.append("no air moves yet")
    if words["emergency heat"] != "off":
        gets.append(f"emergency heat {words['emergency heat']}")
    if not gets:
        return "air only" if words["blower"] != "off" else "nothing"
    return ", ".join(gets)
