"""Parts of a 24-volt control circuit: transformer, fuse, coils, electronics, drivers and receivers.

Each part is a small value with the numbers a nameplate or a data sheet gives, and says what it puts into a
network (see `circuit`).  All volts and amperes are RMS.

Where the model stops: a coil has one impedance while its armature is open and another once it is sealed,
and nothing in between; magnetising inrush of the transformer and saturation are left out; electronics are
plain resistances that work above one voltage and fall silent below another.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from lessonkit.errors import BadParameter, require, require_positive
from lessonkit.job.kinds import check_kinds

#: No electronics start in less: a regulator has capacitors to fill, and a processor wakes after it (common
#: practice). So even a board that drops its own supply as soon as it works does it a few times a second.
LEAST_START_S = 0.1

#: Rated volts of the trade's control circuits (RMS).
RATED_V = 24.0


@dataclass(frozen=True)
class Transformer:
    """A Class 2 control transformer, seen from its secondary.

    `rated_v` is what it gives at `rated_va`, `open_v` what it gives with no load; the difference is its
    regulation (15 to 19 % in a maker's article on high no-load volts; 10 to 25 % common practice).
    Class 2 at 24 V allows 100 VA at the most (NEC chapter 9, table 11(A)) and 30 V under any load (UL 1585).
    """

    rated_v: float = RATED_V
    rated_va: float = 40.0
    open_v: float = 27.6

    def __post_init__(self) -> None:
        """Refuse what no Class 2 source can be."""
        check_kinds(self)
        require_positive("rated_v", self.rated_v)
        require(1 <= self.rated_va <= 100, "rated_va", self.rated_va, "from 1 to 100 VA (Class 2)")
        require(
            self.rated_v < self.open_v <= 30,
            "open_v",
            self.open_v,
            f"above {self.rated_v:g} V and at most 30 V (Class 2)",
        )

    @property
    def rated_a(self) -> float:
        """Return the rated secondary current in amperes: 40 VA at 24 V is 1.667 A."""
        return self.rated_va / self.rated_v

    @property
    def r_ohm(self) -> float:
        """Return the resistance behind the source that gives the stated regulation with a resistive load."""
        return (self.open_v - self.rated_v) / self.rated_a


@dataclass(frozen=True)
class Fuse:
    """The fuse in the hot leg.

    It opens once `blows_at` times its rating flows.  A blade fuse has to open within ten minutes at 135 %
    of its rating (ISO 8820-3, from memory); the bench doesn't wait: a fuse that has to open, opens.

    From `quick_at` times its rating on, it opens before a board that loses its volts lets go.  The same
    standard gives it 0.25 to 50 s at 160 % and 0.15 to 5 s at 200 % (from memory), which is longer than a
    board lasts; but a thermostat that starts again onto a short gives it pulse after pulse, and practice
    finds the fuse open.
    """

    rated_a: float = 3.0
    r_ohm: float = 0.03
    blows_at: float = 1.35
    quick_at: float = 1.6

    def __post_init__(self) -> None:
        """Refuse a fuse that can't carry current."""
        check_kinds(self)
        require_positive("fuse rated_a", self.rated_a)
        require_positive("fuse r_ohm", self.r_ohm)
        require(self.blows_at > 1, "fuse blows_at", self.blows_at, "above 1, a multiple of the rating")
        require(self.quick_at >= self.blows_at, "fuse quick_at", self.quick_at, "at least blows_at")

    @property
    def quick_a(self) -> float:
        """Return the current in amperes from which it opens at once."""
        return self.rated_a * self.quick_at

    @property
    def blow_a(self) -> float:
        """Return the current in amperes at which it opens."""
        return self.rated_a * self.blows_at


@dataclass(frozen=True)
class Coil:
    """An alternating-current coil: contactor, relay, solenoid.

    Open, it draws `inrush_va` at 24 V; sealed, the closed iron raises its inductance and it draws
    `sealed_va`. The copper stays the same: `r_ohm`, which is also what an ohmmeter reads.  It pulls in when
    it gets `pickup_v` or more while open, and lets go below `dropout_v`.

    Bands: must pull in by 85 % and let go between 20 % and 75 % of rated volts (IEC 60947-4-1, from
    memory).  A real coil pulls in somewhat below what it has to; 18 V, 75 %, is a field rule (from memory)
    and our default.
    """

    inrush_va: float
    sealed_va: float
    r_ohm: float
    pickup_v: float = 18.0
    dropout_v: float = 11.0

    def __post_init__(self) -> None:
        """Refuse a coil that can't be wound."""
        check_kinds(self)
        require(self.sealed_va >= 0.01, "sealed_va", self.sealed_va, "0.01 VA or more")
        require(
            self.inrush_va >= self.sealed_va,
            "inrush_va",
            self.inrush_va,
            f"at least the sealed {self.sealed_va:g} VA",
        )
        limit = RATED_V**2 / self.inrush_va
        require(
            0 < self.r_ohm <= limit,
            "coil r_ohm",
            self.r_ohm,
            f"above 0 and at most {limit:.3g} ohm, its open impedance",
        )
        require(
            0 < self.dropout_v < self.pickup_v < RATED_V,
            "pickup_v and dropout_v",
            (self.pickup_v, self.dropout_v),
            f"in the order 0 < dropout_v < pickup_v < {RATED_V:g}",
        )

    def reactance_ohm(self, sealed: bool) -> float:
        """Return the reactance in ohms at the frequency of the nameplate."""
        z_ohm = RATED_V**2 / (self.sealed_va if sealed else self.inrush_va)
        return math.sqrt(max(z_ohm**2 - self.r_ohm**2, 0.0))

    def l_henry(self, sealed: bool, freq_hz: float = 60.0) -> float:
        """Return the inductance in henry of a coil rated at `freq_hz`."""
        return self.reactance_ohm(sealed) / (2 * math.pi * freq_hz)

    def holds(self, volts: float, sealed: bool) -> bool:
        """Return whether the armature is in, given the volts on the coil and where it was."""
        return volts >= (self.dropout_v if sealed else self.pickup_v)


@dataclass(frozen=True)
class Electronics:
    """A board or a thermostat that lives on R and C: a resistive load that needs enough volts to think.

    It falls silent below `brownout_v` and starts again `boot_s` after it has `restart_v` (common practice:
    a regulator needs a few volts above what it delivers, and a start takes about a second).  Its capacitors
    carry it through `hold_up_s` of too few volts, so that a lost half cycle restarts nothing (common
    practice: a tenth of a second or so).  A start takes `LEAST_START_S` at least, whatever `boot_s` says, so
    that a board which starves itself chatters through time and never at one instant.
    """

    load_va: float = 1.5
    brownout_v: float = 14.0
    restart_v: float = 17.0
    boot_s: float = 1.0
    hold_up_s: float = 0.1

    def __post_init__(self) -> None:
        """Refuse electronics that would run on nothing."""
        check_kinds(self)
        require_positive("load_va", self.load_va)
        require_positive("boot_s", self.boot_s, zero_ok=True)
        require_positive("hold_up_s", self.hold_up_s, zero_ok=True)
        if not 0 < self.brownout_v < self.restart_v:
            raise BadParameter(
                "brownout_v", self.brownout_v, f"above 0 and below restart_v, {self.restart_v:g} V"
            )

    @property
    def start_s(self) -> float:
        """Return how long a start takes: `boot_s`, and never less than `LEAST_START_S`."""
        return max(self.boot_s, LEAST_START_S)

    @property
    def r_ohm(self) -> float:
        """Return the resistance that draws `load_va` at 24 V."""
        return RATED_V**2 / self.load_va

    def awake(self, volts: float, was_awake: bool) -> bool:
        """Return whether it works, given its supply and whether it did before."""
        return volts >= (self.brownout_v if was_awake else self.restart_v)


#: Coils of the demo jobs. VA: contactor 5-10 sealed and 15-40 inrush, valve 4-10, unloader 5-10 (from
#: memory); relay 3 sealed and 5 inrush (a relay catalogue's engineering data). Copper resistances are ours,
#: of the order that such coils read.
CONTACTOR = Coil(inrush_va=30.0, sealed_va=10.0, r_ohm=10.0)
VALVE = Coil(inrush_va=9.0, sealed_va=7.0, r_ohm=32.0, pickup_v=17.0, dropout_v=8.0)
UNLOADER = Coil(inrush_va=9.0, sealed_va=7.0, r_ohm=32.0, pickup_v=17.0, dropout_v=8.0)
RELAY = Coil(inrush_va=5.0, sealed_va=3.0, r_ohm=75.0, pickup_v=18.0, dropout_v=8.0)
SEQUENCER = Coil(inrush_va=6.0, sealed_va=5.0, r_ohm=70.0, pickup_v=18.0, dropout_v=8.0)

#: A furnace's call for heat, relay and fuel valve together (0.3 to 0.4 A, from memory). A lockout relay's
#: coil has so many turns of so thin wire that in series with a contactor it takes nearly all the volts; a
#: volt or so is left for the contactor (common practice; some hundred ohms, from memory).
FURNACE = Coil(inrush_va=9.0, sealed_va=8.0, r_ohm=30.0, pickup_v=18.0, dropout_v=8.0)
LOCKOUT_RELAY = Coil(inrush_va=1.5, sealed_va=1.2, r_ohm=150.0, pickup_v=17.0, dropout_v=8.0)

#: Electronics of the demo jobs; a board draws a watt or two (typical, from memory).
ENCODER = Electronics(1.0)
RELAY_BOARD = Electronics(1.5)
DEFROST_BOARD = Electronics(2.0)

#: Each small relay on a relay board draws this from the board's supply while it is pulled in (typical, from
#: memory).
BOARD_RELAY_VA = 0.5

#: What an encoder's input draws from a live terminal: an optocoupler behind a resistor (typical, from
#: memory).
INPUT_OHM = 4700.0

#: An input counts as live from here on (half the rated volts, so that a ghost voltage behind a loaded input
#: is no call).
INPUT_LIVE_V = 12.0
