"""The child that reads files: it runs no student code, and may still be brought down.

A file of 20 MB can be made so that a JSON reader takes a gigabyte, or a parser all night. So files are read
in a child process (`python -m lessonkit.grading.reading.reader`) with limits, and a file that brings it down
costs that file alone: the parent (`lessonkit.grading.reading.read`) starts another child with the files after
it.

Standard input has one line of JSON, the school's folder and which workbooks of it, and then for each file a
line with its number and its size, and its bytes. Standard output has an empty line when it is ready, and one
of JSON for each file.
"""

from __future__ import annotations

import contextlib
import json
import sys
from typing import Any, BinaryIO

from lessonkit.errors import LessonError
from lessonkit.exercises.compare import Compare
from lessonkit.exercises.core import givens_for
from lessonkit.exercises.plain import NotPlain, encode
from lessonkit.grading.children import die_with_parent
from lessonkit.grading.reading.answers import find_answers, parse_cells
from lessonkit.grading.reading.intake import UnreadableFile, minutes_at, read_cells
from lessonkit.grading.reading.own_words import sketch
from lessonkit.grading.reading.typed import as_meant, computed_names, typed_text
from lessonkit.grading.reading.which import which_workbook
from lessonkit.grading.school import School, load_school

__all__ = ["main", "read_one"]

FILE_CPU_S = 15
MEMORY = 3 << 30
PLAN_MOST = 500_000
NO_PYTHON = "no valid Python"
"""What the reason says of a cell that is not Python; the student is then told what is expected."""


def read_one(data: bytes, school: School) -> dict[str, Any]:
    """Return what is in a student's file, as a mapping for JSON.

    `state` is "read" or "unreadable", with a `reason`. A file that was read has its `book`, `variant` (None
    where the cell that opens the workbook is gone), `found` (exercise -> state, wire, reason, flags),
    `notes`, what is `typed` for each exercise, the exercises whose answers are `computed` rather than typed,
    and, if some of those have to be run, the `plan` and the `givens` for it.
    """
    try:
        cells, notes = read_cells(data)
        book, variant, more = which_workbook(parse_cells(cells), school)
    except UnreadableFile as error:
        return {"state": "unreadable", "reason": str(error)}
    notes += more
    if variant is None:
        notes.append("the cell that opens the workbook is missing or changed")

    exercises = {item.id: item for item in book.exercises}

    def givens(exercise: str) -> dict[str, Any]:
        return givens_for(exercises[exercise], variant or 0)

    def form_of(exercise: str) -> Compare:
        one = exercises[exercise]
        return one.form({} if one.has_one_form else givens(exercise))  # drawing them may run a bench

    try:
        meant = as_meant(cells, book, form_of)
        findings = find_answers(meant.cells, book, givens)
        computed = computed_names([cell.tree for cell in parse_cells(meant.cells) if cell.tree is not None])
    except RecursionError:
        return {
            "state": "unreadable",
            "reason": "A cell of the notebook is nested more deeply than can be read.",
        }
    record: dict[str, Any] = {
        "state": "read",
        "book": book.id,
        "variant": variant,
        "notes": notes + meant.notes,
        "found": {
            exercise: [one.state, one.wire, one.reason, list(one.flags)]
            for exercise, one in findings.found.items()
        },
        "minutes": minutes_at(cells),
        "words": sketch(cells, book),
        "typed": typed_text(cells, book),
        "computed": [exercise for name, exercise in book.names.items() if computed(name)],
    }
    for exercise, (state, _, reason, flags) in list(record["found"].items()):
        hint = meant.hints.get(exercise, "")
        if state == "broken" and not hint and NO_PYTHON in reason:
            hint = f"{reason}; this expects {form_of(exercise).expects()}"
        if hint and state in ("broken", "unanswered"):
            typed = " ".join(record["typed"].get(exercise, "").split())[:80]
            flags.append(f"{exercise}: typed {typed}, which was not read")
            record["found"][exercise] = ["broken", "", hint, flags]
    if findings.plan is not None and sum(len(source) for _, source in findings.plan.cells) > PLAN_MOST:
        for exercise, _, _ in findings.plan.fetch:
            record["found"][exercise][:3] = ["broken", "", "the cells it needs are longer than any workbook"]
    elif findings.plan is not None:
        record["plan"] = [findings.plan.cells, findings.plan.fetch]
        record["givens"] = {}
        for item in book.exercises:
            with contextlib.suppress(NotPlain):
                record["givens"][item.id] = encode(givens(item.id))
    return record


def _limit(used_s: float) -> None:
    """Give the next file its share of time; the limit on memory is for all."""
    try:
        import resource
    except ImportError:  # Windows: the parent's clock is all there is
        return
    _, hard = resource.getrlimit(resource.RLIMIT_CPU)
    resource.setrlimit(resource.RLIMIT_CPU, (int(used_s) + FILE_CPU_S, hard))


def _limit_for_good() -> None:
    try:
        import resource
    except ImportError:
        return
    for kind, most in ((resource.RLIMIT_AS, MEMORY), (resource.RLIMIT_FSIZE, 0), (resource.RLIMIT_CORE, 0)):
        with contextlib.suppress(ValueError, OSError):  # macOS takes no limit on memory
            resource.setrlimit(kind, (most, most))


def main(source: BinaryIO, sink: BinaryIO) -> None:
    """Read files from one stream and write records to the other."""
    import time

    which = json.loads(source.readline())
    school = load_school(which["folder"], which["only"])
    _limit_for_good()
    sink.write(b"\n")
    sink.flush()
    while header := source.readline():
        number, size = map(int, header.split())
        data = source.read(size)
        _limit(time.process_time())
        try:
            record = read_one(data, school)
        except MemoryError:
            record = {
                "state": "unreadable",
                "reason": "Reading the file takes more memory than a notebook may.",
            }
        except LessonError as error:
            record = {"state": "unreadable", "reason": str(error)}
        del data
        sink.write(json.dumps({"number": number, **record}).encode("ascii") + b"\n")
        sink.flush()


if __name__ == "__main__":
    die_with_parent()
    main(sys.stdin.buffer, sys.stdout.buffer)
