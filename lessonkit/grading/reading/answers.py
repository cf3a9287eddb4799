"""Finding the answers among a student's cells, as an honest marker would.

A marker reads the notebook from the top and holds to one rule: **the variable's name decides**. The answer
to 1.1 is what `answer_1_1` holds when its check cell is reached, wherever that cell now stands; where the
check cell is gone, what it holds at the end. Cell ids and positions decide nothing. The label in a cell's
metadata is used twice: it rescues an answer whose variable was renamed, and it raises a flag when it speaks
against the name. Two values for one answer, a changed or missing check cell, an answer in a text cell: all
are flagged for the teacher, and none changes the value.

`find_answers` follows the cells statement by statement with `lessonkit.grading.reading.evaluate`. What it
can't follow becomes unknown, and with it everything that might depend on it; an answer that ends up unknown
is "computed", and comes with the cells that a confined process has to run for it.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from lessonkit.exercises.plain import NotPlain, encode
from lessonkit.grading.reading.evaluate import (
    UNKNOWN,
    Fails,
    NeedsBox,
    Tool,
    evaluate,
    from_math,
    is_container,
)
from lessonkit.grading.reading.intake import StudentCell
from lessonkit.grading.reading.slices import Plan, plan_for
from lessonkit.grading.reading.trees import parts_of, tree_of
from lessonkit.grading.school import Book, tidy_source

__all__ = ["Findings", "Found", "find_answers", "parse_cells"]

_TAINTS = {"exec", "eval", "globals", "locals", "vars", "setattr", "delattr", "get_ipython", "__import__"}
_MISSING = object()


@dataclass(frozen=True)
class Found:
    """What was found for one exercise.

    `state` is "given" (then `wire` is the answer), "unanswered", "broken" (then `reason` says why there is no
    value), or "computed" (a confined process has to say).
    """

    state: str
    wire: str = ""
    reason: str = ""
    flags: tuple[str, ...] = ()


@dataclass(frozen=True)
class Findings:
    """All answers of a file, and what has to be run for those that are computed."""

    found: dict[str, Found]
    plan: Plan | None = None


@dataclass
class _Cell:
    """A code cell: its tree, or the sentence that says why it has none."""

    index: int
    raw: str
    label: str
    source: str = ""
    tree: ast.Module | None = None
    trouble: str = ""


def parse_cells(cells: list[StudentCell]) -> list[_Cell]:
    """Return the code cells with their syntax trees; magics and shell lines are passed over."""
    parsed = []
    for index, cell in enumerate(cells):
        if cell.code and cell.source.strip():
            parsed.append(_parse(_Cell(index, cell.source, cell.label)))
    return parsed


def _parse(cell: _Cell) -> _Cell:
    cell.source = source = cell.raw
    if source.lstrip().startswith("%%"):
        first, _, rest = source.lstrip().partition("\n")
        # These run the rest of the cell as it stands; any other turns it into something that is not Python.
        source = rest if first.split()[0] in ("%%time", "%%timeit", "%%capture", "%%prun") else ""
    for attempt in (source, "\n".join(map(_without_magic, source.split("\n")))):
        try:
            cell.tree, cell.source = tree_of(attempt), attempt
            return cell
        except SyntaxError as error:
            cell.trouble = f"the cell is no valid Python in line {error.lineno or 1}"
        except (ValueError, RecursionError, MemoryError):
            cell.trouble = "the cell is no valid Python"
    return cell


def _without_magic(line: str) -> str:
    """Return a line, or `pass` in place of one that speaks to the shell or to Jupyter."""
    words = line.lstrip()
    magic = words.startswith(("%", "!", "?")) or line.endswith("?")
    return line[: len(line) - len(words)] + "pass" if magic else line


@dataclass
class _Follow:
    """The state of the notebook while it is read from the top."""

    book: Book
    givens: Callable[[str], dict[str, Any]]
    names: dict[str, Any] = field(default_factory=dict)
    troubles: dict[str, str] = field(default_factory=dict)
    values: dict[str, list[str]] = field(default_factory=dict)
    shared: set[str] = field(default_factory=set)
    checked: dict[str, tuple[int, Any, str, Any]] = field(default_factory=dict)

    # A cell ------------------------------------------------------------------------------------------------

    def cell(self, cell: _Cell) -> None:
        if cell.tree is None:
            for name in self.book.names:
                if re.search(rf"\b{name}\b", cell.source):
                    self.troubles[name] = cell.trouble
            return
        locked = tidy_source(cell.raw) in self.book.locked
        for statement in cell.tree.body:
            try:
                if locked:
                    self._trusted(statement, cell)
                else:
                    self._statement(statement, cell)
            except Fails as trouble:
                # Jupyter leaves a cell at its first error: what it was about to assign stays as it was.
                for name in _stored(statement):
                    self.troubles[name] = f"the cell ends with an error, {trouble}"
                return

    def _trusted(self, statement: ast.stmt, cell: _Cell) -> None:
        """Follow a cell of the school's: it defines names, and changes nobody else's."""
        if self._check(statement, cell) or self._import(statement) or self._opening(statement):
            return
        self._forget(_stored(statement))

    # A statement -------------------------------------------------------------------------------------------

    def _statement(self, node: ast.stmt, cell: _Cell) -> None:
        if self._check(node, cell) or self._import(node) or self._opening(node) or _does_nothing(node):
            return
        if isinstance(node, ast.Assign):
            self._assign(node.targets, node.value, node)
        elif isinstance(node, ast.AnnAssign) and node.value is not None:
            self._assign([node.target], node.value, node)
        elif isinstance(node, ast.AugAssign) and isinstance(node.target, ast.Name):
            now = ast.Name(node.target.id, ast.Load())
            self._assign([node.target], ast.BinOp(now, node.op, node.value), node, fresh=False)
        elif isinstance(node, ast.If):
            self._branch(node, cell)
        else:
            self._lose(node)

    def _assign(
        self, targets: list[ast.expr], value: ast.expr, whole: ast.stmt, *, fresh: bool = True
    ) -> None:
        try:
            got: Any = self._tool(value) or evaluate(value, self.names, self.givens)
            if not isinstance(got, Tool):
                encode(got)  # the bound on the whole
        except NeedsBox:
            return self._lose(whole)
        except NotPlain as trouble:
            if not all(isinstance(target, ast.Name) and target.id in self.book.names for target in targets):
                return self._lose(whole)  # no answer, and something to compute one with
            got = trouble
        if not fresh and is_container(got):
            return self._lose(whole)  # += changes the list itself, and other names may hold it
        for target in targets:
            if isinstance(target, ast.Name):
                self._set(target.id, got)
            elif isinstance(target, ast.Tuple | ast.List) and type(got) in (tuple, list):
                if len(target.elts) != len(got) or not all(
                    isinstance(part, ast.Name) for part in target.elts
                ):
                    return self._lose(whole)
                for part, item in zip(target.elts, got, strict=True):
                    self._set(part.id, item)  # type: ignore[attr-defined]
            else:
                return self._lose(whole)
        return None

    def _tool(self, value: ast.expr) -> Tool | None:
        """Return what a plain name stands for, where it stands for a tool."""
        found = self.names.get(value.id) if isinstance(value, ast.Name) else None
        return found if isinstance(found, Tool) else None

    def _set(self, name: str, value: Any) -> None:
        self.names[name] = value
        self.troubles.pop(name, None)
        if name in self.book.names and not isinstance(value, Tool | NotPlain) and value is not ...:
            self.values.setdefault(name, []).append(encode(value))

    def _branch(self, node: ast.If, cell: _Cell) -> None:
        try:
            taken = node.body if evaluate(node.test, self.names, self.givens) else node.orelse
        except (NeedsBox, NotPlain):
            return self._lose(node)
        for statement in taken:
            self._statement(statement, cell)
        return None

    def _import(self, node: ast.stmt) -> bool:
        if isinstance(node, ast.Import):
            for item in node.names:
                name = item.asname or item.name.split(".")[0]
                self.names[name] = Tool("math") if item.name == "math" else UNKNOWN
            return True
        if isinstance(node, ast.ImportFrom):
            for item in node.names:
                if item.name == "*":
                    self._lose(node)
                else:
                    known = node.module == "math" and not node.level
                    self.names[item.asname or item.name] = from_math(item.name) if known else UNKNOWN
            return True
        return False

    def _opening(self, node: ast.stmt) -> bool:
        """Follow `workbook = lk.open_workbook(...)`."""
        if (
            isinstance(node, ast.Assign)
            and isinstance(node.value, ast.Call)
            and isinstance(node.value.func, ast.Attribute | ast.Name)
            and getattr(node.value.func, "attr", getattr(node.value.func, "id", "")) == "open_workbook"
            and all(isinstance(target, ast.Name) for target in node.targets)
        ):
            for target in node.targets:
                self.names[target.id] = Tool("workbook")  # type: ignore[attr-defined]
            return True
        return False

    def _check(self, node: ast.stmt, cell: _Cell) -> bool:
        """Note what an answer holds where its check stands."""
        call = node.value if isinstance(node, ast.Expr) else None
        if not (isinstance(call, ast.Call) and isinstance(call.func, ast.Attribute)):
            return False
        if call.func.attr != "check" or len(call.args) != 2 or not isinstance(call.args[0], ast.Constant):
            return False
        exercise = call.args[0].value
        names = {exercise: name for name, exercise in self.book.names.items()}
        if exercise in names:
            name = names[exercise]
            held = self.names.get(name, _MISSING)
            self.checked[exercise] = (
                cell.index,
                held,
                self.troubles.get(name, ""),
                self._argument(call, name),
            )
        return True

    def _argument(self, call: ast.Call, name: str) -> Any:
        """Return what stands in the check in place of the answer's name."""
        given = call.args[1]
        if isinstance(given, ast.Name) and given.id == name:
            return _MISSING
        try:
            value = evaluate(given, self.names, self.givens)
            encode(value)
            return value
        except (NeedsBox, Fails, NotPlain):
            return _MISSING

    # What can't be followed --------------------------------------------------------------------------------

    def _forget(self, names: set[str]) -> None:
        for name in names:
            self.names[name] = UNKNOWN
            self.troubles.pop(name, None)

    def _lose(self, node: ast.stmt) -> None:
        """Give up on all that a statement could have changed."""
        loaded = {part.id for part in ast.walk(node) if isinstance(part, ast.Name)}
        stored = _stored(node)
        for part in ast.walk(node):
            if isinstance(part, ast.Global | ast.Nonlocal):
                self.shared |= set(part.names)
        if isinstance(node, ast.ImportFrom) or loaded & _TAINTS:
            stored |= set(self.names) | set(self.book.names)
        # A call, or an attribute or item set, may change any list or mapping there is, and through a function
        # of the student's any name it calls global.
        stored |= {name for name, value in self.names.items() if is_container(value)} | self.shared
        self._forget(stored)


def _stored(node: ast.AST) -> set[str]:
    """Return the names that a statement assigns at its own level or deeper."""
    names = set()
    for part in parts_of(node) if isinstance(node, ast.Module) else ast.walk(node):
        if isinstance(part, ast.Name):
            if isinstance(part.ctx, ast.Store | ast.Del):
                names.add(part.id)
        elif isinstance(part, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            names.add(part.name)
    return names


def _does_nothing(node: ast.stmt) -> bool:
    """Tell whether a statement leaves every name as it was, whatever else it shows."""
    if isinstance(node, ast.Pass):
        return True
    if not isinstance(node, ast.Expr):
        return False
    value = node.value
    if isinstance(value, ast.Call) and isinstance(value.func, ast.Name | ast.Attribute):
        shown = getattr(value.func, "attr", getattr(value.func, "id", ""))
        simple = all(isinstance(part, ast.Name | ast.Constant) for part in value.args)
        return shown in ("print", "display", "ask", "check", "type", "len") and simple and not value.keywords
    return isinstance(value, ast.Constant | ast.Name)


def find_answers(
    cells: list[StudentCell], book: Book, givens: Callable[[str], dict[str, Any]] | None = None
) -> Findings:
    """Return the answers of a file to a workbook's exercises.

    `givens` returns the numbers of an exercise in the file's own variant.
    """

    def nothing(_: str) -> dict[str, Any]:
        raise NeedsBox

    parsed = parse_cells(cells)
    state = _Follow(book, givens or nothing)
    for cell in parsed:
        state.cell(cell)
    names = {exercise: name for name, exercise in book.names.items()}
    found, wanted = {}, {}
    for exercise, name in names.items():
        one, place = _decide(exercise, name, state, parsed)
        flags = _flags(exercise, name, state, parsed, cells, book)
        found[exercise] = Found(one.state, one.wire, one.reason, one.flags + flags)
        if one.state == "computed":
            wanted[exercise] = (name, len(cells) if place is None else place)
    trees = [(cell.index, cell.source, cell.tree) for cell in parsed if cell.tree is not None]
    return Findings(found, plan_for(trees, wanted) if wanted else None)


def _decide(exercise: str, name: str, state: _Follow, parsed: list[_Cell]) -> tuple[Found, int | None]:
    """Return what was found, and the place of the check that it was found at (None: the end)."""
    place, held, trouble, argument = state.checked.get(exercise, (None, _MISSING, "", _MISSING))
    if held is _MISSING or held is ...:  # no check cell, or the answer comes after it
        late = state.names.get(name, _MISSING)
        if late is not _MISSING:
            place, held, trouble = None, late, state.troubles.get(name, trouble)
    trouble = trouble or state.troubles.get(name, "")
    flags: tuple[str, ...] = ()
    if (held is _MISSING or held is ...) and argument is not _MISSING and argument is not ...:
        held, trouble, flags = argument, "", (f"{exercise}: the answer stands in the check cell",)
    if held is _MISSING and not trouble:
        held, flags = _rescued(exercise, state, parsed)
    if (held is _MISSING or held is ...) and trouble:
        return Found("broken", reason=trouble), place
    if held is UNKNOWN:
        return Found("computed", flags=flags), place
    return _as_found(held, flags), place


def _as_found(held: Any, flags: tuple[str, ...]) -> Found:
    if held is _MISSING:
        return Found("unanswered", reason="no cell assigns it", flags=flags)
    if isinstance(held, NotPlain):
        return Found("broken", reason=str(held), flags=flags)
    if held is ... or held is None:
        return Found("unanswered", reason="the answer is still to be given", flags=flags)
    if isinstance(held, Tool):
        return Found("broken", reason="the answer is a function, not its result", flags=flags)
    return Found("given", encode(held), flags=flags)


def _rescued(exercise: str, state: _Follow, parsed: list[_Cell]) -> tuple[Any, tuple[str, ...]]:
    """Return the value of a renamed answer: the one name that the labelled cell assigns."""
    for cell in reversed(parsed):
        if cell.label == exercise and cell.tree is not None:
            names = _stored(cell.tree) - set(state.book.names)
            if len(names) == 1 and not _stored(cell.tree) & set(state.book.names):
                value = state.names.get(names.pop(), _MISSING)
                if value is not _MISSING and value is not UNKNOWN and not isinstance(value, Tool):
                    return value, (f"{exercise}: the answer's variable was renamed",)
    return _MISSING, ()


def _flags(
    exercise: str, name: str, state: _Follow, parsed: list[_Cell], cells: list[StudentCell], book: Book
) -> tuple[str, ...]:
    flags = []
    if len(set(state.values.get(name, []))) > 1:
        flags.append(f"{exercise}: answered more than once with different values")
    if state.values.get(name) and state.names.get(name) is ...:
        flags.append(f"{exercise}: an answer was given, and a cell below it takes it back")
    if exercise not in state.checked:
        flags.append(f"{exercise}: its check cell is missing or changed")
    else:
        index = state.checked[exercise][0]
        if tidy_source(cells[index].source) not in book.locked:
            flags.append(f"{exercise}: its check cell was changed")
    for cell in parsed:
        if cell.label == exercise and cell.tree is not None:
            others = _stored(cell.tree) & set(book.names)
            if others and name not in others:
                flags.append(f"{exercise}: its cell holds another exercise's answer")
    text = (cell.source for cell in cells if not cell.code and name in cell.source)
    if any(re.search(rf"\b{name}\s*=", source) for source in text):
        flags.append(f"{exercise}: an answer stands in a text cell")
    return tuple(dict.fromkeys(flags))
