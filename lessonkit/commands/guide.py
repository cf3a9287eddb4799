"""The command `guide`: every exercise with its answer, its misunderstandings and hints, for teachers alone.

    lessonkit guide --html guide.html
    lessonkit guide --html guide.html --roster handed-out/manifest.csv --student "Ida Holm" --only 03

Without a student the numbers are those of self-study.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from lessonkit.commands.words import class_seed, many, write_file
from lessonkit.errors import BadParameter, LessonError

__all__ = ["add_arguments", "run"]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments."""
    parser.add_argument("--html", required=True, metavar="FILE", help="where to write the page")
    parser.add_argument(
        "--only",
        action="append",
        metavar="NUMBER",
        help="this workbook only, such as 03; may be given several times",
    )
    parser.add_argument("--roster", type=Path, help="the roster or the manifest.csv of the hand-out")
    parser.add_argument("--seed", type=class_seed, help="the class seed, where --roster is a roster")
    parser.add_argument("--student", metavar="NAME", help="whose numbers; the name as in the roster")
    parser.add_argument(
        "--workbooks", type=Path, help="a folder of pristine workbooks in place of the series"
    )


def run(options: argparse.Namespace) -> int:
    """Write the teacher's guide."""
    from lessonkit.grading.guide import guide_page, refuse_students_folder
    from lessonkit.grading.roster import read_roll
    from lessonkit.grading.school import load_school

    if (options.student is None) != (options.roster is None):
        raise LessonError("--student and --roster go together; leave both out for the self-study numbers.")
    refuse_students_folder(Path(options.html))
    school = load_school(options.workbooks, options.only or ())
    numbers: dict[str, int] = {}
    whose = "self-study numbers"
    if options.student is not None:
        roll = read_roll(options.roster, school, options.seed)
        if options.student not in roll.students:
            names = ", ".join(roll.students)
            raise BadParameter("--student", options.student, f"a name of the roster: {names}")
        numbers = {place.book: place.variant for place in roll.places if place.student == options.student}
        whose = f"numbers of {options.student}"
    page = guide_page(school, lambda book: numbers.get(book, 0), whose)
    write_file(options.html, page, "guide")
    exercises = sum(len(book.exercises) for book in school.books)
    print(f"{many(exercises, 'exercise')} of {many(len(school.books), 'workbook')}, {whose}.")
    print(f"The guide is in {options.html}. It tells every answer: keep it from students.")
    return 0
