"""What lies in a folder of hand-ins: other endings, archives of a platform, and archives that burst."""

from __future__ import annotations

import io
import sys
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent / "school"))
import orchard

from lessonkit.grading.marking.identify import identify
from lessonkit.grading.reading.hand_ins import files_in
from lessonkit.grading.reading.intake import UnreadableFile
from lessonkit.grading.reading.read import Reading, load
from lessonkit.grading.roster import assign
from lessonkit.grading.school import School, load_school


@pytest.fixture(scope="module")
def school(tmp_path_factory: pytest.TempPathFactory) -> Iterator[School]:
    """Return the invented school."""
    with orchard.on_path():
        yield load_school(orchard.make_school(tmp_path_factory.mktemp("school")))


def packed(members: dict[str, bytes], how: int = zipfile.ZIP_DEFLATED) -> bytes:
    """Return an archive."""
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", how) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return data.getvalue()


def whose(files: list[str], school: School) -> dict[str, str]:
    """Return the student of each file, from the names alone."""
    readings = {file: Reading("", "orchard_a", 0) for file in files}
    return {one.file: one.student for one in identify(readings, school, None, None)[0]}


def test_other_endings_are_notebooks(school: School, tmp_path: Path) -> None:
    """A browser that makes a text of a notebook takes nobody's work away."""
    for name in ("91_pump_ann.ipynb.txt", "91_pump_bo.IPYNB", "91_pump_cy.ipynb.json", "note.txt"):
        (tmp_path / name).write_bytes(b"{}")
    found, others = files_in(tmp_path)
    assert whose(list(found), school) == {
        "91_pump_ann.ipynb": "ann",
        "91_pump_bo.IPYNB": "bo",
        "91_pump_cy.ipynb": "cy",
    }
    assert [name for name, _ in others] == ["note.txt"]
    assert found["91_pump_ann.ipynb"].load(load) == b"{}"


def test_archives_of_a_platform_are_looked_into(school: School, tmp_path: Path) -> None:
    """A class in one archive, a student's own archive, and one inside another: each file is its student's."""
    anna = packed({"91_pump.ipynb": b"1", "__MACOSX/._91_pump.ipynb": b"x", "92_gate.ipynb": b"2"})
    members = {
        "Anna Berg/91_pump.ipynb": b"3",
        "Bo Lund/work.zip": packed({"91_pump.ipynb": b"4"}),
        "read.me": b"",
    }
    (tmp_path / "dora.zip").write_bytes(anna)
    (tmp_path / "evening.zip").write_bytes(packed(members))
    found, others = files_in(tmp_path)
    assert {name: one.load(load) for name, one in found.items()} == {
        "dora.zip/91_pump.ipynb": b"1",
        "dora.zip/92_gate.ipynb": b"2",
        "evening.zip/Anna Berg/91_pump.ipynb": b"3",
        "evening.zip/Bo Lund/work.zip/91_pump.ipynb": b"4",
    }
    assert [name for name, _ in others] == ["evening.zip/read.me"]
    assert set(whose(list(found), school).values()) == {"dora", "Anna Berg", "Bo Lund/work"}


def test_archive_is_a_folder_of_its_student(school: School) -> None:
    """With a roster, Zoe's archive is Zoe's folder."""
    roll = assign(school, ["Zoe", "Ann"], 1)
    place = roll.of("Zoe", "orchard_a")
    assert place is not None
    for file in ("zoe.zip/work.ipynb", "all.zip/zoe/work.ipynb", "Zoe_4711_file.zip/work.ipynb"):
        found, _ = identify({file: Reading("", "orchard_a", place.variant)}, school, roll, None)
        assert [(one.student, one.held) for one in found] == [("Zoe", "")]


def test_paths_in_an_archive_lead_nowhere(tmp_path: Path) -> None:
    """Whatever a member is called, it is a name under the archive's, and nothing is written."""
    names = ["../../out.ipynb", "/etc/x.ipynb", "C:\\\\temp\\\\y.ipynb", "a/../../b.ipynb"]
    (tmp_path / "class.zip").write_bytes(packed(dict.fromkeys(names, b"{}")))
    found, _ = files_in(tmp_path)
    shown = {"class.zip/out.ipynb", "class.zip/etc/x.ipynb", "class.zip/temp/y.ipynb", "class.zip/a/b.ipynb"}
    assert set(found) == shown
    assert {one.load(load) for one in found.values()} == {b"{}"}
    assert [path.name for path in tmp_path.rglob("*")] == ["class.zip"]


def test_what_is_made_to_burst_is_named_and_the_rest_read(tmp_path: Path) -> None:
    """Too tight, too large, too many, locked, damaged: each is said, and no other file is lost."""
    bomb = packed({"91_pump_mallory.ipynb": b" " * 19_000_000, "91_pump_ann.ipynb": b"{}"})
    (tmp_path / "tight.zip").write_bytes(bomb)
    (tmp_path / "many.zip").write_bytes(packed({f"{n}.ipynb": b"" for n in range(5_001)}))
    (tmp_path / "broken.zip").write_bytes(packed({"a.ipynb": b"{}"})[:40])
    (tmp_path / "other.zip").write_bytes(packed({"a.ipynb": b"{}"}, zipfile.ZIP_LZMA))
    (tmp_path / "inner.zip").write_bytes(packed({"x.zip": b"PK\3\4", "91_pump_bo.ipynb": b"{}"}))
    locked = bytearray(packed({"a.ipynb": b"{}"}))
    place = locked.find(b"PK\1\2")
    locked[place + 8] |= 1
    (tmp_path / "locked.zip").write_bytes(locked)
    found, others = files_in(tmp_path)
    assert set(found) == {"tight.zip/91_pump_ann.ipynb", "inner.zip/91_pump_bo.ipynb"}
    said = dict(others)
    assert "more tightly" in said["tight.zip/91_pump_mallory.ipynb"]
    assert "5000 members" in said["many.zip"]
    assert "damaged" in said["broken.zip"]
    assert "packed in a way" in said["other.zip/a.ipynb"]
    assert "damaged" in said["inner.zip/x.zip"]
    assert "password" in said["locked.zip/a.ipynb"]


def test_member_that_lies_about_its_size_is_unreadable(tmp_path: Path) -> None:
    """A member that holds more than its entry says costs that file alone."""
    data = bytearray(packed({"a.ipynb": b"x" * 1000}, zipfile.ZIP_STORED))
    data[data.find(b"x" * 10)] = 0  # its check sum no longer fits
    (tmp_path / "a.zip").write_bytes(data)
    found, _ = files_in(tmp_path)
    with pytest.raises(UnreadableFile, match="damaged"):
        found["a.zip/a.ipynb"].load(load)
