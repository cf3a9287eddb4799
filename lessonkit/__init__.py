"""A bench and workbooks for multiplexed low-voltage control.

One name, `import lessonkit as lk`, opens everything a workbook or a script needs. Each name below is
fetched from its room the first time it is asked for (PEP 562), so that importing the package costs next
to nothing: no plotting library, no widgets and no solver are loaded until a lesson uses them.

    import lessonkit as lk
    bench = lk.Bench("two-run", call="cool-2")

In a notebook a bench and its log are pictures. The rooms that they come from know nothing of pictures, so
this room, which stands beside all floors, tells IPython by name which room draws which (`_PICTURES`); nothing
is imported before the first picture.

To publish a name, add it to its group in `_ROOMS`, and to the imports under `TYPE_CHECKING`, which tell
editors and the type checker what the table tells Python. A test holds the two equal.
"""

from __future__ import annotations

import os
import sys
from functools import partial
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
    "lessonkit.copper.wire": ("loop_ohm",),
    # The bench: a job brought to life, and the meter held to it.
    "lessonkit.bench.bench": ("Bench",),
    "lessonkit.bench.meter": ("Meter",),
    "lessonkit.bench.hands": ("Hands",),
    "lessonkit.studies.experiment": ("experiment",),
    "lessonkit.studies.sweeps": ("earth_sweep",),
    "lessonkit.studies.budget": ("va_budget",),
    "lessonkit.studies.ghosts": ("ghost_places",),
    "lessonkit.studies.latency": ("latency",),
    "lessonkit.studies.leaks": ("leak",),
    "lessonkit.studies.defrosts": ("running", "watch_defrost"),
    "lessonkit.studies.cable": ("half_split", "locate_open", "locate_short", "prove_insulation", "ring_out"),
    "lessonkit.studies.steering": ("DcCoil", "Steering", "steer"),
    "lessonkit.studies.steps": ("load_story", "play"),
    "lessonkit.studies.link_trial": ("try_link",),
    "lessonkit.studies.noisy_frames": ("count_frames",),
    "lessonkit.studies.check_trials": ("count_slips",),
    "lessonkit.studies.broken": ("break_each",),
    "lessonkit.signal.edges": ("cable_edge",),
    "lessonkit.signal.error_rates": ("clock_tolerance",),
    "lessonkit.studies.secrets": ("secret_bench", "try_reader"),
    # On the job: what may be wrong.
    "lessonkit.studies.find": ("Search",),
    "lessonkit.studies.hunt": ("box_hunt", "hunt", "job_hunt", "still_likely"),
    "lessonkit.studies.plan": ("first_plan", "plan"),
    "lessonkit.studies.plan_sweeps": ("bad_corner",),
    "lessonkit.studies.survey": ("load_survey",),
    "lessonkit.draw.plan_pictures": ("conductor_picture", "margin_picture"),
    "lessonkit.draw.plan_tables": ("show_breaks", "show_coils", "show_plans", "show_schedule", "show_survey"),
    "lessonkit.studies.prove": ("prove",),
    "lessonkit.studies.judging": ("judge_sheet",),
    "lessonkit.studies.sheet_parts": ("fit_sheet", "out_of_band", "over_calls", "sheet_part"),
    "lessonkit.studies.coverage": ("notices",),
    "lessonkit.studies.unknown_site": ("unknown_site",),
    "lessonkit.studies.hidden": ("hidden_fault",),
    # Cold days: a house, its weather, its season.
    "lessonkit.studies.house": ("load_house",),
    "lessonkit.studies.weather": ("load_weather",),
    "lessonkit.studies.balance": ("balance_points",),
    "lessonkit.studies.frost": ("defrost_derating",),
    "lessonkit.studies.season": ("running_cop", "season", "sweep_lockouts"),
    "lessonkit.studies.compared": ("compare_seasons",),
    "lessonkit.studies.winter_day": ("winter_day",),
    "lessonkit.draw.balance": ("balance_picture", "cop_picture", "frost_picture"),
    "lessonkit.draw.season": ("show_season",),
    "lessonkit.draw.winter_day": ("show_winter_day",),
    # In front of a class: questions for a show of hands, and what the bench says of them.
    "lessonkit.studies.asked": ("ask_class",),
    "lessonkit.studies.what_follows": ("what_follows",),
    "lessonkit.studies.worse_ground": ("worse_ground",),
    "lessonkit.studies.class_plan": ("class_plan",),
    "lessonkit.studies.team_hunt": ("team_hunt",),
    "lessonkit.panels.votes": ("vote_panel",),
    "lessonkit.panels.teams": ("team_hunt_panel",),
    # Pictures: a bench at one moment, coils and what they remember.
    "lessonkit.draw.view": ("show_bench",),
    "lessonkit.draw.ladder": ("ladder",),
    "lessonkit.draw.coils": ("memory_picture", "splice_picture"),
    "lessonkit.draw.triangle": ("triangle_picture",),
    "lessonkit.draw.cables": ("break_picture", "touch_picture"),
    "lessonkit.draw.steering": ("reach_picture", "steering_picture"),
    "lessonkit.draw.grounds": ("earth_picture", "phase_picture"),
    "lessonkit.draw.characters": ("character_picture", "frame_time_picture"),
    "lessonkit.draw.clocks": ("clock_picture",),
    "lessonkit.draw.edges": ("edge_picture",),
    "lessonkit.draw.eye": ("link_eye",),
    "lessonkit.draw.noise": ("noise_picture",),
    "lessonkit.draw.rates": ("error_rate_picture",),
    "lessonkit.draw.zoom": ("scope_levels", "scope_numbers", "scope_picture"),
    "lessonkit.draw.far_end": ("defrost_picture", "latency_picture"),
    "lessonkit.draw.hunts": ("bits_picture", "chances_picture", "split_picture"),
    "lessonkit.draw.sheets": ("band_picture", "residual_picture"),
    # Workbooks: exercises, and panels to try things on.
    "lessonkit.exercises": ("open_workbook",),
    "lessonkit.exercises.predict": ("predictions", "reveal"),
    "lessonkit.exercises.start_page": ("progress",),
    "lessonkit.exercises.trials": ("try_calls",),
    "lessonkit.panels.bench": ("bench_panel",),
    "lessonkit.panels.hidden": ("hidden_fault_panel",),
    "lessonkit.panels.meter": ("meter_panel",),
    "lessonkit.panels.plan": ("plan_panel",),
    "lessonkit.panels.prove": ("prove_panel",),
    "lessonkit.panels.scope": ("scope_panel",),
    "lessonkit.panels.season": ("season_panel",),
    # Errors: every mistake that the library names is one of these.
    "lessonkit.errors": ("LessonError", "refused"),
}

# What a notebook draws, by the name of its class, and what draws it: both are fetched when first shown.
_PICTURES = {
    ("lessonkit.bench.bench", "Bench"): ("lessonkit.draw.view", "view"),
    ("lessonkit.bench.log", "Log"): ("lessonkit.draw.coils", "log_picture"),
}

_ROOM_OF = {name: room for room, names in _ROOMS.items() for name in names}

# The literal list is for readers and type checkers; a test holds it equal to the table above.
__all__ = [
    "Bench",
    "DcCoil",
    "Hands",
    "LessonError",
    "Meter",
    "Search",
    "Steering",
    "__version__",
    "ask_class",
    "bad_corner",
    "balance_picture",
    "balance_points",
    "band_picture",
    "bench_panel",
    "bits_picture",
    "box_hunt",
    "break_each",
    "break_picture",
    "cable_edge",
    "chances_picture",
    "character_picture",
    "class_plan",
    "clock_picture",
    "clock_tolerance",
    "compare_seasons",
    "conductor_picture",
    "cop_picture",
    "count_frames",
    "count_slips",
    "defrost_derating",
    "defrost_picture",
    "demo_job",
    "earth_picture",
    "earth_sweep",
    "edge_picture",
    "error_rate_picture",
    "experiment",
    "first_plan",
    "fit_sheet",
    "frame_time_picture",
    "frost_picture",
    "ghost_places",
    "half_split",
    "hidden_fault",
    "hidden_fault_panel",
    "hunt",
    "job_hunt",
    "judge_sheet",
    "ladder",
    "latency",
    "latency_picture",
    "leak",
    "link_eye",
    "load_house",
    "load_job",
    "load_story",
    "load_survey",
    "load_weather",
    "locate_open",
    "locate_short",
    "loop_ohm",
    "margin_picture",
    "memory_picture",
    "meter_panel",
    "noise_picture",
    "notices",
    "open_workbook",
    "out_of_band",
    "over_calls",
    "parse_fault",
    "phase_picture",
    "plan",
    "plan_panel",
    "play",
    "predictions",
    "progress",
    "prove",
    "prove_insulation",
    "prove_panel",
    "reach_picture",
    "refused",
    "residual_picture",
    "reveal",
    "ring_out",
    "running",
    "running_cop",
    "scope_levels",
    "scope_numbers",
    "scope_panel",
    "scope_picture",
    "season",
    "season_panel",
    "secret_bench",
    "sheet_part",
    "show_bench",
    "show_breaks",
    "show_coils",
    "show_plans",
    "show_schedule",
    "show_season",
    "show_survey",
    "show_winter_day",
    "splice_picture",
    "split_picture",
    "steer",
    "steering_picture",
    "still_likely",
    "sweep_lockouts",
    "team_hunt",
    "team_hunt_panel",
    "touch_picture",
    "triangle_picture",
    "try_calls",
    "try_link",
    "try_reader",
    "unknown_site",
    "va_budget",
    "vote_panel",
    "watch_defrost",
    "what_follows",
    "winter_day",
    "worse_ground",
]

if TYPE_CHECKING:
    from lessonkit.bench.bench import Bench
    from lessonkit.bench.hands import Hands
    from lessonkit.bench.meter import Meter
    from lessonkit.copper.wire import loop_ohm
    from lessonkit.draw.balance import balance_picture, cop_picture, frost_picture
    from lessonkit.draw.cables import break_picture, touch_picture
    from lessonkit.draw.characters import character_picture, frame_time_picture
    from lessonkit.draw.clocks import clock_picture
    from lessonkit.draw.coils import memory_picture, splice_picture
    from lessonkit.draw.edges import edge_picture
    from lessonkit.draw.eye import link_eye
    from lessonkit.draw.far_end import defrost_picture, latency_picture
    from lessonkit.draw.grounds import earth_picture, phase_picture
    from lessonkit.draw.hunts import bits_picture, chances_picture, split_picture
    from lessonkit.draw.ladder import ladder
    from lessonkit.draw.noise import noise_picture
    from lessonkit.draw.plan_pictures import conductor_picture, margin_picture
    from lessonkit.draw.plan_tables import show_breaks, show_coils, show_plans, show_schedule, show_survey
    from lessonkit.draw.rates import error_rate_picture
    from lessonkit.draw.season import show_season
    from lessonkit.draw.sheets import band_picture, residual_picture
    from lessonkit.draw.steering import reach_picture, steering_picture
    from lessonkit.draw.triangle import triangle_picture
    from lessonkit.draw.view import show_bench
    from lessonkit.draw.winter_day import show_winter_day
    from lessonkit.draw.zoom import scope_levels, scope_numbers, scope_picture
    from lessonkit.errors import LessonError, refused
    from lessonkit.exercises import open_workbook
    from lessonkit.exercises.predict import predictions, reveal
    from lessonkit.exercises.start_page import progress
    from lessonkit.exercises.trials import try_calls
    from lessonkit.job.faults import parse_fault
    from lessonkit.job.toml import demo_job, load_job
    from lessonkit.panels.bench import bench_panel
    from lessonkit.panels.hidden import hidden_fault_panel
    from lessonkit.panels.meter import meter_panel
    from lessonkit.panels.plan import plan_panel
    from lessonkit.panels.prove import prove_panel
    from lessonkit.panels.scope import scope_panel
    from lessonkit.panels.season import season_panel
    from lessonkit.panels.teams import team_hunt_panel
    from lessonkit.panels.votes import vote_panel
    from lessonkit.signal.edges import cable_edge
    from lessonkit.signal.error_rates import clock_tolerance
    from lessonkit.studies.asked import ask_class
    from lessonkit.studies.balance import balance_points
    from lessonkit.studies.broken import break_each
    from lessonkit.studies.budget import va_budget
    from lessonkit.studies.cable import half_split, locate_open, locate_short, prove_insulation, ring_out
    from lessonkit.studies.check_trials import count_slips
    from lessonkit.studies.class_plan import class_plan
    from lessonkit.studies.compared import compare_seasons
    from lessonkit.studies.coverage import notices
    from lessonkit.studies.defrosts import running, watch_defrost
    from lessonkit.studies.experiment import experiment
    from lessonkit.studies.find import Search
    from lessonkit.studies.frost import defrost_derating
    from lessonkit.studies.ghosts import ghost_places
    from lessonkit.studies.hidden import hidden_fault
    from lessonkit.studies.house import load_house
    from lessonkit.studies.hunt import box_hunt, hunt, job_hunt, still_likely
    from lessonkit.studies.judging import judge_sheet
    from lessonkit.studies.latency import latency
    from lessonkit.studies.leaks import leak
    from lessonkit.studies.link_trial import try_link
    from lessonkit.studies.noisy_frames import count_frames
    from lessonkit.studies.plan import first_plan, plan
    from lessonkit.studies.plan_sweeps import bad_corner
    from lessonkit.studies.prove import prove
    from lessonkit.studies.season import running_cop, season, sweep_lockouts
    from lessonkit.studies.secrets import secret_bench, try_reader
    from lessonkit.studies.sheet_parts import fit_sheet, out_of_band, over_calls, sheet_part
    from lessonkit.studies.steering import DcCoil, Steering, steer
    from lessonkit.studies.steps import load_story, play
    from lessonkit.studies.survey import load_survey
    from lessonkit.studies.sweeps import earth_sweep
    from lessonkit.studies.team_hunt import team_hunt
    from lessonkit.studies.unknown_site import unknown_site
    from lessonkit.studies.weather import load_weather
    from lessonkit.studies.what_follows import what_follows
    from lessonkit.studies.winter_day import winter_day
    from lessonkit.studies.worse_ground import worse_ground


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


def _draw(room: str, maker: str, value: object) -> str:
    return str(getattr(import_module(room), maker)(value)._repr_html_())


def _show_in_notebooks() -> None:
    """Tell the notebook in which lessonkit is imported, if it is one, how to draw what it shows."""
    find = getattr(sys.modules.get("IPython"), "get_ipython", None)
    shell = find() if find else None
    if shell is not None:
        html = shell.display_formatter.formatters["text/html"]
        for (room, name), maker in _PICTURES.items():
            html.for_type_by_name(room, name, partial(_draw, *maker))


_show_in_notebooks()
