"""Files that appear whole, and names that nobody has yet."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest

from lessonkit.files import first_free, write_whole


def test_file_appears_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A write that fails on the way leaves the old file and nothing else."""
    path = tmp_path / "marks.csv"
    write_whole(path, b"old")

    def fail(*_: Any) -> None:
        raise OSError("the disk is full")

    monkeypatch.setattr(os, "fsync", fail)
    with pytest.raises(OSError, match="full"):
        write_whole(path, b"new")
    assert path.read_bytes() == b"old"
    assert [item.name for item in tmp_path.iterdir()] == ["marks.csv"]
    write_whole(path, b"new", durable=False)
    assert path.read_bytes() == b"new"


def test_text_keeps_its_line_ends_and_folders_are_made(tmp_path: Path) -> None:
    """Text is UTF-8 on every system, and a missing folder is made."""
    path = tmp_path / "a" / "b" / "words.txt"
    write_whole(path, "one °C\ntwo\r\n")
    assert path.read_bytes() == "one °C\ntwo\r\n".encode()


def test_what_is_the_same_already_stays(tmp_path: Path) -> None:
    """A file with the same content is left alone."""
    path = tmp_path / "kept"
    write_whole(path, b"same")
    os.utime(path, (1, 1))
    write_whole(path, b"same")
    assert path.stat().st_mtime == 1


def test_a_taken_name_gets_a_number() -> None:
    """The first free name counts from 2, with the mark before the number and the end after it."""
    taken = {"a.ipynb", "a~2.ipynb", "b"}
    assert first_free("a", taken.__contains__, "~", ".ipynb") == "a~3.ipynb"
    assert first_free("b", taken.__contains__) == "b-2"
    assert first_free("c", taken.__contains__) == "c"
