"""Second heat beside a heat pump: electric or fossil, its stages, and who may call it when.

Electric heat stands in the air stream behind the heat pump's own coil, so both may run at once.  A fossil
furnace heats that coil from the outside: a compressor that heats as well would run against hot air, so the
two never heat together (common practice; a heat-pump best-practice guide says the same of dual fuel).  An
**interlock** relay at the air handler sees to that: the thermostat's W1 feeds its coil, one of its contacts
calls the furnace, the other opens Y1.  In defrost the compressor cools indoors, and there the furnace may
help: D goes to the furnace behind the interlock, which is called **tempering**.

An **outdoor thermostat** opens contacts by the temperature outdoors: the one in the path of second heat above
`auxiliary_above_c`, the one in Y1 below `compressor_below_c`.  With fossil heat the two together make the
changeover.  Emergency heat goes past the first one, and D joins behind it: a code that wants the lockout
excepts defrost and emergency (IECC C403.4.1.1; control manuals, seen in extracts).

    W1 ── outdoor thermostat ──┬── sequencer                 electric
              (E past it)      D

    W1 ── outdoor thermostat ───── interlock coil            fossil
              (E past it)     R ── interlock ──┬── furnace
                                               D

Usual settings: second heat locked out above 35 to 40 F (4.4 C), fossil 50 F; compressor below 0 to 5 F, 25 F
with a fuel backup (defaults of open modelling sources, seen; documented pair 5 F and 40 F).

Where the model stops: the contacts have no differential, for the air on a bench doesn't waver; a cooling call
below the compressor's lockout is locked out too.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from lessonkit.errors import BadParameter, require
from lessonkit.job.kinds import check_kinds

__all__ = ["EMERGENCIES", "HEATS", "OutdoorThermostat", "check_heat", "heat_mistakes"]

#: What second heat there is.
HEATS = ("electric", "fossil", "none")

#: By which terminals a thermostat asks for emergency heat. With E alone the emergency relay's own contacts
#: bring the heat in; with W1 alone nothing at the air handler can tell it from auxiliary heat.
EMERGENCIES = ("E and W1", "E", "W1")


def check_heat(heat: str, heat_stages: int, emergency_by: str) -> None:
    """Refuse second heat that doesn't exist."""
    require(heat in HEATS, "heat", heat, f"one of {', '.join(HEATS)}")
    whole = isinstance(heat_stages, int) and not isinstance(heat_stages, bool)
    require(whole and heat_stages in (1, 2), "heat_stages", heat_stages, "1 (W1) or 2 (W1 and W2)")
    require(emergency_by in EMERGENCIES, "emergency_by", emergency_by, f"one of {', '.join(EMERGENCIES)}")


@dataclass(frozen=True)
class OutdoorThermostat:
    """Contacts that a bulb in the outdoor air moves; a temperature that is left out has no contact.

    `auxiliary_above_c`: above it second heat is locked out. `compressor_below_c`: below it the compressor is.
    `at`: where the compressor's contact is wired, "air" or "out"; W1 doesn't reach outdoors, so the other
    one is at the air handler.
    """

    auxiliary_above_c: float | None = None
    compressor_below_c: float | None = None
    at: str = "air"

    def __post_init__(self) -> None:
        """Refuse a thermostat without contacts, and a pair that leaves a band with no heat at all."""
        check_kinds(self)
        require(self.at in ("air", "out"), "at", self.at, "air (air handler) or out (outdoor unit)")
        for name in ("auxiliary_above_c", "compressor_below_c"):
            at_c = getattr(self, name)
            require(at_c is None or -40 <= at_c <= 55, name, at_c, "from -40 to 55 C")
        above_c, below_c = self.auxiliary_above_c, self.compressor_below_c
        if above_c is None and below_c is None:
            raise BadParameter("auxiliary_above_c", None, "given, or compressor_below_c, or both")
        if above_c is not None and below_c is not None and above_c < below_c:
            raise BadParameter(
                "auxiliary_above_c",
                above_c,
                f"at least compressor_below_c, {below_c:g} C: between the two there would be no heat",
            )

    def lets_auxiliary(self, outdoor_c: float) -> bool:
        """Return whether the contact in the path of second heat is closed."""
        return self.auxiliary_above_c is None or outdoor_c <= self.auxiliary_above_c

    def lets_compressor(self, outdoor_c: float) -> bool:
        """Return whether the contact in the path of Y1 is closed."""
        return self.compressor_below_c is None or outdoor_c >= self.compressor_below_c

    def closed(self, outdoor_c: float) -> frozenset[str]:
        """Return which of its contacts are closed: "auxiliary", "compressor"."""
        lets = {
            "auxiliary": self.lets_auxiliary(outdoor_c),
            "compressor": self.lets_compressor(outdoor_c),
        }
        return frozenset(name for name, closed in lets.items() if closed)


def heat_mistakes(
    valve: str, heat: str, emergency_by: str, outdoor_thermostat: OutdoorThermostat | None
) -> Iterator[str]:
    """Yield what doesn't hold together about second heat, each with its key."""
    stat = outdoor_thermostat
    if stat is None:
        return
    if stat.auxiliary_above_c is not None and heat == "none":
        yield "outdoor_thermostat.auxiliary_above_c is given, but equipment.heat is none; leave it out"
    if stat.auxiliary_above_c is not None and valve == "none":
        yield (
            "outdoor_thermostat.auxiliary_above_c is given, but equipment.valve is none: locked out, the "
            "house's only heat would be gone; leave it out"
        )
    if stat.auxiliary_above_c is not None and emergency_by == "W1" and heat != "none":
        yield (
            "equipment.emergency_by is W1, which the outdoor thermostat (auxiliary_above_c) can't tell from "
            "auxiliary heat, so it would lock emergency heat out; say E, or E and W1"
        )
