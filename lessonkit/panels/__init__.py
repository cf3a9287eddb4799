"""Panels: the bench under your hands, in a notebook.

Each panel is a pure function plus thin widgets. The function (`show_bench`) gives the same picture without a
widget, so a workbook reads and runs with no browser; the panel adds keys, and a bench that goes on living
between clicks. Rooms here are loaded when first asked for, because widgets cost time to import.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__all__ = ["bench_panel", "meter_panel", "scope_panel", "show_bench"]

_ROOM_OF = {
    "bench_panel": "lessonkit.panels.bench",
    "meter_panel": "lessonkit.panels.meter",
    "scope_panel": "lessonkit.panels.scope",
    "show_bench": "lessonkit.draw.view",
}

if TYPE_CHECKING:
    from lessonkit.draw.view import show_bench
    from lessonkit.panels.bench import bench_panel
    from lessonkit.panels.meter import meter_panel
    from lessonkit.panels.scope import scope_panel


def __getattr__(name: str) -> Any:
    """Fetch a panel from its room when first asked."""
    if name not in _ROOM_OF:
        raise AttributeError(f"lessonkit.panels has no {name!r}; it has {', '.join(__all__)}.")
    value = getattr(import_module(_ROOM_OF[name]), name)
    globals()[name] = value
    return value
