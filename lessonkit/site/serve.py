"""Giving the folder out from this computer: for a look, or for a room without a web server.

Files that were packed beforehand are sent packed, and the browser is told what it may keep: what has a digest
in its path never changes, everything else is asked for again.
"""

from __future__ import annotations

import contextlib
import re
from functools import partial
from http import HTTPStatus
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any, BinaryIO

__all__ = ["VERSIONED", "serve_site"]

VERSIONED = re.compile(
    r"^(runtime-[0-9a-f]{8}/|build/.*[.][0-9a-f]{7}[.]js$|extensions/.*[.][0-9a-f]{20}[.]js$)"
)
"""Paths of files whose content never changes under that name."""


class SiteHandler(SimpleHTTPRequestHandler):
    """Answers from the folder, packed where the browser takes it."""

    protocol_version = "HTTP/1.1"
    extensions_map = {  # noqa: RUF012  the base class has it so
        **SimpleHTTPRequestHandler.extensions_map,
        ".mjs": "text/javascript",
        ".js": "text/javascript",
        ".wasm": "application/wasm",
        ".json": "application/json",
        ".ipynb": "application/json",
        ".whl": "application/zip",
        ".webmanifest": "application/manifest+json",
    }

    def send_head(self) -> BinaryIO | None:
        """Send the headers, and return what to send after them."""
        path = Path(self.translate_path(self.path))
        packed = path.with_name(path.name + ".gz")
        if not ("gzip" in self.headers.get("Accept-Encoding", "") and path.is_file() and packed.is_file()):
            return super().send_head()
        self.send_response(HTTPStatus.OK)
        self.send_header("Content-Type", self.guess_type(str(path)))
        self.send_header("Content-Encoding", "gzip")
        self.send_header("Vary", "Accept-Encoding")
        self.send_header("Content-Length", str(packed.stat().st_size))
        self.end_headers()
        return packed.open("rb")

    def end_headers(self) -> None:
        """Say how long the answer keeps."""
        inside = self.path.partition("?")[0].lstrip("/")
        keep = "public, max-age=31536000, immutable" if VERSIONED.match(inside) else "no-cache"
        self.send_header("Cache-Control", keep)
        super().end_headers()

    def copyfile(self, source: Any, outputfile: Any) -> None:
        """Send a file; a browser that leaves meanwhile is no error."""
        with contextlib.suppress(ConnectionError):
            super().copyfile(source, outputfile)

    def log_message(self, format: str, *args: object) -> None:
        """Say nothing of what was asked for."""


def serve_site(folder: Path, port: int = 0, host: str = "127.0.0.1") -> ThreadingHTTPServer:
    """Return a server of a site's folder, listening and not yet answering.

    `port` 0 is a free one; the caller runs `serve_forever`. Only this computer reaches it, unless `host` says
    otherwise.
    """
    handler = partial(SiteHandler, directory=str(folder))
    return ThreadingHTTPServer((host, port), handler)
