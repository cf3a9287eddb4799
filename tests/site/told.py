"""What the cells of notebooks say, as text: the same program for the page's Python and for this computer's.

    python told.py FOLDER OUT.json

Runs every notebook of the folder from top to bottom. OUT.json gets, by notebook and cell id, a list of texts:
what was printed, what was shown (in the form that a page shows, and in the plain form behind it), the error.
"""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path
from typing import Any

from IPython.core.displayhook import CapturingDisplayHook
from IPython.core.interactiveshell import InteractiveShell
from IPython.utils.capture import capture_output
from matplotlib import font_manager  # noqa: F401  a new home has no list of fonts: it is made here, not in a cell

SHOWN = ("text/html", "text/markdown")
"""The forms of text that a page prefers to the plain one."""

PICTURE = re.compile(r"data:image/[a-z]+;base64,[A-Za-z0-9+/=]+")


def texts_of(data: dict[str, Any]) -> dict[str, str]:
    """Return the text of one output: `shown`, as a page has it, and `behind`, the plain form.

    Pictures are left out: fonts and their edges belong to each Python.
    """
    plain = data.get("text/plain", "")
    shown = next((data[kind] for kind in SHOWN if kind in data), plain)
    return {"shown": PICTURE.sub("(a picture)", shown), "behind": plain}


def cells_of(notebook: dict[str, Any]) -> dict[str, Any]:
    """Run a notebook in a shell of its own, and return what each code cell said."""
    InteractiveShell.clear_instance()
    shell = InteractiveShell.instance()
    # A traceback quotes files, which lie elsewhere in each Python; the error itself is kept.
    shell.showtraceback = shell.showsyntaxerror = lambda *what, **how: None
    told = {}
    for cell in notebook["cells"]:
        if cell["cell_type"] != "code":
            continue
        last: list[dict[str, Any]] = []
        shell.display_trap.hook = CapturingDisplayHook(shell, last)
        with capture_output() as seen:
            done = shell.run_cell("".join(cell["source"]), store_history=True)
        trouble = done.error_before_exec or done.error_in_exec
        told[cell["id"]] = {
            "printed": seen.stdout,
            "warned": seen.stderr,
            "outputs": [texts_of(output.data) for output in seen.outputs]
            + [texts_of(output["data"]) for output in last],
            "error": f"{type(trouble).__name__}: {trouble}" if trouble else "",
        }
    return told


def tell(folder: str, out: str) -> None:
    """Run every notebook of a folder and write down what they said."""
    whole = {}
    for path in sorted(Path(folder).glob("*.ipynb")):
        whole[path.stem] = cells_of(json.loads(path.read_text(encoding="utf-8")))
    Path(out).write_text(json.dumps(whole), encoding="utf-8")


if __name__ == "__main__":
    tell(*sys.argv[1:])
