"""What several commands read and say in the same way."""

from __future__ import annotations

import argparse

__all__ = ["class_seed", "many"]


def class_seed(text: str) -> str:
    """Return a class seed as typed, without the white space around it."""
    if not text.strip():
        raise argparse.ArgumentTypeError("the class seed is empty; give a number or a word")
    return text.strip()


def many(number: int, what: str) -> str:
    """Return a number with its noun, in the plural where it is not one."""
    return f"{number} {what}" if number == 1 else f"{number} {what}s"
