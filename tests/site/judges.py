"""What tests need in the page's Python: pytest and hypothesis, as pure wheels held to their SHA-256.

Of hypothesis the last version without compiled parts, which are for other machines than a page.
"""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

from lessonkit.site.fetch import Store, cache_folder
from lessonkit.site.pins import Pin


def _pin(package: str, version: str, sha256: str, tag: str = "py3") -> Pin:
    return Pin("PyPI", package, version, f"{package}-{version}-{tag}-none-any.whl", sha256)


JUDGES = (
    _pin("pytest", "8.4.2", "872f880de3fc3a5bdc88a11b39c9710c3497a547cfa9320bc3c5e62fbf272e79"),
    _pin("pluggy", "1.6.0", "e920276dd6813095e9377c0bc5566d94c932c33b27a3e3945d8389c374dd4746"),
    _pin("iniconfig", "2.1.0", "9deba5723312380e77435581c6bf4935c94cbfab9b1ed33ef8d238ea168eb760"),
    _pin("hypothesis", "6.140.3", "a2cfff51641a58a56081f5c90ae1da6ccf3d043404f411805f7f0e0d75742d0e"),
    _pin("attrs", "25.3.0", "427318ce031701fea540783410126f03899a97ffc6f61596ad581ac2e40e3bc3"),
    _pin(
        "sortedcontainers",
        "2.4.0",
        "a163dcaede0f1c021485e957a39245190e74249897e2ae4b2aa38595db237ee0",
        "py2.py3",
    ),
)


def unpack_judges(folder: Path) -> None:
    """Put them all into a folder. Raises `CantBeHad`."""
    store = Store(None, cache_folder(), lambda text: None)
    for pin in JUDGES:
        with zipfile.ZipFile(io.BytesIO(store.get(pin))) as wheel:
            wheel.extractall(folder)
