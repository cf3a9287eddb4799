"""The command line as a whole: exit statuses, one sentence, no traceback."""

from __future__ import annotations

import argparse
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

import lessonkit
from lessonkit import __main__ as command_line
from lessonkit.__main__ import COMMANDS, Command, main
from lessonkit.errors import LessonError

Run = Callable[..., "subprocess.CompletedProcess[str]"]


def _pretend(monkeypatch: pytest.MonkeyPatch, action: Callable[[], int]) -> None:
    """Put a command named `pretend` on the command line that does this."""
    room = argparse.Namespace(add_arguments=lambda parser: None, run=lambda options: action())
    monkeypatch.setitem(COMMANDS, "pretend", Command("pretend", "pretend_room"))
    monkeypatch.setitem(sys.modules, "pretend_room", room)


def _raise(error: BaseException) -> Callable[[], int]:
    def action() -> int:
        raise error

    return action


@pytest.mark.parametrize("name", COMMANDS)
def test_each_command_explains_itself(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Every command has its room, its two functions and its help."""
    assert main([name, "--help"]) == 0
    assert capsys.readouterr().out.startswith(f"usage: lessonkit {name}")


def test_help_lists_the_commands_and_loads_no_room(run_lessonkit: Run) -> None:
    """Help comes before any room is imported, so it is quick."""
    done = run_lessonkit("--help")
    assert done.returncode == 0
    assert all(name in done.stdout for name in COMMANDS)
    asked = (
        "import sys; from lessonkit.__main__ import main; main(['--help']);"
        "rooms = ('numpy', 'rich', 'lessonkit.commands', 'lessonkit.grading');"
        "sys.exit(any(room in sys.modules for room in rooms))"
    )
    assert subprocess.run([sys.executable, "-c", asked], capture_output=True, check=False).returncode == 0


def test_version_is_the_package_s(capsys: pytest.CaptureFixture[str]) -> None:
    """`--version` says what `lessonkit.__version__` says."""
    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"lessonkit {lessonkit.__version__}\n"


@pytest.mark.parametrize("words", [[], ["bensch"], ["lab", "--colour"], ["lab", "--port", "many"]])
def test_usage_errors_are_one_sentence(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """A wrong command line ends with status 2 and points to the help."""
    assert main(words) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert said.rstrip().endswith("--help`.")


def test_a_lesson_error_is_its_sentence(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """An error that the library names is printed as it is, with status 2."""
    _pretend(monkeypatch, _raise(LessonError("The job has no supply; add a [supply] table.")))
    assert main(["pretend"]) == 2
    assert capsys.readouterr().err == "lessonkit: The job has no supply; add a [supply] table.\n"


def test_a_missing_file_is_named(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """What the system refuses is told with the file's name, with status 2."""
    _pretend(monkeypatch, _raise(FileNotFoundError(2, "No such file or directory", "cellar.toml")))
    assert main(["pretend"]) == 2
    assert capsys.readouterr().err.startswith("lessonkit: cellar.toml: No such file or directory; ")


def test_an_own_mistake_keeps_its_traceback_in_a_file(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """An unexpected error is owned up to in one sentence, with status 1."""
    monkeypatch.setattr(command_line.tempfile, "tempdir", str(tmp_path))
    _pretend(monkeypatch, _raise(ZeroDivisionError("division\nby zero")))
    assert main(["pretend"]) == 1
    said = capsys.readouterr().err
    (kept,) = tmp_path.glob("lessonkit-*.txt")
    assert said.count("\n") == 1
    assert "ZeroDivisionError: division by zero" in said
    assert str(kept) in said
    assert "Traceback" in kept.read_text(encoding="utf-8")


def test_ctrl_c_is_quiet(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Stopping a command says nothing and gives the shell's usual status."""
    _pretend(monkeypatch, _raise(KeyboardInterrupt()))
    assert main(["pretend"]) == 130
    assert capsys.readouterr().err == ""


def test_a_reader_that_stops_reading_is_no_error() -> None:
    """Piped into a program that ends early, the command ends quietly."""
    code = (
        "import sys\nfrom argparse import Namespace\nfrom lessonkit import __main__ as m\n"
        "def run(options):\n    for _ in range(9999):\n        print('x' * 99)\n    return 0\n"
        "room = Namespace(add_arguments=lambda parser: None, run=run)\n"
        "m.COMMANDS['pretend'] = m.Command('pretend', 'pretend_room')\nsys.modules['pretend_room'] = room\n"
        "sys.exit(m.main(['pretend']))"
    )
    pipe = subprocess.PIPE
    with subprocess.Popen([sys.executable, "-c", code], stdout=pipe, stderr=pipe) as child:
        assert child.stdout is not None
        assert child.stderr is not None
        child.stdout.readline()
        child.stdout.close()
        assert child.stderr.read() == b""
    assert child.returncode == 141
