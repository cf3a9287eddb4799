"""The power of a bench: disconnects, and transformers and breakers that get warm.

There is a disconnect at the air handler and one at the outdoor unit.  Each cuts the line voltage of its
place, and with it the transformer that sits there: with a second transformer outdoors, opening the one
indoors leaves the outdoor unit live, and a compressor whose contacts are welded runs until the one outdoors
is opened.

An overloaded transformer doesn't give up at once.  Its winding warms as one lump: copper loss goes with the
square of the current, so the heat `h` (1 at the rated load, for ever) heads for (amperes / rated amperes)
squared with a time constant of half an hour (common practice: a 40 VA unit is about 0.8 kg of iron and
copper, 320 J/K, and loses some 0.14 W/K).  At the rated load a winding of class A stands at 105 C in an
enclosure at 40 C, 65 K above it (IEC 60085, from memory); at 150 C, which IEC 61558-1 has as the most for
class A in an overload (table of winding temperatures, from memory), it burns out open.  That is h = 110/65
= 1.69, or 130 % of the rated current for ever: less is an overload that shortens its life and is remarked
on, more burns it, 139 % in about an hour.

A fuse waits for its current (`parts.Fuse`).  A breaker warms too, with a time constant of four minutes, and
trips at h = 1.44 of its own rating: 135 % trips it in some six minutes and 200 % in less than two (within
the hour and the two minutes that UL 489 asks for, from memory).  It holds its rated current for ever and
can be reset.

Where the model stops: the iron's own loss is left out, the enclosure stays at 40 C, and a part that has to
fail fails at its limit, where a real one takes days or years near it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from lessonkit.bench.wiring import Wiring
from lessonkit.copper.network import Solution
from lessonkit.errors import BadParameter, require

#: The places that have a disconnect.
DISCONNECTS = ("air", "out")

#: How far a winding is above its enclosure at the rated load, and at which it burns, in kelvins (class A).
RATED_RISE_K, BURNS_RISE_K = 65.0, 110.0
#: The heat at which a winding burns out, where the rated load for ever is 1, and its time constant.
BURNS_AT, WINDING_TAU_S = BURNS_RISE_K / RATED_RISE_K, 1800.0
#: The heat at which a breaker trips, where its rated current for ever is 1, and its time constant.
TRIPS_AT, BREAKER_TAU_S = 1.44, 240.0

#: A cut shorter than this moves no armature: a relay takes 5 to 20 ms to let go (component pages, soft).
ARMATURE_S = 0.02

_SAME = 1e-9


def check_place(place: str | None) -> tuple[str, ...]:
    """Return the places whose disconnects are meant: one, or with None all."""
    if place is None:
        return DISCONNECTS
    require(isinstance(place, str) and place in DISCONNECTS, "place", place, "air, out, or None for both")
    return (place,)


@dataclass(frozen=True)
class Load:
    """What one supply gives, as shares of the amperes that its winding and its breaker are rated for.

    `breaker` is 0 where a fuse, or nothing, protects it.
    """

    winding: float
    breaker: float = 0.0


@dataclass(frozen=True)
class Power:
    """Disconnects that are closed, and how warm windings and breakers are; each method returns a new one."""

    on: frozenset[str] = frozenset(DISCONNECTS)
    windings: Mapping[str, float] = field(default_factory=dict)
    breakers: Mapping[str, float] = field(default_factory=dict)
    cut_s: float = -math.inf

    def switched(self, on: bool, place: str | None, now_s: float) -> Power:
        """Return it with one disconnect, or both, closed or opened."""
        if not isinstance(on, bool):
            raise BadParameter("on", on, "True to close the disconnect or False to open it")
        which = frozenset(check_place(place))
        after = self.on | which if on else self.on - which
        return replace(self, on=after, cut_s=now_s if self.on - after else self.cut_s)

    def after(self, loads: Mapping[str, Load], seconds: float) -> Power:
        """Return it after some seconds of these loads, by place."""
        windings = {
            at: _warmed(self.windings.get(at, 0.0), load.winding, WINDING_TAU_S, seconds)
            for at, load in loads.items()
        }
        breakers = {
            at: _warmed(self.breakers.get(at, 0.0), load.breaker, BREAKER_TAU_S, seconds)
            for at, load in loads.items()
        }
        return replace(self, windings=windings, breakers=breakers)

    def due_s(self, loads: Mapping[str, Load]) -> float:
        """Return the seconds until a winding burns out or a breaker trips (inf: never)."""
        waits = [math.inf]
        for at, load in loads.items():
            waits.append(_reaches_s(self.windings.get(at, 0.0), load.winding, WINDING_TAU_S, BURNS_AT))
            waits.append(_reaches_s(self.breakers.get(at, 0.0), load.breaker, BREAKER_TAU_S, TRIPS_AT))
        return min(waits)

    @property
    def burnt(self) -> frozenset[str]:
        """Return the places whose winding has reached what burns it."""
        return frozenset(at for at, heat in self.windings.items() if heat >= BURNS_AT - _SAME)

    @property
    def tripped(self) -> frozenset[str]:
        """Return the places whose breaker has reached what trips it."""
        return frozenset(at for at, heat in self.breakers.items() if heat >= TRIPS_AT - _SAME)

    def cooled(self, winding: str = "", breaker: str = "") -> Power:
        """Return it with a new winding at one place, or a breaker that was left to cool."""
        return replace(
            self,
            windings={at: heat for at, heat in self.windings.items() if at != winding},
            breakers={at: heat for at, heat in self.breakers.items() if at != breaker},
        )


def _warmed(heat: float, share: float, tau_s: float, seconds: float) -> float:
    goal = share * share
    return goal + (heat - goal) * math.exp(-seconds / tau_s)


def _reaches_s(heat: float, share: float, tau_s: float, limit: float) -> float:
    goal = share * share
    if heat >= limit or goal <= limit:  # the first has happened, the second never will
        return math.inf
    return tau_s * math.log((goal - heat) / (goal - limit))


def loads(wiring: Wiring, solution: Solution) -> dict[str, Load]:
    """Return what each supply of a settled circuit gives, by place."""
    found = {}
    for place in wiring.supplies:
        supply, amps = wiring.job.supply_at(place), abs(solution.a(f"fuse {place}"))
        breaker = amps / supply.fuse_a if supply.protector == "breaker" else 0.0
        found[place] = Load(amps / supply.transformer.rated_a, breaker)
    return found
