"""What the equipment does with the coils it is given, indoors and outdoors.

Indoors: the blower runs when its relay is in, or when the heat sequencer is in (electric heat never runs
without air: common practice).  Outdoors: the compressor runs when its contactor is in; its second stage
needs the unloader too; the reversing valve stands where its solenoid puts it.

Where the model stops: line voltage is taken to be there; a valve moves whenever its solenoid does, under a
running compressor too (a real one needs a pressure difference, and a real thermostat waits before it goes
from heat to cool); the emergency relay alone makes no heat, W1 has to be there too.
"""

from __future__ import annotations

from lessonkit.errors import require, require_finite
from lessonkit.job.calls import check_valve


def check_outdoor_c(outdoor_c: float) -> float:
    """Return an outdoor temperature in Celsius if there is air like that."""
    air_c = require_finite("outdoor_c", outdoor_c)
    require(-40.0 <= air_c <= 55.0, "outdoor_c", outdoor_c, "from -40 to 55 C")
    return air_c


def valve_cools(energised: bool, valve: str) -> bool:
    """Return whether the refrigerant circuit cools: an O valve does when energised, a B valve when not."""
    return energised == (check_valve(valve) == "O")


def responding(
    sealed: frozenset[str] | set[str], valve: str, defrosting: bool, welded: bool
) -> dict[str, str]:
    """Return what each piece of equipment does, in words; `off` when it does nothing.

    `sealed` holds the coils that are in, as "place:name"; `defrosting` says that a defrost runs and its board
    is awake, `welded` that the contactor's contacts are stuck closed.
    """
    compressor = welded or "out:contactor" in sealed
    solenoid = "out:reversing-valve" in sealed
    cooling = valve_cools(solenoid, valve)
    # The board defrosts by what it sees; the coil gets warm only if compressor and valve follow.
    defrost = "on" if compressor and cooling else "on, but nothing warms the coil"
    heat = "air:sequencer" in sealed
    return {
        "blower": "on" if "air:blower-relay" in sealed else "on, with the heat" if heat else "off",
        "compressor stage 1": "on" if compressor else "off",
        "compressor stage 2": "on" if compressor and "out:unloader" in sealed else "off",
        "reversing valve": f"on, {'cooling' if cooling else 'heating'}" if solenoid else "off",
        "outdoor fan": "on" if compressor and not defrosting else "off",
        "auxiliary heat": "on" if heat else "off",
        "emergency heat": ("on" if heat else "asked for, no heat")
        if "air:emergency-relay" in sealed
        else "off",
        "defrost": defrost if defrosting else "off",
    }


def delivering(words: dict[str, str], valve: str) -> str:
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
        gets.append("with auxiliary heat" if gets else "auxiliary heat alone")
    if words["emergency heat"] != "off":
        gets.append(f"emergency heat {words['emergency heat']}")
    if not gets:
        return "air only" if words["blower"] != "off" else "nothing"
    return ", ".join(gets)
