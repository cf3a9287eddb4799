"""The first command, tried without a network: pip and the checks are stand-ins that write down their call."""

from __future__ import annotations

import ast
import contextlib
import json
import os
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from lessonkit import begin
from lessonkit.begin import STAMP, CannotBegin, main, prepare


class Pip:
    """A stand-in for subprocess.run: environments are empty folders, pip writes down its call."""

    def __init__(self, status: int = 0, stderr: str = "") -> None:
        self.status, self.stderr = status, stderr
        self.installed: list[str] = []
        self.probed = 0
        self.lacks = ""

    def __call__(self, command: list[str], **_: object) -> subprocess.CompletedProcess[str]:
        if "venv" in command:
            python = begin._python_in(Path(command[-1]))
            shutil.rmtree(command[-1], ignore_errors=True)
            python.parent.mkdir(parents=True)
            python.touch()
        elif command[1] == "-c":
            if not Path(command[0]).exists():
                raise FileNotFoundError(command[0])
            if command[2] == begin._LACKS:
                return subprocess.CompletedProcess(command, 0, self.lacks, "")
            return subprocess.CompletedProcess(command, self.probed, "", "")
        elif "ensurepip" in command:
            self.installed.append("pip")
        elif "pip" in command:
            self.installed.append(command[-1])
            if not self.status:
                self.lacks = ""
            return subprocess.CompletedProcess(command, self.status, "", self.stderr)
        return subprocess.CompletedProcess(command, 0, "", "")


@pytest.fixture
def bare(tmp_path: Path) -> Path:
    """Return a checkout that holds nothing but a pyproject.toml."""
    (tmp_path / "pyproject.toml").write_text("[project]\n")
    return tmp_path


@pytest.fixture
def pip(monkeypatch: pytest.MonkeyPatch) -> Pip:
    """Put a stand-in where begin starts programs."""
    pip = Pip()
    monkeypatch.setattr(begin.subprocess, "run", pip)
    return pip


def test_begin_needs_the_standard_library_alone(checkout: Path) -> None:
    """A bare Python must be able to import the room and the package above it."""
    for name in ("begin.py", "files.py", "__init__.py"):
        tree = ast.parse((checkout / "lessonkit" / name).read_text(encoding="utf-8"))
        top = [node for node in tree.body if isinstance(node, ast.Import | ast.ImportFrom)]
        modules = [getattr(node, "module", None) or node.names[0].name for node in top]
        others = {module for module in modules if module.split(".")[0] not in sys.stdlib_module_names}
        assert others <= {"lessonkit.files"}


def test_begin_names_the_python_that_the_package_requires(checkout: Path) -> None:
    """The oldest Python is one number, told in two places."""
    project = tomllib.loads((checkout / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["requires-python"] == ">=" + ".".join(map(str, begin.OLDEST_PYTHON))


def test_second_run_installs_nothing(bare: Path, pip: Pip) -> None:
    """What the stamp says is there is not installed again."""
    prepare(bare)
    prepare(bare)
    assert pip.installed == [str(bare)]


def test_tests_need_more_and_lab_then_needs_nothing(bare: Path, pip: Pip) -> None:
    """The test tools are added to an environment once, and serve the lab too."""
    prepare(bare)
    prepare(bare, extras=("dev",))
    prepare(bare)
    assert pip.installed == [str(bare), f"{bare}[dev]"]


@pytest.mark.parametrize(
    ("lacks", "installed"), [("numpy\n", []), ("numpy==2.0.0\n", ["numpy==2.0.0"])], ids=["gone", "hollow"]
)
def test_a_package_that_went_missing_is_put_back(
    bare: Path, pip: Pip, capsys: pytest.CaptureFixture[str], lacks: str, installed: list[str]
) -> None:
    """A stamp alone is not believed: what it promises is looked for, and named when it is gone."""
    prepare(bare)
    pip.lacks, pip.installed = lacks, []
    prepare(bare)
    assert pip.installed == [*installed, str(bare)]
    assert f"Missing in {bare / '.venv'}: {lacks.strip()}." in capsys.readouterr().out
    prepare(bare)
    assert len(pip.installed) == len(installed) + 1


def test_what_a_python_lacks_is_found_through_all_requirements(tmp_path: Path, checkout: Path) -> None:
    """What is here is not missed; a requirement of a requirement is, and so are lost files."""
    python, wanted = Path(sys.executable), begin._requirements(checkout, ("dev",))
    assert any(text.startswith("ruff") for text in wanted)
    assert any(text.startswith("hypothesis") for text in wanted)
    assert begin._lacking(python, ["numpy>=2.0", "jupyterlab>=4.2"]) == []
    for name, needs in (("inner", "no-such-thing>=1"), ("outer", "inner")):
        info = tmp_path / f"{name}-1.0.dist-info"
        info.mkdir()
        (info / "METADATA").write_text(f"Name: {name}\nVersion: 1.0\nRequires-Dist: {needs}\n")
        (info / "RECORD").write_text(f"{name}/__init__.py,,\n")
    (tmp_path / "outer").mkdir()
    (tmp_path / "outer" / "__init__.py").touch()
    asked = [sys.executable, "-c", begin._LACKS, "outer", "outer>=2", 'other; python_version < "3"']
    found = subprocess.run(asked, capture_output=True, text=True, check=True, cwd=tmp_path)
    assert set(found.stdout.split()) == {"inner==1.0", "no-such-thing", "outer"}


def test_a_moved_checkout_without_a_network_uses_what_works(
    tmp_path: Path, pip: Pip, capsys: pytest.CaptureFixture[str]
) -> None:
    """With nothing missing, the environment that came along starts, and the sentence says why."""
    here = tmp_path / "here"
    here.mkdir()
    (here / "pyproject.toml").write_text("[project]\n")
    prepare(here)
    there = here.rename(tmp_path / "there")
    pip.status, pip.stderr = 1, "WARNING: Retrying ... NewConnectionError(...)\n"
    assert prepare(there) == begin._python_in(there / ".venv")
    assert "Nothing is missing" in capsys.readouterr().err
    pip.lacks = "numpy\n"
    with pytest.raises(CannotBegin, match="connect this machine to the network"):
        prepare(there)


def test_a_moved_checkout_s_own_lessonkit_comes_first(monkeypatch: pytest.MonkeyPatch, bare: Path) -> None:
    """What the environment still points to elsewhere is not imported."""
    monkeypatch.setenv("PYTHONPATH", "mine")
    assert begin._environment(bare)["PYTHONPATH"] == f"{bare}{begin.os.pathsep}mine"


def test_ctrl_c_says_a_word(
    monkeypatch: pytest.MonkeyPatch, bare: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whoever stops the installation is told that nothing is lost."""

    def stopped(*_: object, **__: object) -> Path:
        raise KeyboardInterrupt

    monkeypatch.setattr(begin, "prepare", stopped)
    assert main(["lab"]) == 130
    assert "stopped; the same command goes on from here" in capsys.readouterr().err


def test_a_changed_pyproject_installs_again(bare: Path, pip: Pip) -> None:
    """New dependencies reach an environment made before."""
    prepare(bare)
    (bare / "pyproject.toml").write_text("[project]\nname = 'x'\n")
    prepare(bare)
    assert len(pip.installed) == 2


def test_a_run_cut_off_in_pip_leaves_no_stamp(bare: Path, pip: Pip) -> None:
    """Only a finished installation is remembered."""
    pip.status, pip.stderr = 1, "ERROR: No space left on device\n"
    with pytest.raises(CannotBegin, match="No space left on device.*run the same command again"):
        prepare(bare)
    assert not (bare / ".venv" / STAMP).exists()
    pip.status = 0
    prepare(bare)
    assert json.loads((bare / ".venv" / STAMP).read_text())["extras"] == []


def test_no_network_is_said_as_that(bare: Path, pip: Pip) -> None:
    """What pip says at length about connections becomes one sentence."""
    pip.status = 1
    pip.stderr = "WARNING: Retrying ... NewConnectionError(...)\nERROR: No matching distribution found\n"
    with pytest.raises(CannotBegin, match="connect this machine to the network"):
        prepare(bare)


def test_an_old_python_is_refused(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], bare: Path
) -> None:
    """The sentence names the version that is there and the one that is needed."""
    monkeypatch.setattr(begin.sys, "version_info", (3, 9, 2))
    monkeypatch.setattr(begin, "CHECKOUT", bare)
    assert main(["lab"]) == 2
    assert "this is Python 3.9, and lessonkit needs 3.11 or newer" in capsys.readouterr().err


@pytest.mark.parametrize("module", ["venv", "ensurepip"])
def test_a_python_without_venv_is_refused(monkeypatch: pytest.MonkeyPatch, bare: Path, module: str) -> None:
    """Debian ships its Python without these; the sentence names the package."""
    monkeypatch.setattr(begin.importlib.util, "find_spec", lambda name: None if name == module else object())
    with pytest.raises(CannotBegin, match=f"its {module} module.*python3-venv"):
        prepare(bare)


def test_an_installed_package_points_to_the_command(tmp_path: Path) -> None:
    """Outside a checkout there is nothing to install."""
    with pytest.raises(CannotBegin, match="`lessonkit lab`"):
        prepare(tmp_path)


def test_a_broken_environment_is_made_anew(bare: Path, pip: Pip) -> None:
    """An environment whose Python is gone is replaced, and filled again."""
    python = prepare(bare)
    python.unlink()
    prepare(bare)
    assert python.exists()
    assert len(pip.installed) == 2


def test_an_environment_of_an_old_python_is_left_alone(bare: Path, pip: Pip) -> None:
    """It may hold somebody's work, so the sentence asks for its removal instead."""
    python = prepare(bare)
    pip.probed = 3
    with pytest.raises(CannotBegin, match="delete that folder"):
        prepare(bare)
    assert python.exists()


def test_an_environment_without_pip_is_given_one(bare: Path, pip: Pip) -> None:
    """Environments that other tools made have no pip; nothing in them is lost."""
    prepare(bare)
    (bare / ".venv" / STAMP).unlink()
    pip.probed, pip.installed = 4, []
    prepare(bare)
    assert pip.installed == ["pip", str(bare)]


@pytest.mark.parametrize("words", [[], ["build"]])
def test_other_words_get_the_usage(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """Anything but lab or test ends with status 2 and both commands shown."""
    assert main(words) == 2
    said = capsys.readouterr().err
    assert "lessonkit.begin lab" in said
    assert "lessonkit.begin test" in said


def test_words_behind_go_through(monkeypatch: pytest.MonkeyPatch, bare: Path, pip: Pip) -> None:
    """Options of lab reach lab, and arguments of pytest reach pytest alone."""
    started: list[list[str]] = []
    monkeypatch.setattr(begin, "CHECKOUT", bare)
    monkeypatch.setattr(begin, "run_child", lambda command, **_: started.append(command) or 0)
    assert main(["lab", "--port", "9000"]) == 0
    assert main(["test", "tests/unit", "-x"]) == 0
    assert started[0][1:] == ["-m", "lessonkit", "lab", "--port", "9000"]
    assert started[1][1:] == ["-m", "pytest", "tests/unit", "-x"]


def test_every_check_runs_even_after_one_failed(
    monkeypatch: pytest.MonkeyPatch, bare: Path, pip: Pip, capsys: pytest.CaptureFixture[str]
) -> None:
    """The linter's finding does not hide what the tests found, and the status tells of it."""
    started: list[str] = []

    def run_child(command: list[str], **_: object) -> int:
        started.append(command[2])
        return 1 if command[2] == "ruff" else 0

    @contextlib.contextmanager
    def beside(command: list[str], env: dict[str, str]) -> Iterator[Callable[[], int]]:
        started.append(command[2])
        yield lambda: 3

    monkeypatch.setattr(begin, "CHECKOUT", bare)
    monkeypatch.setattr(begin, "run_child", run_child)
    monkeypatch.setattr(begin, "_beside", beside)
    assert main(["test"]) == 1
    assert started == ["ruff", "mypy", "pytest"]
    assert "ruff and mypy found something" in capsys.readouterr().err


def test_what_runs_beside_is_heard_at_the_end(capfd: pytest.CaptureFixture[str]) -> None:
    """A check that runs beside the others says all of it when it is waited for, and hands its status on."""
    says = "import sys; print('a finding' * 30_000); print('an error', file=sys.stderr); sys.exit(2)"
    with begin._beside([sys.executable, "-c", says], dict(os.environ)) as wait:
        assert wait() == 2
    said = capfd.readouterr().out
    assert said.count("a finding") == 30_000
    assert said.count("an error") == 1


def test_a_child_s_status_is_handed_on() -> None:
    """A program's exit status is this command's too; a signal is told as shells tell it."""
    assert begin.run_child([sys.executable, "-c", "raise SystemExit(7)"]) == 7
    if sys.platform != "win32":
        kill = "import os, signal; os.kill(os.getpid(), signal.SIGTERM)"
        assert begin.run_child([sys.executable, "-c", kill]) == 128 + 15


def test_help_of_lab_needs_no_environment(tmp_path: Path) -> None:
    """Asking how lab is used makes no environment and installs nothing."""
    done = subprocess.run(
        [sys.executable, "-m", "lessonkit.begin", "lab", "--help"],
        capture_output=True,
        text=True,
        check=False,
        cwd=Path(begin.__file__).parents[1],
    )
    assert done.returncode == 0
    assert "--folder" in done.stdout
    assert "Making" not in done.stdout + done.stderr
