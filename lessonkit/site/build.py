"""Building the site from end to end: the same input gives the same files.

    built = build_site(Path("public"), mirror=None, say=print)

Files whose content never changes under their name get an old date on disk: a plain web server tells it to the
browser, which then keeps them without asking again. All that compresses well lies there packed, too, for
servers that send such a copy.
"""

from __future__ import annotations

import gzip
import json
import os
import shutil
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from lessonkit.errors import LessonError
from lessonkit.exercises.pristine import CONCEPTS, learners_copy, pristine_folder
from lessonkit.grading.school import load_school
from lessonkit.site.app import app_files, contents_files, digest_of, front_files, page_config
from lessonkit.site.books import books_list
from lessonkit.site.classroom import ClassSite
from lessonkit.site.fetch import Store, cache_folder
from lessonkit.site.runtime import Files, page_file, runtime_files
from lessonkit.site.serve import VERSIONED

__all__ = ["Built", "build_site"]

MARK = "lessonkit/build.json"
"""By this file a folder is known as a site of ours, which may be made anew."""

PACKED = {".js", ".cjs", ".mjs", ".wasm", ".json", ".css", ".html", ".svg", ".ipynb", ".ttf", ".eot"}
WORTH_PACKING = 1_000
OLD = 1_577_836_800  # 2020-01-01, UTC


class InTheWay(LessonError, FileExistsError):
    """The folder for a site holds something else."""

    __str__ = Exception.__str__


@dataclass(frozen=True)
class Built:
    """A site that was built: folder, digest, files and bytes (without the packed copies), workbooks."""

    folder: Path
    digest: str
    files: int
    size: int
    workbooks: tuple[str, ...]


def build_site(
    out: Path,
    *,
    mirror: Path | None = None,
    cache: Path | None = None,
    room: ClassSite | None = None,
    only: Iterable[str] = (),
    say: Callable[[str], None] = lambda text: None,
) -> Built:
    """Write the site into a folder that is new, empty, or an older site.

    `room` makes it a class site. `only` names workbooks by their ids, the concept test's forms too. Raises
    `LessonError` where a part can't be had, or the folder holds other things.
    """
    _refuse(out)
    if mirror is not None and not mirror.is_dir():
        raise LessonError(f"{mirror} is no folder; give one with the files of the runtime by --mirror.")
    workbooks = workbook_files(only)
    store = Store(mirror, cache_folder() if cache is None else cache, say)
    say("putting the page together")
    page, extensions = app_files(store)
    runtime = runtime_files(store, with_test=any(name.startswith(f"{CONCEPTS}/") for name in workbooks))
    # Whatever folder it is kept in, a workbook that was asked for stands where workbooks are found.
    workbooks = {name.removeprefix(f"{CONCEPTS}/"): data for name, data in workbooks.items()}
    files = site_files(page, extensions, runtime, workbooks, room)
    say("writing")
    _write(out, files)
    digest = json.loads(files[MARK])["digest"]
    books = tuple(name for name in workbooks if "/" not in name)
    return Built(out, digest, len(files), sum(map(len, files.values())), books)


def workbook_files(only: Iterable[str] = ()) -> Files:
    """Return the notebooks of a site as a learner gets them, by their names under the folder.

    The concept test is not among them: it is handed out. `only` names workbooks by their ids, the concept
    test's forms too, and leaves out everything else. Raises `BadSchool` for one that there isn't.
    """
    home, wanted = pristine_folder(), tuple(only)
    asked = {book.file for book in load_school(None, wanted).books} if wanted else set()
    found = {}
    for path in sorted(home.rglob("*.ipynb")):
        inside = path.relative_to(home)
        taken = path.name in asked if wanted else CONCEPTS not in inside.parts
        if taken and not any(part.startswith((".", "_")) for part in inside.parts):
            found[str(PurePosixPath(*inside.parts))] = learners_copy(path)
    return found


def site_files(
    page: Files, extensions: list[dict[str, str]], runtime: Files, workbooks: Files, room: ClassSite | None
) -> Files:
    """Return every file of the site."""
    place = f"runtime-{digest_of(runtime)[:8]}"
    files = {**page, **{f"{place}/{name}": data for name, data in runtime.items()}}
    files |= contents_files(workbooks)
    files["lessonkit/books.json"] = books_list(workbooks)
    files |= {"class/class.json": b"null\n"} if room is None else room.files(workbooks)
    first = sorted(files, key=lambda name: (-len(files[name]), name))
    fetched = [name for name in first if name.startswith(place)]
    files["lessonkit/runtime.json"] = json.dumps({"runtime": fetched}, indent=1).encode()
    fronts = front_files(page_config(place, extensions))
    digest = digest_of({**files, **fronts, "service-worker.js": page_file("service-worker.js")})
    named = {name: data.replace(b"@BUILD@", digest[:16].encode()) for name, data in fronts.items()}
    worker = page_file("service-worker.js").replace(b"@BUILD@", digest[:16].encode())
    mark = json.dumps({"digest": digest}, indent=1).encode()
    return {**files, **named, "service-worker.js": worker, MARK: mark}


def _refuse(out: Path) -> None:
    if out.exists() and not out.is_dir():
        raise InTheWay(f"{out} is a file; name a new folder for the site.")
    if out.is_dir() and any(out.iterdir()) and not (out / MARK).is_file():
        raise InTheWay(f"{out} holds other things; name a new folder for the site.")


def _write(out: Path, files: Files) -> None:
    """Write the files beside the old site, and put them in its place when all are there."""
    out = out.absolute()
    out.parent.mkdir(parents=True, exist_ok=True)
    fresh = out.with_name(f".{out.name}.part")
    if fresh.exists():
        shutil.rmtree(fresh)
    for name, data in files.items():
        path = fresh / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
        copies = [path]
        if path.suffix in PACKED and len(data) > WORTH_PACKING:
            packed = path.with_name(path.name + ".gz")
            packed.write_bytes(gzip.compress(data, 9, mtime=0))
            copies.append(packed)
        if VERSIONED.match(name):
            for copy in copies:
                os.utime(copy, (OLD, OLD))
    if out.exists():
        shutil.rmtree(out)
    fresh.rename(out)
