"""Half-wave steering: two calls over one conductor, the trade's old answer (common practice).

Alternating current has two halves, and a diode passes only one of them. So at the near end each call's
contact stands in series with a diode, one each way, and at the far end two more diodes steer each half to its
own coil:

               first contact   near-first                         far-first
          r ---/ ----------------->|---+                   +------->|------ coil first ---+
          |    second contact  near-second   conductor     |      far-second              |
    supply+----/ -----------------|<---+---[loop ohms]-----+-------|<------ coil second --+
          |                          near                 far                             |
          +------------------------------- common ----------------------------------------+

The first call lives in the halves where the near end of the conductor is positive, the second where it is
negative; with both the conductor carries the whole sine. Nodes of the circuit: `r`, `near`, `far`, `first`,
`second` (the hot end of each coil) and "0" (common at the near end; the way back is counted in the
conductor's loop ohms).

What a relay with a direct-current coil makes of its half:

* Pull of the armature goes with the square of the ampere-turns, averaged over the moments that the armature's
  mass spans. On a steady current mean and RMS are the same. On a half-wave they differ by up to pi/2, and the
  data sheet's pick-up current, which is a steady current, may be compared with either. We judge by the **mean
  of the magnitude**, the lower and so the safer of the two, and show the RMS answer beside it; the truth of a
  real relay lies between.
* Picked up is not yet quiet. If the current stays below the drop-out current for longer than the armature
  takes to let go, it lets go, once a cycle: the relay **buzzes** and wears its contacts. A capacitor across
  the coil fills the gap; so does a freewheel diode, through which the coil's own current goes on.

Where the model stops: a coil is R + L with one L for open and sealed, beside one resistance for its iron (100
kohm, size from memory); no motion of the armature. The conductor has ohms only. Diodes fail to a short (0.05
ohm) or to an open (1 Gohm), nothing between. One supply, one frequency.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np

from lessonkit.copper.elements import (
    Branch,
    Capacitance,
    Diode,
    Resistance,
    Source,
    Switch,
    Wave,
    Winding,
)
from lessonkit.copper.inrush import Inrush, closing_peaks
from lessonkit.copper.meters import KINDS
from lessonkit.copper.network import Network
from lessonkit.copper.traces import Trace, mean_of, rms_of
from lessonkit.copper.transient import simulate
from lessonkit.errors import LessonError, require, require_positive

__all__ = [
    "CALLS",
    "DIODES",
    "DcCoil",
    "Steering",
    "CoilReading",
    "MeterReadings",
    "Steered",
    "NoLimit",
    "steering_circuit",
    "steer",
    "longest_loop_ohm",
    "read_coil",
    "read_meters",
    "steering_inrush",
]

#: Call combinations, and which contacts each closes.
CALLS: dict[str, tuple[str, ...]] = {
    "none": (),
    "first": ("first",),
    "second": ("second",),
    "both": ("first", "second"),
}
#: The four diodes, by the end that they are at and the call that they steer.
DIODES = ("near-first", "near-second", "far-first", "far-second")
_SHORT_OHM, _OPEN_OHM = 0.05, 1e9
_STEPS_A_CYCLE = 256


@dataclass(frozen=True)
class DcCoil:
    """A relay coil for direct current, and what its armature needs.

    Parameters: copper `r_ohm`, `l_henry`; steady amperes `pick_up_a` at which it surely pulls in and
    `drop_out_a` below which it lets go after `release_s` seconds; `smoothing_farad` across it (0: none);
    `freewheel`: a diode across it; `loss_ohm` across it stands for the eddy currents in its solid iron. They
    take over what is left of the current when a diode lets go, so that its volts die in microseconds.

    The default is an ordinary 12 V relay of 0.9 W: must pull in at 75 % and may hold down to 10 % of its
    rated amperes; lets go in 3 ms (common practice; size of the values from memory).
    """

    r_ohm: float = 160.0
    l_henry: float = 0.6
    pick_up_a: float = 0.056
    drop_out_a: float = 0.0075
    release_s: float = 0.003
    smoothing_farad: float = 0.0
    freewheel: bool = False
    loss_ohm: float = 1e5

    def __post_init__(self) -> None:
        require_positive("r_ohm of a coil", self.r_ohm, unit="ohms")
        require_positive("l_henry of a coil", self.l_henry, unit="henries")
        require_positive("pick_up_a of a coil", self.pick_up_a, unit="amperes")
        require_positive("drop_out_a of a coil", self.drop_out_a, unit="amperes")
        require_positive("release_s of a coil", self.release_s, zero_ok=True, unit="seconds")
        require_positive("smoothing_farad of a coil", self.smoothing_farad, zero_ok=True, unit="farads")
        require_positive("loss_ohm of a coil", self.loss_ohm, unit="ohms")
        lower = self.drop_out_a <= self.pick_up_a
        allowed = f"at most its pick_up_a, {self.pick_up_a:g} A"
        require(lower, "drop_out_a of a coil", self.drop_out_a, allowed)


@dataclass(frozen=True)
class Steering:
    """Two calls on one conductor: supply, two coils, four diodes.

    Parameters: `supply_v` RMS open-circuit behind `supply_ohm` (2.7 ohm is that of a 24 V, 40 VA transformer
    which stands at 28.5 V without load; computed); `loop_ohm` of the conductor and its way back together
    (1.28 ohm is 100 ft of 18 AWG at 20 degrees C); `meter_ohm` of the meter that stands at the far end;
    `shorted` and `opened` name failed diodes, out of `DIODES`.
    """

    supply_v: float = 24.0
    supply_ohm: float = 2.7
    freq_hz: float = 60.0
    loop_ohm: float = 1.28
    first: DcCoil = field(default_factory=DcCoil)
    second: DcCoil = field(default_factory=DcCoil)
    meter_ohm: float = 10e6
    shorted: tuple[str, ...] = ()
    opened: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for name in ("supply_v", "supply_ohm", "freq_hz", "loop_ohm", "meter_ohm"):
            require_positive(name, getattr(self, name))
        for name in ("shorted", "opened"):
            for diode in getattr(self, name):
                require(diode in DIODES, name, diode, f"out of {', '.join(DIODES)}")
        twice = set(self.shorted) & set(self.opened)
        require(not twice, "opened", self.opened, "diodes that are not also shorted")

    @property
    def coils(self) -> dict[str, DcCoil]:
        """The two coils by their call."""
        return {"first": self.first, "second": self.second}


@dataclass(frozen=True)
class CoilReading:
    """One coil's current over a cycle, and what its relay does.

    Amperes: `mean_a` of the magnitude, `rms_a`, `least_a` and `most_a` of the magnitude; `ripple` is RMS of
    the alternating part over the mean (no unit; 0 for a dead coil); `gap_s` is the longest time below
    drop-out. `picks_up` by the mean criterion, `picks_up_by_rms` by the other; `would_hold` if something had
    pulled it in before. `state` is "released", "buzzing" (picks up, and lets go in the gap) or "pulled in".
    """

    mean_a: float
    rms_a: float
    least_a: float
    most_a: float
    ripple: float
    gap_s: float
    picks_up: bool
    picks_up_by_rms: bool
    would_hold: bool
    state: str


@dataclass(frozen=True)
class MeterReadings:
    """What five meters show between the same two points, in volts.

    See `traces` for what each does with the wave. `half_wave_v` and `half_wave_swapped_v` are the one-diode
    meter with its probes as named, and swapped.
    """

    dc_v: float
    true_rms_v: float
    ac_only_rms_v: float
    average_v: float
    half_wave_v: float
    half_wave_swapped_v: float


#: The kinds of meter by their name in `meters.KINDS`, and how a table names them.
METER_WORDS = {
    "dc": "direct volts",
    "true-rms": "true RMS, alternating",
    "true-rms-dc": "true RMS, alternating and direct",
    "average": "averaging, alternating",
    "half-wave": "one diode and a needle",
}


@dataclass(frozen=True, eq=False)
class Steered:
    """A call after the start has died away.

    `trace` holds whole cycles; `coils` by call; `near` and `far` are meters from that end of the conductor to
    common; `supply_rms_a` is what the supply has to give. Shown last in a cell, it is two tables.
    """

    trace: Trace
    coils: dict[str, CoilReading]
    near: MeterReadings
    far: MeterReadings
    supply_rms_a: float

    def meter_v(self, kind: str) -> float:
        """Return what a kind of meter (`meters.KINDS`) shows from the far end of the conductor to common."""
        require(kind in KINDS, "kind of meter", kind, f"one of {', '.join(KINDS)}")
        return KINDS[kind](self.trace.across("far"))

    def _lines(self) -> tuple[list[str], list[str]]:
        coils = [
            f"{name} | {1000 * coil.mean_a:.1f} mA | {1000 * coil.least_a:.1f} mA | {coil.state}"
            for name, coil in self.coils.items()
        ]
        return coils, [
            f"{words} | {round(self.meter_v(kind), 1) + 0.0:.1f} V" for kind, words in METER_WORDS.items()
        ]

    def __str__(self) -> str:
        coils, shown = self._lines()
        return "\n".join([*coils, *shown])

    def _repr_markdown_(self) -> str:
        coils, shown = self._lines()
        tables = (
            ["relay | mean current | least | it is", "--- | --- | --- | ---", *coils],
            ["meter from the conductor to common | shows", "--- | ---", *shown],
        )
        return "\n\n".join("\n".join(f"| {line} |" for line in table) for table in tables)


class NoLimit(LessonError, ValueError):
    """There is no longest conductor to find."""


def _coil(call: str, coil: DcCoil, hot: str, back: str, polarity: int) -> list[Branch]:
    """Return a coil between its hot end and common, with what stands across it."""
    parts: list[Branch] = [
        Winding(f"coil-{call}", hot, back, coil.r_ohm, coil.l_henry),
        Resistance(f"iron-{call}", hot, back, coil.loss_ohm),
    ]
    if coil.smoothing_farad:
        # A capacitor's own resistance (common practice: a tenth of an ohm) keeps its first gulp finite.
        parts.append(Resistance(f"inside-smoothing-{call}", hot, f"plate-{call}", 0.1))
        parts.append(Capacitance(f"smoothing-{call}", f"plate-{call}", back, coil.smoothing_farad))
    if coil.freewheel:
        ends = (back, hot) if polarity > 0 else (hot, back)
        parts.append(Diode(f"freewheel-{call}", *ends))
    return parts


def steering_circuit(
    site: Steering, call: str = "both", *, close_at_s: float | None = None, phase_deg: float = 0.0
) -> Network:
    """Return the circuit of a steered pair for one call combination.

    Parameters: `call` is one of `CALLS`; its contacts are closed from the beginning, or at `close_at_s`
    seconds; the supply begins at `phase_deg`. Raises `BadParameter` for another call.
    """
    require(call in CALLS, "call", call, f"one of {', '.join(CALLS)}")

    def contact(name: str, node: str) -> Switch:
        if name not in CALLS[call]:
            return Switch(f"contact-{name}", "r", node)
        if close_at_s is None:
            return Switch(f"contact-{name}", "r", node, closed=True)
        return Switch(f"contact-{name}", "r", node, toggles_s=(close_at_s,))

    def diode(name: str, a: str, b: str) -> Branch:
        if name in site.shorted:
            return Resistance(name, a, b, _SHORT_OHM)
        return Resistance(name, a, b, _OPEN_OHM) if name in site.opened else Diode(name, a, b)

    supply_v = cmath.rect(site.supply_v, math.radians(phase_deg))
    return Network(
        (
            Source("supply", "r", "0", site.supply_ohm, supply_v),
            contact("first", "contact-first"),
            diode("near-first", "contact-first", "near"),
            contact("second", "contact-second"),
            diode("near-second", "near", "contact-second"),
            Resistance("conductor", "near", "far", site.loop_ohm),
            Resistance("meter", "far", "0", site.meter_ohm),
            diode("far-first", "far", "first"),
            *_coil("first", site.first, "first", "0", +1),
            diode("far-second", "second", "far"),
            *_coil("second", site.second, "second", "0", -1),
        ),
        "0",
    )


def _settling_s(site: Steering) -> float:
    """Return a time after which the slowest memory in the circuit has faded to a few parts in 10 000."""
    slowest = max(max(c.l_henry / c.r_ohm, c.r_ohm * c.smoothing_farad) for c in site.coils.values())
    return max(6 / site.freq_hz, 8 * slowest)


def read_coil(trace: Trace, element: str, coil: DcCoil) -> CoilReading:
    """Return what a coil's current amounts to, over a trace of whole cycles."""
    size: Wave = np.abs(trace.current_a(element))
    mean, rms = mean_of(size), rms_of(size)
    gap_s = _longest_run(size < coil.drop_out_a) * float(trace.time_s[1] - trace.time_s[0])
    picks_up = mean >= coil.pick_up_a
    state = "released" if not picks_up else ("buzzing" if gap_s > coil.release_s else "pulled in")
    return CoilReading(
        mean_a=mean,
        rms_a=rms,
        least_a=float(size.min()),
        most_a=float(size.max()),
        ripple=math.sqrt(max(rms**2 - mean**2, 0.0)) / mean if mean > 1e-6 else 0.0,
        gap_s=gap_s,
        picks_up=picks_up,
        picks_up_by_rms=rms >= coil.pick_up_a,
        would_hold=mean >= coil.drop_out_a and gap_s <= coil.release_s,
        state=state,
    )


def _longest_run(flags: Iterable[bool]) -> int:
    """Return the length of the longest unbroken run of True."""
    longest = run = 0
    for flag in flags:
        run = run + 1 if flag else 0
        longest = max(longest, run)
    return longest


def read_meters(trace: Trace, a: str, b: str = "0") -> MeterReadings:
    """Return what five meters show from node a (red) to node b."""
    return MeterReadings(
        dc_v=trace.mean_v(a, b),
        true_rms_v=trace.true_rms(a, b),
        ac_only_rms_v=trace.true_rms(a, b, ac_only=True),
        average_v=trace.average_meter_v(a, b),
        half_wave_v=trace.half_wave_meter_v(a, b),
        half_wave_swapped_v=trace.half_wave_meter_v(b, a),
    )


def steer(site: Steering, call: str = "both", steps: int = _STEPS_A_CYCLE, read: int = 4) -> Steered:
    """Run a call until the start has died away, and read it.

    So many whole cycles are read, each in so many `steps`: 64 are good to half a percent and four times as
    quick. Raises `BadParameter` for a call that is not in `CALLS`.
    """
    require(isinstance(steps, int) and steps >= 32, "steps", steps, "a whole number, 32 or more a cycle")
    return _steered(replace(site, shorted=tuple(site.shorted), opened=tuple(site.opened)), call, steps, read)


@lru_cache(maxsize=16)
def _steered(site: Steering, call: str, steps: int, read: int) -> Steered:
    """Return a call's end; a lesson shows it in a picture and in tables, and asks the same again."""
    period = 1 / site.freq_hz
    cycles = math.ceil(_settling_s(site) * site.freq_hz) + read
    trace = simulate(steering_circuit(site, call), cycles * period, period / steps, freq_hz=site.freq_hz)
    steady = trace.last_cycles(site.freq_hz, read)
    return Steered(
        trace=steady,
        coils={name: read_coil(steady, f"coil-{name}", coil) for name, coil in site.coils.items()},
        near=read_meters(steady, "near"),
        far=read_meters(steady, "far"),
        supply_rms_a=steady.rms_a("supply"),
    )


def longest_loop_ohm(site: Steering, call: str = "both", within: float = 0.01) -> float:
    """Return the loop ohms at which the first of the called coils stops picking up.

    Good to a share `within` of itself; divide by the ohms per metre of a pair for the length. Ohms add up
    and amperes go as one over them, so a straight line through what two lengths lack points close to the
    limit, and few circuits have to be run; where 5 % are enough, they are run in 64 steps a cycle (`steer`).
    Raises `NoLimit` when a called coil does not pick up on the shortest of conductors, or nothing is called.
    """
    require_positive("within", within)
    called = CALLS.get(call, ())
    if not called:
        raise NoLimit(f"call {call!r} closes no contact, so nothing sets a limit; try 'both'.")
    steps = _STEPS_A_CYCLE if within < 0.05 else 64

    def lack(loop_ohm: float) -> float:
        """Return the share of its current that the poorest called coil lacks; 0 or less where all pick up."""
        coils = steer(replace(site, loop_ohm=loop_ohm), call, steps).coils
        return max(site.coils[name].pick_up_a / max(coils[name].mean_a, 1e-12) for name in called) - 1

    good = 0.01
    lack_good = lack(good)
    if lack_good > 0:
        raise NoLimit(
            "a called coil does not pick up even on a conductor of 0.01 ohm; give it a freewheel diode or a "
            "smoothing capacitor, or choose a coil for fewer volts."
        )
    bad = 2.0 * max(site.first.r_ohm, site.second.r_ohm)
    while (lack_bad := lack(bad)) <= 0:
        good, lack_good, bad = bad, lack_bad, 2 * bad
    tried, side = 0, -1.0
    while bad - good > within * bad:
        margin, tried = 0.4 * within * bad, tried + 1
        # A little beside the limit, so that the next try on its other side ends the search.
        aim = good - (bad - good) * lack_good / (lack_bad - lack_good) + side * margin
        aim = min(max(aim, good + margin), bad - margin) if tried % 4 else (good + bad) / 2
        short = lack(aim)
        if short <= 0:
            good, lack_good, side = aim, short, 1.0
        else:
            bad, lack_bad, side = aim, short, -1.0
    return good


def steering_inrush(site: Steering, call: str, angles_deg: Collection[float]) -> Inrush:
    """Return the supply's closing peaks when a call's contacts close.

    With a smoothing capacitor the worst moment is near the top of the called half: the capacitor is empty,
    and only the ohms of supply, conductor and diodes stand in the way.
    """
    require(CALLS.get(call), "call", call, "one that closes a contact: first, second or both")
    cycles = math.ceil(_settling_s(site) * site.freq_hz)

    def build(angle_deg: float) -> Network:
        return steering_circuit(site, call, close_at_s=0.0, phase_deg=angle_deg)

    return closing_peaks(build, "supply", angles_deg, site.freq_hz, cycles)
