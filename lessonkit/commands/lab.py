"""`lessonkit lab`: the workbooks in JupyterLab, in a folder of your own.

The folder is filled with copies of the pristine workbooks; what is there already stays as it is. A start
page is made of what those files hold. JupyterLab then serves the folder to this computer alone and opens that
page, with its news and its search for updates switched off: a classroom has no use for either, and may have
no network.
"""

from __future__ import annotations

import argparse
import os
import socket
import sys
from collections.abc import Mapping
from pathlib import Path
from urllib.parse import quote

from lessonkit.begin import run_child
from lessonkit.errors import LessonError
from lessonkit.exercises.pristine import Copied, copy_workbooks
from lessonkit.exercises.start_page import START, write_start_page

HOST = "127.0.0.1"
DEFAULT_PORT = 8888


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of `lessonkit lab`."""
    parser.add_argument(
        "--folder",
        type=Path,
        default=Path("~/lessonkit-workbooks"),
        help="your own folder of workbooks; made and filled if need be (default: %(default)s)",
    )
    parser.add_argument(
        "--beside", action="store_true", help="lay today's edition beside each workbook of an older one"
    )
    parser.add_argument(
        "--port", type=int, help=f"serve on this port (default: {DEFAULT_PORT}, or the next free one)"
    )
    parser.add_argument("--no-browser", action="store_true", help="print the address instead of opening it")
    parser.add_argument("--copy-only", action="store_true", help="fill the folder and stop there")


def run(options: argparse.Namespace) -> int:
    """Copy what is missing, then serve it until stopped."""
    if options.port is not None:
        _check_port(options.port)
    copied = copy_workbooks(options.folder, beside=options.beside)
    opened = START if write_start_page(copied.folder) else copied.first
    print(describe(copied), flush=True)
    if options.copy_only:
        return 0
    status = run_child(
        lab_command(copied, opened, port=options.port, browser=not options.no_browser),
        env=lab_environment(os.environ),
    )
    # JupyterLab has said a lot meanwhile; where the answers are is what somebody looks for at the end.
    print(f"Stopped. {_where(copied)}", flush=True)
    return status


def lab_command(
    copied: Copied, opened: str = START, port: int | None = None, browser: bool = True
) -> list[str]:
    """Return the command that serves the folder.

    It opens one file of the folder, on loopback only, behind the token that Jupyter makes.
    """
    command = [
        sys.executable,
        "-m",
        "jupyterlab",
        f"--ServerApp.root_dir={copied.folder}",
        f"--ServerApp.ip={HOST}",
        f"--ServerApp.port={port or DEFAULT_PORT}",
        f"--LabApp.default_url=/lab/tree/{quote(opened)}",
        "--LabApp.news_url=None",
        "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
        "--LabApp.extension_manager=readonly",
    ]
    if port is not None:
        command.append("--ServerApp.port_retries=0")
    if not browser:
        command.append("--no-browser")
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        # Jupyter refuses the superuser; in a container there is nobody else, and the server is loopback's.
        command.append("--allow-root")
    return command


def lab_environment(outer: Mapping[str, str]) -> dict[str, str]:
    """Return the environment that the server runs in.

    It puts our defaults (`jupyter/` beside this room) under the apprentice's own settings, and this Python's
    kernel before one of the same name in the home folder, which may know no lessonkit.
    """
    defaults = [str(Path(__file__).with_name("jupyter")), outer.get("JUPYTER_CONFIG_PATH", "")]
    return {
        **outer,
        "JUPYTER_CONFIG_PATH": os.pathsep.join(filter(None, defaults)),
        "JUPYTER_PREFER_ENV_PATH": "1",
    }


def describe(copied: Copied) -> str:
    """Say in a few lines what the folder holds now."""
    lines = [f"Workbooks: {len(copied.added)} added, {len(copied.kept)} kept."]
    if copied.older:
        names = ", ".join(copied.older)
        lines.append(f"Yours are from an older edition, and were left as they are: {names}.")
        if copied.beside:
            lines.append(f"Today's edition is beside them: {', '.join(copied.beside)}.")
        else:
            lines.append("To have today's edition beside them, add --beside.")
    return "\n".join([*lines, _where(copied)])


def _where(copied: Copied) -> str:
    return f"Your workbooks are in {copied.folder}"


def _check_port(port: int) -> None:
    """Refuse a port that can't be served on."""
    if not 1 <= port <= 65535:
        raise LessonError(f"--port is {port}, but ports go from 1 to 65535; leave it out to have one chosen.")
    with socket.socket() as trial:
        if os.name != "nt":  # there, the option would share a port that another program holds
            trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            trial.bind((HOST, port))
        except OSError:
            raise LessonError(
                f"Port {port} can't be had on this computer; choose another, or leave --port out."
            ) from None
