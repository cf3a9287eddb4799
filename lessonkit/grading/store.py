"""What a grading run remembers, so that it can be cut off and taken up again.

Every reading and every verdict is kept under a name made from what it was made of: the file's bytes, or the
answers and the variant, with the fingerprint of lessonkit and the workbooks. So a run that is started again
finds what is done, an answer that has not changed is not judged again, and a file that has changed is. A
file appears whole or not at all: it is written under another name and then renamed, which is one step on
every system.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import tempfile
from pathlib import Path
from typing import Any

__all__ = ["Store", "key_of", "write_whole"]


def key_of(*parts: object) -> str:
    """Return a name for something made from these parts."""
    total = hashlib.sha256()
    for part in parts:
        data = part if isinstance(part, bytes) else repr(part).encode()
        total.update(len(data).to_bytes(8, "big") + data)
    return total.hexdigest()[:40]


def write_whole(path: Path, data: bytes) -> None:
    """Write a file so that nobody ever sees half of it; nothing is done when it is the same already.

    The name under which it is written starts with a dot and stays only if the machine is switched off.
    """
    if path.exists() and not path.is_symlink() and path.read_bytes() == data:
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(prefix=".", suffix=".part", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(name, 0o644)  # noqa: PTH101  mkstemp's file is for its owner alone
        os.replace(name, path)  # noqa: PTH105  the name is not worth a Path
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


class Store:
    """Readings and verdicts of one school, under `OUT/.work`."""

    def __init__(self, out: Path, fingerprint: str) -> None:
        self._all = out / ".work"
        self._folder = self._all / fingerprint

    def get(self, kind: str, key: str) -> dict[str, Any] | None:
        """Return what is known, or None; a file that a power cut has spoilt counts as unknown."""
        try:
            record = json.loads((self._folder / kind / key[:2] / f"{key}.json").read_bytes())
        except (OSError, ValueError):
            return None
        return record if isinstance(record, dict) else None

    def put(self, kind: str, key: str, record: dict[str, Any]) -> None:
        """Remember something."""
        path = self._folder / kind / key[:2] / f"{key}.json"
        path.parent.mkdir(parents=True, exist_ok=True)
        part = path.with_name(f".{key}.{os.getpid()}.part")
        part.write_bytes(json.dumps(record).encode("ascii"))
        os.replace(part, path)  # noqa: PTH105  no fsync: what is lost in a power cut is read again

    def forget_others(self) -> None:
        """Remove what was made with another edition of lessonkit or of the workbooks."""
        if self._all.is_dir():
            for folder in self._all.iterdir():
                if folder != self._folder and folder.is_dir():
                    shutil.rmtree(folder, ignore_errors=True)
