"""The notebook page: unpacked from its published package, set up, and given our own front.

Of the package's applications only the one that shows a single notebook is taken. What it should do is said in
one file, `jupyter-lite.json`, which the page reads first.
"""

from __future__ import annotations

import hashlib
import io
import json
import tarfile
import zipfile
from pathlib import PurePosixPath
from typing import Any

from lessonkit.site.fetch import Store
from lessonkit.site.pins import PARTS
from lessonkit.site.runtime import Files, page_file

__all__ = ["app_files", "contents_files", "digest_of", "front_files", "page_config"]

UNWANTED = {"lab", "repl", "consoles", "edit", "tree"}
"""Applications that the site does without; `build/` has a folder for each."""

ROOT_FILES = {"bootstrap.js", "package.json"}

ASKED = ["micropip", "piplite", "ssl", "sqlite3", "ipykernel", "comm", "pyodide_kernel", "jedi", "ipython"]
"""What the kernel would fetch for itself; named here it doesn't. `start.js` loads what is needed."""

FRONT = (
    *("site.css", "needs.js", "front.js", "notebook.js", "answers.js", "progress.js", "student.js"),
    "icon.svg",
)

OVERRIDES: dict[str, Any] = {
    # Work is saved by the page a second after each change; this is the second net.
    "@jupyterlab/docmanager-extension:plugin": {"autosaveInterval": 10},
    # A stop button that can't stop anything is worse than none: the page says how a loop is stopped. A circle
    # that is drawn anew whenever Python begins or ends something has the whole line measured at each click.
    "@jupyterlab/notebook-extension:panel": {
        "toolbar": [{"name": name, "disabled": True} for name in ("interrupt", "executionProgress")]
    },
    "@jupyterlab/apputils-extension:notification": {"fetchNews": "false", "checkForUpdates": False},
    "@jupyterlab/notebook-extension:tracker": {"windowingMode": "none"},
}

UNUSED = [
    # It would lay the page's files before Python as a folder, which slows every import down and isn't to be
    # had on plain http; so nowhere is there such a folder, and everywhere the same.
    "@jupyterlite/application-extension:service-worker-manager",
    # One would throw a student's work away; the other gives out an address where nobody's work is.
    *(f"@jupyterlite/application-extension:{name}" for name in ("clear-browser-data", "share-file")),
    # Other people's signs and icons, some of which would be fetched from where they are not.
    "@jupyterlite/notebook-application-extension:logo",
    "@jupyterlite/application-extension:about",
    *(f"@jupyter-notebook/notebook-extension:{name}" for name in ("tab-icon", "kernel-logo", "checkpoints")),
    *(f"@jupyter-notebook/application-extension:{name}" for name in ("logo", "pages")),
    # It puts whatever is higher than the screen, as a panel is on a phone, into a small box to scroll in.
    "@jupyter-notebook/notebook-extension:scroll-output",
    # It connects to the kernel twice, to list help that lies elsewhere.
    "@jupyterlab/help-extension:resources",
    # They would look for formulas, of which no workbook has any, in every text of a panel at every click, and
    # change the page's icon twice.
    "@jupyterlab/mathjax-extension:plugin",
    "@jupyterlab/application-extension:faviconbusy",
]

EVER = "2026-01-01T00:00:00.000000Z"
"""A time for what the page wants a time of; the day of the build would make two builds differ."""


def app_files(store: Store) -> tuple[Files, list[dict[str, str]]]:
    """Return the page's files, and its list of extensions."""
    files: Files = {}
    with zipfile.ZipFile(io.BytesIO(store.get(PARTS["page"]))) as wheel:
        name = next(path for path in wheel.namelist() if path.endswith(".tgz"))
        with tarfile.open(fileobj=io.BytesIO(wheel.read(name))) as archive:
            for member in archive:
                path = PurePosixPath(member.name).relative_to("package")
                if member.isfile() and _wanted(path):
                    content = archive.extractfile(member)
                    assert content is not None, member.name  # it is a file
                    files[str(path)] = content.read()
    extensions = []
    for part in ("kernel", "panels"):
        added, entry = _extension(store.get(PARTS[part]))
        files |= added
        extensions.append(entry)
    files["build/schemas/all_federated.json"] = _json(_schemas(files))
    languages = {"data": {"en": {"displayName": "English", "nativeName": "English"}}, "message": ""}
    files["api/translations/all.json"] = _json(languages)
    files["api/translations/en.json"] = _json({"data": {}, "message": ""})
    return files, extensions


def _schemas(files: Files) -> list[dict[str, Any]]:
    """Return the settings of the extensions, in the form that the page reads them in."""
    found = []
    for name in sorted(files):
        before, schemas, path = name.partition("/schemas/")
        if name.startswith("extensions/") and schemas and not path.endswith("package.json"):
            package, file = str(PurePosixPath(path).parent), PurePosixPath(path).stem
            version = json.loads(files[f"{before}/package.json"])["version"]
            about = {"id": f"{package}:{file}", "raw": "{}", "settings": {}, "version": version}
            found.append({**about, "schema": json.loads(files[name]), "created": None, "last_modified": None})
    return found


def _wanted(path: PurePosixPath) -> bool:
    if path.suffix == ".map":
        return False
    if len(path.parts) == 1:
        return path.name in ROOT_FILES
    if path.parts[0] == "build":
        return path.parts[1] not in UNWANTED
    # Its page is ours, and so are its settings.
    return path.parts[0] == "notebooks" and path.name != "index.html"


def _extension(wheel: bytes) -> tuple[Files, dict[str, str]]:
    """Return the files of an extension of the page that lies in a wheel, and its entry in the page's list."""
    files: Files = {}
    marker = "/share/jupyter/labextensions/"
    with zipfile.ZipFile(io.BytesIO(wheel)) as archive:
        for name in archive.namelist():
            _, found, inside = name.partition(marker)
            unwanted = inside.endswith((".map", ".orig", "install.json")) or "/pypi/" in inside
            if found and not name.endswith("/") and not unwanted:
                files[f"extensions/{inside}"] = archive.read(name)
    about = next(path for path in files if path.endswith("/package.json") and "/schemas/" not in path)
    package = json.loads(files[about])
    built = package["jupyterlab"]["_build"]
    entry = {
        "name": package["name"],
        **{key: built[key] for key in ("load", "extension", "style") if key in built},
    }
    return files, entry


def page_config(runtime: str, extensions: list[dict[str, str]]) -> dict[str, Any]:
    """Return what tells the page where everything is. `runtime` is the runtime's folder.

    `@BASE@` stands for the path that the site is served under, which only the page knows.
    """
    kernel = {
        "pyodideUrl": f"@BASE@{runtime}/start.js",
        # Nothing is ever looked up elsewhere: all is in the lock, and loaded before the kernel would ask.
        "disablePyPIFallback": True,
        "pipliteUrls": [],
        "pipliteWheelUrl": "@BASE@",
        "loadPyodideOptions": {"packages": ASKED},
    }
    return {
        "appName": "lessonkit",
        "appVersion": PARTS["page"].version,
        "appUrl": "/notebooks",
        "notebookPage": "notebooks",
        "baseUrl": "@BASE@",
        "defaultKernelName": "python",
        "exposeAppInBrowser": True,
        "disabledExtensions": UNUSED,
        "faviconUrl": "@BASE@lessonkit/icon.svg",
        "federated_extensions": extensions,
        "fullLabextensionsUrl": "@BASE@extensions",
        "fullStaticUrl": "@BASE@build",
        "settingsUrl": "@BASE@build/schemas",
        "themesUrl": "./build/themes",
        "licensesUrl": "@BASE@lessonkit/licenses",
        "litePluginSettings": {"@jupyterlite/pyodide-kernel-extension:kernel": kernel},
        "settingsOverrides": OVERRIDES,
    }


def contents_files(workbooks: Files) -> Files:
    """Return the workbooks, where the page looks for them, with the lists of what there is."""
    files = {f"files/{name}": data for name, data in workbooks.items()}
    folders = {str(parent) for name in workbooks for parent in PurePosixPath(name).parents}
    for folder in sorted(folders | {"."}):
        inside = [
            _model(name, "notebook", len(data))
            for name, data in sorted(workbooks.items())
            if str(PurePosixPath(name).parent) == folder
        ]
        inside += [
            _model(name, "directory", None)
            for name in sorted(folders)
            if name != "." and str(PurePosixPath(name).parent) == folder
        ]
        path = "" if folder == "." else folder
        whole = {**_model(path, "directory", None), "content": inside, "format": "json"}
        files[f"api/contents/{path}/all.json".replace("//", "/")] = _json(whole)
    return files


def _model(path: str, kind: str, size: int | None) -> dict[str, Any]:
    return {
        "name": PurePosixPath(path).name,
        "path": path,
        "type": kind,
        "content": None,
        "format": None,
        "mimetype": None,
        "size": size,
        "created": EVER,
        "last_modified": EVER,
        "hash": None,
        "hash_algorithm": None,
        "writable": True,
    }


def _json(value: object) -> bytes:
    return (json.dumps(value, indent=1, ensure_ascii=False, sort_keys=True) + "\n").encode()


def front_files(config: dict[str, Any]) -> Files:
    """Return our own front: start page, notebook page, styles, scripts."""
    page = page_file("notebook.html").replace(b"@CONFIG@", json.dumps(config, sort_keys=True).encode())
    return {
        "index.html": page_file("index.html"),
        "notebooks/index.html": page,
        **{f"lessonkit/{name}": page_file(name) for name in FRONT},
    }


def digest_of(files: Files) -> str:
    """Return a digest of some files: the same files, the same digest."""
    whole = hashlib.sha256()
    for name in sorted(files):
        whole.update(name.encode() + b"\0" + hashlib.sha256(files[name]).digest())
    return whole.hexdigest()
