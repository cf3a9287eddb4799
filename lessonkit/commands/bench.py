"""`lessonkit bench JOB`: bring a job to life, break it, and print what responds.

The bench first runs sound for a while under the call, so that everything is where it should be; then the
faults strike all at once; then time passes; then the state is printed, as a table or, with --json, as one
object.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from lessonkit.bench.state import State
from lessonkit.errors import BadParameter, LessonError, require
from lessonkit.job.model import Job
from lessonkit.studies.experiment import SOUND_S, experiment

if TYPE_CHECKING:
    from lessonkit.bench.bench import Bench

#: More than a week of simulated seconds is a slip of the finger; hours are passed one by one.
LONGEST_S, STRIDE_S = 604800.0, 3600.0


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
        default="60",
        metavar="S",
        help=f"seconds to let pass after the faults strike (default: 60; {SOUND_S:g} s sound before)",
    )
    parser.add_argument(
        "--outdoor", default="8", metavar="C", help="outdoor air in degrees Celsius (default: 8)"
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
    seconds, outdoor_c = _number("--seconds", args.seconds), _number("--outdoor", args.outdoor)
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
    state = _pass_time(bench, seconds)
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
        print(json.dumps(state.to_dict() | {"seconds": seconds}, ensure_ascii=False, indent=1))
    else:
        _print_state(job, state, seconds)
    return 0


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


def _what_it_is(terminal: str) -> str:
    """Return what a node of the table is, in words."""
    from lessonkit.job.calls import PLACE_WORDS, TERMINAL_WORDS

    inner = {
        "GND": "grounded metal",
        "XFMR": "transformer, ahead of the fuse",
        "CC": "contactor coil, behind the board",
        "RV": "valve solenoid, behind the board",
    }
    if terminal in inner:
        return inner[terminal]
    name, _, place = terminal.rpartition("-")
    if place not in PLACE_WORDS:
        name, place = terminal, ""
    what = TERMINAL_WORDS.get(name, "not in use")
    return f"{what}, to the {PLACE_WORDS[place]}" if place else what


def _print_state(job: Job, state: State, seconds: float) -> None:
    from rich.console import Console
    from rich.table import Table

    from lessonkit.job.calls import PLACES

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
        volts.add_row(name, _what_it_is(name), *cells)
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
