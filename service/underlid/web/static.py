"""Style sheet, scripts and pictures under an address that changes with their content.

All files together are small; they are read and compressed once. The address holds a hash of all of
them, so browsers may keep them for ever and a new release is a new address.
"""

from __future__ import annotations

import gzip
import hashlib
import mimetypes
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

from fastapi import APIRouter, Request
from starlette.responses import Response

from underlid.web.problem import Problem

FOLDER: Final = Path(__file__).parent / "static"
TYPES: Final = {
    ".js": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".svg": "image/svg+xml",
    ".webmanifest": "application/manifest+json",
}
FOR_EVER: Final = "public, max-age=31536000, immutable"

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, slots=True)
class File:
    """One file, plain and compressed."""

    body: bytes
    small: bytes
    media_type: str


@cache
def files() -> dict[str, File]:
    """Return every file of the folder by name."""
    found = {}
    for path in sorted(FOLDER.iterdir()):
        body = path.read_bytes()
        kind = TYPES.get(path.suffix) or mimetypes.guess_type(path.name)[0] or "text/plain"
        found[path.name] = File(body, gzip.compress(body, 9, mtime=0), kind)
    return found


@cache
def release() -> str:
    """Return the hash that names this set of files."""
    digest = hashlib.sha256()
    for name, file in files().items():
        digest.update(name.encode() + b"\0" + file.body + b"\0")
    return digest.hexdigest()[:12]


def address(name: str) -> str:
    """Return where file *name* is served."""
    return f"/static/{release()}/{name}"


@router.get("/sw.js")
def worker() -> Response:
    """Serve the browser's worker, whose address decides what it may work for and must not change."""
    file = files()["sw.js"]
    return Response(file.body, 200, {"cache-control": "no-cache"}, file.media_type)


@router.get("/mark.png")
def mark() -> Response:
    """Serve the picture of notifications, where the worker finds it whatever its release."""
    file = files()["mark.png"]
    return Response(file.body, 200, {"cache-control": "max-age=86400"}, file.media_type)


@router.get("/static/{of_release}/{name}")
def static_file(request: Request, of_release: str, name: str) -> Response:
    """Serve one file; an address of an older release is gone."""
    file = files().get(name)
    if file is None or of_release != release():
        raise Problem(404, "There is no such file in this release. Load the page again.")
    small = "gzip" in request.headers.get("accept-encoding", "")
    headers = {"cache-control": FOR_EVER, "vary": "accept-encoding"}
    if small:
        headers["content-encoding"] = "gzip"
    return Response(file.small if small else file.body, 200, headers, file.media_type)
