"""A JupyterLab page to click on: a server of its own, a browser, and one notebook.

Used by the tests here and by the measurements in tests/speed. Loopback only, on a free port, with every
folder that Jupyter might read or write under one temporary folder.
"""

from __future__ import annotations

import contextlib
import importlib.util
import json
import os
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import nbformat

# What all tests share, by its path: a module named conftest is found in many places.
_SPEC = importlib.util.spec_from_file_location("shared", Path(__file__).parents[1] / "conftest.py")
assert _SPEC is not None
assert _SPEC.loader is not None
shared = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(shared)

BROWSER_OPTIONS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    # A page whose answer a test has changed may still talk to the server on this computer.
    "--disable-features=LocalNetworkAccessChecks",
]


def write_notebook(path: Path, *cells: str) -> Path:
    """Write a notebook of code cells."""
    notebook = nbformat.v4.new_notebook(
        metadata={"kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"}}
    )
    for k, source in enumerate(cells):
        cell = nbformat.v4.new_code_cell(source)
        cell["id"] = f"cell-{k}"
        notebook.cells.append(cell)
    nbformat.write(notebook, path)
    return path


def free_port() -> int:
    """Return a port of this computer that nobody listens on."""
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        return int(trial.getsockname()[1])


@contextlib.contextmanager
def lab_server(root: Path, env: dict[str, str], log: Path) -> Iterator[str]:
    """Serve a folder with JupyterLab; yields its address and stops the server at the end."""
    settings = Path(env["JUPYTERLAB_SETTINGS_DIR"]) / "@jupyterlab" / "apputils-extension"
    settings.mkdir(parents=True, exist_ok=True)
    quiet = {"fetchNews": "false", "checkForUpdates": False}
    (settings / "notification.jupyterlab-settings").write_text(json.dumps(quiet), encoding="utf-8")
    port = free_port()
    command = [
        *(sys.executable, "-m", "jupyterlab", "--no-browser", "--expose-app-in-browser"),
        *(["--allow-root"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []),
        "--ServerApp.ip=127.0.0.1",
        f"--ServerApp.port={port}",
        "--ServerApp.port_retries=0",
        f"--ServerApp.root_dir={root}",
        "--IdentityProvider.token=",
        "--LabApp.news_url=",
        "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
        "--LabApp.extension_manager=readonly",
    ]
    with log.open("w", encoding="utf-8") as out:
        server = subprocess.Popen(
            command, env=env, cwd=root, stdout=out, stderr=out, stdin=subprocess.DEVNULL
        )
        try:
            _wait_for(f"http://127.0.0.1:{port}/api/status", server, log)
            yield f"http://127.0.0.1:{port}"
        finally:
            server.terminate()
            try:
                server.wait(20)
            except subprocess.TimeoutExpired:
                server.kill()
                server.wait()


def _wait_for(url: str, server: subprocess.Popen[bytes], log: Path) -> None:
    for _ in range(600):
        if server.poll() is not None:
            break
        with contextlib.suppress(OSError), urllib.request.urlopen(url, timeout=5) as answer:
            if answer.status == 200:
                return
        time.sleep(0.1)
    raise RuntimeError(f"JupyterLab did not come up:\n{log.read_text(encoding='utf-8')[-3000:]}")


@contextlib.contextmanager
def browser_page(tools: Any, chromium: str, width: int = 1400, height: int = 1000) -> Iterator[Any]:
    """Open a page in a headless browser; `tools` is what sync_playwright() gives."""
    browser = tools.chromium.launch(executable_path=chromium, args=BROWSER_OPTIONS)
    try:
        page = browser.new_page(viewport={"width": width, "height": height})
        page.set_default_timeout(60_000)
        yield page
    finally:
        browser.close()


def open_notebook(page: Any, server: str, notebook: str) -> None:
    """Open a notebook and wait until its kernel is idle."""
    page.goto(f"{server}/lab/tree/{notebook}?reset")
    page.wait_for_function(
        "() => window.jupyterapp?.shell?.currentWidget?.sessionContext?.session?.kernel?.status === 'idle'"
    )


def run_command(page: Any, name: str, **words: Any) -> None:
    """Let JupyterLab carry out one of its commands, and wait for it."""
    page.evaluate("([name, words]) => window.jupyterapp.commands.execute(name, words)", [name, words])


_HAS_OUTPUT = """
id => {
  const notebook = window.jupyterapp.shell.currentWidget.content;
  const k = notebook.widgets.findIndex(cell => cell.model.id === id);
  if (k < 0 || !notebook.widgets[k].model.outputs.length) return false;
  // The page makes cells only where somebody looks.
  notebook.activeCellIndex = k;
  notebook.scrollToItem(k, 'start');
  return true;
}
"""


def run_all(page: Any, server: str, notebook: str, cell: str) -> None:
    """Open a notebook, run all its cells, wait for the output of one, by its id, and scroll there."""
    open_notebook(page, server, notebook)
    page.evaluate("() => { window.jupyterapp.commands.execute('notebook:run-all-cells'); }")
    page.wait_for_function(_HAS_OUTPUT, arg=cell)


def open_panel(page: Any, lab: tuple[str, Path], name: str, *cells: str) -> Any:
    """Write a notebook whose second cell shows a panel, run all of it, and return the panel on its page."""
    notebook = write_notebook(lab[1] / name, *cells)
    run_all(page, lab[0], notebook.name, "cell-1")
    found = page.locator(".lk-panel.lk-ready").first
    found.wait_for()
    return found


def key(panel: Any, name: str) -> Any:
    """Return a key of a panel by the name that a screen reader hears."""
    return panel.get_by_role("button", name=name, exact=True)


def is_pressed(panel: Any, name: str) -> None:
    """Wait until a screen reader hears that a key is pressed: that follows what is seen a moment later."""
    panel.get_by_role("button", name=name, exact=True, pressed=True).wait_for()
