"""The command `hand-out`: from a roster to each student's own workbooks.

lessonkit hand-out --roster ROSTER.csv --seed S --out DIR
lessonkit hand-out --roster ROSTER.csv --fresh --out DIR
lessonkit hand-out --roster ROSTER.csv --seed S --only 20 --out DIR
"""

from __future__ import annotations

import argparse
import secrets
from pathlib import Path

from lessonkit.commands.words import class_seed, many

__all__ = ["add_arguments", "run"]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments."""
    parser.add_argument("--roster", type=Path, required=True, help="a CSV file with a column name")
    numbers = parser.add_mutually_exclusive_group(required=True)
    numbers.add_argument(
        "--seed", type=class_seed, help="the class seed: a number or a word, kept by the school"
    )
    numbers.add_argument(
        "--fresh",
        action="store_true",
        help="numbers that nobody can know before, for work under supervision; manifest.csv alone has them",
    )
    parser.add_argument(
        "--out", type=Path, required=True, help="a new folder for the workbooks and manifest.csv"
    )
    parser.add_argument(
        "--only",
        action="append",
        metavar="NUMBER",
        help="this workbook only, such as 03, or 20 for the concept test; may be given several times",
    )
    parser.add_argument(
        "--names-inside", action="store_true", help="write the student's name into the workbook too"
    )
    parser.add_argument(
        "--workbooks", type=Path, help="a folder of pristine workbooks in place of the series"
    )


def run(options: argparse.Namespace) -> int:
    """Make each student's own workbooks."""
    from lessonkit.grading.handout.copies import hand_out
    from lessonkit.grading.school import load_school

    school = load_school(options.workbooks, options.only or ())
    seed = secrets.token_hex(16) if options.fresh else options.seed
    made = hand_out(school, options.roster, seed, options.out, names_inside=options.names_inside)
    students, files = len(made.roll.students), len(made.roll.places)
    what = f"{many(files, 'workbook')} for {many(students, 'student')} in {options.out}"
    print(f"{what}; keep {made.manifest} for grading.")
    return 0
