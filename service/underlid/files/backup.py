"""A data folder as one file, made while the service runs, and the way back.

The databases are copied with SQLite's own backup, which waits for no writer and sees one moment; the
small files beside them are copied as they are. A list of sizes and sums inside the file lets a
restore notice damage before it puts anything in place.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sqlite3
import tempfile
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Final

from underlid.errors import UnderlidError
from underlid.storage.folder import LOCK_FILE
from underlid.timeline import rfc3339

CONTENTS: Final = "contents.json"
FORMAT: Final = 1

DATABASES: Final = ("readings.sqlite", "buffer.sqlite", "records.sqlite")
"""In this order: a record may speak of a probe, so the records are copied last. The second is there
when readings are kept in InfluxDB; what is there is not in a backup."""

LEFT_OUT: Final = (LOCK_FILE, *(f"{name}{end}" for name in DATABASES for end in ("-wal", "-shm")))

PAGES_AT_ONCE: Final = 2000
"""Pages copied before others get their turn: 8 MB."""

CHUNK_BYTES: Final = 1 << 20

FILES_MOST: Final = 100_000
TOTAL_MOST_BYTES: Final = 1 << 40
"""A file that claims more is not a backup of ours."""


def write_backup(folder: Path, target: Path, now_ms: int) -> int:
    """Write everything in the data *folder* to *target*; return its size in bytes."""
    if not any((folder / name).exists() for name in DATABASES):
        raise UnderlidError(
            "data folder",
            value=str(folder),
            expected="a folder that a service has used",
            next_step="Choose it with --data.",
        )
    part = target.with_name(f"{target.name}.part")
    try:
        with (
            tempfile.TemporaryDirectory(dir=target.parent, prefix=".underlid-") as copies,
            _private(part) as file,
        ):
            _pack(folder, Path(copies), file, now_ms)
            file.flush()
            os.fsync(file.fileno())
        part.replace(target)
    except FileExistsError:
        raise UnderlidError(
            "backup file",
            value=str(part),
            expected="no unfinished backup of this name",
            next_step="Remove it if no other backup is being made.",
        ) from None
    except OSError as error:
        part.unlink(missing_ok=True)
        raise UnderlidError(
            "backup file",
            value=str(target),
            expected=f"a file that can be written ({error.strerror})",
            next_step="Check the folder, its rights and the free space.",
        ) from None
    return target.stat().st_size


def restore_backup(source: Path, folder: Path) -> int:
    """Unpack *source* into the empty *folder*; return how many files. Whole, or not at all."""
    if folder.exists() and any(folder.iterdir()):
        raise UnderlidError(
            "data folder",
            value=str(folder),
            expected="an empty folder, or none yet",
            next_step="Choose another with --data, or move its contents away.",
        )
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        with (
            zipfile.ZipFile(source) as archive,
            tempfile.TemporaryDirectory(dir=folder.parent, prefix=".underlid-") as made,
        ):
            fresh = Path(made) / "data"
            fresh.mkdir(mode=0o700)
            count = _unpack(archive, fresh, source)
            if folder.exists():
                folder.rmdir()
            fresh.rename(folder)
    except (OSError, zipfile.BadZipFile) as error:
        raise _not_ours(source, str(error)) from None
    return count


def _pack(folder: Path, copies: Path, file: IO[bytes], now_ms: int) -> None:
    listed = {}
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        for name, path in _parts(folder, copies):
            archive.write(path, name)
            listed[name] = {"bytes": path.stat().st_size, "sha256": _sum(path)}
        contents = {"format": FORMAT, "made": rfc3339(now_ms), "files": listed}
        archive.writestr(CONTENTS, json.dumps(contents, indent=1))


def _parts(folder: Path, copies: Path) -> Iterator[tuple[str, Path]]:
    """Yield name and path of everything that goes in, databases as copies of one moment."""
    for name in DATABASES:
        if (folder / name).exists():
            copy = copies / name
            _copy_database(folder / name, copy)
            yield name, copy
            copy.unlink()
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_file() and not path.is_symlink() and name not in (*DATABASES, *LEFT_OUT):
            yield name, path


def _copy_database(source: Path, target: Path) -> None:
    try:
        origin = sqlite3.connect(source, isolation_level=None)
        copy = sqlite3.connect(target)
        try:
            # One moment is held on to: without that each write begins the copy anew, and one of a
            # large file would never end. Nobody waits for it; the log grows meanwhile.
            origin.execute("BEGIN")
            origin.execute("SELECT count(*) FROM sqlite_schema").fetchone()
            origin.backup(copy, pages=PAGES_AT_ONCE)
        finally:
            copy.close()
            origin.close()
    except sqlite3.Error as error:
        raise UnderlidError(
            "database",
            value=str(source),
            expected=f"one that can be copied ({error})",
            next_step="Check the disk and its free space.",
        ) from None


def _unpack(archive: zipfile.ZipFile, fresh: Path, source: Path) -> int:
    """Unpack every listed file and check its sum."""
    try:
        contents = json.loads(archive.read(CONTENTS))
        listed: dict[str, dict[str, object]] = dict(contents["files"])
        known = contents["format"] == FORMAT
    except (KeyError, ValueError, TypeError, RecursionError) as error:
        raise _not_ours(source, f"no list of contents: {error}") from None
    if not known or len(listed) > FILES_MOST:
        raise _not_ours(source, "made by another version")
    if sum(one.file_size for one in archive.infolist()) > TOTAL_MOST_BYTES:
        raise _not_ours(source, "too large")
    for name, expected in listed.items():
        path = fresh / name
        if not path.resolve().is_relative_to(fresh.resolve()) or name not in archive.NameToInfo:
            raise _not_ours(source, f"{name!r} is listed and not there")
        path.parent.mkdir(parents=True, exist_ok=True)
        with archive.open(name) as packed, _private(path) as file:
            shutil.copyfileobj(packed, file, CHUNK_BYTES)
        if _sum(path) != expected.get("sha256"):
            raise _not_ours(source, f"{name!r} is damaged")
    return len(listed)


def _sum(path: Path) -> str:
    total = hashlib.sha256()
    with path.open("rb") as file:
        while chunk := file.read(CHUNK_BYTES):
            total.update(chunk)
    return total.hexdigest()


def _private(path: Path) -> IO[bytes]:
    """Make a file for the owner only: a backup holds secrets."""
    return os.fdopen(os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600), "w+b")


def _not_ours(source: Path, why: str) -> UnderlidError:
    return UnderlidError(
        "backup file",
        value=str(source),
        expected=f"a whole backup made by `underlid backup` ({why[:120]})",
        next_step="Take another backup file.",
    )
