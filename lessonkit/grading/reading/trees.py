"""Syntax trees of cells, made once for cells that many files share.

Most cells of a class are the school's own, the same in every file, and each file's cells are looked at from
several sides. So the trees of ordinary cells are kept, the latest few hundred of them, and each has its parts
in a row beside it. Nobody changes a tree.
"""

from __future__ import annotations

import ast
from functools import lru_cache

__all__ = ["parts_of", "tree_of"]

LONGEST = 4_000
"""Characters of a cell whose tree is kept; a hostile one may be long, and its tree is a hundred times it."""


def tree_of(source: str) -> ast.Module:
    """Return the syntax tree of a source. Raises what `ast.parse` raises."""
    return _kept(source) if len(source) <= LONGEST else ast.parse(source)


def parts_of(tree: ast.Module) -> tuple[ast.AST, ...]:
    """Return all nodes of a tree, in the order in which `ast.walk` meets them."""
    beside = vars(tree)
    if "parts_in_a_row" not in beside:
        beside["parts_in_a_row"] = tuple(ast.walk(tree))
    return beside["parts_in_a_row"]  # type: ignore[no-any-return]


@lru_cache(maxsize=512)
def _kept(source: str) -> ast.Module:
    return ast.parse(source)
