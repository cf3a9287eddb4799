"""`lessonkit bench JOB`: bring a job to life, break it, put hands and a meter on it, print what responds.

The bench first runs sound for a while under the call, so that everything is where it should be; then the
faults strike all at once; then hands act: the disconnect, works on the wiring, a fuse, the test pins, in this
order; then time passes, and a story is played if there is one; then the meter reads and the state is printed,
as a table or, with --json, as one object. The status is 1 where a step of a story came out otherwise.
"""

from __future__ import annotations

import argparse
import json
import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lessonkit.bench.hands import Hands
from lessonkit.bench.meter import LiveCircuit, Meter
from lessonkit.bench.power import DISCONNECTS
from lessonkit.bench.reading import Reading
from lessonkit.bench.state import State
from lessonkit.errors import BadParameter, LessonError, require
from lessonkit.job.model import Job
from lessonkit.studies.experiment import SOUND_S, experiment
from lessonkit.studies.steps import Told, load_story, play

if TYPE_CHECKING:
    from lessonkit.bench.bench import Bench

#: More than a week of simulated seconds is a slip of the finger; hours are passed one by one.
LONGEST_S, STRIDE_S = 604800.0, 3600.0


#: What --power takes, and what hands make of it: closed or open, and where (nothing: everywhere).
_POWER: dict[str, tuple[bool] | tuple[bool, str]] = {
    "on": (True,),
    "off": (False,),
    **{f"{place}={word}": (word == "on", place) for place in DISCONNECTS for word in ("on", "off")},
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of `bench`."""
    parser.add_argument("job", metavar="JOB", help="a job file (TOML) or the name of a demo job")
    parser.add_argument(
        "--call", default="off", metavar="CALL", help="what the thermostat asks for (default: off)"
    )
    parser.add_argument(
        "--fault",
        action="append",
        default=[],
        metavar="FAULT",
        help="RUN.CONDUCTOR=KIND[:VALUE] or PLACE.PART=KIND[:VALUE], such as outdoor.SIG=open; "
        "may be given several times",
    )
    parser.add_argument(
        "--seconds",
        default=None,
        metavar="S",
        help="seconds to let pass after the faults strike "
        f"(default: 60, or 0 before a story; {SOUND_S:g} s sound before)",
    )
    parser.add_argument(
        "--outdoor", default="8", metavar="C", help="outdoor air in degrees Celsius (default: 8)"
    )
    parser.add_argument(
        "--power",
        action="append",
        default=[],
        metavar="on|off|PLACE=off",
        help="both disconnects, or the one at PLACE, air or out (default: on); may be given several times",
    )
    parser.add_argument(
        "--hand",
        action="append",
        default=[],
        metavar="WORK",
        help="a work of hands, such as 'lift out:outdoor.SIG' or 'jumper air:R air:G'; "
        "may be given several times",
    )
    parser.add_argument("--fuse", action="store_true", help="put in a whole fuse")
    parser.add_argument("--defrost", action="store_true", help="bridge the test pins of the defrost board")
    parser.add_argument(
        "--meter",
        action="append",
        nargs=2,
        default=[],
        metavar=("RED", "BLACK"),
        help="read volts, direct volts and ohms between two terminals; may be given several times",
    )
    parser.add_argument(
        "--steps",
        metavar="FILE",
        help="a story in TOML: what to do, to wait for, to read; or the name of one that comes along",
    )
    parser.add_argument("--seed", default="0", metavar="N", help="seed of noise and phases (default: 0)")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--spice", metavar="FILE", help="write the circuit in its last state as a netlist")
    parser.add_argument("--list", action="store_true", help="list what can break in this job, and how")


def run(args: argparse.Namespace) -> int:
    """Run `bench`; raises a `LessonError` for anything that can't be."""
    from lessonkit.job.toml import load_job

    job = load_job(args.job)
    if args.list:
        _print_parts(job)
        return 0
    tried = experiment(job, args.call, args.fault, after_s=0.0)
    story = None if args.steps is None else load_story(args.steps, job)
    usual = "60" if story is None else "0"
    seconds = _number("--seconds", usual if args.seconds is None else args.seconds)
    for words in args.power:
        require(words in _POWER, "--power", words, f"on or off, or one of {', '.join(list(_POWER)[2:])}")
    outdoor_c = _number("--outdoor", args.outdoor)
    seed = _number("--seed", args.seed)
    if not (0 <= seed < 2**53 and seed.is_integer()):
        raise BadParameter("--seed", args.seed, "a whole number, 0 or more")
    tried = replace(tried, seed=int(seed), outdoor_c=outdoor_c)
    try:
        bench = tried.struck()
    except BadParameter as error:
        if error.name != "outdoor_c":
            raise
        raise BadParameter("--outdoor", args.outdoor, error.allowed) from None
    begun_s = bench.time_s
    done = _act(bench, args)
    _pass_time(bench, seconds)
    told = () if story is None else play(bench, story)
    read = [_read(bench, red, black) for red, black in args.meter]
    state = bench.state
    if told:
        seconds = bench.time_s - begun_s
    if args.spice is not None:
        try:
            Path(args.spice).write_text(bench.to_spice(), encoding="utf-8")
        except OSError as error:
            where = args.spice or "a file without a name"
            raise LessonError(
                f"the netlist can't be written to {where} ({error.strerror}); choose another place"
            ) from None
    if args.json:
        # The bench's own clock has run since before the faults; who asked for 60 seconds reads 60.
        more: dict[str, Any] = {"seconds": seconds}
        more |= {"meter": read} if read else {}
        more |= {"steps": [one.to_dict() for one in told]} if told else {}
        print(json.dumps(state.to_dict() | more, ensure_ascii=False, indent=1))
    else:
        _print_story(done, told, read)
        _print_state(job, state, seconds)
    return 0 if all(one.as_said for one in told) else 1


def _act(bench: Bench, args: argparse.Namespace) -> list[str]:
    """Do what the options say, as the panel does, and return it in words."""
    hands = Hands(bench)
    done = [str(hands.power(*_POWER[words])) for words in args.power]
    done += [str(hands.do(work)) for work in args.hand]
    if args.fuse:
        bench.replace_fuse()
        done.append("a whole fuse put in")
    if args.defrost:
        bench.force_defrost()
        done.append("the test pins of the defrost board bridged")
    return done


def _read(bench: Bench, red: str, black: str) -> dict[str, Any]:
    """Return what the meter reads between two points in each setting; ohms are None where refused."""
    meter = Meter(bench)
    low, direct = meter.volts(red, black, "low"), meter.dc_volts(red, black)
    found: dict[str, Any] = {"red": red, "black": black, "volts": meter.volts(red, black).value}
    found |= {"volts_low": low.value, "dc_volts": direct.value, "ohms": None, "why": ""}
    try:
        ohm = meter.ohms(red, black).value
        found |= {"ohms": ohm} if math.isfinite(ohm) else {"why": "OL"}
    except LiveCircuit as error:
        found["why"] = str(error)
    return found


def _print_story(done: list[str], told: Sequence[Told], read: list[dict[str, Any]]) -> None:
    """Print what hands did, how each step came out, and what the meter reads."""
    from rich.console import Console

    console = Console()
    for words in done:
        console.print(f"by hand: {words}", markup=False, highlight=False)
    for k, one in enumerate(told, 1):
        said = f"{one.step.say}  " if one.step.say else ""
        mark = "" if one.as_said else "  NOT AS SAID"
        what = one.step.do or one.step.read or "wait"
        shown = "" if one.shown == what else f": {one.shown}"
        console.print(f"{k:3d}  {said}{what}{shown}{mark}", markup=False, highlight=False)
    if told:
        console.print(f"     {told[-1].minutes:g} minutes of work", markup=False, highlight=False)
    for one_read in read:
        volts = ", ".join(
            f"{Reading(one_read[key], 'V', setting=setting)} {words}"
            for key, setting, words in (
                ("volts", "high", "at 10 Mohm"),
                ("volts_low", "low", "at 3 kohm"),
                ("dc_volts", "dc", "direct"),
            )
        )
        ohms = one_read["ohms"]
        ohms = f"ohms: {one_read['why']}" if ohms is None else str(Reading(ohms, "ohm", setting="ohms"))
        where = f"{one_read['red']} to {one_read['black']}"
        console.print(f"meter {where}: {volts}; {ohms}", markup=False, highlight=False)


def _pass_time(bench: Bench, seconds: float) -> State:
    """Let time pass; hours of it show their progress on a terminal."""
    require(0 <= seconds <= LONGEST_S, "--seconds", seconds, f"from 0 to {LONGEST_S:g}, a week")
    if seconds < 2 * STRIDE_S:
        return bench.advance(seconds)
    from rich.console import Console
    from rich.progress import track

    strides = [STRIDE_S] * int(seconds // STRIDE_S) + [seconds % STRIDE_S]
    console = Console(stderr=True)
    for stride_s in track(
        strides, "time passes", console=console, disable=not console.is_terminal, transient=True
    ):
        bench.advance(stride_s)
    return bench.state


def _number(option: str, text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise BadParameter(option, text, "a number") from None


def _print_parts(job: Job) -> None:
    from rich.console import Console
    from rich.table import Table

    from lessonkit.job.faults import fault_parts

    table = Table(title=f"What can break in {job.name}", title_justify="left")
    for heading in ("part", "kind", "what happens", "value"):
        table.add_column(heading, no_wrap=heading in ("part", "kind"))  # these are copied by hand
    for part, kinds in fault_parts(job).items():
        for k, kind in enumerate(kinds.values()):
            value = {"none": "", "conductor": "the other conductor"}.get(
                kind.value, f"{kind.default} {kind.unit}"
            )
            table.add_row(
                part if k == 0 else "",
                kind.name + (" [@position]" if kind.placed else "").replace("[", r"\["),
                kind.words,
                value,
            )
    Console().print(table)


def _print_state(job: Job, state: State, seconds: float) -> None:
    from rich.console import Console
    from rich.table import Table

    from lessonkit.bench.remarks import earth_words, second_transformer_words, supply_words
    from lessonkit.job.calls import PLACES
    from lessonkit.job.naming import terminal_words

    console = Console()
    console.print(f"{job.title or job.name}", style="bold", markup=False)
    faults = ", ".join(state.faults) or "none"
    console.print(f"call {state.call}, faults: {faults}, after {seconds:g} s", markup=False)
    console.print(f"the house gets: {state.delivering}", markup=False)
    equipment = Table("equipment", "responds")
    for name, words in state.responding.items():
        equipment.add_row(name, words)
    console.print(equipment)
    coils = Table("coil", "volts across it", "armature")
    for name, coil in state.coils.items():
        coils.add_row(name, f"{coil.volts:.2f}", coil.word)
    console.print(coils)
    volts = Table(
        "terminal",
        "what it is",
        *PLACES,
        title="RMS volts against C at the air handler\n"
        "(stat is the thermostat, air the air handler, out the outdoor unit)",
    )
    names = dict.fromkeys(node.partition(":")[2] for node in state.volts)
    for name in names:
        cells = [
            f"{state.volts[f'{place}:{name}']:.2f}" if f"{place}:{name}" in state.volts else ""
            for place in PLACES
        ]
        volts.add_row(name, terminal_words(name), *cells)
    console.print(volts)
    for run, link in state.links.items():
        console.print(
            f"link on the {run} run: {link.state}; {link.sent} frames sent since the start, "
            f"{link.accepted} accepted, {link.replies} answered" + (f"; {link.why}" if link.why else ""),
            markup=False,
        )
    if state.chatter:
        console.print(f"chatter: {', '.join(state.chatter)}", markup=False)
    console.print(f"fuse: {state.fuse}")
    for words in (*supply_words(state, job), second_transformer_words(state, job), earth_words(state, job)):
        if words:
            console.print(words, markup=False)
