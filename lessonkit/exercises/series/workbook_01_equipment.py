"""Exercises of workbook 01, 1.4 to 1.6: what the equipment makes of a call.

The compressor waits, a defrost turns the circuit round, and one thing is broken. In 1.6 a fault is chosen
together with a call that needs the broken thing, so that it shows.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from functools import lru_cache

from lessonkit.bench.patient import PatientBench
from lessonkit.bench.state import State
from lessonkit.exercises.compare import Choice, ChoiceSet, Number, Record, Table
from lessonkit.exercises.core import Exercise, Givens, WrongModel
from lessonkit.exercises.trials import EQUIPMENT, any_job, responds, settled, site
from lessonkit.job.naming import fault_sentence
from lessonkit.job.toml import demo_job

_ALL_EQUIPMENT = ", ".join(EQUIPMENT)

# 1.4 The compressor that waits -----------------------------------------------------------------------------


@lru_cache(maxsize=256)
def _starts_after(job: str, call: str, pause_s: int) -> float:
    """Return how many seconds after a call comes back the compressor starts.

    The call was gone for `pause_s`.
    """
    bench = PatientBench(demo_job(job))
    bench.set_call(call)
    bench.pass_time(600)
    bench.set_call("off")
    bench.pass_time(pause_s)
    bench.set_call(call)
    waited = max(0.0, bench.advance(1).waiting_s - 2.0)
    bench.pass_time(waited)
    for second in range(2, 20):
        bench.pass_time(1)
        if bench.responding["compressor stage 1"] != "off":
            return waited + second
    raise AssertionError(f"{job} on {call} never starts again")


def _wait_variant(rng: random.Random) -> Givens:
    call = rng.choice(("cool-1", "cool-2", "heat-1", "heat-2"))
    return {"job": any_job(rng), "call": call, "pause_s": rng.randrange(25, 280, 5)}


def _wait_question(givens: Givens) -> str:
    delay_s = demo_job(givens["job"]).equipment.short_cycle_s
    return (
        f"{site(givens['job'])} It has run on `{givens['call']}` for ten minutes. Somebody switches "
        f"the thermostat off, and "
        f"**{givens['pause_s']} seconds** later back to `{givens['call']}`. The outdoor board's "
        f"short-cycle delay is "
        f"{delay_s:g} seconds. How many seconds after the call has come back does the compressor start?\n\n"
        "Answer in seconds, within 5."
    )


WAIT = Exercise(
    id="1.4",
    title="The compressor that waits",
    points=1,
    variant=_wait_variant,
    question=_wait_question,
    solve=lambda givens: _starts_after(givens["job"], givens["call"], givens["pause_s"]),
    compare=Number(rel=0.0, absolute=5.0, unit="s"),
    wrong_models=(
        WrongModel(
            "at-once",
            "A call is a request, not a response: the board lets the compressor rest before it starts again.",
            lambda givens: 0.0,
        ),
        WrongModel(
            "from-the-call",
            "The delay is counted from the moment the compressor stopped, not from the new call: "
            "part of it is over already.",
            lambda givens: demo_job(givens["job"]).equipment.short_cycle_s,
        ),
        WrongModel(
            "the-pause",
            "That is how long the call was gone. What is left of the delay when the call comes back?",
            lambda givens: float(givens["pause_s"]),
        ),
    ),
)


def _lost(job: str, terminal: str) -> list[str]:
    """Return the ways in which a job can lose one call terminal."""
    kit = demo_job(job)
    ways = []
    for name, far in (("thermostat", "air"), ("outdoor", "out")):
        if name == "outdoor" and terminal not in kit.outdoor_terminals:
            continue
        linked = kit.runs[name].arrangement == "link"
        ways.append(f"{far}.relay-{terminal}=stuck-open" if linked else f"{name}.{terminal}=open")
    return ways


# 1.5 Defrost -----------------------------------------------------------------------------------------------

#: What breaks the defrost board's request on its way indoors.
_REQUEST_BROKEN = {
    "full-cable": "outdoor.D=open",
    "earth-return": "air.relay-D=stuck-open",
    "wire-return": "air.relay-D=stuck-open",
    "two-run": "air.relay-D=stuck-open",
}


#: What else may be broken while the board defrosts: nothing, or a conductor or relay of one of these calls.
_ALSO_BROKEN = ("", "", "Y2", "G", "W1")


def _defrost_variant(rng: random.Random) -> Givens:
    job, about = any_job(rng), rng.choice(_ALSO_BROKEN)
    faults = [rng.choice(_lost(job, about))] if about else []
    if rng.random() < 0.5:
        faults.append(_REQUEST_BROKEN[job])
    call = rng.choice(("heat-2", "heat-aux") if about == "Y2" else ("heat-1", "heat-2", "heat-aux"))
    return {"job": job, "call": call, "faults": faults}


def _request(givens: Givens) -> str:
    return _REQUEST_BROKEN[givens["job"]]


_BEFORE, _IN_DEFROST = "before", "in_defrost"


def _defrost_question(givens: Givens) -> str:
    said = " and ".join(f"{fault_sentence(fault)} (`{fault}`)" for fault in givens["faults"])
    broken = f" But {said}." if said else ""
    return (
        f"{site(givens['job'])} It is -2 °C outdoors and the thermostat asks for `{givens['call']}`.{broken} "
        f"After a while the outdoor board goes into **defrost**. Which equipment responds `{_BEFORE}` the "
        f"defrost, and which `{_IN_DEFROST}`, 30 seconds after it began?\n\n"
        f"Answer each with a list of some of these: {_ALL_EQUIPMENT}. The reversing valve responds when "
        f"its solenoid is energised."
    )


def _heating(givens: Givens, faults: tuple[str, ...] | None = None) -> list[str]:
    broken = tuple(givens["faults"]) if faults is None else faults
    return responds(settled(givens["job"], givens["call"], broken, outdoor_c=-2.0))


def _in_defrost(givens: Givens, faults: tuple[str, ...] | None = None) -> list[str]:
    broken = tuple(givens["faults"]) if faults is None else faults
    return responds(settled(givens["job"], givens["call"], broken, outdoor_c=-2.0, defrost_for_s=30.0))


def _looks(before: list[str], in_defrost: list[str]) -> dict[str, list[str]]:
    return {_BEFORE: before, _IN_DEFROST: in_defrost}


def _in_defrost_only(read: Callable[[Givens], list[str]]) -> Callable[[Givens], dict[str, list[str]]]:
    """Return a model that is right about the heating, and misreads the defrost."""
    return lambda givens: _looks(_heating(givens), read(givens))


def _without_request(givens: Givens) -> tuple[str, ...]:
    return tuple(fault for fault in givens["faults"] if fault != _request(givens))


def _toggled(names: list[str], *others: str) -> list[str]:
    return [name for name in EQUIPMENT if (name in names) != (name in others)]


DEFROST = Exercise(
    id="1.5",
    title="Defrost",
    points=1,
    variant=_defrost_variant,
    question=_defrost_question,
    solve=lambda givens: _looks(_heating(givens), _in_defrost(givens)),
    compare=Table((_BEFORE, _IN_DEFROST), ChoiceSet(EQUIPMENT)),
    wrong_models=(
        WrongModel(
            "heats-on",
            "That is plain heating. In defrost the board turns the circuit round, stops the outdoor "
            "fan and asks indoors for heat.",
            _in_defrost_only(_heating),
        ),
        WrongModel(
            "no-request",
            "The thermostat does not ask for auxiliary heat, but the defrost board does: its D is "
            "joined to W1 at the air handler.",
            _in_defrost_only(lambda givens: _in_defrost(givens, (*givens["faults"], _request(givens)))),
        ),
        WrongModel(
            "request-arrives",
            "The request of the defrost board goes by D, and that way is broken here. Does anything "
            "else ask for auxiliary heat?",
            _in_defrost_only(lambda givens: _in_defrost(givens, _without_request(givens))),
        ),
        WrongModel(
            "nothing-broken",
            "That is the job with nothing broken. Which of these needs what is broken here?",
            lambda givens: _looks(_heating(givens, ()), _in_defrost(givens, ())),
        ),
        WrongModel(
            "broken-in-heating-only",
            "What is broken stays broken in defrost. But look which way each request goes there.",
            _in_defrost_only(lambda givens: _in_defrost(givens, ())),
        ),
        WrongModel(
            "fan-runs",
            "The outdoor fan rests in defrost: it would blow away the warmth that has to melt the frost.",
            _in_defrost_only(lambda givens: _toggled(_in_defrost(givens), "outdoor fan")),
        ),
        WrongModel(
            "valve-stays",
            "In defrost the circuit runs as in cooling. Where does that put the solenoid of this valve type?",
            _in_defrost_only(lambda givens: _toggled(_in_defrost(givens), "reversing valve")),
        ),
        WrongModel(
            "valve-reversed",
            "The valve is the wrong way round in both rows: O rests in heating, B rests in cooling.",
            lambda givens: _looks(
                _toggled(_heating(givens), "reversing valve"),
                _toggled(_in_defrost(givens), "reversing valve"),
            ),
        ),
        WrongModel(
            "compressor-rests",
            "The compressor runs in defrost: its hot gas is what melts the frost.",
            _in_defrost_only(
                lambda givens: [name for name in _in_defrost(givens) if not name.startswith("compressor")]
            ),
        ),
    ),
    nudge="First the heating, as if there were no defrost; then what the defrost board changes.",
)

# 1.6 One fault ---------------------------------------------------------------------------------------------

#: The calls that need a terminal, so that its loss shows.
_NEEDS = {
    "Y1": ("cool-1", "cool-2", "heat-1", "heat-2", "heat-aux"),
    "Y2": ("cool-2", "heat-2", "heat-aux"),
    "G": ("fan", "cool-1", "cool-2", "heat-1", "heat-2"),
    "O": ("cool-1", "cool-2"),
    "B": ("heat-1", "heat-2"),
    "W1": ("heat-aux", "emergency"),
    "setting": ("cool-1", "cool-2", "heat-1", "heat-2"),
}
_SETTING = "stat.valve=reversed"


def _fault_variant(rng: random.Random) -> Givens:
    job = any_job(rng)
    valve = demo_job(job).equipment.valve
    about = rng.choice(("Y1", "Y2", "G", valve, "W1", "setting"))
    fault = _SETTING if about == "setting" else rng.choice(_lost(job, about))
    return {"job": job, "about": about, "fault": fault, "call": rng.choice(_NEEDS[about])}


def _fault_question(givens: Givens) -> str:
    return (
        f"{site(givens['job'])} From the start, {fault_sentence(givens['fault'])} "
        f"(`{givens['fault']}`). The thermostat asks "
        f"for `{givens['call']}`. Which equipment responds, and what happens to the house?\n\n"
        f"Answer `responds` with a list of some of these: {_ALL_EQUIPMENT} (the valve responds when "
        f"its solenoid is energised), "
        'and `house` with `"heated"`, `"cooled"` or `"neither"`.'
    )


def _house(state: State) -> str:
    """Say what happens to the house: without moving air, neither heating nor cooling gets in."""
    words, valve = state.responding, demo_job(state.job).equipment.valve
    if words["blower"] == "off":
        return "neither"
    if words["compressor stage 1"] != "off":
        return "cooled" if (words["reversing valve"] != "off") == (valve == "O") else "heated"
    return "heated" if words["auxiliary heat"] != "off" else "neither"


def _outcome(givens: Givens, *faults: str) -> Givens:
    state = settled(givens["job"], givens["call"], faults)
    return {"responds": responds(state), "house": _house(state)}


def _broken(givens: Givens) -> Givens:
    return _outcome(givens, givens["fault"])


def _without_compressor(givens: Givens) -> Givens | None:
    """Compute what a lost stage or valve would give, if it stopped the whole compressor."""
    if givens["about"] not in ("Y2", "O", "B"):
        return None
    stopped = _outcome(givens, givens["fault"], _lost(givens["job"], "Y1")[-1])
    rest = [name for name in stopped["responds"] if name != "reversing valve"]
    return {"responds": rest, "house": stopped["house"]}


def _second_stage_alone(givens: Givens) -> Givens | None:
    if givens["about"] != "Y1":
        return None
    sound, broken = _outcome(givens), _broken(givens)
    return (
        {
            "responds": [name for name in sound["responds"] if name != "compressor stage 1"],
            "house": sound["house"],
        }
        if sound != broken
        else None
    )


def _valve_as_meant(givens: Givens) -> Givens | None:
    if givens["about"] not in ("O", "B", "setting"):
        return None
    return {"responds": _broken(givens)["responds"], "house": _outcome(givens)["house"]}


def _air_forgotten(givens: Givens) -> Givens | None:
    if givens["about"] != "G":
        return None
    return {"responds": _broken(givens)["responds"], "house": _outcome(givens)["house"]}


ONE_FAULT = Exercise(
    id="1.6",
    title="One fault, one call",
    points=2,
    variant=_fault_variant,
    question=_fault_question,
    solve=_broken,
    compare=Record((("responds", ChoiceSet(EQUIPMENT)), ("house", Choice(("heated", "cooled", "neither"))))),
    wrong_models=(
        WrongModel(
            "nothing-changes",
            "That is the job without the fault. This call needs what is broken: follow the terminal "
            "from the thermostat to its coil.",
            lambda givens: _outcome(givens),
        ),
        WrongModel(
            "everything-stops",
            "Each terminal has a coil of its own. What the other terminals ask for goes on.",
            lambda givens: {"responds": [], "house": "neither"},
        ),
        WrongModel(
            "compressor-stops",
            "Y1 alone pulls the contactor in. A lost second stage, or a valve that stays at rest, "
            "does not stop the compressor.",
            _without_compressor,
        ),
        WrongModel(
            "second-stage-alone",
            "Without Y1 the contactor stays open, and no compressor turns: a second stage is the "
            "second stage of that same compressor.",
            _second_stage_alone,
        ),
        WrongModel(
            "house-as-asked",
            "The equipment is right. Now ask which way the refrigerant goes with the valve as it "
            "is, not as it was meant.",
            _valve_as_meant,
        ),
        WrongModel(
            "air-forgotten",
            "The equipment is right. But without moving air over the indoor coil, nothing of it "
            "gets into the house.",
            _air_forgotten,
        ),
    ),
    nudge="Write the letters of the call. Strike out the one that is lost, and follow each of the others to "
    "its coil. Then ask: does air move, and how does the valve stand?",
)
