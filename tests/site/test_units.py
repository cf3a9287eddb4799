"""The bench's own unit tests in the page's Python, on 32 bits: a stated choice from every floor.

A property is tried on a few examples there (hypothesis profile `page`), always the same ones.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from in_node import finished, start_in_node
from judges import unpack_judges

from lessonkit.site.fetch import CantBeHad

pytestmark = pytest.mark.site

CHECKOUT = Path(__file__).resolve().parents[2]
UNIT = CHECKOUT / "tests" / "unit"
FLOORS = ("copper", "signal", "job", "bench", "studies")

CHOSEN = {
    "copper": ("network", "transient"),
    "signal": ("crc", "edges", "frames", "receiver"),
    "job": ("calls", "faults", "jobs", "naming", "parts", "thermostat", "variations"),
    "bench": (
        *("added_relays", "exchange", "instruments", "log", "meter", "moments", "reading", "signal_path"),
        "state",
    ),
    "studies": ("budget", "secrets"),
}
"""Files that are run, by floor. Of the other ones of bench and studies each lives through hours of a bench or
hundreds of cases, which takes minutes in a page; the workbooks do the same things in `test_parity.py`, where
every number is held to this computer's."""

CANNOT = {
    "signal/test_channel.py": "scipy judges it, which the page does not have",
    "bench/test_bench_time.py": "starts a process, and a page has none",
    "studies/test_experiment.py": "starts a process, and a page has none",
}
"""Files that can't run in a page, and why."""

FILES = [f"{floor}/test_{name}.py" for floor, names in CHOSEN.items() for name in names]


@pytest.fixture(scope="module")
def ran(built_site: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, dict[str, str]], str]:
    """Run the chosen files; gives the outcome of each test by file, and what pytest printed."""
    room = tmp_path_factory.mktemp("units")
    (room / "judges").mkdir()
    try:
        unpack_judges(room / "judges")
    except CantBeHad as why:
        pytest.skip(str(why))
    (room / "files.json").write_text(json.dumps([f"tests/unit/{name}" for name in FILES]), encoding="utf-8")
    mounts = {"/judges": room / "judges", "/room": room, "/checkout": CHECKOUT}
    process = start_in_node(built_site, Path(__file__).with_name("units.py"), mounts, room / "log")
    try:
        printed = finished(process, room / "log")
    finally:
        process.kill()
    return json.loads((room / "outcomes.json").read_text(encoding="utf-8")), printed


@pytest.mark.parametrize("file", FILES)
def test_unit_tests_pass_in_the_page(file: str, ran: tuple[dict[str, dict[str, str]], str]) -> None:
    """Every test of the file passes in the page's Python, none skipped."""
    outcomes, printed = ran
    assert outcomes.get(file), printed[-3000:]
    assert {name: outcome for name, outcome in outcomes[file].items() if outcome != "passed"} == {}, printed[
        -3000:
    ]


def test_the_choice_is_about_files_that_are_there() -> None:
    """Every floor is in the choice, and every file that is named exists and is named once."""
    assert tuple(CHOSEN) == FLOORS
    assert all((UNIT / name).is_file() for name in (*FILES, *CANNOT))
    assert not set(FILES) & set(CANNOT)
