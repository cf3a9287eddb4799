"""The command `handouts`: workbooks as pages to print, as HTML and PDF.

lessonkit handouts DIR [--books 01 02] [--paper letter]
lessonkit handouts DIR --manifest handed-out/manifest.csv
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from lessonkit.commands.words import many

__all__ = ["add_arguments", "run"]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments."""
    parser.add_argument("out", type=Path, metavar="DIR", help="the folder for the pages")
    parser.add_argument("--books", nargs="+", default=[], metavar="NN", help="these workbooks, such as 01 02")
    parser.add_argument(
        "--paper", choices=("a4", "letter"), default="a4", help="the size of paper (default: %(default)s)"
    )
    parser.add_argument(
        "--manifest",
        type=Path,
        help="a hand-out's manifest.csv: each student's numbers, a folder for each",
    )
    parser.add_argument("--browser", metavar="PROGRAM", help="the Chromium browser that makes PDFs")
    parser.add_argument("--no-pdf", action="store_true", help="write HTML alone")
    parser.add_argument(
        "--workbooks", type=Path, help="a folder of pristine workbooks in place of the series"
    )


def run(options: argparse.Namespace) -> int:
    """Write the handouts."""
    from lessonkit.grading.handout.printing import find_browser, print_handouts
    from lessonkit.grading.roster import handed_out, read_roll
    from lessonkit.grading.school import load_school

    school = load_school(options.workbooks, handed_out(options.manifest))
    roll = None if options.manifest is None else read_roll(options.manifest, school, None)
    browser = None if options.no_pdf else find_browser(options.browser)
    loud = sys.stderr.isatty()
    made = print_handouts(
        school,
        options.out,
        books=options.books,
        roll=roll,
        paper=options.paper,
        browser=browser,
        say=(lambda text: print(text, file=sys.stderr, flush=True)) if loud else lambda text: None,
    )
    print(f"{many(len(made.pages), 'page')} and {many(len(made.pdfs), 'PDF')} in {options.out}")
    if browser is None and not options.no_pdf:
        print("No Chromium browser was found: print the pages from any browser, or name one by --browser.")
    return 0
