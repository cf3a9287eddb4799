"""`lessonkit plan --html`: the page that goes to the job, for a plan and for a refusal."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

import pytest

from lessonkit.__main__ import main
from lessonkit.draw.plan_page import broken_rows, plan_page, way_row
from lessonkit.studies.break_harms import STARTS, Break, Effect
from lessonkit.studies.plan import Planned
from lessonkit.studies.survey import survey_from_toml

Capture = pytest.CaptureFixture[str]
PlanOf = Callable[[str], Planned]


@pytest.fixture(scope="module")
def planned(plan_of: PlanOf) -> Planned:
    """Return the plans of an example with a second transformer."""
    return plan_of("quay-house")


def test_the_page_stands_alone_and_prints(planned: Planned) -> None:
    """The page has its picture inside, both units, boxes, cautions, and a place for the licence number."""
    text = plan_page(planned)
    assert 'src="data:image/svg+xml' in text
    assert not re.search(r'(?:src|href)="(?!data:)', text)
    for words in ("Caution.", "Licence number", "Metric", "AWG", "mm²", " ft", "@media print", "box to tick"):
        assert words in text
    assert "Open both disconnects" in text
    assert "Refused" not in text


def test_the_page_says_what_the_plan_says(planned: Planned) -> None:
    """Every conductor with both ends, each coil, each break, minutes and needs stand on the page."""
    best, text = planned.plans[0], plan_page(planned)
    for served in best.arrangement.schedule:
        end = served.terminal or "free, insulated"
        assert f"<td>{served.label}</td>" in text
        assert f": {end}</td>" in text
    for coil in best.coils.values():
        assert f"{coil.margin_v:+.1f} V" in text
    for label, lost in best.lost_if_broken.items():
        assert label in text
        assert lost.stops_words in text
    assert f"{best.minutes:.0f} minutes" in text
    assert all(need in text for need in best.needs)
    assert "NOT bonded" in text


def test_a_break_that_starts_nothing_can_still_harm(planned: Planned) -> None:
    """Without G the compressor has no air, without O the unit heats: each has its harm and its calls."""
    best = planned.plans[0]
    at = {served.terminal: f"{served.run} {served.label}" for served in best.arrangement.schedule}
    rows = {label: rest for label, *rest in broken_rows(best)}
    calls = "cool-1, cool-2, heat-1, heat-2"
    assert rows[at["G"]] == [
        "blower",
        "nothing",
        f"{calls}: no air: ices up or trips on pressure, switch off",
    ]
    assert rows[at["O"]][1:] == ["nothing", "cool-1, cool-2: wrong mode (heating): switch off"]
    assert rows[at["W1"]] == ["auxiliary heat", "nothing", "none seen on the bench"]
    lost = Break(("blower",), (Effect(STARTS, "furnace", "off"),))
    odd = replace(best, lost_if_broken=MappingProxyType({"x": lost}))
    assert list(broken_rows(odd)) == [("x", "blower", "off: FURNACE", "off: runs unasked: switch off")]


def test_the_command_says_the_harm_of_a_break_that_starts_nothing(capsys: Capture) -> None:
    """What is printed without a page names each conductor whose break can harm, and how."""
    assert main(["plan", "stair-hall"]) == 0
    told = [line.strip() for line in capsys.readouterr().out.splitlines()]
    assert any(line.startswith("harm if ") and "no air: ices up or trips" in line for line in told)


def test_current_on_ground_stands_against_a_way(plan_of: PlanOf) -> None:
    """A way that is quick because ground carries its current says so where an owner reads why not."""
    earthed = next(one for one in plan_of("ferry-steps").plans if one.earth_a > 0.001)
    assert way_row(earthed)[-1].endswith(
        " A on equipment ground: not without the code, the maker and the licensed person"
    )


def test_a_refusal_says_why_and_what_a_new_cable_would_do(plan_of: PlanOf) -> None:
    """A survey in which nothing works gets a page with the reason, and the way out at its price."""
    refused = plan_of("orchard-gate")
    text = plan_page(refused)
    assert refused.why in text
    assert "With a new cable" in text
    assert "bad: it is not continuous" in text


def test_an_earth_return_is_cautioned_about(plan_of: PlanOf) -> None:
    """Where a plan puts current on equipment ground, the page gives its amperes and says who decides."""
    planned = plan_of("tannery-row")
    earthed = next(one for one in planned.plans if one.works and one.earth_a > 0.001)
    text = plan_page(Planned(planned.survey, False, "", (earthed,), ()))
    assert f"up to {earthed.earth_a:.2f} A of control current" in text


def test_the_command_writes_the_page(tmp_path: Path, capsys: Capture) -> None:
    """--html writes the page beside what is printed; what a survey says is escaped in it."""
    survey = tmp_path / "survey.toml"
    survey.write_text(
        'title = "<script>x</script>"\n'
        "[supply]\nrated_va = 75.0\n"
        + "".join(
            f'[[runs]]\nname = "{run}"\nlength_m = 20.0\ngauge_awg = 18\n'
            + "".join(
                f'[[runs.conductors]]\nlabel = "{k}"\ncontinuous = true\n'
                "loop_ohm = 0.84\ninsulation_mohm = 60.0\n"
                for k in range(count)
            )
            for run, count in (("thermostat", 8), ("outdoor", 6))
        ),
        encoding="utf-8",
    )
    survey_from_toml(survey.read_text(encoding="utf-8"))
    page = tmp_path / "plan.html"
    assert main(["plan", str(survey), "--html", str(page)]) == 0
    assert "Plan 1:" in capsys.readouterr().out
    text = page.read_text(encoding="utf-8")
    assert "<script>" not in text
    assert "&lt;script&gt;" in text


def test_a_place_that_can_t_be_written_is_named(tmp_path: Path, capsys: Capture) -> None:
    """A page that can't be written is answered with one sentence and status 2."""
    (tmp_path / "file").write_text("")
    assert main(["plan", "stair-hall", "--html", str(tmp_path / "file" / "plan.html")]) == 2
    said = capsys.readouterr().err
    assert "the page can't be written" in said
    assert len(said.strip().splitlines()) == 1
