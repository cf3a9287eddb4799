"""What a person types where an answer belongs, read as it is meant, as far as that is plain.

People write `26.4 V`, `25,4`, a number alone, quotation marks of a word processor, or the exercise's number
with its point in the variable's name. Each of these is read where it can mean one thing only; the teacher is
told what was typed and what it was read as. Where it could mean two (`1,250`, or millivolts where volts are
asked), nothing is read, and the student is told what to write. `typed_text` is what stands in the file for an
exercise, so that a page can show all that was typed; `computed_names` tells answers that code has worked out
from those that a person wrote down.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from lessonkit.exercises.compare import Compare, Count, Number
from lessonkit.grading.reading.intake import StudentCell
from lessonkit.grading.reading.trees import parts_of, tree_of
from lessonkit.grading.school import Book, tidy_source

__all__ = ["Meant", "as_meant", "computed_names", "typed_text"]

LONGEST, LONGEST_LINE = 600, 200
"""Characters of one answer that a page shows, and of a line that may be a number with something around it."""
_QUOTES = str.maketrans("“”„‟«»‘’‚‛", '""""""' + "''''")
_NUMBER = re.compile(r"([+\-−–]?)\s*([0-9]+)(?:([.,])([0-9]+))?(?:[eE]([+-]?[0-9]+))?\s*([^0-9\s][^0-9]*)?")
_SIGNS = {"ω": "ohm", "ohms": "ohm", "volt": "v", "volts": "v", "ampere": "a", "amperes": "a", "amp": "a"}
_SIGNS |= {"amps": "a", "watt": "w", "watts": "w", "sec": "s", "second": "s", "seconds": "s", "metre": "m"}
_SIGNS |= {"metres": "m", "meter": "m", "meters": "m", "percent": "%", "minutes": "min", "minute": "min"}
_SIGNS |= {"°c": "c", "celsius": "c", "degrees celsius": "c"}
_PLAIN_CALLS = {"abs", "bool", "dict", "float", "int", "len", "list", "max", "min", "range", "round", "set"}
_PLAIN_CALLS |= {"sorted", "sum", "tuple"}


@dataclass
class Meant:
    """The cells as they are meant.

    `notes` are for the teacher; `hints` (exercise -> sentence) tell the student what to write instead.
    """

    cells: list[StudentCell]
    notes: list[str] = field(default_factory=list)
    hints: dict[str, str] = field(default_factory=dict)


def as_meant(cells: Sequence[StudentCell], book: Book, form_of: Callable[[str], Compare]) -> Meant:
    """Return the cells with every answer that is typed in a plain but unusual way written as Python."""
    meant = Meant(list(cells))
    stored = {name for cell in cells if cell.code for name in _stored(cell.source)}
    for place, cell in enumerate(cells):
        if not cell.code or not cell.source.strip() or tidy_source(cell.source) in book.locked:
            continue
        source = _cell_as_meant(cell, book, form_of, stored, meant)
        if source != cell.source:
            meant.cells[place] = replace(cell, source=source)
    return meant


def _parses(source: str) -> ast.Module | None:
    try:
        return tree_of(source)
    except (SyntaxError, ValueError, RecursionError, MemoryError):
        return None


def _stored(source: str) -> set[str]:
    tree = _parses(source)
    nodes = parts_of(tree) if tree is not None else ()
    return {node.id for node in nodes if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store)}


def _cell_as_meant(
    cell: StudentCell, book: Book, form_of: Callable[[str], Compare], stored: set[str], meant: Meant
) -> str:
    names = {exercise: name for name, exercise in book.names.items()}
    source = cell.source
    if _parses(source) is None:
        for exercise, name in names.items():  # answer_2.1 or answer 2-1
            loose = (
                r"(?m)^([ \t]*)answer[ _]?"
                + r"[ ._\-]".join(map(re.escape, exercise.split(".")))
                + r"(?=\s*=)"
            )
            fixed = re.sub(loose, rf"\g<1>{name}", source)
            if fixed != source:
                meant.notes.append(f"{exercise}: the variable was not typed as {name}")
                source = fixed
    if _parses(source) is None:
        straight = source.translate(_QUOTES)
        if straight != source and _parses(straight) is not None:
            for exercise, name in names.items():
                if name in source:
                    meant.notes.append(f"{exercise}: typed with quotation marks of a word processor")
            source = straight
    if cell.label in names and (bare := _bare(source, names[cell.label], stored)):
        source = f"{names[cell.label]} = {bare}"
        meant.notes.append(
            f"{cell.label}: the answer stands alone in its cell, without {names[cell.label]} ="
        )
    lines = source.split("\n")
    for number, line in enumerate(lines):
        if len(line) > LONGEST_LINE:
            continue
        if found := re.fullmatch(r"(\s*)(\w+)(\s*=\s*)([^=#\n][^#\n]*?)(\s*)(#.*)?", line):
            exercise = book.names.get(found[2], "")
            if exercise:
                said = _number_as_meant(exercise, found[4], form_of(exercise), meant)
                lines[number] = f"{found[1]}{found[2]}{found[3]}{said}{found[5]}{found[6] or ''}"
    return "\n".join(lines)


def _bare(source: str, name: str, stored: set[str]) -> str:
    """Return the value in a cell that holds nothing else and nothing that takes it, else "".

    `stored` are the names that some cell assigns.
    """
    text = re.sub(r"#.*", "", source[: LONGEST + 1]).strip()
    if len(source) > LONGEST or not text or "\n" in text or name in stored or "=" in text:
        return ""
    if _NUMBER.fullmatch(text):
        return text
    tree = _parses(text)
    if tree is None or len(tree.body) != 1 or not isinstance(tree.body[0], ast.Expr):
        return ""
    plain = (ast.Constant, ast.List, ast.Tuple, ast.Dict, ast.Set, ast.UnaryOp, ast.BinOp, ast.operator)
    parts = [
        part for part in ast.walk(tree.body[0].value) if not isinstance(part, ast.expr_context | ast.unaryop)
    ]
    return text if text != "..." and all(isinstance(part, plain) for part in parts) else ""


def _number_as_meant(exercise: str, typed: str, form: Compare, meant: Meant) -> str:
    """Return what stands for a number that was typed, or the text as it was."""
    if not isinstance(form, Number | Count):
        return typed
    unit = form.unit
    inner = typed.strip()
    if len(inner) > 2 and inner[0] == inner[-1] and inner[0] in "\"'":
        inner = inner[1:-1].strip()
    found = _NUMBER.fullmatch(inner)
    if found is None or inner == typed == re.sub(r"[^\d.eE+\-]", "", typed):
        return typed  # something else, or a number as Python has it
    sign, whole, point, decimals, power, said = found.groups()
    wrong = said is not None and not _same_unit(said, unit)
    unsure = point == "," and (len(decimals) == 3 or isinstance(form, Count))
    if wrong or unsure:
        asked = f" in {unit}" if unit else ""
        shown = ascii(inner)[1:-1]
        meant.hints[exercise] = (
            f"What was typed, {shown}, can be read in more than one way; write a number{asked} alone, with a "
            "point before its decimals and no unit."
        )
        return typed
    value = f"{'-' if sign in ('-', '−', '–') else ''}{whole.lstrip('0') or '0'}"
    value += (f".{decimals}" if decimals else "") + (f"e{power}" if power else "")
    meant.notes.append(f"{exercise}: typed {ascii(typed.strip())[1:-1]}, read as {value}")
    return value


def _same_unit(said: str, unit: str) -> bool:
    def plain(text: str) -> str:
        tidy = text.strip().strip(".").replace("\N{OHM SIGN}", "ω").replace("Ω", "ω")
        return _SIGNS.get(tidy.casefold(), tidy if len(tidy) > 1 and tidy[0] in "mM" else tidy.casefold())

    return bool(unit) and plain(said) == plain(unit)


# What stands in the file -----------------------------------------------------------------------------------


def typed_text(cells: Sequence[StudentCell], book: Book) -> dict[str, str]:
    """Return what stands in the file for each exercise, in code or in text, as a page may show it.

    The school's own cells are left out. Signs that can't be seen, and those that turn the direction of
    writing, are written out.
    """
    found = {}
    own = [cell for cell in cells if tidy_source(cell.source) not in book.tidied]
    for exercise in book.names.values():
        loose = re.compile(
            r"answer[ ._\-]?" + r"[ ._\-]?".join(map(re.escape, exercise.split("."))) + r"(?!\d)", re.I
        )
        mine = [cell for cell in own if loose.search(cell.source)] or [c for c in own if c.label == exercise]
        if mine:
            text = ([cell for cell in mine if cell.code] or mine)[-1].source
            start = loose.search(text)
            if len(text) > LONGEST and start is not None:
                text = text[text.rfind("\n", 0, start.start()) + 1 :]
            more = f" … ({len(text) - LONGEST} more characters)" if len(text) > LONGEST else ""
            found[exercise] = _shown(text[:LONGEST].strip()) + more
    return {exercise: text for exercise, text in found.items() if text}


def _shown(text: str) -> str:
    return "".join(
        sign if sign.isprintable() or sign == "\n" else ascii(sign)[1:-1] for sign in text.expandtabs(4)
    )


# Computed or typed -----------------------------------------------------------------------------------------


def computed_names(trees: Sequence[ast.Module]) -> Callable[[str], bool]:
    """Return what tells whether a name's value comes out of a call.

    The bench, the workbook's numbers and code of one's own are called. Arithmetic with numbers that stand
    there, and with the functions of plain arithmetic, counts as typed.
    """
    values: dict[str, list[ast.expr]] = {}
    for tree in trees:
        for node in parts_of(tree):
            if isinstance(node, ast.Assign | ast.AugAssign | ast.AnnAssign) and node.value is not None:
                for name in _names(node):
                    values.setdefault(name, []).append(node.value)

    def computed(name: str) -> bool:
        todo, seen = [name], {name}
        while todo:
            for value in values.get(todo.pop(), ()):
                for part in ast.walk(value):
                    if isinstance(part, ast.Attribute) and not _is_math(part):
                        return True
                    if isinstance(part, ast.Call) and not _is_plain(part.func):
                        return True
                    if isinstance(part, ast.Name) and part.id not in seen:
                        seen.add(part.id)
                        todo.append(part.id)
        return False

    return computed


def _names(node: Any) -> set[str]:
    targets = node.targets if isinstance(node, ast.Assign) else [node.target]
    return {part.id for target in targets for part in ast.walk(target) if isinstance(part, ast.Name)}


def _is_math(part: ast.Attribute) -> bool:
    return isinstance(part.value, ast.Name) and part.value.id == "math"


def _is_plain(called: ast.expr) -> bool:
    return (isinstance(called, ast.Name) and called.id in _PLAIN_CALLS | {"sqrt"}) or (
        isinstance(called, ast.Attribute) and _is_math(called)
    )
