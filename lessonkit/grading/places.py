"""Where grading may read and write: the folders of a run, looked at before the work.

Marks must not lie among hand-ins, where they would be read as such, nor in a hand-out's folder. A folder
that students fill must not be where Python looks for modules, and a file of the class must not lie where the
box shows Python's own files to a student's code.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterable
from pathlib import Path

from lessonkit.errors import LessonError
from lessonkit.grading.handout.copies import MANIFEST
from lessonkit.grading.reading.confine import open_folder_above

__all__ = ["BadFolder", "check_places"]


class BadFolder(LessonError, ValueError):
    """A folder that can't be graded, or not be written to."""


def check_places(folder: Path, out: Path, tables: Iterable[Path] = ()) -> None:
    """Raise `BadFolder` where the folder of the hand-ins, or the one for the marks, is no place for them.

    `tables` are the class's other files: the roster, the teacher's decisions.
    """
    if not folder.is_dir():
        raise BadFolder(f"{folder} is no folder; name the folder with the notebooks that were handed in.")
    if out.exists() and not out.is_dir():
        raise BadFolder(f"{out} is a file; name a folder for the marks with --out.")
    here, there = folder.resolve(), out.resolve()
    if here == there:
        raise BadFolder(f"{out} is the folder of the hand-ins itself; name another one with --out.")
    if here in there.parents:
        raise BadFolder(f"{out} lies in {folder}; keep the marks apart from what students handed in.")
    if (out / MANIFEST).exists():
        raise BadFolder(f"{out} is the folder of a hand-out; name another one for the marks with --out.")
    for entry in sys.path:
        if here in (Path(entry).resolve(), *Path(entry).resolve().parents):
            raise BadFolder(
                f"Python looks for its modules in {Path(entry).resolve()}, among the hand-ins; start grading "
                "as `lessonkit grade` and not as `python -m lessonkit`, without PYTHONPATH."
            )
    if here in (Path(tempfile.gettempdir()).resolve(), *Path(tempfile.gettempdir()).resolve().parents):
        raise BadFolder(f"The system's temporary folder lies in {folder}; set TMPDIR to another one.")
    if shown := open_folder_above([folder, out, *tables]):
        raise BadFolder(
            f"{shown[0]} lies in {shown[1]}, which holds Python's own files, and a student's code may read "
            "those; keep the class's files elsewhere."
        )
