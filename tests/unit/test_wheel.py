"""The wheel: everything that an apprentice without a checkout needs is inside."""

from __future__ import annotations

import json
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from lessonkit.exercises.pristine import workbook_names


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory, checkout: Path) -> Path:
    """Build the wheel with the project's own back end and unpack it."""
    out = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(out)]
    built = subprocess.run(command, cwd=checkout, capture_output=True, text=True, check=False)
    assert built.returncode == 0, built.stderr
    (wheel,) = out.glob("*.whl")
    zipfile.ZipFile(wheel).extractall(out / "site")
    return out / "site"


def test_rooms_jobs_and_workbooks_are_inside(installed: Path, checkout: Path) -> None:
    """Every room, job, page and notebook of the checkout is in the wheel, byte for byte."""
    kinds = [
        (checkout / "lessonkit", installed / "lessonkit"),
        (checkout / "notebooks", installed / "lessonkit" / "_notebooks"),
    ]
    for source, target in kinds:
        files = [path for path in source.rglob("*") if path.is_file() and _is_shipped(path)]
        assert {path.suffix for path in files} & {".py", ".ipynb"}
        for path in files:
            assert (target / path.relative_to(source)).read_bytes() == path.read_bytes()
    assert (installed / "lessonkit" / "py.typed").exists()


def _is_shipped(path: Path) -> bool:
    return not {"__pycache__", ".ipynb_checkpoints"} & set(path.parts) and path.suffix != ".part"


def test_tests_and_figures_stay_outside(installed: Path) -> None:
    """The wheel holds the package and its description, and nothing else."""
    assert {path.name.split("-")[0] for path in installed.iterdir()} == {"lessonkit"}


def test_jupyterlab_finds_what_lets_panels_listen(installed: Path, checkout: Path) -> None:
    """The folder that JupyterLab looks into gets our few files, the handler of the panels among them."""
    (data,) = installed.glob("*.data/data/share/jupyter/labextensions/lessonkit")
    package = json.loads((data / "package.json").read_text(encoding="utf-8"))["jupyterlab"]
    assert (data / package["_build"]["load"]).is_file()
    handler = (checkout / "lessonkit" / "panels" / "page.js").read_bytes()
    assert (data / "static" / "page.js").read_bytes() == handler


def test_lab_copies_from_the_wheel(installed: Path, private_env: dict[str, str], tmp_path: Path) -> None:
    """Away from any checkout, `lessonkit lab` fills a folder from the package."""
    command = [sys.executable, "-m", "lessonkit", "lab", "--copy-only", "--folder", "own"]
    env = {**private_env, "PYTHONPATH": str(installed)}
    done = subprocess.run(command, cwd=tmp_path, env=env, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert workbook_names(tmp_path / "own") == workbook_names()
