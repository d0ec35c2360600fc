"""The data folder: made for its owner only, and used by one service at a time."""

from __future__ import annotations

import contextlib
import fcntl
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from underlid.errors import UnderlidError

LOCK_FILE: Final = "in-use"


def prepare_folder(folder: Path) -> Path:
    """Make the data folder, readable by its owner only."""
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise UnderlidError(
            "setting data",
            value=str(folder),
            expected=f"a folder that can be made ({error.strerror})",
            next_step="Choose another with UNDERLID_DATA.",
        ) from None
    return folder


@contextlib.contextmanager
def folder_in_use(folder: Path) -> Iterator[None]:
    """Hold the data folder: two services on one folder would judge everything twice."""
    with (folder / LOCK_FILE).open("w", encoding="utf-8") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise UnderlidError(
                "the data folder",
                value=str(folder),
                expected="a folder that no other running service uses",
                next_step="Stop the other one, or choose another folder with UNDERLID_DATA.",
            ) from None
        yield
