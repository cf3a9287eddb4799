"""What the tests of a site's parts share."""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from lessonkit.site.fetch import find_node

PAGE = Path(__file__).resolve().parents[3] / "lessonkit" / "site" / "page"


def says(script: str, told: str = "") -> str:
    """Run a script of our page in Node, tell it something, and return what it prints."""
    node = find_node()
    if node is None:
        pytest.skip("Node is not on this machine: pip install lessonkit[site]")
    command = [*node, "--input-type=module", "-e", script]
    done = subprocess.run(
        command,
        cwd=PAGE,
        input=told,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout


@pytest.fixture
def node_says() -> Callable[..., str]:
    """Give a function that runs a script of our page in Node and returns what it prints."""
    return says
