"""The page's Python without a page: a built site's runtime, started by Node."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

from lessonkit.site.fetch import find_node, node_environment

HERE = Path(__file__).parent


def runtime_of(site: Path) -> Path:
    """Return the folder of a site's runtime."""
    (found,) = site.glob("runtime-????????")
    return found


def start_in_node(
    site: Path, program: Path, mounts: Mapping[str, Path], log: Path
) -> subprocess.Popen[bytes]:
    """Start a program in a site's Python; what it prints goes to `log`.

    `mounts` says which folders the program sees, by the path that they have for it. The folder of the tests
    here is its `/tests`.
    """
    node = find_node()
    assert node, "mark this test with pytest.mark.site"
    seen = {inside: str(outside) for inside, outside in {"/tests": HERE, **mounts}.items()}
    command = [*node, str(HERE / "run.cjs"), str(runtime_of(site).resolve()), json.dumps(seen), str(program)]
    with log.open("wb") as out:
        return subprocess.Popen(
            command, env=node_environment(), stdin=subprocess.DEVNULL, stdout=out, stderr=subprocess.STDOUT
        )


def start_here(program: Path, *words: str, env: Mapping[str, str], log: Path) -> subprocess.Popen[bytes]:
    """Start a program in this computer's own Python; what it prints goes to `log`."""
    command = [sys.executable, str(program), *words]
    with log.open("wb") as out:
        return subprocess.Popen(
            command, env=env, stdin=subprocess.DEVNULL, stdout=out, stderr=subprocess.STDOUT
        )


def finished(process: subprocess.Popen[bytes], log: Path) -> str:
    """Wait for a program and return what it printed; it must have ended well."""
    status = process.wait()
    said = log.read_text(encoding="utf-8", errors="replace")
    assert status == 0, said[-3000:]
    return said
