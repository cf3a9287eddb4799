"""The notebook file of a workbook: build its exercises, find them, fill them in.

An exercise takes three code cells of a notebook, always in this pattern, here for exercise 1.1:

    workbook.ask("1.1")                 # id ask-1-1: shows the question
    answer_1_1 = ...                    # id answer-1-1: the apprentice's
    # NBVAL_CHECK_OUTPUT
    workbook.check("1.1", answer_1_1)   # id check-1-1: its stored output is the verdict of a right answer

The cells are found by what they say (the name assigned, the exercise checked), read with `ast`, and never by
position or cell id, so that moving a cell breaks nothing. All functions here return a new notebook and leave
the one they were given as it was. Notebooks are plain JSON mappings, as nbformat 4 describes them; nbformat
itself takes a second to import, and only the tests need its validation.
"""

from __future__ import annotations

import ast
import copy
import json
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from lessonkit.errors import LessonError
from lessonkit.exercises.core import Answer, Exercise, Verdict, givens_for, modelled
from lessonkit.exercises.plain import plain
from lessonkit.exercises.workbook import Workbook, open_workbook, right_answers

__all__ = [
    "BadNotebook",
    "answer_name",
    "blank",
    "code_cell",
    "exercise_cells",
    "find_answers",
    "find_checks",
    "markdown_cell",
    "new_notebook",
    "opened",
    "read_notebook",
    "notebook_bytes",
    "solved",
    "source_of",
    "with_answers",
    "with_model",
    "with_variant",
    "with_verdicts",
    "without_verdicts",
    "write_notebook",
]

Notebook = dict[str, Any]
Cell = dict[str, Any]

CHECK_MARKER = "# NBVAL_CHECK_OUTPUT"


class BadNotebook(LessonError, ValueError):
    """A notebook file that is no workbook in our pattern."""


def read_notebook(path: Path | str) -> Notebook:
    """Return the notebook in a file of the school's own. Raises `BadNotebook`."""
    try:
        notebook = json.loads(Path(path).read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise BadNotebook(f"{path} can't be read as a notebook: {error}.") from None
    if not isinstance(notebook, dict) or not isinstance(notebook.get("cells"), list):
        raise BadNotebook(f"{path} is no notebook of format 4: it has no list of cells.")
    return notebook


def write_notebook(path: Path | str, notebook: Notebook) -> None:
    """Write a notebook to a file."""
    Path(path).write_bytes(notebook_bytes(notebook))


def notebook_bytes(notebook: Notebook) -> bytes:
    """Return a notebook as Jupyter writes it: keys sorted, one blank of indent, a newline at the end."""
    text = json.dumps(notebook, indent=1, ensure_ascii=False, sort_keys=True) + "\n"
    return text.encode("utf-8")  # the same file on every system


def source_of(cell: Cell) -> str:
    """Return a cell's source as one text; a file may hold it as a list of lines."""
    source = cell.get("source", "")
    return "".join(source) if isinstance(source, list) else str(source)


# Building --------------------------------------------------------------------------------------------------


def markdown_cell(text: str, cell_id: str) -> Cell:
    """Return a text cell."""
    return {"cell_type": "markdown", "id": cell_id, "metadata": {}, "source": _lines(text)}


def code_cell(
    source: str, cell_id: str, *, outputs: Sequence[dict[str, Any]] = (), metadata: Any = None
) -> Cell:
    """Return a code cell; one with outputs counts as run."""
    return {
        "cell_type": "code",
        "execution_count": 1 if outputs else None,
        "id": cell_id,
        "metadata": metadata or {},
        "outputs": list(outputs),
        "source": _lines(source),
    }


def new_notebook(cells: Sequence[Cell]) -> Notebook:
    """Return a notebook with these cells, for the plain Python kernel."""
    kernel = {"display_name": "Python 3 (ipykernel)", "language": "python", "name": "python3"}
    language = {"name": "python", "file_extension": ".py", "mimetype": "text/x-python"}
    return {
        "cells": list(cells),
        "metadata": {"kernelspec": kernel, "language_info": language},
        "nbformat": 4,
        "nbformat_minor": 5,
    }


def exercise_cells(exercise: Exercise, variant: int = 0) -> list[Cell]:
    """Return the three cells of an exercise: ask, answer (blank) and check.

    The check cell has what nbval needs: a right verdict as stored output, and a count that says it was run.
    """
    name, dashed = answer_name(exercise.id), exercise.id.replace(".", "-")
    givens = givens_for(exercise, variant)
    answer = f"{name} = {_written(exercise.form(givens).blank())}"
    check = f'{CHECK_MARKER}\nworkbook.check("{exercise.id}", {name})'

    def marks(role: str, **more: bool) -> dict[str, Any]:
        return {"lessonkit": {"exercise": exercise.id, "role": role}, **more}

    locked = {"deletable": False, "editable": False}
    ask = code_cell(f'workbook.ask("{exercise.id}")', f"ask-{dashed}", metadata=marks("ask", **locked))
    _set_question(ask, Workbook("", "", (exercise,), variant).question(exercise.id))
    return [
        ask,
        code_cell(answer, f"answer-{dashed}", metadata=marks("answer", deletable=False)),
        code_cell(check, f"check-{dashed}", outputs=[_right(exercise.id)], metadata=marks("check", **locked)),
    ]


def _right(exercise_id: str) -> dict[str, Any]:
    """Return the output of a check cell that says right."""
    return {"name": "stdout", "output_type": "stream", "text": [f"{Verdict(exercise_id, 'right')}\n"]}


def answer_name(exercise_id: str) -> str:
    """Return the name of the variable that holds an exercise's answer.

    >>> answer_name("3.1")
    'answer_3_1'
    """
    return "answer_" + exercise_id.replace(".", "_")


def _lines(text: str) -> list[str]:
    return text.splitlines(keepends=True)


def _set_question(ask: Cell, question: str) -> None:
    data = {"text/markdown": _lines(question), "text/plain": ["<IPython.core.display.Markdown object>"]}
    ask["outputs"] = [{"data": data, "metadata": {}, "output_type": "display_data"}]
    ask["execution_count"] = 1


def _written(value: Any, indent: str = "") -> str:
    """Write a plain answer as source that is pleasant to fill in: a mapping takes a line a row."""
    if type(value) is dict and value:
        inner = indent + "    "
        rows = [f"{inner}{_written(key)}: {_written(item, inner)}," for key, item in value.items()]
        return "\n".join(["{", *rows, indent + "}"])
    if type(value) is list:
        return "[" + ", ".join(_written(item, indent) for item in value) + "]"
    if type(value) is tuple:
        return "(" + ", ".join(_written(item) for item in value) + ("," if len(value) == 1 else "") + ")"
    if type(value) is set and value:
        return "{" + ", ".join(sorted(_written(item) for item in value)) + "}"
    if value is ...:
        return "..."
    return json.dumps(value, ensure_ascii=False) if type(value) is str else repr(value)


# Finding ---------------------------------------------------------------------------------------------------


def _code(notebook: Notebook) -> Iterator[tuple[int, ast.Module]]:
    """Yield each code cell of the school's own notebook that is plain Python: its index and its tree."""
    for index, cell in enumerate(notebook["cells"]):
        if cell.get("cell_type") == "code":
            try:
                yield index, ast.parse(source_of(cell))
            except SyntaxError:
                continue  # a magic, say; no cell of the pattern looks like that


def _calls(tree: ast.AST, method: str) -> Iterator[ast.Call]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == method:
            yield node


def opened(notebook: Notebook) -> tuple[str, int]:
    """Return the workbook id and the variant that a notebook opens. Raises `BadNotebook`."""
    for _, tree in _code(notebook):
        for call in _calls(tree, "open_workbook"):
            given = [*call.args, *(word.value for word in call.keywords if word.arg == "variant")]
            values = [node.value for node in given if isinstance(node, ast.Constant)]
            if values and isinstance(values[0], str):
                return values[0], values[1] if len(values) > 1 and isinstance(values[1], int) else 0
    raise BadNotebook("The notebook opens no workbook: it has no cell with lk.open_workbook(...).")


def find_checks(notebook: Notebook) -> dict[str, int]:
    """Return the index of each exercise's check cell, in the order of the notebook."""
    found = {}
    for index, tree in _code(notebook):
        for call in _calls(tree, "check"):
            if call.args and isinstance(call.args[0], ast.Constant) and isinstance(call.args[0].value, str):
                found[call.args[0].value] = index
    return found


def find_answers(notebook: Notebook) -> dict[str, int]:
    """Return the index of the cell that assigns each checked exercise's answer."""
    names = {answer_name(exercise): exercise for exercise in find_checks(notebook)}
    found = {}
    for index, tree in _code(notebook):
        for node in tree.body:
            if (target := _assigned(node)) in names:
                found[names[target]] = index
    return found


def _assigned(node: ast.stmt) -> str:
    if isinstance(node, ast.Assign) and len(node.targets) == 1 and isinstance(node.targets[0], ast.Name):
        return node.targets[0].id
    return ""


# Filling in ------------------------------------------------------------------------------------------------


def _copied(notebook: Notebook, cells: Mapping[int, Cell]) -> Notebook:
    return {**notebook, "cells": [cells.get(index, cell) for index, cell in enumerate(notebook["cells"])]}


def _replaced(source: str, node: ast.expr, text: str) -> str:
    """Return the source with an expression replaced; `ast` counts columns in bytes of UTF-8."""
    lines = source.encode("utf-8").splitlines(keepends=True)
    start = sum(map(len, lines[: node.lineno - 1])) + node.col_offset
    end = sum(map(len, lines[: (node.end_lineno or 1) - 1])) + (node.end_col_offset or 0)
    whole = b"".join(lines)
    return (whole[:start] + text.encode("utf-8") + whole[end:]).decode("utf-8")


def with_answers(notebook: Notebook, answers: Mapping[str, Answer]) -> Notebook:
    """Return the notebook with these answers, written as literals; others stay as they are.

    Raises `BadNotebook` for an exercise that has no answer cell.
    """
    where = find_answers(notebook)
    cells: dict[int, Cell] = {}
    for exercise, answer in answers.items():
        if exercise not in where:
            raise BadNotebook(f"The notebook has no cell that assigns {answer_name(exercise)}.")
        cell = copy.deepcopy(cells.get(where[exercise], notebook["cells"][where[exercise]]))
        source = source_of(cell)
        for node in ast.parse(source).body:
            if _assigned(node) == answer_name(exercise):
                source = _replaced(source, node.value, _written(plain(answer)))  # type: ignore[attr-defined]
                break
        cells[where[exercise]] = {**cell, "source": _lines(source)}
    return _copied(notebook, cells)


def with_variant(notebook: Notebook, variant: int) -> Notebook:
    """Return the notebook with another variant's number and questions."""
    workbook = open_workbook(opened(notebook)[0], variant)
    cells: dict[int, Cell] = {}
    for index, tree in _code(notebook):
        cell = copy.deepcopy(notebook["cells"][index])
        for call in _calls(tree, "open_workbook"):
            number = [word.value for word in call.keywords if word.arg == "variant"] or call.args[1:]
            if not number:
                raise BadNotebook("The notebook opens its workbook without variant=0.")
            cells[index] = {**cell, "source": _lines(_replaced(source_of(cell), number[0], str(variant)))}
        for call in _calls(tree, "ask"):
            if call.args and isinstance(call.args[0], ast.Constant):
                _set_question(cell, workbook.question(str(call.args[0].value)))
                cells[index] = cell
    return _copied(notebook, cells)


def _open(notebook: Notebook) -> Workbook:
    return open_workbook(*opened(notebook))


def blank(notebook: Notebook) -> Notebook:
    """Return the notebook with every answer still to be given."""
    workbook = _open(notebook)
    forms = {item.id: item.form(workbook.givens(item.id)) for item in workbook.exercises}
    return with_answers(notebook, {item: forms[item].blank() for item in find_answers(notebook)})


def without_verdicts(notebook: Notebook) -> Notebook:
    """Return the notebook as a learner gets it: no check cell says anything before it is run.

    The pristine notebook stores the right verdict, which is what nbval compares with. In a learner's copy it
    would read "1.1 right" above an answer that nobody has given. The count stays: nbval passes a check cell
    without one whatever it prints, and so it calls an unanswered copy red.
    """
    cells = {index: {**notebook["cells"][index], "outputs": []} for index in find_checks(notebook).values()}
    return _copied(notebook, cells)


def with_verdicts(notebook: Notebook) -> Notebook:
    """Return the notebook with the right verdict stored in every check cell, for nbval to compare with."""
    cells: dict[int, Cell] = {}
    for exercise, index in find_checks(notebook).items():
        cells[index] = {**notebook["cells"][index], "outputs": [_right(exercise)], "execution_count": 1}
    return _copied(notebook, cells)


def solved(notebook: Notebook) -> Notebook:
    """Return the notebook with the right answer, for its variant, in every answer cell."""
    answers = right_answers(_open(notebook))
    return with_answers(notebook, {item: answers[item] for item in find_answers(notebook)})


def with_model(notebook: Notebook, exercise_id: str, model: str) -> Notebook:
    """Return the solved notebook with one exercise answered as a wrong model would.

    Raises `BadNotebook` where the model gives nothing of its own in this variant.
    """
    workbook = _open(notebook)
    answers = modelled(workbook.exercise(exercise_id), workbook.givens(exercise_id))
    if model not in answers:
        raise BadNotebook(f"Exercise {exercise_id} has no answer of its own for the model {model!r} here.")
    return with_answers(solved(notebook), {exercise_id: answers[model]})
