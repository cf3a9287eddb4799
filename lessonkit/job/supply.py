"""A 24-volt supply: transformer, what protects it, and what a Class 2 source may be.

NEC chapter 9, table 11(A), has two kinds of Class 2 source of 20 to 30 V, both of at most 100 VA.  One that
is **inherently limited** gives no more than 8 A after a minute, a dead short included, and needs no
overcurrent device.  One that is **not** needs a device of at most 100/Vmax amperes, where Vmax is the most
volts that it gives under any load: 3.6 A for 27.6 V.  (The table and its note on what is limited: quoted by
code pages; 100/Vmax from memory.)  So a 5 A fuse behind a 75 VA transformer makes no Class 2 circuit,
although it carries the rated 3.1 A.

The device protects the cable.  It saves the transformer only if it opens before the winding is too warm,
and a fuse that is much larger than the rated current doesn't: with 3 A behind 40 VA, 1.7 to 3 A burn the
transformer out and leave the fuse whole (a contractors' page).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from lessonkit.errors import require, require_positive
from lessonkit.job.kinds import check_kinds
from lessonkit.job.parts import Fuse, Transformer

__all__ = ["LIMITS", "PROTECTORS", "Supply"]

PROTECTORS = ("fuse", "breaker", "none")
LIMITS = ("inherently", "not-inherently")

#: The most that an inherently limited source gives after a minute (NEC chapter 9, table 11(A), note 1).
INHERENT_A = 8.0


@dataclass(frozen=True)
class Supply:
    """The 24-volt supply at one place: transformer, and fuse or breaker in its hot leg.

    `protector` is "fuse", "breaker" (trips on time and current, and can be reset) or "none", which only a
    source may have that is `limited` "inherently". `fuse_a` is what fuse or breaker is rated for.
    `interconnection_listed` says that the maker has it listed for joining its output with another source's.
    """

    rated_v: float = 24.0
    rated_va: float = 40.0
    open_v: float = 27.6
    fuse_a: float = 3.0
    protector: str = "fuse"
    limited: str = "not-inherently"
    interconnection_listed: bool = False

    def __post_init__(self) -> None:
        """Let the parts check their own numbers, and refuse what no Class 2 source may be."""
        check_kinds(self)
        require_positive("fuse_a", self.fuse_a)  # the fuse knows it by another name
        transformer, _ = self.transformer, self.fuse  # building them is the check
        require(self.protector in PROTECTORS, "protector", self.protector, f"one of {', '.join(PROTECTORS)}")
        require(self.limited in LIMITS, "limited", self.limited, f"one of {', '.join(LIMITS)}")
        if self.limited == "inherently":
            short_a = self.open_v / transformer.r_ohm
            why = f"not-inherently: it gives {short_a:.1f} A into a short, and may give {INHERENT_A:g} A"
            require(short_a <= INHERENT_A, "limited", self.limited, why)
        elif self.protector == "none":
            require(False, "protector", self.protector, "fuse or breaker, unless limited is inherently")

    @cached_property
    def transformer(self) -> Transformer:
        """Return the transformer."""
        return Transformer(self.rated_v, self.rated_va, self.open_v)

    @cached_property
    def fuse(self) -> Fuse:
        """Return the fuse in its hot leg, or what a breaker there is rated for."""
        return Fuse(self.fuse_a)

    @property
    def largest_fuse_a(self) -> float:
        """Return the largest overcurrent device that keeps it Class 2, in amperes: 100/Vmax."""
        return 100.0 / self.open_v

    @property
    def holds_a(self) -> float:
        """Return the amperes that fuse or breaker lets through for ever (inf: there is none)."""
        factor = {"fuse": self.fuse.blows_at, "breaker": 1.2, "none": float("inf")}[self.protector]
        return self.fuse_a * factor
