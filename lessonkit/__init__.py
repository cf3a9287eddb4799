"""A bench and workbooks for multiplexed low-voltage control.

One name, `import lessonkit as lk`, opens everything a workbook or a script needs. Each name below is
fetched from its room the first time it is asked for (PEP 562), so that importing the package costs next
to nothing: no plotting library, no widgets and no solver are loaded until a lesson uses them.

    import lessonkit as lk
    bench = lk.Bench(lk.demo_job("two-run"))
    bench.set_call("cool-2")

To publish a name, add it to its group in `_ROOMS`, and to the imports under `TYPE_CHECKING`, which tell
editors and the type checker what the table tells Python. A test holds the two equal.
"""

from __future__ import annotations

import os
import sys
from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

# The bench solves many small circuits. Beside a browser on two cores, a second thread of numpy's linear
# algebra makes each ten times slower (tests/speed/measure_spine.py). Numpy reads this once, as it loads.
if "numpy" not in sys.modules:
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# What the package publishes: the room, then the names that come from it, grouped by kind.
_ROOMS: dict[str, tuple[str, ...]] = {
    # Jobs: a described site, and how it may break.
    "lessonkit.job.toml": ("demo_job", "load_job"),
    "lessonkit.job.faults": ("parse_fault",),
    # The bench: a job brought to life, and the meter held to it.
    "lessonkit.bench.bench": ("Bench",),
    "lessonkit.bench.meter": ("Meter",),
    # On the job: what may be wrong.
    "lessonkit.studies.find": ("Search",),
    # Cold days: a house, its weather, its season.
    "lessonkit.studies.house": ("load_house",),
    "lessonkit.studies.weather": ("load_weather",),
    "lessonkit.studies.season": ("season", "sweep_lockouts"),
    "lessonkit.draw.season": ("show_season",),
    # Workbooks: exercises, and panels to try things on.
    "lessonkit.exercises": ("open_workbook",),
    "lessonkit.exercises.predict": ("reveal",),
    "lessonkit.exercises.trials": ("try_calls",),
    "lessonkit.panels": ("bench_panel", "show_bench"),
    # Errors: every mistake that the library names is one of these.
    "lessonkit.errors": ("LessonError",),
}

_ROOM_OF = {name: room for room, names in _ROOMS.items() for name in names}

# The literal list is for readers and type checkers; a test holds it equal to the table above.
__all__ = [
    "Bench",
    "LessonError",
    "Meter",
    "Search",
    "__version__",
    "bench_panel",
    "demo_job",
    "load_house",
    "load_job",
    "load_weather",
    "open_workbook",
    "parse_fault",
    "reveal",
    "season",
    "show_bench",
    "show_season",
    "sweep_lockouts",
    "try_calls",
]

if TYPE_CHECKING:
    from lessonkit.bench.bench import Bench
    from lessonkit.bench.meter import Meter
    from lessonkit.draw.season import show_season
    from lessonkit.errors import LessonError
    from lessonkit.exercises import open_workbook
    from lessonkit.exercises.predict import reveal
    from lessonkit.exercises.trials import try_calls
    from lessonkit.job.faults import parse_fault
    from lessonkit.job.toml import demo_job, load_job
    from lessonkit.panels import bench_panel, show_bench
    from lessonkit.studies.find import Search
    from lessonkit.studies.house import load_house
    from lessonkit.studies.season import season, sweep_lockouts
    from lessonkit.studies.weather import load_weather


def __getattr__(name: str) -> Any:
    """Fetch a published name from its room when first asked."""
    try:
        room = _ROOM_OF[name]
    except KeyError:
        raise AttributeError(f"lessonkit publishes no {name!r}; it publishes {', '.join(__all__)}.") from None
    value = getattr(import_module(room), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    """Name what the package publishes, for help and completion."""
    return sorted(__all__)
