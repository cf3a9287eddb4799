"""The command line: one name, a few commands, each with a room of its own.

    lessonkit lab | bench | plan | find | season | hand-out | handouts | grade | guide | gain | site | figures

A command's room is imported only when that command was asked for, so `lessonkit --help` answers at once.
What a person reads goes to standard output; what went wrong goes to standard error as one sentence, and
the exit status tells a script which kind it was:

    0    done
    1    done, and the answer is "no" (grading found trouble, say), or lessonkit met a mistake of its own
    2    the command line, a file or a value was wrong; the sentence says which and what to do
    130  stopped with Ctrl-C
    141  whoever read the output stopped reading
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import traceback
from collections.abc import Sequence
from importlib import import_module
from typing import NamedTuple, NoReturn

from lessonkit import __version__
from lessonkit.errors import LessonError


class Command(NamedTuple):
    """One command: its line of help, and its room, which has `add_arguments` and `run`."""

    summary: str
    room: str


#: The status after a broken pipe, as shells count it: 128 and the number of the signal.
READER_GONE = 141

COMMANDS: dict[str, Command] = {
    "lab": Command("open the workbooks in JupyterLab", "lessonkit.commands.lab"),
    "bench": Command("settle a job under a call and faults, and print it", "lessonkit.commands.bench"),
    "find": Command("name the likely faults of a job, and what to look at next", "lessonkit.commands.find"),
    "season": Command("reckon a heating season from an hourly weather file", "lessonkit.commands.season"),
    "plan": Command("plan a job from a survey of what is in the wall", "lessonkit.commands.plan"),
    "prove": Command(
        "print the commissioning sheet of a job, or judge a filled one", "lessonkit.commands.prove"
    ),
    "hand-out": Command("make each student's own workbooks", "lessonkit.commands.hand_out"),
    "handouts": Command("make pages to print of the workbooks", "lessonkit.commands.handouts"),
    "grade": Command("mark a folder of answered workbooks", "lessonkit.commands.grade"),
    "guide": Command(
        "print every exercise with its answer and hints, for teachers alone", "lessonkit.commands.guide"
    ),
    "gain": Command("say what a class has gained between two tests", "lessonkit.commands.gain"),
    "site": Command("make the series a folder for a web server", "lessonkit.commands.site"),
    "figures": Command("remake the pictures in figures/", "lessonkit.commands.figures"),
}


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status."""
    arguments = list(sys.argv[1:] if argv is None else argv)
    # A Windows console may have no ohm sign; a question mark in its place beats an error.
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        status = _dispatch(arguments)
        if sys.stdout is not None:  # a shell's `>&-` leaves none
            sys.stdout.flush()
        return status
    except SystemExit as stop:  # argparse, after help, a version or a usage error
        if isinstance(stop.__context__, BrokenPipeError):  # rich leaves so
            return READER_GONE
        return stop.code if isinstance(stop.code, int) else 2
    except LessonError as error:
        return _complain(str(error), 2)
    except BrokenPipeError:
        # Python flushes standard output once more at exit; give it somewhere that still takes it.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return READER_GONE
    except KeyboardInterrupt:
        return 130
    except OSError as error:
        where = f"{error.filename}: " if error.filename else ""
        return _complain(f"{where}{error.strerror or error}; check that path, and that you may use it.", 2)
    except ModuleNotFoundError as error:
        package = (error.name or "").partition(".")[0]
        if package in ("", "lessonkit"):
            return _complain(_own_mistake(error), 1)
        return _complain(
            f"this Python ({sys.executable}) has no {package}, which lessonkit needs: in a checkout use the "
            "Python in .venv that `python -m lessonkit.begin lab` makes; elsewhere `pip install lessonkit`.",
            2,
        )
    except Exception as error:
        return _complain(_own_mistake(error), 1)


class _Parser(argparse.ArgumentParser):
    """A parser whose errors end in where to read on."""

    def error(self, message: str) -> NoReturn:
        self.exit(2, f"{self.prog}: {message}; see `{self.prog} --help`.\n")


def _dispatch(arguments: list[str]) -> int:
    about = "A bench and workbooks for multiplexed low-voltage control."
    parser = _Parser(prog="lessonkit", description=about)
    parser.add_argument("--version", action="version", version=f"lessonkit {__version__}")
    choices = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    asked = next((word for word in arguments if not word.startswith("-")), None)
    for name, command in COMMANDS.items():
        room_parser = choices.add_parser(name, help=command.summary, description=_sentence(command.summary))
        if name == asked:
            room = import_module(command.room)
            room.add_arguments(room_parser)
            room_parser.set_defaults(run=room.run)
    options, unknown = parser.parse_known_args(arguments)
    if unknown:  # the command's own parser says it, so that the sentence leads to the command's help
        choices.choices[options.command].error(f"unrecognized arguments: {' '.join(unknown)}")
    return int(options.run(options))


def _sentence(summary: str) -> str:
    return summary[0].upper() + summary[1:] + "."


def _complain(sentence: str, status: int) -> int:
    print(f"lessonkit: {sentence}", file=sys.stderr)
    return status


def _own_mistake(error: Exception) -> str:
    """Keep the traceback in a file and say where, in one sentence."""
    with tempfile.NamedTemporaryFile(
        "w", prefix="lessonkit-", suffix=".txt", delete=False, encoding="utf-8"
    ) as kept:
        traceback.print_exception(error, file=kept)
    said = " ".join(str(error).split()) or "no further words"
    return (
        f"this is a mistake in lessonkit itself ({type(error).__name__}: {said}); "
        f"please pass {kept.name} on to whoever keeps your copy, with the command that you gave."
    )


if __name__ == "__main__":
    sys.exit(main())
