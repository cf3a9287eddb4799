"""`lessonkit prove JOB`: the commissioning sheet of a job, and what a filled one says.

    lessonkit prove two-run --html sheet.html --csv sheet.csv
    lessonkit prove two-run --readings sheet.csv
    lessonkit prove two-run --readings sheet.csv --json

The bench works through every step of the sheet and writes beside it the band in which a sound job's reading
lies. A sheet that was filled in, as CSV or TOML, is judged: what is out of its band, which fault explains it
best, what to measure next, and what line, splices and ground fit the readings.
"""

from __future__ import annotations

import argparse
import json
from typing import TYPE_CHECKING

from lessonkit.commands.words import write_file

if TYPE_CHECKING:
    from lessonkit.studies.judging import Judged
    from lessonkit.studies.prove import Proof

__all__ = ["add_arguments", "run"]

_SHOWN = 12


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments."""
    parser.add_argument("job", metavar="JOB", help="a demo job by name, or the path of a job file")
    parser.add_argument("--html", metavar="FILE", help="write the sheet as a page to print (A4 or Letter)")
    parser.add_argument("--csv", metavar="FILE", help="write the sheet as a table to fill in")
    parser.add_argument("--readings", metavar="FILE", help="judge a sheet that was filled in (CSV or TOML)")
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(options: argparse.Namespace) -> int:
    """Print the sheet, or what a filled one says."""
    from lessonkit.studies.prove import prove
    from lessonkit.studies.sheet import read_sheet

    proof = prove(options.job)
    readings = None if options.readings is None else read_sheet(options.readings, proof.steps)
    if options.csv is not None:
        write_file(options.csv, proof.csv(readings), "sheet")
    if options.html is not None:
        from lessonkit.draw.prove_page import prove_page

        write_file(options.html, prove_page(proof), "page")
    if readings is None:
        print(json.dumps(proof.to_dict(), indent=2, ensure_ascii=False)) if options.json else _tell(proof)
        return 0
    from lessonkit.studies.judging import judge

    judged = judge(proof, readings)
    if options.json:
        print(json.dumps(judged.to_dict(), indent=2, ensure_ascii=False))
    else:
        _tell_judged(judged)
    return 0


def _tell(proof: Proof) -> None:
    from lessonkit.studies.sheet import shown

    print(proof.job.title or proof.job.name)
    part = ""
    for step in proof.steps:
        if step.part != part:
            part = step.part
            print(part)
        for words in step.before:
            print(f"  {words}:")
        band = f"{shown(step.low, step.unit)} to {shown(step.high, step.unit)} {step.unit}"
        points = f" {step.red} {step.black}".rstrip()
        print(f"  {step.number:4}  {step.act}{points}  {band if step.is_number else step.low}")
    print(
        "Disconnect and prove dead before you touch a wire. Local codes, makers' instructions and licensed "
        "practice come first."
    )


def _tell_judged(judged: Judged) -> None:
    from lessonkit.studies.sheet import filled_words, shown

    steps = judged.proof.steps
    print(filled_words(len(steps) - judged.empty, len(steps), len(judged.out)))
    for number in list(judged.out)[:_SHOWN]:
        step = steps[number - 1]
        what = " ".join(filter(None, (step.call, step.act, step.red, step.black)))
        read = shown(judged.readings[number], step.unit)
        if step.is_number:
            band = f"{shown(step.low, step.unit)} to {shown(step.high, step.unit)} {step.unit}"
            print(f"  step {number}: {what}: {read}, outside {band}")
        else:
            print(f"  step {number}: {what}: {read}, not {step.low}")
    if len(judged.out) > _SHOWN:
        print(f"  and {len(judged.out) - _SHOWN} more; --json shows all")
    if judged.explained_by:
        print("Best explained by:")
        for one in judged.explained_by[:_SHOWN]:
            print(f"  {one}")
    if judged.next is not None:
        print(f"Measure next: {judged.next.look} ({judged.next.minutes:g} min)")
        for words, out in judged.next.rules_out.items():
            print(f"  {words}: {'rules out ' + ', '.join(out) if out else 'rules out nobody'}")
    if judged.fit is not None:
        print(judged.fit)
    print("Disconnect and prove dead before you touch a wire; local codes and licensed practice come first.")
