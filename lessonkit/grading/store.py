"""What a grading run remembers, so that it can be cut off and taken up again.

Every reading and every verdict is kept under a name made from what it was made of: the file's bytes, or the
answers and the variant, with the fingerprint of lessonkit and the workbooks. So a run that is started again
finds what is done, an answer that has not changed is not judged again, and a file that has changed is.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path
from typing import Any

from lessonkit.files import write_whole

__all__ = ["Store", "key_of"]


def key_of(*parts: object) -> str:
    """Return a name for something made from these parts."""
    total = hashlib.sha256()
    for part in parts:
        data = part if isinstance(part, bytes) else repr(part).encode()
        total.update(len(data).to_bytes(8, "big") + data)
    return total.hexdigest()[:40]


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
        write_whole(path, json.dumps(record), durable=False)  # what a power cut takes is read again

    def forget_others(self) -> None:
        """Remove what was made with another edition of lessonkit or of the workbooks."""
        if self._all.is_dir():
            for folder in self._all.iterdir():
                if folder != self._folder and folder.is_dir():
                    shutil.rmtree(folder, ignore_errors=True)
