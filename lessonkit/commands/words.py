"""What several commands read and say in the same way."""

from __future__ import annotations

import argparse
from pathlib import Path

from lessonkit.errors import LessonError

__all__ = ["class_seed", "many", "write_file"]


def class_seed(text: str) -> str:
    """Return a class seed as typed, without the white space around it."""
    if not text.strip():
        raise argparse.ArgumentTypeError("the class seed is empty; give a number or a word")
    return text.strip()


def many(number: int, what: str) -> str:
    """Return a number with its noun, in the plural where it is not one."""
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def write_file(where: str, text: str, what: str) -> None:
    """Write a text to a file that appears whole; `what` it is, such as "page", for the error."""
    from lessonkit.files import write_whole

    if not where:
        raise LessonError(f"the {what} can't be written to a file without a name; choose a place.")
    try:
        write_whole(Path(where), text)
    except OSError as error:
        raise LessonError(
            f"the {what} can't be written to {where} ({error.strerror}); choose another place."
        ) from None
