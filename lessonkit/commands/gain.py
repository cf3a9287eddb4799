"""The command `gain`: what a class has gained between the two forms of the concept test.

    lessonkit gain marks-before marks-after
    lessonkit gain marks-before marks-after --html gain.html

Both folders are what `lessonkit grade` has written, the form before the course first.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from lessonkit.files import write_whole

__all__ = ["add_arguments", "run"]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments."""
    parser.add_argument("before", type=Path, help="the marks of the form that was taken before the course")
    parser.add_argument("after", type=Path, help="the marks of the form that was taken after it")
    parser.add_argument("--html", type=Path, metavar="FILE", help="write a page to print, with a picture")


def run(options: argparse.Namespace) -> int:
    """Print the gain of a class."""
    from lessonkit.exercises.concepts import ideas
    from lessonkit.grading.gain import class_gain, read_taken
    from lessonkit.grading.gain_page import gain_page, gain_words

    gain = class_gain(read_taken(options.before), read_taken(options.after))
    titles = {str(number): idea.title for number, idea in enumerate(ideas(), 1)}
    print(gain_words(gain))
    for item in sorted(gain.items, key=lambda one: (one.gain is None, one.gain or 0.0)):
        shown = "   -" if item.gain is None else f"{item.gain:5.2f}"
        line = f"{item.question:>4}  {item.before:4.0f} % {item.after:4.0f} % {shown}"
        print(f"{line}  {titles.get(item.question, '')}")
    for words, names in (("before", gain.only_before), ("after", gain.only_after)):
        if names:
            print(f"left out, took only the form {words} the course: {', '.join(names)}")
    if options.html:
        write_whole(options.html, gain_page(gain, titles))
        print(f"The page is in {options.html}.")
    return 0
