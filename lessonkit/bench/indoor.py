"""The furnace's own blower through time.

A furnace board lets its fire warm the heat exchanger before it blows, and blows on after the fire has gone
until the exchanger is cool: 30 s at the beginning, 60 to 180 s at the end, 90 from the factory (two furnace
manuals, seen).  No G is needed for it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from lessonkit.job.kit import Equipment

__all__ = ["FURNACE_AT", "FurnaceBlower"]

#: The furnace's call for heat, as "place:name".
FURNACE_AT = "air:furnace"

_SAME_S = 1e-9


@dataclass(frozen=True)
class FurnaceBlower:
    """What the furnace board remembers: whether its fire burns and since when, and whether it blows."""

    burning: bool = False
    since_s: float = -math.inf
    blows: bool = False

    def after(self, burning: bool, powered: bool, now_s: float, kit: Equipment) -> FurnaceBlower:
        """Return the blower after a look at the fire; without power it stands, and forgets."""
        if not powered:
            return FurnaceBlower()
        seen = self if burning == self.burning else replace(self, burning=burning, since_s=now_s)
        if seen.blows != burning and now_s >= seen.next_s(kit) - _SAME_S:
            return replace(seen, blows=burning)
        return seen

    def next_s(self, kit: Equipment) -> float:
        """Return when it starts or stops by itself (inf: never)."""
        if self.blows == self.burning:
            return math.inf
        return self.since_s + (kit.furnace_blower_on_s if self.burning else kit.furnace_blower_off_s)
