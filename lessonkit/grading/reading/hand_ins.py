"""What lies in the folder of the hand-ins: notebooks, under whatever ending, and archives of them.

Learning platforms and browsers hand out `01_calls.ipynb.txt`, a zip archive of a class, or one archive for
each student inside another. An archive is read in place and nothing is unpacked to the disk, so that no path
in it leads anywhere. It may be made to burst: so its size, the number of its members, how tightly each is
packed, and what all together come to are bounded, and only plain ways of packing are read.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import stat
import struct
import zipfile
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from lessonkit.exercises.glossary import GLOSSARY
from lessonkit.exercises.pristine import DEMONSTRATION
from lessonkit.exercises.start_page import START
from lessonkit.files import first_free
from lessonkit.grading.reading.intake import MAX_BYTES, UnreadableFile, too_large

__all__ = ["HandedIn", "files_in"]

ENDINGS = (".ipynb", ".ipynb.txt", ".ipynb.json")
NO_NOTEBOOK = "its name does not end in .ipynb, so it was not read"
ARCHIVE_BYTES, ARCHIVE_MEMBERS, ARCHIVE_WHOLE = 500_000_000, 5_000, 2_000_000_000
INNER_BYTES = 100_000_000
TIGHTEST = 200
"""How many times smaller a member may be packed; a notebook of text packs to a tenth or so."""
_TROUBLES = (zipfile.BadZipFile, OSError, ValueError, RuntimeError, EOFError, zlib.error, struct.error)


@dataclass(frozen=True)
class HandedIn:
    """One notebook that was handed in: a file, or a member of an archive, or of an archive inside one."""

    path: Path
    members: tuple[str, ...] = ()

    def load(self, load_file: Callable[[Path], bytes]) -> bytes:
        """Return its bytes; `load_file` opens a file that lies in the folder. Raises `UnreadableFile`."""
        if not self.members:
            return load_file(self.path)
        try:
            with contextlib.ExitStack() as stack:
                archive = stack.enter_context(zipfile.ZipFile(self.path))
                for member in self.members[:-1]:
                    inner = _bytes(archive, archive.getinfo(member), INNER_BYTES)
                    archive = stack.enter_context(zipfile.ZipFile(io.BytesIO(inner)))
                return _bytes(archive, archive.getinfo(self.members[-1]), MAX_BYTES)
        except (*_TROUBLES, KeyError) as error:
            if isinstance(error, UnreadableFile):
                raise
            raise UnreadableFile("The archive that the file is in is damaged; hand it in again.") from None


def _bytes(archive: zipfile.ZipFile, member: zipfile.ZipInfo, most: int) -> bytes:
    if member.file_size > most:
        raise too_large(member.file_size)
    with archive.open(member) as file:
        data = file.read(most + 1)
    if len(data) > most:
        raise too_large(len(data))
    return data


def files_in(folder: Path) -> tuple[dict[str, HandedIn], list[tuple[str, str]]]:
    """Return the hand-ins under a folder, and what else is there, with the reason why it is none.

    They go by their path as it can be shown, in an archive with the archive's name in it: what can't be
    printed or is no Unicode is replaced. Links to folders are not followed.
    """
    here = folder.resolve()
    found: list[tuple[str, HandedIn]] = []
    others: list[tuple[str, str]] = []

    def shown(path: Path) -> str:
        return path.relative_to(here).as_posix()

    def closed(error: OSError) -> None:
        others.append((shown(Path(error.filename)), f"this folder can't be opened ({error.strerror})"))

    for place, folders, names in os.walk(here, onerror=closed):
        folders[:] = [name for name in folders if not _hidden(name)]
        for name in names:
            path = Path(place, name)
            if name.startswith("."):
                continue
            if name.lower().endswith(ENDINGS):
                found.append((shown(path), HandedIn(path)))
            elif name.lower().endswith(".zip") and not path.is_symlink():
                _look_into(path, shown(path), found, others)
            else:
                others.append((shown(path), NO_NOTEBOOK))
    named: dict[str, HandedIn] = {}
    for name, one in sorted(found, key=lambda item: os.fsencode(item[0])):
        if f"/{name}".endswith((f"/{GLOSSARY}", f"/{START}")) or DEMONSTRATION.search(f"/{name}"):
            continue  # these lie beside the workbooks, and are nobody's work
        tidy = _printable(re.sub(r"\.(txt|json)$", "", name, flags=re.IGNORECASE))
        end = tidy[-len(".ipynb") :]
        named[first_free(tidy.removesuffix(end), named.__contains__, "~", end)] = one
    return named, sorted((_printable(name), why) for name, why in others)


def _hidden(name: str) -> bool:
    return name.startswith((".", "__MACOSX"))


def _printable(name: str) -> str:
    return "".join(sign if sign.isprintable() else "\ufffd" for sign in name)


# Archives --------------------------------------------------------------------------------------------------


def _look_into(
    path: Path, shown: str, found: list[tuple[str, HandedIn]], others: list[tuple[str, str]]
) -> None:
    """Add the notebooks in an archive, and the reasons why other members are none."""
    here: list[tuple[str, HandedIn]] = []
    there: list[tuple[str, str]] = []
    try:
        if path.stat().st_size > ARCHIVE_BYTES:
            raise ValueError(f"this archive has more than {ARCHIVE_BYTES // 1_000_000} MB, and was not read")
        with zipfile.ZipFile(path) as archive:
            for names, parts, why in _members(archive):
                name = "/".join([shown, *parts])
                if why:
                    there.append((name, why))
                else:
                    here.append((name, HandedIn(path, names)))
    except _TROUBLES as error:
        ours = type(error) is ValueError and str(error).startswith("this archive")
        others.append((shown, str(error) if ours else "this archive is damaged, and was not read"))
        return
    found += here
    others += there


Member = tuple[tuple[str, ...], list[str], str]
"""The names by which a member is opened, the parts of its path as shown, and why it is no notebook, or ""."""


def _members(archive: zipfile.ZipFile, inside: bool = False) -> Iterator[Member]:
    infos = archive.infolist()
    if len(infos) > ARCHIVE_MEMBERS:
        raise ValueError(f"this archive has more than {ARCHIVE_MEMBERS} members, and was not read")
    if sum(info.file_size for info in infos) > ARCHIVE_WHOLE:
        raise ValueError("this archive would grow beyond all bounds, and was not read")
    for info in infos:
        parts = _parts(info)
        if info.is_dir() or not parts or any(map(_hidden, parts)):
            continue
        last = parts[-1].lower()
        if why := _why_not(info):
            yield (info.filename,), parts, why
        elif last.endswith(ENDINGS):
            yield (info.filename,), parts, ""
        elif last.endswith(".zip") and not inside:
            try:
                with zipfile.ZipFile(io.BytesIO(_bytes(archive, info, INNER_BYTES))) as inner:
                    inner_ones = list(_members(inner, inside=True))
            except _TROUBLES:  # one student's archive; the others' are read
                yield (info.filename,), parts, "this archive is damaged or too large, and was not read"
                continue
            for names, more, why in inner_ones:
                yield (info.filename, *names), [*parts, *more], why
        else:
            yield (info.filename,), parts, NO_NOTEBOOK


def _parts(info: zipfile.ZipInfo) -> list[str]:
    """Return a member's path as parts; what would lead out of the archive is dropped."""
    name = info.filename
    if not info.flag_bits & 0x800:  # not said to be UTF-8, and often is
        with contextlib.suppress(UnicodeError):
            name = name.encode("cp437").decode("utf-8")
    return [part for part in re.split(r"[\\/]+", name) if part.strip(". ") and not part.endswith(":")]


def _why_not(info: zipfile.ZipInfo) -> str:
    """Return why a member can't be read, or ""."""
    if info.flag_bits & 1:
        return "it is locked with a password"
    if stat.S_ISLNK(info.external_attr >> 16):
        return "it is a link to another file"
    if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        return "it is packed in a way that is not read here; pack it as an ordinary zip"
    if info.file_size > 1_000_000 and info.file_size > TIGHTEST * max(info.compress_size, 1):
        return "it is packed more tightly than any notebook is"
    return ""
