"""`pytest tests/speed -s`: every measurement that the documents quote, each against something named.

The measurements are scripts that can be run alone with other sizes; here each runs once at a size that fits
a coffee break, prints its table, and passes if it ran to its end. Nothing here judges a time: a busy
machine is no mistake.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent


@pytest.mark.parametrize(
    "script",
    [
        ("measure_spine.py",),
        ("panel_clicks.py",),
        ("grading_speed.py", "--students", "30"),
        ("grading_school.py",),
    ],
    ids=lambda script: script[0],
)
def test_a_measurement_runs_to_its_end(script: tuple[str, ...], capfd: pytest.CaptureFixture[str]) -> None:
    """Each measurement script runs and prints its table."""
    with capfd.disabled():
        done = subprocess.run([sys.executable, str(HERE / script[0]), *script[1:]], check=False)
    assert done.returncode == 0
