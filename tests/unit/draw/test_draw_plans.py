"""Tables and pictures of plans: they show what the planner found, and say the same in words."""

from __future__ import annotations

import numpy as np
import pytest

from lessonkit.draw.plan_pictures import conductor_figure, margin_figure, margin_picture
from lessonkit.draw.plan_tables import show_breaks, show_coils, show_plans, show_schedule, show_survey
from lessonkit.errors import LessonError
from lessonkit.studies.plan import Planned, plan
from lessonkit.studies.plan_sweeps import ConductorSweep, MarginSweep
from lessonkit.studies.survey import load_survey


@pytest.fixture(scope="module")
def planned() -> Planned:
    """Return the plans of a site where only a new cable is left."""
    return plan(
        load_survey("tannery-row").with_conductor("outdoor", "c", continuous=False).with_ground(bonded=False)
    )


def test_a_survey_is_shown_with_its_verdicts() -> None:
    """Each conductor has its readings, and what is not known is said."""
    shown = show_survey("tannery-row")
    assert len(shown.rows) == 8
    assert shown.rows[5] == ("outdoor", "a", "yes", "1.30 ohm", "20 Mohm", "sound")
    assert shown.rows[4][-1] == "bad: it is not continuous"
    assert shown.rows[7][2:5] == ("unknown", "not read", "not read")
    assert shown._repr_markdown_().count("\n| ") == 10
    assert "unproven: not measured" in repr(shown)


def test_plans_are_shown_in_their_order(planned: Planned) -> None:
    """A row for each plan with its criteria; a refusal stands above it with its reason."""
    shown = show_plans(planned)
    assert shown.caption.startswith("Tannery Row 9, upper flat. Refused: too few conductors")
    assert [row[0] for row in shown.rows] == ["1", "2"]
    assert [row[-1] for row in shown.rows] == [f"{one.minutes:.0f}" for one in planned.plans]
    assert [row[5] for row in shown.rows] == ["yes", "yes"]


def test_a_schedule_says_both_ends_and_every_break(planned: Planned) -> None:
    """Each conductor has the same terminal at both ends or lies free, and each in use has its break."""
    best = planned.plans[0]
    rows = show_schedule(best).rows
    assert ("thermostat", "five", "free", "free") in rows
    assert all(near == far for *_, near, far in rows)
    used = {f"{run} {label}" for run, label, near, _ in rows if near != "free"}
    assert {row[0] for row in show_breaks(best).rows} == used
    assert {row[2] for row in show_breaks(best).rows} == {"yes"}


def test_coils_have_what_the_planner_says(planned: Planned) -> None:
    """A row for each coil, VA and links above it; a cell is found by its row and its head."""
    best = planned.plans[0]
    shown = show_coils(best)
    weakest = best.coils["out:reversing-valve"]
    assert shown.at("volts", "out:reversing-valve") == f"{weakest.volts:.1f} V"
    assert shown.at("to spare", "out:reversing-valve") == f"{weakest.margin_v:+.1f} V"
    assert f"{best.va:.0f} VA of 75 VA, thermostat link" in shown.caption
    for head, row in (("ohms", "out:contactor"), ("volts", "out:horn")):
        with pytest.raises(LessonError, match="must be"):
            shown.at(head, row)


def test_margins_are_drawn_as_swept() -> None:
    """Each sweep is a line, and the words say where it ends."""
    sweep = MarginSweep("by wire", np.asarray([10.0, 50.0, 60.0]), np.asarray([4.0, 3.0, -0.2]))
    still = margin_figure(
        [sweep, MarginSweep("short", np.asarray([10.0, 50.0, 60.0]), np.asarray([4.0, 3.5, 3.0]))]
    )
    lines = still.figure.axes[0].lines
    assert np.allclose(np.asarray(lines[0].get_ydata(), dtype=float), sweep.margin_v)
    assert "above 0 up to 50 m, and -0.2 V at 60 m" in still.words
    assert "short: +4.0 V to spare at 10 m, +3.0 V at 60 m." in still.words
    with pytest.raises(LessonError, match="1 to 3 plans"):
        margin_picture([])


def test_conductors_are_drawn_as_swept() -> None:
    """A bar for each number that has a plan, and the words name the plans."""
    sweep = ConductorSweep(
        "outdoor",
        np.asarray([1, 2, 3]),
        np.asarray([0, 2, 4]),
        np.asarray([np.nan, 130.0, 120.0]),
        ("", "a", "a"),
    )
    still = conductor_figure(sweep)
    assert [bar.get_height() for bar in still.figure.axes[0].patches[1:]] == [130.0, 120.0]
    assert "1: none. 2 to 3: a, 120 to 130 minutes" in still.words
    assert "From 0 ways the choice grows to 4" in still.words
