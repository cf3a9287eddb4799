"""What the bench answers to the questions of the concept test.

Each function here lets a bench live through the story of one question, in its form before or after the
course, and returns which answer the bench gives: `RIGHT`, or the name of a misunderstanding, should the bench
behave as that one says. So a change of the circuit that turns an answer over is seen by a test. Questions
without a function are facts of the trade; `concepts.toml` says so beside each.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

from lessonkit.bench.bench import Bench
from lessonkit.bench.meter import Meter
from lessonkit.bench.state import State
from lessonkit.job.model import Job
from lessonkit.job.toml import demo_job
from lessonkit.signal.crc import FRAME_CRC, parity_bit
from lessonkit.signal.distance import undetected_patterns
from lessonkit.studies.experiment import experiment
from lessonkit.studies.house import load_house
from lessonkit.studies.latency import latency
from lessonkit.studies.sweeps import earth_sweep
from lessonkit.studies.what_follows import FOLLOWS, what_follows

__all__ = ["BENCH", "RIGHT", "bench_says"]

RIGHT = "right"
_ON, _AT_ONCE, _LATER, _AGAIN, _STARTS = FOLLOWS


def _coil(form: str) -> tuple[str, str]:
    """Return the coil that a form of a question is about, and the conductor that feeds it."""
    return ("out:contactor", "Y1") if form == "before" else ("out:reversing-valve", "O")


def _way_home(form: str) -> str:
    coil, _ = _coil(form)
    state = experiment("full-cable", "cool-1", "outdoor.C=open", after_s=5.0).state()
    if state.fuse == "blown":
        return "an open wire blows the fuse"
    if state.coils[coil].sealed:
        return "one wire is enough"
    return "half the volts without the common" if state.coils[coil].volts > 8 else RIGHT


def _ghost(form: str) -> str:
    job, node = ("two-run", "air:spare-stat") if form == "before" else ("net-loft", "out:spare")
    bench = Bench(job, call="cool-1")
    bench.pass_time(15.0)
    meter = Meter(bench)
    high, low = (float(meter.volts(node, f"{node[:3]}:C", setting)) for setting in ("high", "low"))
    if low > high / 2:
        return "volts are volts"
    return RIGHT if high > 5 else "the meter is broken"


def _splice(form: str) -> str:
    coil, conductor = _coil(form)
    state = experiment("full-cable", "cool-1", f"outdoor.{conductor}=resistance:80", before_s=0.0).state()
    if state.fuse == "blown":
        return "ohms in a wire blow the fuse"
    if state.coils[coil].sealed:
        return "full volts without load prove the wire"
    return RIGHT if state.coils[coil].volts < 0.8 * state.volts["out:R"] else "a splice takes amperes only"


def _overload(form: str) -> str:
    call = "cool-2" if form == "before" else "heat-aux"
    big, small = (demo_job("full-cable").with_supply(rated_va=va, fuse_a=10.0) for va in (75.0, 15.0))
    ends = [experiment(job, call, before_s=0.0).state() for job in (big, small)]
    volts = [end.volts["air:R"] for end in ends]
    if ends[1].va["air"] <= 15.0 and not ends[1].overloaded:
        return "it gives what its plate says and no more"
    if "blown" in ends[1].fuses.values():
        return "only the fuse counts"
    return "the volts stay" if volts[1] > 0.98 * volts[0] else RIGHT


def _memory(form: str) -> str:
    coil, conductor = _coil(form)
    # A bad splice that leaves the coil between its two marks, and one that leaves it below both.
    between, below = (20, 150) if form == "before" else (100, 300)

    def sealed(ohm: int, before_s: float) -> bool:
        fault = f"outdoor.{conductor}=resistance:{ohm}"
        return experiment("full-cable", "cool-1", fault, before_s).state().coils[coil].sealed

    if sealed(below, 15.0):
        return "once in, it stays whatever comes"
    if not sealed(between, 15.0):
        return "staying in takes the most volts"
    return "one voltage decides" if sealed(between, 0.0) else RIGHT


def _silence(form: str) -> str:
    fault = "outdoor.SIG=open" if form == "before" else "outdoor.SIG=earth:0.5"
    word = what_follows("two-run", "cool-2", fault).word
    wrong = {_AT_ONCE: "it stops as a lamp does", _ON: "it goes on until the call ends"}
    return RIGHT if word == _LATER else wrong.get(word, "the relays do what they like")


def _lost_frame(form: str) -> str:
    fault = "outdoor.SIG=open" if form == "before" else "outdoor.SIG=earth:0.5"
    job = demo_job("two-run")
    bench = Bench(job, call="cool-2")
    before = bench.advance(20.0).links["outdoor"].outputs
    bench.set_faults([fault])
    during = bench.advance(1.5 * job.runs["outdoor"].link.interval_s).links["outdoor"].outputs
    bench.set_faults([])
    after = bench.advance(20.0).links["outdoor"].outputs
    if during != before:
        return "one lost frame stops it"
    return RIGHT if after == before else "somebody has to start it again"


def _two_equal(form: str) -> str:
    job = demo_job("wire-return")
    link = job.runs["outdoor"].link
    if form == "before":
        longest = float(latency(job, "cool-1", 5).longest_s)
    else:
        longest = max(_let_go_s(job, part / 4) for part in range(4))
    if longest < 0.2 * link.interval_s:
        return "a link is as quick as a wire"
    if longest > link.watchdog_s:
        return "it waits for the watchdog"
    return RIGHT if longest > link.interval_s else "the first frame is enough"


def _let_go_s(job: Job, share: float) -> float:
    """Return how long the contactor stays in after a call that ends that share of a poll after one."""
    bench = Bench(job, call="cool-1")
    bench.pass_time(20.0 + share * job.runs["outdoor"].link.interval_s)
    gone_s = bench.time_s
    bench.set_call("off")
    bench.pass_time(30.0)
    found = [e.time_s for e in bench.log.of("out:contactor") if e.what == "lets go" and e.time_s >= gone_s]
    return found[0] - gone_s if found else 99.0


def _check(form: str) -> str:
    if form == "before":  # two bits of one word turned over, one parity bit over it all
        word = 0b0001_0101
        slips = parity_bit(word, "even") == parity_bit(word ^ 0b11, "even")
    else:
        slips = undetected_patterns(FRAME_CRC.full_poly, 24, 4) > 0
    return RIGHT if slips else "what passes is right for sure"


def _worse_ground(form: str) -> str:
    ohm = 2.0 if form == "before" else 6.0
    sweep = earth_sweep("earth-return", [ohm], "cool-2")
    word = sweep.outcomes[0]
    if word == "works":
        return "a few ohms do nothing"
    if word == "dead":
        return "it is on or it is off"
    if sweep.fails_first != "the frames":
        return "it gets weak bit by bit"
    bench = Bench("earth-return", faults=f"outdoor.earth=resistance:{ohm:g}")
    bench.skip_delay()
    works = bench.advance(30.0).links["outdoor"].state == "working"  # with nothing called
    bench.set_call("cool-2")
    bench.advance(400.0)
    moves = bench.log.of("out:contactor")
    came, went = ([e.time_s for e in moves if e.what == word] for word in ("pulls in", "lets go"))
    again = works and len(came) > 1 and came[1] - went[0] > 60.0
    return RIGHT if again else "it is on or it is off"


def _open_ground(form: str) -> str:
    job, fault = (
        ("earth-return", "outdoor.earth=open") if form == "before" else ("wire-return", "outdoor.C=open")
    )
    state = experiment(job, "cool-1", fault, after_s=1.0).state()
    if "blown" in state.fuses.values():
        return "the fuse blows"
    return RIGHT if state.between("out:C", "air:C") > 12.0 else "no current, no volts"


def _phase(form: str) -> str:
    volts = float(
        Bench("out-of-phase" if form == "before" else "second-transformer").state.between("air:R", "out:R")
    )
    right = 54.0 if form == "before" else 0.0
    near = min((0.0, 27.0, 54.0), key=lambda guess: abs(guess - volts))
    if near == right:
        return RIGHT
    return "one supply stands between them" if near == 27.0 else "the phase plays no part"


def _two_supplies(form: str) -> str:
    opened, other = ("air", "out") if form == "before" else ("out", "air")
    bench = Bench("second-transformer", call="cool-1")
    bench.set_power(False, opened)
    state = bench.advance(30.0)
    return RIGHT if state.between(f"{other}:R", f"{other}:C") > 20 else "one switch makes all dead"


def _valve(form: str) -> str:
    call, fault = ("cool-1", "outdoor.O=open") if form == "before" else ("heat-1", "outdoor.O=short:R")
    state = experiment("full-cable", call, fault, before_s=0.0).state()
    wanted = "heating" if form == "before" else "cooling"
    if state.delivering.startswith(wanted):
        return RIGHT
    return "nothing runs" if state.responding["compressor stage 1"] == "off" else "it only gets weaker"


def _second_stage(form: str) -> str:
    fault, call = ("outdoor.Y2=open", "cool-2") if form == "before" else ("out.unloader=burnt-out", "heat-2")
    state = experiment("full-cable", call, fault, after_s=20.0).state()
    one, two = (state.responding[f"compressor stage {stage}"] != "off" for stage in (1, 2))
    if not one:
        return "both stages stop"
    return "the second stage runs all the same" if two else RIGHT


def _delay(form: str) -> str:
    bench = Bench("full-cable", call="cool-1")
    bench.pass_time(400.0)
    if form == "before":
        bench.set_call("off")
        bench.pass_time(5.0)
        bench.set_call("cool-1")
    else:
        bench.set_power(False)
        bench.pass_time(5.0)
        bench.set_power(True)
    state = bench.advance(30.0)
    if state.responding["compressor stage 1"] != "off":
        return "it starts at once"
    waits = state.waiting_s > 0
    later = bench.advance(600.0).responding["compressor stage 1"] != "off"
    return RIGHT if waits and later else "the contactor is broken"


def _defrost(form: str) -> str:
    bench = Bench("full-cable", call="heat-1", outdoor_c=0.0)
    bench.skip_delay()
    bench.pass_time(60.0)
    bench.force_defrost()
    state: State = bench.advance(20.0)
    looks = {
        name: state.responding[name] != "off"
        for name in ("outdoor fan", "auxiliary heat", "compressor stage 1")
    }
    mine = not looks["outdoor fan"] and looks["auxiliary heat"] and looks["compressor stage 1"]
    return RIGHT if mine and state.call == "heat-1" else "something has failed"


def _cold(form: str) -> str:
    house = load_house("harrowmere")
    mild, cold = (8.0, -8.0) if form == "before" else (5.0, -12.0)
    gives = [float(house.heat_pump.high.capacity_w(c)) for c in (mild, cold)]
    if gives[1] <= 0:
        return "below freezing it gives nothing"
    needs = [float(house.load.needed_w(c)) for c in (mild, cold)]
    if needs[1] <= needs[0]:
        return "the house needs the same at any air"
    return RIGHT if gives[1] < gives[0] else "it gives the same at any air"


#: Idea -> what the bench says of it, by the form of the test.
BENCH: dict[str, Callable[[str], str]] = {
    "way-home": _way_home,
    "ghost": _ghost,
    "splice": _splice,
    "overload": _overload,
    "memory": _memory,
    "silence": _silence,
    "lost-frame": _lost_frame,
    "two-equal": _two_equal,
    "check": _check,
    "worse-ground": _worse_ground,
    "open-ground": _open_ground,
    "phase": _phase,
    "two-supplies": _two_supplies,
    "valve": _valve,
    "second-stage": _second_stage,
    "delay": _delay,
    "defrost": _defrost,
    "cold": _cold,
}


@cache
def bench_says(idea: str, form: str) -> str:
    """Return which answer the bench gives to a question, by its idea and form; for a fact it is `RIGHT`."""
    return BENCH[idea](form) if idea in BENCH else RIGHT
