"""One story, told alike by the picture, the panel, the row of calls, the exercises and the command."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable

import pytest

from lessonkit.bench.bench import Bench
from lessonkit.draw.view import show_bench
from lessonkit.errors import LessonError
from lessonkit.exercises.trials import settled, try_calls
from lessonkit.job.toml import demo_job
from lessonkit.panels.bench import bench_panel
from lessonkit.studies.experiment import SOUND_S, experiment

SPLICE = "thermostat.R=resistance:7.5"


def by_hand(call: str, faults: list[str], before_s: float, after_s: float) -> dict[str, object]:
    """Live through the story step by step."""
    bench = Bench("full-cable", faults=[] if before_s else faults)
    bench.set_call(call)
    if before_s:
        bench.advance(before_s)
        bench.set_faults(faults)
    return bench.advance(after_s).to_dict()


@pytest.mark.parametrize("before_s", [0.0, 6.0, SOUND_S])
def test_an_experiment_is_a_bench_lived_through(before_s: float) -> None:
    """Sound for a while, then broken, then some seconds: what a person would do to a bench."""
    tried = experiment("full-cable", "cool-2", SPLICE, before_s, 30.0)
    assert tried.state().to_dict() == by_hand("cool-2", [SPLICE], before_s, 30.0)
    assert tried.bench().state.to_dict() == tried.state().to_dict()


def test_what_came_first_decides() -> None:
    """A contactor that was in stays in on a bad splice; one that meets it from rest hums."""
    sound_before = experiment("full-cable", "cool-2", SPLICE)
    broken_before = experiment("full-cable", "cool-2", SPLICE, before_s=0)
    assert sound_before.state().coils["out:contactor"].sealed
    assert not broken_before.state().coils["out:contactor"].sealed


def test_all_faces_tell_the_same_story(
    run_lessonkit: Callable[..., subprocess.CompletedProcess[str]],
) -> None:
    """Picture, panel, table, exercise and command give what the experiment gives."""
    told = experiment("full-cable", "cool-2", SPLICE).state()
    assert show_bench("full-cable", "cool-2", SPLICE).state.to_dict() == told.to_dict()
    words = run_lessonkit("bench", "full-cable", "--call", "cool-2", "--fault", SPLICE, "--json")
    assert json.loads(words.stdout) == told.to_dict() | {"seconds": 60.0}
    at_once = experiment("full-cable", "cool-2", SPLICE, 0.0, 20.0).state()
    assert settled("full-cable", "cool-2", (SPLICE,)).to_dict() == at_once.to_dict()
    assert try_calls("full-cable", "cool-2", SPLICE).house_gets == {"cool-2": at_once.delivering}
    panel = bench_panel("full-cable", call="cool-2", faults=SPLICE, after_s=20.0, scope=False)
    assert panel.bench.state.to_dict() == at_once.to_dict()


def test_the_same_story_under_another_call() -> None:
    """A row of calls changes the call alone."""
    tried = experiment(demo_job("full-cable"), "cool-2", SPLICE)
    assert tried.under("heat-1").faults == tried.faults
    assert tried.under("heat-1").state().call == "heat-1"


@pytest.mark.parametrize(
    ("job", "changes"),
    [
        ("full-house", {}),
        ("full-cable", {"call": "cool-3"}),
        ("full-cable", {"faults": "outdoor.SIG=open"}),
        ("full-cable", {"before_s": -1.0}),
        ("full-cable", {"after_s": float("nan")}),
    ],
)
def test_what_cannot_be_tried_is_refused(job: str, changes: dict[str, object]) -> None:
    """A job, call, fault or time that there isn't gets a sentence."""
    with pytest.raises(LessonError):
        experiment(job, **changes)  # type: ignore[arg-type]
