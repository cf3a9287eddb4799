"""Syntax trees that are kept: the right ones, and never a long one."""

from __future__ import annotations

import ast

import pytest

from lessonkit.grading.reading.trees import LONGEST, parts_of, tree_of


def test_an_ordinary_cell_is_parsed_once_and_a_long_one_is_not_kept() -> None:
    """The same source gives the same tree, unless it is so long that keeping it would cost memory."""
    long = "x = 1\n" * LONGEST
    assert tree_of("x = 1") is tree_of("x = " + "1")
    assert tree_of(long) is not tree_of(long)
    with pytest.raises(SyntaxError):
        tree_of("x = = 1")


def test_parts_are_those_that_a_walk_meets_and_leave_the_tree_as_it_is() -> None:
    """The row of parts is the walk's, before and after it was made."""
    tree = tree_of("a, b = f(1), [c.d for c in e]")
    before = ast.dump(tree)
    assert list(parts_of(tree)) == list(ast.walk(tree)) == list(parts_of(tree))
    assert ast.dump(tree) == before
