"""A JupyterLab server and a browser page for the tests here."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from labpage import browser_page, lab_server, shared


@pytest.fixture(scope="session")
def lab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Path]]:
    """Serve an empty folder with JupyterLab; gives its address and the folder."""
    root = tmp_path_factory.mktemp("lab")
    notebooks = root / "notebooks"
    notebooks.mkdir()
    env = shared.make_private_env(root / "env")
    # The kernel imports the checkout that is tested, wherever it is installed.
    env["PYTHONPATH"] = os.pathsep.join(filter(None, [str(shared.CHECKOUT), env.get("PYTHONPATH", "")]))
    with lab_server(notebooks, env, root / "server.log") as address:
        yield address, notebooks


@pytest.fixture(scope="session")
def page(browser_tools: Any, chromium: str) -> Iterator[Any]:
    """Open a browser page."""
    with browser_page(browser_tools, chromium) as opened:
        yield opened
