"""From files to answers: the reading half of grading.

`load` takes a file's bytes, and nothing but an ordinary file's; `read_batch` turns a batch of them into
readings, with a child process for the files (`lessonkit.grading.reading.reader`) and a confined one for each
submission whose answers have to be computed. A batch is plain data in and plain data out, so that any
executor can carry it to any machine.
"""

from __future__ import annotations

import errno
import json
import os
import stat
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from lessonkit.errors import LessonError
from lessonkit.exercises.plain import NotPlain, decode, encode
from lessonkit.grading.children import Talk, own_environment, python_command
from lessonkit.grading.reading.confine import compute_answers, confinement
from lessonkit.grading.reading.intake import MAX_BYTES, ClosedFile, UnreadableFile, too_large
from lessonkit.grading.reading.slices import Plan
from lessonkit.grading.said import fit_lines, fit_to_show

__all__ = ["FoundAnswer", "Reading", "load", "read_batch"]

START_S = 120.0
FILE_S = 20.0
LINE_CAP = 8_000_000


@dataclass(frozen=True)
class FoundAnswer:
    """One exercise in one file.

    `state` is "given" (with `wire`), "unanswered", "broken" or "teacher"; the last two with a `reason`.
    """

    state: str
    wire: str = ""
    reason: str = ""


@dataclass(frozen=True)
class Reading:
    """What was read from one file; `trouble` is the reason why nothing was, or "".

    `closed` says that the trouble is the school's own: the file is there, and this machine may not open it.
    `typed` is what stands in the file for an exercise, and `computed` names those whose answers came out of
    code rather than out of somebody's hand; `minutes` were spent at it, where the file says so.
    `words` is a sketch of what else somebody wrote in it.
    """

    trouble: str = ""
    book: str = ""
    variant: int | None = None
    answers: tuple[tuple[str, FoundAnswer], ...] = ()
    notes: tuple[str, ...] = ()
    closed: bool = False
    typed: tuple[tuple[str, str], ...] = ()
    computed: tuple[str, ...] = ()
    minutes: float = 0.0
    words: tuple[int, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return the reading for a file of JSON."""
        answers = {exercise: [one.state, one.wire, one.reason] for exercise, one in self.answers}
        return {
            "trouble": self.trouble,
            "book": self.book,
            "variant": self.variant,
            "answers": answers,
            "notes": self.notes,
            "typed": dict(self.typed),
            "computed": self.computed,
            "minutes": self.minutes,
            "words": self.words,
        }

    @classmethod
    def from_json(cls, record: dict[str, Any]) -> Reading:
        """Return the reading that `to_json` wrote."""
        answers = tuple((exercise, FoundAnswer(*one)) for exercise, one in record["answers"].items())
        return cls(
            record["trouble"],
            record["book"],
            record["variant"],
            answers,
            tuple(record["notes"]),
            typed=tuple((exercise, fit_lines(text)) for exercise, text in record["typed"].items()),
            computed=tuple(record["computed"]),
            minutes=record["minutes"],
            words=tuple(record["words"]),
        )


def load(path: Path) -> bytes:
    """Return a hand-in's bytes.

    Raises `UnreadableFile` for a link (it would show another file in this one's name), for anything that is
    no ordinary file, and for one that is too large to be a notebook; `ClosedFile` where opening fails.
    """
    flags = (
        os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    )
    if path.is_symlink():
        raise UnreadableFile("It is a link to another file; hand in the file itself.")
    try:
        handle = os.open(path, flags)
    except OSError as error:
        if error.errno == errno.ELOOP:
            raise UnreadableFile("It is a link to another file; hand in the file itself.") from None
        raise ClosedFile(f"The file can't be opened here: {error.strerror}.") from None
    with os.fdopen(handle, "rb") as file:
        facts = os.fstat(file.fileno())
        if not stat.S_ISREG(facts.st_mode):
            raise UnreadableFile("It is not an ordinary file.")
        if facts.st_size > MAX_BYTES:
            raise too_large(facts.st_size)
        return file.read(MAX_BYTES + 1)


def read_batch(folder: str, files: Sequence[bytes], only: Sequence[str] = ()) -> list[Reading]:
    """Return the readings of some files, in order.

    `folder` has the school's pristine workbooks, `only` names them where they are not all of the series. No
    file can spoil another's reading.
    """
    return [_finished(record) for record in _records(folder, files, only)]


def _records(folder: str, files: Sequence[bytes], only: Sequence[str]) -> Iterator[dict[str, Any]]:
    """Yield each file's record in order, with as many child processes as it takes."""
    command = python_command("lessonkit.grading.reading.reader")
    first = 0
    while first < len(files):
        feed = _frames({"folder": folder, "only": list(only)}, files, first)
        with Talk(command, feed, env=own_environment(), line_cap=LINE_CAP) as talk:
            if talk.line(START_S) is None:  # it has read no file yet, so no file is why
                raise LessonError(
                    f"The process that reads files does not start; try the workbooks in {folder}."
                )
            while first < len(files):
                line = talk.line(FILE_S)
                if line is None:
                    break
                record = json.loads(line)
                if record["number"] != first:
                    raise LessonError("A process that reads files has lost its place; grade again.")
                yield record
                first += 1
        if first < len(files):  # the child is gone, and the file it was at is why
            reason = "Reading the file takes more time or memory than a notebook may."
            yield {"state": "unreadable", "reason": reason}
            first += 1


def _frames(school: dict[str, Any], files: Sequence[bytes], first: int) -> Iterator[bytes]:
    yield json.dumps(school).encode("ascii") + b"\n"
    for number in range(first, len(files)):
        yield b"%d %d\n" % (number, len(files[number]))
        yield files[number]


def _finished(record: dict[str, Any]) -> Reading:
    """Return the reading, with the computed answers computed."""
    if record["state"] != "read":
        return Reading(trouble=fit_to_show(record["reason"]))
    found = {exercise: FoundAnswer(*one[:3]) for exercise, one in record["found"].items()}
    flags = [flag for one in record["found"].values() for flag in one[3]]
    if "plan" in record:
        found.update(_computed(record, found))
    checked = tuple((exercise, _checked(one)) for exercise, one in found.items())
    notes = tuple(map(fit_to_show, (*record["notes"], *flags)))
    computed = {exercise for exercise, one in record["found"].items() if one[0] == "computed"}
    return Reading(
        "",
        record["book"],
        record["variant"],
        checked,
        notes,
        typed=tuple(record["typed"].items()),
        computed=tuple(sorted({*record["computed"], *computed})),
        minutes=record["minutes"],
        words=tuple(record["words"]),
    )


def _computed(record: dict[str, Any], found: dict[str, FoundAnswer]) -> dict[str, FoundAnswer]:
    cells, fetch = record["plan"]
    plan = Plan(tuple(map(tuple, cells)), tuple(map(tuple, fetch)))
    where = confinement()
    if not where.safe:
        reason = "it is computed by the student's own code, which this machine can't confine"
        return {
            exercise: replace(found[exercise], state="teacher", reason=reason)
            for exercise, _, _ in plan.fetch
        }
    variant = record["variant"] or 0
    answers = compute_answers(where, plan, record["book"], variant, record["givens"])
    return {
        exercise: FoundAnswer(state, said, "") if state == "given" else FoundAnswer(state, "", said)
        for exercise, (state, said) in answers.items()
    }


def _checked(one: FoundAnswer) -> FoundAnswer:
    """Look once more at what crosses into the trusted half: values are checked, words are cleaned."""
    if one.state != "given":
        return replace(one, reason=fit_to_show(one.reason))
    try:
        return replace(one, wire=encode(decode(one.wire)))
    except NotPlain as why:
        return FoundAnswer("broken", "", str(why))
