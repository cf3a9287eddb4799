"""Which cells have to run for an answer that is computed.

An answer such as `bench.state.volts["out:Y1"]` needs the cells that made the bench and moved it, and no
others. A slice takes, from the check cell upwards, every cell that assigns or so much as mentions a name in
use, and the names it uses in turn. So an endless loop in a cell that has nothing to do with the answers
costs nothing.
"""

from __future__ import annotations

import ast
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

__all__ = ["Plan", "plan_for"]

_REACHES_ALL = {"exec", "eval", "globals", "locals", "vars", "setattr", "delattr", "get_ipython"}


@dataclass(frozen=True)
class Plan:
    """What a confined process runs: cells in order, and the answers to fetch.

    `cells` are (place, source); `fetch` are (exercise, name, place): after the last cell whose place is not
    above it, the name's value is the answer.
    """

    cells: tuple[tuple[int, str], ...]
    fetch: tuple[tuple[str, str, int], ...]

    def only(self, exercise: str) -> Plan:
        """Return the plan for one exercise alone."""
        return Plan(self.cells, tuple(item for item in self.fetch if item[0] == exercise))


def plan_for(trees: Sequence[tuple[int, str, ast.Module]], wanted: Mapping[str, tuple[str, int]]) -> Plan:
    """Return what to run for the wanted answers: exercise -> (name, place of its check)."""
    chosen: dict[int, str] = {}
    for name, stop in wanted.values():
        for place, source in _slice([item for item in trees if item[0] <= stop], name):
            chosen[place] = source
    fetch = tuple((exercise, name, stop) for exercise, (name, stop) in wanted.items())
    return Plan(tuple(sorted(chosen.items())), tuple(sorted(fetch, key=lambda item: item[2])))


def _slice(trees: Sequence[tuple[int, str, ast.Module]], name: str) -> list[tuple[int, str]]:
    needed, chosen = {name}, []
    for place, source, tree in reversed(trees):
        mentioned = _mentioned(tree)
        if (mentioned & needed and not _only_shows(tree)) or mentioned & _REACHES_ALL or _takes_all(tree):
            chosen.append((place, source))
            needed |= mentioned
    return chosen[::-1]


def _mentioned(tree: ast.AST) -> set[str]:
    names = {node.id for node in ast.walk(tree) if isinstance(node, ast.Name)}
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            names.add(node.name)
        elif isinstance(node, ast.Import | ast.ImportFrom):
            names |= {item.asname or item.name.split(".")[0] for item in node.names}
    return names


def _takes_all(tree: ast.AST) -> bool:
    return any(
        isinstance(node, ast.ImportFrom) and any(item.name == "*" for item in node.names)
        for node in ast.walk(tree)
    )


def _only_shows(tree: ast.Module) -> bool:
    """Tell whether a cell is an ask or a check, which change nothing."""
    return all(
        isinstance(node, ast.Expr)
        and isinstance(node.value, ast.Call)
        and isinstance(node.value.func, ast.Attribute)
        and node.value.func.attr in ("ask", "check")
        and all(isinstance(part, ast.Name | ast.Constant) for part in node.value.args)
        for node in tree.body
    )
