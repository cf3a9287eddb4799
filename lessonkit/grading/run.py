"""A grading run from end to end: folder in, marks out, cut off and taken up again as one likes.

    files -> readings -> whose is it? -> answers -> verdicts -> marks -> tables and pages

Readings and verdicts are kept as they are made (`lessonkit.grading.store`), so a run that was killed goes on
where it was, and grading again costs only what has changed. Both halves go through an executor in batches of
plain data: threads here, each of which waits for child processes, or a Dask cluster's. Only a few batches
are under way at a time, so memory does not grow with the number of files.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from lessonkit.exercises.core import Exercise, givens_for
from lessonkit.exercises.plain import decode, literal
from lessonkit.grading.judging.judge import Judged, Submission, judge_batch
from lessonkit.grading.judging.report import ASKED, questions
from lessonkit.grading.marking.claims import HandIn
from lessonkit.grading.marking.decisions import kept_changes, merged, read_changes, with_changes
from lessonkit.grading.marking.identify import identify
from lessonkit.grading.marking.marks import Mark, Student
from lessonkit.grading.marking.near import near_miss
from lessonkit.grading.marking.written import write_marks
from lessonkit.grading.places import BadFolder, check_places
from lessonkit.grading.reading.hand_ins import HandedIn, files_in
from lessonkit.grading.reading.intake import ClosedFile, UnreadableFile
from lessonkit.grading.reading.read import FoundAnswer, Reading, load, read_batch
from lessonkit.grading.roster import Roll, slug
from lessonkit.grading.school import Book, School, fingerprint_of
from lessonkit.grading.store import Store, key_of
from lessonkit.grading.tables import PLAIN, Style, read_table

__all__ = ["BadFolder", "Graded", "Progress", "grade_folder"]

FILES_A_BATCH, BYTES_A_BATCH = 150, 24_000_000
ANSWERS_A_BATCH = 2000
ANSWER_SHOWN = 2000

Progress = Callable[[str, int, int], None]
"""Called with what is being done, how much of it is done, and how much there is."""

Task = TypeVar("Task")
Result = TypeVar("Result")


@dataclass(frozen=True)
class Graded:
    """What a run found: the students, and the files that belong to nobody.

    `strange` tells that most files have other numbers than the roster gives them: a wrong seed, most likely.
    `decided` is how many decisions of the teacher count, `kept` how many of them were given earlier.
    """

    students: tuple[Student, ...]
    strays: tuple[str, ...]
    files: int
    strange: bool = False
    decided: int = 0
    kept: int = 0


def grade_folder(
    folder: Path,
    out: Path,
    school: School,
    *,
    roll: Roll | None = None,
    seed: object | None = None,
    changes: Path | None = None,
    style: Style = PLAIN,
    executor: Executor | None = None,
    workers: int | None = None,
    progress: Progress = lambda *_: None,
) -> Graded:
    """Grade a folder of hand-ins and write marks under another folder.

    `changes` is a table of the teacher's own decisions, which adds to those kept under `out`. `style` is how
    tables are written. `executor` carries the batches; without one, `workers` threads here do. Raises
    `BadFolder` and, for a bad table of changes, `BadTable`.
    """
    check_places(folder, out, [] if changes is None else [changes])
    files, others = files_in(folder)
    if not files:
        raise BadFolder(f"There is no notebook in {folder}; hand-ins end in .ipynb, or lie in a .zip.")
    if changes is not None:
        read_table(changes)  # a table that isn't there is said now, not when the class has been graded
    kept = kept_changes(out)
    store = Store(out, fingerprint_of(school))
    many = workers or os.cpu_count() or 2
    own = ThreadPoolExecutor(many) if executor is None else None
    try:
        carrier = executor or own
        readings = _read(files, school, store, _Carrier(carrier, many, progress))  # type: ignore[arg-type]
        hand_ins, strays = identify(readings, school, roll, seed)
        strays += [f"{name}: {why}" for name, why in others]
        verdicts, asked = _judge(hand_ins, school, store, _Carrier(carrier, many, progress))  # type: ignore[arg-type]
    finally:
        if own is not None:
            own.shutdown(wait=True, cancel_futures=True)
    students = _students(hand_ins, verdicts, asked, school, roll)
    given = () if changes is None else read_changes(changes, students)
    decided = merged(kept, given)
    students = with_changes(students, decided)
    write_marks(out, students, hand_ins, strays, school, roll, decided, style)
    store.forget_others()
    read = [one for one in hand_ins if not one.reading.trouble]
    strange = sum(bool(one.held) for one in read) > len(read) / 2
    numbered = roll is not None or seed is not None
    return Graded(
        tuple(students),
        tuple(strays),
        len(files),
        numbered and strange,
        sum(mark.change is not None for student in students for mark in student.marks),
        len(set(kept) & set(decided)),
    )


# Batches through an executor -------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Carrier:
    """An executor, and how many batches it may have at a time."""

    executor: Executor
    many: int
    progress: Progress

    def each(
        self, tasks: Iterable[tuple[Task, tuple[Any, ...]]], work: Callable[..., Result]
    ) -> Iterator[tuple[Task, Result]]:
        """Yield each task with its result, in the order in which they are done."""
        waiting: dict[Future[Result], Task] = {}
        source = iter(tasks)
        try:
            while True:
                while len(waiting) <= self.many and (task := next(source, None)) is not None:
                    waiting[self.executor.submit(work, *task[1])] = task[0]
                if not waiting:
                    return
                for future in wait(waiting, return_when=FIRST_COMPLETED).done:
                    yield waiting.pop(future), future.result()
        finally:
            for future in waiting:
                future.cancel()


def _read(files: Mapping[str, HandedIn], school: School, store: Store, by: _Carrier) -> dict[str, Reading]:
    """Return the reading of each file."""
    readings: dict[str, Reading] = {}
    place, only = str(school.folder.resolve()), [book.id for book in school.books]
    # Batches of one size, as many for each worker; a start of the reader costs as much as 50 files.
    rounds = math.ceil(len(files) / (by.many * FILES_A_BATCH))
    most = math.ceil(len(files) / (by.many * rounds))

    def batches() -> Iterator[tuple[list[tuple[str, str]], tuple[Any, ...]]]:
        names: list[tuple[str, str]] = []
        data: list[bytes] = []
        for file, one in files.items():
            try:
                content = one.load(load)
            except UnreadableFile as error:
                readings[file] = Reading(trouble=str(error), closed=isinstance(error, ClosedFile))
                continue
            key = key_of(content)
            if (known := store.get("read", key)) is not None:
                readings[file] = Reading.from_json(known)
                continue
            names.append((file, key))
            data.append(content)
            if len(data) >= most or sum(map(len, data)) >= BYTES_A_BATCH:
                yield names, (place, data, only)
                names, data = [], []
        if data:
            yield names, (place, data, only)

    for names, found in by.each(batches(), read_batch):
        for (file, key), reading in zip(names, found, strict=True):
            readings[file] = reading
            if all(one.state != "teacher" for _, one in reading.answers):  # another machine may do better
                store.put("read", key, reading.to_json())
        by.progress("reading", len(readings), len(files))
    by.progress("reading", len(files), len(files))
    return {file: readings[file] for file in files}


# Verdicts --------------------------------------------------------------------------------------------------

Verdicts = dict[tuple[str, str], dict[str, Judged]]
Questions = dict[tuple[str, int | None], dict[str, str]]
"""By workbook and variant, then by exercise."""


def _judge(
    hand_ins: Sequence[HandIn], school: School, store: Store, by: _Carrier
) -> tuple[Verdicts, Questions]:
    """Return the verdicts of each hand-in, by student and workbook, and the questions they were asked."""
    verdicts: Verdicts = {}
    asked: Questions = {}
    same: dict[str, list[tuple[str, str]]] = {}
    todo: dict[str, Submission] = {}
    for one in hand_ins:
        if one.reading.trouble or one.variant is None:
            continue
        given = tuple(
            (exercise, found.wire) for exercise, found in one.reading.answers if found.state == "given"
        )
        ask = (one.book, one.variant) not in asked
        if ask:  # once for each variant, whatever was answered
            found_questions = store.get("asked", key_of(one.book, one.variant))
            ask = found_questions is None
            asked[one.book, one.variant] = found_questions or {}
        key = key_of(one.book, one.variant, given)
        known = store.get("judged", key) if given else {}
        if known is not None:
            verdicts[one.student, one.book] = {exercise: Judged(*said) for exercise, said in known.items()}
        else:  # the same answers with the same numbers are judged once
            same.setdefault(key, []).append((one.student, one.book))
        if ask or (known is None and key not in todo):
            todo[key] = Submission(key, one.book, one.variant, given if known is None else (), ask)
    done = 0
    for batch, found in by.each(
        _batches(list(todo.values()), by.many, str(school.folder.resolve())), judge_batch
    ):
        for task in batch:
            said = {exercise: judged for (key, exercise), judged in found.items() if key == task.key}
            if (words := said.pop(ASKED, None)) and words.outcome == ASKED:
                asked[task.book, task.variant] = questions(words.hint)
                store.put("asked", key_of(task.book, task.variant), asked[task.book, task.variant])
            if said and all(judged.outcome != "teacher" for judged in said.values()):
                kept = {exercise: [judged.outcome, judged.hint] for exercise, judged in said.items()}
                store.put("judged", task.key, kept)
            for who in same.get(task.key, ()):
                verdicts[who] = said
        done += len(batch)
        by.progress("judging", done, len(todo))
    return verdicts, asked


def _batches(
    todo: Sequence[Submission], many: int, folder: str
) -> Iterator[tuple[tuple[Submission, ...], tuple[Any, ...]]]:
    """Yield batches of equal work, as many for each worker; a start of nbval costs as much as 200 answers."""
    answers = sum(len(one.pairs()) for one in todo)
    rounds = math.ceil(answers / (many * ANSWERS_A_BATCH))
    most = max(answers / max(many * rounds, 1), 150)
    batch: list[Submission] = []
    size = 0
    for one in sorted(todo, key=lambda item: item.book):
        batch.append(one)
        size += len(one.pairs())
        if size >= most:
            yield tuple(batch), (folder, tuple(batch))
            batch, size = [], 0
    if batch:
        yield tuple(batch), (folder, tuple(batch))


# Marks -----------------------------------------------------------------------------------------------------


def _students(
    hand_ins: Sequence[HandIn], verdicts: Verdicts, asked: Questions, school: School, roll: Roll | None
) -> list[Student]:
    """Return every student's marks, those who handed in nothing included when there is a roll."""
    by: dict[str, dict[str, HandIn]] = {}
    for one in hand_ins:
        by.setdefault(one.student, {})[one.book] = one
    names = roll.students if roll is not None else sorted(by, key=lambda name: (slug(name), name))
    students = []
    for name in names:
        mine = by.get(name, {})
        marks: list[Mark] = []
        for book in school.books:
            own = mine.get(book.id)
            words = asked.get((book.id, own.variant), {}) if own is not None else {}
            marks += _marks(book, own, verdicts.get((name, book.id), {}), words)
        remarks = [remark for one in mine.values() for remark in _remarks(one)]
        group = roll.group(name) if roll is not None else ""
        minutes = tuple((one.book, one.reading.minutes) for one in mine.values() if one.reading.minutes)
        students.append(Student(name, tuple(marks), tuple(dict.fromkeys(remarks)), group, minutes))
    return students


def _remarks(one: HandIn) -> list[str]:
    trouble = [f"{one.file}: {one.reading.trouble}"] if one.reading.trouble else []
    held = [f"{one.file}: {one.held}"] if one.held else []
    return [*one.remarks, *trouble, *held, *(f"{one.file}: {note}" for note in one.reading.notes)]


def _marks(
    book: Book, one: HandIn | None, verdicts: Mapping[str, Judged], asked: Mapping[str, str]
) -> list[Mark]:
    if one is None:
        return [Mark(book.id, exercise.id, "missing", 0.0, exercise.points) for exercise in book.exercises]
    found, typed = dict(one.reading.answers), dict(one.reading.typed)
    marks = []
    for exercise in book.exercises:
        state, said, answer, shown = "unreadable", one.reading.trouble, "", False
        if one.reading.closed or one.held:
            state, said = "teacher", _sentence(one.held or one.reading.trouble)
        if not one.reading.trouble:
            answered = found.get(exercise.id, FoundAnswer("unanswered"))
            answer = literal(decode(answered.wire))[:ANSWER_SHOWN] if answered.state == "given" else ""
            # What was typed is shown where the value alone would hide it.
            shown = not answer or exercise.id in one.reading.computed or _read_as(one, exercise.id)
            state, said = _state(one, answered, verdicts.get(exercise.id))
        models = [model.name for model in exercise.wrong_models if state == "not yet" and model.hint == said]
        points = exercise.points if state == "right" else 0.0
        marks.append(
            Mark(
                book.id,
                exercise.id,
                state,
                points,
                exercise.points,
                said,
                models[0] if models else "",
                answer,
                typed=typed.get(exercise.id, "") if shown else "",
                how=_how(one, exercise.id) if answer else "",
                near=state == "not yet" and not models and _near(exercise, one, answered.wire),
                asked=asked.get(exercise.id, ""),
            )
        )
    return marks


def _near(exercise: Exercise, one: HandIn, wire: str) -> bool:
    return one.variant is not None and near_miss(exercise, givens_for(exercise, one.variant), decode(wire))


def _read_as(one: HandIn, exercise: str) -> bool:
    """Tell whether an answer was typed in a way of its own and read as what was meant."""
    return any(note.startswith(f"{exercise}: ") for note in one.reading.notes)


def _how(one: HandIn, exercise: str) -> str:
    return "computed" if exercise in one.reading.computed else "typed"


def _state(one: HandIn, found: FoundAnswer, judged: Judged | None) -> tuple[str, str]:
    """Return the state of one answer, and what the student reads."""
    if one.held:
        return "teacher", _sentence(one.held)
    if found.state in ("broken", "unanswered", "teacher"):
        state = "unreadable" if found.state == "broken" else found.state
        return state, _sentence(found.reason)
    if judged is None:
        return "teacher", "The judge gave no verdict."
    if judged.outcome == "teacher":
        return "teacher", _sentence(judged.hint)
    return judged.outcome, judged.hint


def _sentence(reason: str) -> str:
    return reason[:1].upper() + reason[1:] + ("" if reason.endswith(".") or not reason else ".")
