"""`lessonkit lab`: what it copies, what it starts, and that it serves and stops."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from lessonkit.commands.lab import describe, lab_command, lab_environment
from lessonkit.exercises.pristine import Copied, workbook_names
from lessonkit.exercises.start_page import START

Run = Callable[..., "subprocess.CompletedProcess[str]"]

TOKEN = "told-to-nobody"
SERIES = Copied(Path("own"), ("00_start here.ipynb", "classroom/00.ipynb"), (), (), ())


def test_it_opens_a_page_of_the_folder_on_loopback_without_news() -> None:
    """The server listens to this computer alone, and asks nobody for news or updates."""
    command = lab_command(SERIES, SERIES.first, port=9123, browser=False)
    assert command[:3] == [sys.executable, "-m", "jupyterlab"]
    assert "--ServerApp.ip=127.0.0.1" in command
    assert "--ServerApp.root_dir=own" in command
    assert {"--ServerApp.port=9123", "--ServerApp.port_retries=0", "--no-browser"} <= set(command)
    assert "--LabApp.default_url=/lab/tree/00_start%20here.ipynb" in command
    assert "--LabApp.news_url=None" in command
    assert "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate" in command
    assert not any("token" in word or "password" in word for word in command)


def test_without_a_port_a_free_one_is_found() -> None:
    """The usual port is tried first, and Jupyter may go on to the next."""
    command = lab_command(SERIES)
    assert f"--LabApp.default_url=/lab/tree/{START}" in command
    assert "--ServerApp.port=8888" in command
    assert not any("port_retries" in word or word == "--no-browser" for word in command)


def test_our_defaults_are_added_to_the_settings_that_are_there() -> None:
    """The server reads our folder of defaults, and whatever else it was told to read."""
    paths = lab_environment({"JUPYTER_CONFIG_PATH": "elsewhere"})["JUPYTER_CONFIG_PATH"].split(os.pathsep)
    assert paths[1:] == ["elsewhere"]
    (defaults,) = Path(paths[0]).rglob("*.json")
    assert defaults.relative_to(paths[0]).as_posix() == "labconfig/default_setting_overrides.json"
    (told,) = json.loads(defaults.read_text()).values()
    assert told == {"fetchNews": "false", "checkForUpdates": False}
    assert lab_environment({})["JUPYTER_CONFIG_PATH"] == paths[0]


def test_older_editions_are_told_with_the_way_to_get_the_new_one() -> None:
    """What was kept is said, and so is the option that lays the new edition beside it."""
    told = describe(Copied(Path("own"), (), ("00.ipynb",), ("00.ipynb",), ()))
    assert "0 added, 1 kept" in told
    assert "left as they are: 00.ipynb" in told
    assert "--beside" in told
    assert told.splitlines()[-1] == "Your workbooks are in own"
    assert "beside them: 00.new.ipynb" in describe(
        Copied(Path("own"), (), ("00.ipynb",), ("00.ipynb",), ("00.new.ipynb",))
    )


def test_copy_only_fills_the_folder_in_the_home(run_lessonkit: Run, private_env: dict[str, str]) -> None:
    """Without options the folder is in the home, and holds the whole series."""
    done = run_lessonkit("lab", "--copy-only")
    assert done.returncode == 0, done.stderr
    own = Path(private_env["HOME"]) / "lessonkit-workbooks"
    assert workbook_names(own) == workbook_names()
    assert "0 kept" in done.stdout
    assert "0 added" in run_lessonkit("lab", "--copy-only").stdout


@pytest.mark.parametrize("port", ["0", "70000", "-3"])
def test_an_impossible_port_is_refused_before_anything_is_copied(
    run_lessonkit: Run, tmp_path: Path, port: str
) -> None:
    """A port outside 1 to 65535 is one sentence with status 2."""
    done = run_lessonkit("lab", "--folder", "own", f"--port={port}")
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "1 to 65535" in done.stderr
    assert not (tmp_path / "own").exists()


def test_a_port_in_use_is_refused(run_lessonkit: Run) -> None:
    """A port that another program holds is named, with what to do."""
    with socket.create_server(("127.0.0.1", 0)) as busy:
        port = busy.getsockname()[1]
        done = run_lessonkit("lab", "--folder", "own", "--port", str(port), "--no-browser")
    assert done.returncode == 2
    assert f"Port {port} can't be had" in done.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no polite way to end a console program")
def test_it_serves_the_copies_and_stops_when_told(private_env: dict[str, str], tmp_path: Path) -> None:
    """A started lab answers on its port with the apprentice's files, asks for no news, and ends when told."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    words = ["lab", "--no-browser", "--folder", str(tmp_path / "own"), "--port", str(port)]
    private_env["JUPYTER_TOKEN"] = TOKEN
    with (tmp_path / "log.txt").open("w") as log:
        command = [sys.executable, "-m", "lessonkit", *words]
        lab = subprocess.Popen(command, cwd=tmp_path, env=private_env, stdout=log, stderr=subprocess.STDOUT)
        try:
            _wait_for(lab, port, tmp_path / "log.txt")
            files = {entry["name"] for entry in _ask(port, "api/contents")["content"]}
            notices = _ask(port, "lab/api/settings/@jupyterlab/apputils-extension:notification")
        finally:
            lab.send_signal(signal.SIGTERM)
            lab.wait(timeout=30)
    assert (tmp_path / "log.txt").read_text().splitlines()[-1] == (
        f"Stopped. Your workbooks are in {tmp_path / 'own'}"
    )
    assert {*workbook_names(), START} == {name for name in files if name.endswith(".ipynb")}
    assert ".lessonkit.json" not in files
    assert notices["schema"]["properties"]["fetchNews"]["default"] == "false"
    assert notices["schema"]["properties"]["checkForUpdates"]["default"] is False
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", port), timeout=5).close()


def _ask(port: int, path: str) -> Any:
    """Ask the server for something that it says in JSON."""
    token = {"Authorization": f"token {TOKEN}"}
    asked = urllib.request.Request(f"http://127.0.0.1:{port}/{path}", headers=token)
    with urllib.request.urlopen(asked, timeout=20) as answer:
        return json.load(answer)


def _wait_for(lab: subprocess.Popen[bytes], port: int, log: Path) -> None:
    """Wait until the server answers, or fail with what it said."""
    for _ in range(300):
        if lab.poll() is not None:
            break
        try:
            _ask(port, "api/status")
            return
        except OSError:
            time.sleep(0.2)
    raise AssertionError(f"the lab did not answer:\n{log.read_text(errors='replace')}")
