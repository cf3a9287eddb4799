"""Half-wave sharing at a site: two terminals on one conductor, with the whole circuit around them.

At the near end a diode in each call's way lets one half of the sine onto the conductor; at the far end two
more steer each half to a relay of its own, whose contact joins R there to the terminal.  `steering` is the
circuit of such a pair and runs it through time.  Here it meets the rest of the site, in two steps:

* **The site** is settled on the bench's own circuit at its one frequency, where a diode has no place.  So
  each relay with its two diodes stands in for what it is to a sine: the impedance that draws the same 60 Hz
  share of the current, and a band in RMS volts ahead of the diodes, both read off `steering`.  In this way
  every other coil, fuse and terminal gets its volts with the relays' load, and a relay that gets too little
  closes nothing.
* **The pair** is then run through time, at the volts and the ohms that the site has for it with both relays
  taken out (Thevenin), in every combination of calls that occurs: the called relay has to be pulled in and
  quiet, the other released.

Where the model stops: as in `steering`; the ohms of the site are taken as the same for direct current and
for harmonics.  The tests hold both steps against ngspice on the whole circuit, diodes and all.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np

from lessonkit.bench.layout import LEAK_OHM, Layout
from lessonkit.bench.wiring import Wiring
from lessonkit.copper.network import Network, Thevenin, solve
from lessonkit.copper.traces import mean_of
from lessonkit.copper.wire import resistance_per_m
from lessonkit.job.faults import Fault
from lessonkit.job.handwork import HandWork
from lessonkit.job.model import RUN_ENDS, Job
from lessonkit.job.parts import RATED_V, Coil
from lessonkit.studies.cases import Rest
from lessonkit.studies.corners import HOT_C, READ_LOW
from lessonkit.studies.steering import CALLS, DcCoil, Steered, Steering, steer

__all__ = [
    "RELAY",
    "PairReading",
    "Shared",
    "SharedWire",
    "failed_diodes",
    "is_shared_relay",
    "read_pair",
    "relay_at",
    "stand_in",
    "steering_of",
    "words_of_needs",
    "worst",
]

#: The relay that would be bought: 12 V direct current, with a diode across its coil that keeps it quiet.
RELAY = DcCoil(freewheel=True)
RELAY_RATED_V = 12.0
#: Steps a cycle: good to half a percent (see `steer`).
_STEPS = 64
#: Volts are rounded down and ohms up to these, before a pair is run through time.
_ROUND_V, _ROUND_OHM = 0.1, 0.2
_COMBINATIONS: dict[tuple[bool, ...], str] = {
    (True, False): "first",
    (False, True): "second",
    (True, True): "both",
}


@dataclass(frozen=True)
class Shared:
    """Two terminals of a run that share one conductor: `first` has the positive halves."""

    run: str
    first: str
    second: str

    @property
    def name(self) -> str:
        """Return both terminals as a schedule has them: "Y1+Y2"."""
        return f"{self.first}+{self.second}"

    @property
    def terminals(self) -> tuple[str, str]:
        """Return both terminals."""
        return self.first, self.second


def relay_at(run: str, terminal: str) -> str:
    """Return "place:name" of the far relay of a shared terminal."""
    return f"{RUN_ENDS[run][1]}:shared-{terminal}"


def is_shared_relay(name: str) -> bool:
    """Return whether a coil "place:name" is the far relay of a shared terminal."""
    return name.partition(":")[2].startswith("shared-")


@lru_cache(maxsize=8)
def stand_in(freq_hz: float) -> Coil:
    """Return the relay with its two diodes as a coil on a sine.

    It has their impedance for the sine's own frequency, at 24 V; its pick-up is the RMS volts at which the
    mean of the halves reaches that of the relay (the mean follows the volts in a straight line, less what the
    diodes take).  Below half of that it lets go.
    """
    low_v, high_v = 20.0, RATED_V
    seen = [
        steer(Steering(volts, 0.01, freq_hz, 0.01, RELAY, RELAY), "first", _STEPS, read=1)
        for volts in (low_v, high_v)
    ]
    means = [one.coils["first"].mean_a for one in seen]
    pickup_v = low_v + (RELAY.pick_up_a - means[0]) * (high_v - low_v) / (means[1] - means[0])
    z_ohm = RATED_V / _fundamental(seen[-1], "conductor", freq_hz)
    va = RATED_V**2 / abs(z_ohm)
    return Coil(va, va, z_ohm.real, pickup_v, pickup_v / 2)


def _fundamental(seen: Steered, branch: str, freq_hz: float) -> complex:
    """Return a current's share at the supply's frequency, a phasor (RMS) against the supply's sine."""
    angle = 2 * math.pi * freq_hz * seen.trace.time_s
    wave = seen.trace.current_a(branch)
    return math.sqrt(2) * complex(mean_of(wave * np.sin(angle)), mean_of(wave * np.cos(angle)))


class SharedWiring(Wiring):
    """The circuit of a job some of whose terminals share a conductor in pairs.

    The job has a conductor for each terminal; of a pair both have the ohms of the one that is there, which
    carries one half of the sine for each.
    """

    def __init__(self, job: Job, faults: tuple[Fault, ...], pairs: tuple[Shared, ...]) -> None:
        self.pairs = pairs
        super().__init__(job, faults)

    def lay_out(self, job: Job, faults: tuple[Fault, ...], hands: tuple[HandWork, ...]) -> Layout:
        """Return the layout, with a relay in the way of each shared terminal."""
        to = super().lay_out(job, faults, hands)
        for pair in self.pairs:
            for terminal in pair.terminals:
                _add_relay(to, pair.run, terminal)
        return to


def _add_relay(to: Layout, run: str, terminal: str) -> None:
    """End a conductor in its far relay, whose contact joins R to the terminal there."""
    far, name = RUN_ENDS[run][1], relay_at(run, terminal).partition(":")[2]
    at = next(k for k, branch in enumerate(to.fixed) if branch.name == f"{run}.{terminal}#0")
    to.fixed[at] = replace(to.fixed[at], b=f"{far}:{name}")
    to.r(f"leak {far}:{name}", f"{far}:{name}", f"{far}:C", LEAK_OHM, "leakage")
    to.coil(far, name, stand_in(to.job.frequency_hz), name)
    words = f"relay of the shared conductor at {far}: R to {terminal}"
    to.follower(f"relay {far}:{terminal}", f"{far}:{name}", True, f"{far}:R", f"{far}:{terminal}", words)


@dataclass(frozen=True)
class SharedWire:
    """Makes the circuit of a job whose `pairs` share a conductor each."""

    pairs: tuple[Shared, ...]

    def __call__(self, job: Job, faults: tuple[Fault, ...] = ()) -> Wiring:
        """Return the circuit with some faults."""
        return SharedWiring(job, faults, self.pairs)


@dataclass(frozen=True)
class PairReading:
    """A pair at a corner, over all combinations of its calls.

    `least_v` are the mean volts of the weaker relay (a direct-volts meter across its coil), which has to get
    `RELAY`'s pick-up; `reach_m` is the length of run up to which it would, by its own ohms alone. `most_w` is
    the heat in a coil at its most; `direct_a` the direct current that the transformer has to carry;
    `waves_a` (RMS) the share of the supply's current at other frequencies. `why` says what fails.
    """

    pair: Shared
    least_v: float
    weaker: str
    reach_m: float
    most_w: float
    direct_a: float
    waves_a: float
    why: tuple[str, ...]

    @property
    def margin_v(self) -> float:
        """Return the mean volts above those at which the relay has to pull in."""
        return self.least_v - RELAY.pick_up_a * RELAY.r_ohm

    def to_dict(self) -> dict[str, Any]:
        """Return it as plain data, ready for JSON."""
        return {
            "run": self.pair.run,
            "terminals": list(self.pair.terminals),
            "relay": f"{RUN_ENDS[self.pair.run][1]}:{self.weaker}",
            "mean_v": round(self.least_v, 3),
            "margin_v": round(self.margin_v, 3),
            "reach_m": round(self.reach_m),
            "coil_w": round(self.most_w, 2),
            "direct_a": round(self.direct_a, 4),
        }


def worst(one: PairReading | None, other: PairReading) -> PairReading:
    """Return two corners of a pair as one: of each number the worse."""
    if one is None:
        return other
    weaker = min(one, other, key=lambda reading: reading.least_v)
    return replace(
        weaker,
        reach_m=min(one.reach_m, other.reach_m),
        most_w=max(one.most_w, other.most_w),
        direct_a=max(one.direct_a, other.direct_a),
        waves_a=max(one.waves_a, other.waves_a),
        why=one.why + other.why,
    )


def supply_of_pair(end: Rest, pair: Shared) -> Thevenin:
    """Return what the site is to a pair whose relays are taken out: volts behind an impedance."""
    wiring, far = end.wiring, RUN_ENDS[pair.run][1]
    out = {f"coil {relay_at(pair.run, terminal)}" for terminal in pair.terminals}
    whole = wiring.network(end.settled.on)
    network = Network(tuple(b for b in whole.branches if b.name not in out), whole.reference)
    called = pair.first if relay_at(pair.run, pair.first) in end.settled.latches.sealed else pair.second
    near = whole.branches[whole.place_of[f"{pair.run}.{called}#0"]].a
    return solve(network, wiring.job.frequency_hz).thevenin(near, f"{far}:C")


def steering_of(end: Rest, pair: Shared) -> Steering:
    """Return the steered pair as it stands in the site."""
    at, job = supply_of_pair(end, pair), end.wiring.job
    ohm = job.runs[pair.run].ohm_of(pair.first)
    # Rounded to the unfriendly side, so that arrangements which hardly differ share a run through time.
    volts = math.floor(abs(at.open_v) / _ROUND_V) * _ROUND_V
    ohms = (math.ceil(ohm / _ROUND_OHM) * _ROUND_OHM for ohm in (abs(at.z_ohm), ohm))
    supply_ohm, loop_ohm = (round(ohm, 6) for ohm in ohms)
    return Steering(round(volts, 6), supply_ohm, job.frequency_hz, loop_ohm, RELAY, RELAY)


@lru_cache(maxsize=256)
def _steered(site: Steering, which: str) -> Steered:
    """Run a pair through time; its two relays are alike, so that one call is the mirror of the other."""
    return steer(site, _mirrored(which), _STEPS, read=1)


def _mirrored(which: str) -> str:
    return "both" if which == "both" else "first"


def read_pair(
    pair: Shared, ends: Sequence[Rest], sound: Sequence[Rest], corner: str, warm: bool = False
) -> PairReading:
    """Return a pair at a corner: `ends` there, `sound` on perfect copper; `corner` names it in words.

    Each combination is run through time where the pair gets least. A `warm` corner is one of high volts:
    there coils get warm and nothing else gets worse, so that one combination tells all.
    """
    weakest: dict[str, Rest] = {}
    for end, want in zip(ends, sound, strict=True):
        called = tuple(relay_at(pair.run, t) in want.settled.latches.sealed for t in pair.terminals)
        which = _COMBINATIONS.get(called)
        held = any(relay_at(pair.run, t) in end.settled.latches.sealed for t in pair.terminals)
        if which and held and (which not in weakest or _port_v(end, pair) < _port_v(weakest[which], pair)):
            weakest[which] = end
    if not weakest:
        why = f"{pair.name}, {corner}: no relay pulls in"
        return PairReading(pair, 0.0, pair.first, 0.0, 0.0, 0.0, 0.0, (why,))
    readings = {}
    for which, end in sorted(weakest.items())[: 1 if warm else None]:
        readings[which] = _reading(pair, steering_of(end, pair), which, f"{end.case.call}, {corner}")
    reading: PairReading | None = None
    for one in readings.values():
        reading = worst(reading, one)
    assert reading is not None  # for the type checker
    if warm:
        return reading
    which = min(readings, key=lambda which: readings[which].least_v)
    mean_a = readings[which].least_v / RELAY.r_ohm
    reach_m = _reach_m(pair, steering_of(weakest[which], pair), which, mean_a, ends[0].wiring.job)
    return replace(reading, reach_m=reach_m)


def _port_v(end: Rest, pair: Shared) -> float:
    at = end.wiring.coils[relay_at(pair.run, pair.first)], end.wiring.coils[relay_at(pair.run, pair.second)]
    return max(abs(end.settled.solution.v(one.a, one.b)) for one in at)


def _reading(pair: Shared, site: Steering, which: str, words: str) -> PairReading:
    """Return a pair in one combination, its reach left open."""
    seen, order = _steered(site, which), pair.terminals
    if which == "second":
        order = order[::-1]  # the mirror of the other call
    names = dict(zip(("first", "second"), order, strict=True))
    called = CALLS[_mirrored(which)]
    why = []
    for call, coil in seen.coils.items():
        wanted = "pulled in" if call in called else "released"
        if coil.state != wanted:
            why.append(f"{words}: the relay of {names[call]} is {coil.state}, not {wanted}")
    weaker = min(called, key=lambda call: seen.coils[call].mean_a)
    fundamental = abs(_fundamental(seen, "supply", site.freq_hz))
    return PairReading(
        pair,
        seen.coils[weaker].mean_a * RELAY.r_ohm,
        names[weaker],
        math.inf,
        max(coil.rms_a for coil in seen.coils.values()) ** 2 * RELAY.r_ohm,
        abs(mean_of(seen.trace.current_a("supply"))),
        math.sqrt(max(seen.supply_rms_a**2 - fundamental**2, 0.0)),
        tuple(why),
    )


def _reach_m(pair: Shared, site: Steering, which: str, mean_a: float, job: Job) -> float:
    """Return the metres of run at which the weaker relay's mean current falls to its pick-up.

    One over the mean current grows in a straight line with the ohms, so two runs give the line. In the
    outdoor run the way back is as long as the conductor; indoors it is the air handler's own terminal C.
    """
    if mean_a <= 0:
        return 0.0
    more = float(max(round((RELAY.r_ohm + site.loop_ohm) * (mean_a / RELAY.pick_up_a - 1)), 1))
    longer = _steered(replace(site, loop_ohm=site.loop_ohm + more), which)
    less_a = min(longer.coils[call].mean_a for call in CALLS[_mirrored(which)])
    slope = (1 / less_a - 1 / mean_a) / more
    spare_ohm = (1 / RELAY.pick_up_a - 1 / mean_a) / slope
    run = job.runs[pair.run]
    ways = 2.0 if pair.run == "outdoor" else 1.0
    ohm_a_m = resistance_per_m(run.gauge_awg, HOT_C) * READ_LOW * ways
    return max(run.length_m + spare_ohm / ohm_a_m, 0.0)


@lru_cache(maxsize=1)
def failed_diodes() -> tuple[str, ...]:
    """Return in words what a diode does that fails to a short, by `steering` at 24 V, one sentence an end."""
    site, found = Steering(first=RELAY, second=RELAY), []
    # The diodes of the second call are the mirror of these.
    for diode, which, other in (("near-first", "first", "second"), ("far-first", "second", "first")):
        seen = steer(replace(site, shorted=(diode,)), which, _STEPS, read=1)
        told = f"a diode at the {diode.partition('-')[0]} end that fails to a short"
        if seen.coils[other].state != "released":
            found.append(f"{told} runs what nobody called")
        if seen.supply_rms_a > 1.0:
            found.append(f"{told} takes {seen.supply_rms_a:.1f} A from the transformer")
    return tuple(found)


def words_of_needs(pairs: Sequence[Shared]) -> list[str]:
    """Return what shared conductors take and ask, in general words."""
    if not pairs:
        return []
    volts = f"{RELAY_RATED_V:g} V"
    return [
        *(
            f"for {pair.name} of the {pair.run} run: four diodes (two at each end) and two relays with "
            f"{volts} direct-current coils, each with a diode across its coil, at the far end"
            for pair in pairs
        ),
        "the makers' word that thermostat, boards and transformer may carry half-wave and direct current",
        "a label at both ends: two calls by half-waves; most meters misread the volts of this conductor; "
        + "; ".join(failed_diodes()),
    ]
