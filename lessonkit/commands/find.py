"""`lessonkit find JOB`: what may be wrong, how likely, and what to look at next.

    lessonkit find two-run --told "cool-2: compressor stage 1 off" --read "cool-2: out:R out:C 26.1 V"

Everything is lived through on the bench: every single fault of the job, under every call. What is told and
read narrows it; the next look is the one that teaches most for each minute of walking and measuring.
"""

from __future__ import annotations

import argparse
import json
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lessonkit.studies.find import NextLook, Search

__all__ = ["add_arguments", "run"]

_SHOWN = 8


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments."""
    parser.add_argument("job", metavar="JOB", help="a demo job by name, or the path of a job file")
    parser.add_argument(
        "--told",
        action="append",
        default=[],
        metavar="TEXT",
        help='what was seen or complained of, such as "cool-2: compressor stage 1 off" (repeat for more)',
    )
    parser.add_argument(
        "--read",
        action="append",
        default=[],
        metavar="TEXT",
        help='a reading, such as "cool-2: out:R out:C 26.1 V" (repeat for more)',
    )
    parser.add_argument(
        "--lift",
        action="store_true",
        help="let wires be lifted on the dead circuit and ohms be read, such as "
        '--read "ring-out outdoor: air:outdoor.R air:outdoor.C 0.8 ohm"',
    )
    parser.add_argument("--pairs", action="store_true", help="let two faults at once be suspects (slower)")
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(options: argparse.Namespace) -> int:
    """Print the suspects and the next look."""
    from lessonkit.studies.find import Search

    search = Search(options.job, pairs=options.pairs, lifts=options.lift)
    for text in options.told:
        search.told(text)
    for text in options.read:
        search.read(text)
    if options.json:
        print(json.dumps(search.to_dict(), indent=2))
    else:
        _tell(search, options.lift)
    return 0


def _tell(search: Search, lifts: bool) -> None:
    print("Suspects, the likeliest first:")
    shown = [c for c in search.candidates if c.probability > 0.002][:_SHOWN]
    for candidate in shown:
        print(f"  {candidate}")
    rest = 1.0 - sum(candidate.probability for candidate in shown)
    if rest > 0.005:
        print(f"  {rest:6.1%}  all others together")
    found = search.found
    if found is not None:
        alike = "" if len(found) == 1 else " No look at volts or equipment tells them apart."
        print(f"Found: {', '.join(' + '.join(map(str, c.faults)) for c in found)}.{alike}")
    _tell_next(search, lifts, sure=found is not None and len(found) == 1)
    print("Disconnect and prove dead before you touch a wire; local codes and licensed practice come first.")


def _tell_next(search: Search, lifts: bool, sure: bool) -> None:
    dead = None if lifts or sure else search.if_lifted()
    step = search.next
    if step is None:
        print("No further look tells anything.")
    else:
        _tell_look(search, step)
    if dead is not None:
        print(
            f"With --lift, wires lifted on the dead circuit, the next look would be {dead.look} "
            f"({dead.minutes:g} min, {dead.bits:.2f} bit)."
        )


def _tell_look(search: Search, step: NextLook) -> None:
    print(f"Look next at {step.look} ({step.minutes:g} min, {step.bits:.2f} bit):")
    for words, out in step.rules_out.items():
        others = f" and {len(out) - 4} more" if len(out) > 4 else ""
        print(f"  {words}: {'rules out ' + ', '.join(out[:4]) + others if out else 'rules out nobody'}")
    print(f"Expected from here: {search.minutes_expected():.0f} min.")
