"""The exercises of workbook 07, the way back: volts and amperes of the current that comes home.

This room holds the four that end in a number or in the picture of an earth return; `workbook_07_sources` has
those about two transformers, two disconnects, a diagnosis and a design. Every right answer is read off a
bench. Volts and amperes are RMS where nothing else is said.
"""

from __future__ import annotations

import random
from functools import lru_cache

from lessonkit.bench.bench import Bench
from lessonkit.bench.meter import Meter
from lessonkit.copper.wire import resistance_per_m
from lessonkit.exercises.compare import Choice, Number, Table
from lessonkit.exercises.core import Exercise, Givens, WrongModel
from lessonkit.exercises.series.workbook_07_sources import SOURCE_EXERCISES
from lessonkit.exercises.slips import row_slips
from lessonkit.job.model import Job
from lessonkit.job.toml import demo_job
from lessonkit.studies.sweeps import EarthSweep, earth_sweep

TITLE = "The way back"

#: Seconds until a call has passed the link and all coils are in.
THERE_S = 20.0
SQRT_2 = 2.0**0.5


def _wired(length_m: float, gauge_awg: int, contactor_va: float) -> Job:
    """Return the nursery's wiring with a wire to come home by."""
    job = demo_job("earth-return").with_coil("contactor", sealed_va=contactor_va)
    return job.with_run(
        "outdoor", return_by="wire", conductors=("R", "SIG", "C"), length_m=length_m, gauge_awg=gauge_awg
    )


# 7.1: volts between the two commons -----------------------------------------------------------------------


def _commons_variant(rng: random.Random) -> Givens:
    gauge_awg = rng.choice((18, 20, 22))
    # So long that the wire takes something, and short enough that the link still works.
    length_m = rng.choice(
        {18: (25, 30, 35, 40, 45, 55), 20: (15, 20, 25, 30, 35), 22: (12, 15, 18, 22)}[gauge_awg]
    )
    return {
        "gauge_awg": gauge_awg,
        "length_m": length_m,
        "contactor_va": rng.choice((8.0, 9.0, 10.0, 11.0, 12.0)),
        "call": rng.choice(("cool-1", "cool-2", "heat-2")),
    }


@lru_cache(maxsize=256)
def _wire_bench(length_m: float, gauge_awg: int, contactor_va: float, call: str) -> Bench:
    bench = Bench(_wired(length_m, gauge_awg, contactor_va), call=call)
    bench.pass_time(THERE_S)
    return bench


def _wire_meter(givens: Givens) -> Meter:
    return Meter(_wire_bench(givens["length_m"], givens["gauge_awg"], givens["contactor_va"], givens["call"]))


def _commons_question(givens: Givens) -> str:
    per_100_m = 100.0 * resistance_per_m(givens["gauge_awg"])
    return (
        f"An outdoor unit has a link with a wire to come back by. The run is {givens['length_m']} m of "
        f"{givens['gauge_awg']} AWG: {per_100_m:.2f} ohm for each 100 m of one conductor. Under "
        f"`{givens['call']}` a clamp around C reads {_wire_meter(givens).amps('outdoor.C')}. How many volts "
        "lie between C at the outdoor unit and C at the air handler?"
    )


def _commons_v(givens: Givens) -> float:
    return _wire_meter(givens).volts("out:C", "air:C").value


def _per_100_m(givens: Givens) -> float:
    return _wire_meter(givens).amps("outdoor.C").value * 100.0 * resistance_per_m(givens["gauge_awg"])


COMMONS = Exercise(
    id="7.1",
    title="Volts between the two commons",
    points=2,
    variant=_commons_variant,
    question=_commons_question,
    solve=_commons_v,
    compare=Number(rel=0.05, absolute=0.03, unit="V"),
    wrong_models=(
        WrongModel(
            "out and back",
            "You counted R as well. Only the way back lies between the two commons: one conductor.",
            lambda givens: 2 * _commons_v(givens),
        ),
        WrongModel(
            "a hundred metres",
            "Those are the ohms of 100 m. Take the part that this run has.",
            _per_100_m,
        ),
        WrongModel(
            "what the coil gets",
            "That is what is left for the coils. The question is what the way back itself takes.",
            lambda givens: _wire_meter(givens).volts("out:R", "out:C").value,
        ),
        WrongModel(
            "peak volts",
            "That is the peak of the wave. A meter shows RMS.",
            lambda givens: _commons_v(givens) * SQRT_2,
        ),
    ),
    nudge="Ohms of one conductor first, then amperes times ohms.",
)


# 7.2: two ways home ---------------------------------------------------------------------------------------

#: Ohms of a good bond: the grounding path of the demo job and its two bonding jumpers.
_GROUND_OHM = 0.2
_JUMPERS_OHM = 0.04


def _two_ways_variant(rng: random.Random) -> Givens:
    while True:
        givens: Givens = {
            **_commons_variant(rng),
            "contactor_va": rng.choice((8.0, 12.0, 16.0, 20.0, 24.0, 28.0)),
            "touch_ohm": rng.choice((0.1, 0.15, 0.2, 0.3, 0.5, 0.8, 1.2, 1.8, 2.5)),
        }
        wire_ohm = givens["length_m"] * resistance_per_m(givens["gauge_awg"])
        share = wire_ohm / (wire_ohm + _metal_ohm(givens))
        # Near one half, a mistake of the rule would not show.
        if abs(share - 0.5) > 0.08 and 0.12 < share < 0.88:
            return givens


def _metal_ohm(givens: Givens) -> float:
    return float(givens["touch_ohm"]) + _GROUND_OHM + _JUMPERS_OHM / 2


@lru_cache(maxsize=256)
def _touching(length_m: float, gauge_awg: int, contactor_va: float, call: str, touch_ohm: float) -> Bench:
    touch = f"outdoor.C=earth:{touch_ohm:g}@1"
    job = _wired(length_m, gauge_awg, contactor_va)
    bench = Bench(job.with_run("outdoor", earth_ohm=_GROUND_OHM), faults=[touch], call=call)
    bench.pass_time(THERE_S)
    return bench


def _two_ways_meter(givens: Givens) -> Meter:
    names = ("length_m", "gauge_awg", "contactor_va", "call", "touch_ohm")
    return Meter(_touching(*(givens[name] for name in names)))


def _two_ways_question(givens: Givens) -> str:
    wire_ohm = givens["length_m"] * resistance_per_m(givens["gauge_awg"])
    return (
        "At an outdoor unit the insulation of C has worn through, and C touches the metal of the unit. Under "
        f"`{givens['call']}` a clamp around R reads {_two_ways_meter(givens).amps('outdoor.R')}. The "
        f"conductor C has {wire_ohm:.2f} ohm from end to end. The other way, through the touch, the "
        f"equipment ground and the bond indoors, has {_metal_ohm(givens):.2f} ohm. How many amperes come "
        "home over the equipment ground?"
    )


def _ground_a(givens: Givens) -> float:
    return float(_two_ways_meter(givens).bench.state.earth_a)


def _all_a(givens: Givens) -> float:
    return _two_ways_meter(givens).amps("outdoor.R").value


TWO_WAYS = Exercise(
    id="7.2",
    title="Two ways home",
    points=3,
    variant=_two_ways_variant,
    question=_two_ways_question,
    solve=_ground_a,
    compare=Number(rel=0.06, absolute=0.03, unit="A"),
    wrong_models=(
        WrongModel(
            "none of it",
            "Current takes every way that is open to it, not only the one that was meant.",
            lambda givens: 0.0,
        ),
        WrongModel(
            "all of it",
            "The wire is still there and carries its part. Two ways share the current.",
            _all_a,
        ),
        WrongModel(
            "the wire's part",
            "That is what the wire carries. The way with fewer ohms carries more: which one is that here?",
            lambda givens: _all_a(givens) - _ground_a(givens),
        ),
        WrongModel(
            "half each",
            "Two ways share evenly only if they have the same ohms.",
            lambda givens: _all_a(givens) / 2,
        ),
    ),
    nudge="Both ways get the same volts. So each carries the other's ohms over the sum of both.",
)


# 7.3: how much shift the thresholds bear ------------------------------------------------------------------


def _margin_variant(rng: random.Random) -> Givens:
    while True:
        givens: Givens = {
            "drive_v": rng.randrange(110, 151) / 10,
            "low_v": rng.randrange(20, 41) / 10,
            "high_v": rng.randrange(60, 86) / 10,
        }
        mark, space = _levels(givens)
        up, down = mark - givens["high_v"], givens["low_v"] - space
        if min(up, down) > 1.2 and abs(up - down) > 0.3 * min(up, down):
            return givens


@lru_cache(maxsize=256)
def _link_levels(drive_v: float, low_v: float, high_v: float) -> tuple[float, float]:
    job = demo_job("earth-return")
    settings = type(job.outdoor_run.link)(drive_v=drive_v, low_v=low_v, high_v=high_v)
    link = Bench(job.with_run("outdoor", link=settings)).state.links["outdoor"]
    return link.high_v, link.low_v


def _levels(givens: Givens) -> tuple[float, float]:
    """Return the level of a mark and of a space at the far end."""
    return _link_levels(givens["drive_v"], givens["low_v"], givens["high_v"])


def _margin_question(givens: Givens) -> str:
    mark, space = _levels(givens)
    return (
        f"The scope shows the frames of a link at its far end: a mark stands at {mark:.2f} V, a space at "
        f"{abs(space):.1f} V. The receiver takes everything above {givens['high_v']:g} V for a mark and "
        f"everything below {givens['low_v']:g} V for a space. Now a poor way back puts alternating volts on "
        "top. How many volts RMS on the signal can it bear before one of the two levels crosses its "
        "threshold?"
    )


def _margins(givens: Givens) -> tuple[float, float]:
    mark, space = _levels(givens)
    return mark - float(givens["high_v"]), float(givens["low_v"]) - space


MARGIN = Exercise(
    id="7.3",
    title="How much shift the thresholds bear",
    points=2,
    variant=_margin_variant,
    question=_margin_question,
    solve=lambda givens: min(_margins(givens)) / SQRT_2,
    compare=Number(rel=0.04, absolute=0.03, unit="V"),
    wrong_models=(
        WrongModel(
            "peak for RMS",
            "Right as a peak: the top of the wave is what crosses. The question asks for RMS.",
            lambda givens: min(_margins(givens)),
        ),
        WrongModel(
            "the wider side",
            "Look at both levels. The one that stands closer to its threshold gives way first.",
            lambda givens: max(_margins(givens)) / SQRT_2,
        ),
        WrongModel(
            "between the thresholds",
            "Between the thresholds the receiver keeps what it heard. Measure from each level to its own.",
            lambda givens: (givens["high_v"] - givens["low_v"]) / SQRT_2,
        ),
        WrongModel(
            "between the two commons",
            "So much may lie between the two C, where a part is lost on the way. The question asks for the "
            "volts on the signal itself.",
            lambda givens: min(_margins(givens)) / SQRT_2 * 11 / 10,
        ),
        WrongModel(
            "times root two",
            "From a peak to RMS the number gets smaller.",
            lambda givens: min(_margins(givens)) * SQRT_2,
        ),
    ),
    nudge="Two distances, from each level to its threshold. The smaller one is a peak.",
)


# 7.4: what an earth return does ---------------------------------------------------------------------------

WORKS, CHATTERS, DEAD = "works", "chatters", "dead"

#: Where one outcome turns into the next, in ohms added to the earth return of the demo job, found on the
#: bench by halving; a test finds them again. They only keep the questions clear of the edges.
EDGES_OHM = {
    "cool-1": (2.19, 12.9),
    "cool-2": (1.53, 13.0),
    "heat-1": (3.67, 12.8),
    "heat-2": (2.19, 13.0),
}
_OHMS = (
    0.2,
    0.3,
    0.5,
    0.7,
    0.8,
    1,
    1.2,
    1.8,
    2.5,
    2.8,
    3,
    4.3,
    4.5,
    5,
    6,
    7,
    8,
    9,
    10,
    16,
    18,
    20,
    24,
    28,
    32,
)


def earth_choices(call: str) -> tuple[list[float], ...]:
    """Return the ohms that 7.4 may ask about, a band for each outcome, clear of the edges."""
    first, second = EDGES_OHM[call]
    clear = [ohm for ohm in _OHMS if all(abs(ohm - edge) > 0.14 * edge for edge in (first, second))]
    return (
        [ohm for ohm in clear if ohm < first],
        [ohm for ohm in clear if first < ohm < second],
        [ohm for ohm in clear if ohm > second],
    )


def _earth_variant(rng: random.Random) -> Givens:
    call = rng.choice(sorted(EDGES_OHM))
    bands = earth_choices(call)
    ohms = [rng.choice(band) for band in bands]
    ohms.append(rng.choice([ohm for ohm in bands[0] + bands[1] if ohm not in ohms]))
    rng.shuffle(ohms)
    return {"call": call, "ohms": tuple(ohms)}


def _row(ohm: float) -> str:
    return f"{ohm:g} ohm"


def _earth_question(givens: Givens) -> str:
    shown = ", ".join(map(_row, givens["ohms"]))
    return (
        f"An outdoor unit sends its current home over the equipment ground, as in job `earth-return`. The "
        f"call is `{givens['call']}`. A bad joint adds {shown} to the way back. What does the job do in the "
        f"end: `{WORKS}`, `{CHATTERS}` (starts and lets go again and again) or `{DEAD}`? (Draw the picture "
        f'for this call: `lk.earth_picture("earth-return", "{givens["call"]}")`.)'
    )


@lru_cache(maxsize=256)
def _swept(call: str, ohms: tuple[float, ...]) -> EarthSweep:
    return earth_sweep("earth-return", ohms, call)


def earth_rows(givens: Givens) -> dict[str, str]:
    """Return what the demo job does with each of the ohms added to its earth return."""
    outcomes = _swept(givens["call"], givens["ohms"]).outcomes
    return dict(zip(map(_row, givens["ohms"]), outcomes, strict=True))


def _by_the_coil(givens: Givens) -> dict[str, str]:
    """Return what the coil's volts alone would say."""
    pulled_in = _swept(givens["call"], givens["ohms"]).pulled_in
    return {_row(ohm): WORKS if pulls else DEAD for ohm, pulls in zip(givens["ohms"], pulled_in, strict=True)}


def _dead_at_once(givens: Givens) -> dict[str, str]:
    """Return what somebody says who stops where the frames break."""
    return {row: DEAD if word == CHATTERS else word for row, word in earth_rows(givens).items()}


EARTH = Exercise(
    id="7.4",
    title="What a poor way back does",
    points=2,
    variant=_earth_variant,
    question=_earth_question,
    solve=earth_rows,
    compare=lambda givens: Table(tuple(map(_row, givens["ohms"])), Choice((WORKS, CHATTERS, DEAD))),
    wrong_models=(
        WrongModel(
            "by the coil alone",
            "You asked whether the coil gets its volts. Ask first whether the frames still arrive.",
            _by_the_coil,
        ),
        WrongModel(
            "dead once frames break",
            "The frames break, the relays let go, the load is gone. And then? Follow it one step further.",
            _dead_at_once,
        ),
        *row_slips(
            earth_rows,
            4,
            {
                WORKS: "look at the lowest of the three curves at this number of ohms.",
                CHATTERS: "look at the band that this number of ohms lies in, and at its name.",
                DEAD: "the picture has a band for that. Find where it begins.",
            },
        ),
    ),
)

EXERCISES: tuple[Exercise, ...] = (COMMONS, TWO_WAYS, MARGIN, EARTH, *SOURCE_EXERCISES)
