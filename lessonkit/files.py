"""Files that appear whole, and names that nobody has yet.

A file is written under another name first and then renamed, which is one step on every system: who looks at
the folder sees the old file or the new one, and never half of one. A name that is taken gets a number. This
room uses the standard library alone, because the very first command needs it before anything is installed.
"""

from __future__ import annotations

import itertools
import os
import tempfile
from collections.abc import Callable
from pathlib import Path

__all__ = ["first_free", "write_whole"]


def write_whole(path: Path, content: bytes | str, *, durable: bool = True) -> None:
    """Write a file so that nobody ever sees half of it; nothing is done when it is the same already.

    Parameters: `content` is bytes, or text that is written as UTF-8 with its line ends as they are. `durable`
    waits until the disk has it; say False for many small files that can be made again after a power cut.
    The folder is made where it is missing. The name under which the file is written starts with a dot and
    ends with `.part`; it stays behind only if the machine is switched off. Raises `OSError`.
    """
    data = content.encode("utf-8") if isinstance(content, str) else content
    if path.is_file() and not path.is_symlink() and path.read_bytes() == data:
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(prefix=".", suffix=".part", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            if durable:
                file.flush()
                os.fsync(file.fileno())
        os.chmod(name, 0o644)  # noqa: PTH101  mkstemp's file is for its owner alone
        os.replace(name, path)  # noqa: PTH105  the name is not worth a Path
    except BaseException as error:
        Path(name).unlink(missing_ok=True)
        if (
            isinstance(error, OSError) and error.errno and error.filename is None
        ):  # a full disk names no file by itself
            error.filename = str(path)
        raise


def first_free(stem: str, is_taken: Callable[[str], bool], mark: str = "-", end: str = "") -> str:
    """Return the first name that nobody has: `stem` and `end`, else with a number from 2 between them.

    `mark` stands before the number.


    >>> first_free("ann", {"ann", "ann-2"}.__contains__)
    'ann-3'
    """
    numbered = (f"{stem}{mark}{number}{end}" for number in itertools.count(2))
    return next(name for name in itertools.chain([stem + end], numbered) if not is_taken(name))
