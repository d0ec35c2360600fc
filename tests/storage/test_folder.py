"""The data folder is its owner's alone and serves one service at a time."""

from __future__ import annotations

import signal
import subprocess
import sys
from pathlib import Path

import pytest

from underlid.errors import UnderlidError
from underlid.storage.folder import folder_in_use, prepare_folder

HOLDER = """
import sys, pathlib
from underlid.storage.folder import folder_in_use
with folder_in_use(pathlib.Path(sys.argv[1])):
    print("held", flush=True)
    sys.stdin.read()
"""


def hold(folder: Path) -> subprocess.Popen[str]:
    """Start another process that holds the folder."""
    process = subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(folder)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "held\n"
    return process


def test_a_new_folder_is_made_for_its_owner_only(tmp_path: Path) -> None:
    folder = prepare_folder(tmp_path / "deep" / "data")
    assert folder.stat().st_mode & 0o777 == 0o700
    assert prepare_folder(folder) == folder


def test_a_folder_that_cannot_be_made_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("not a folder")
    with pytest.raises(UnderlidError, match="UNDERLID_DATA"):
        prepare_folder(tmp_path / "file" / "data")


def test_a_second_service_on_one_folder_is_refused(tmp_path: Path) -> None:
    with (
        folder_in_use(tmp_path),
        pytest.raises(UnderlidError, match="no other running service"),
        folder_in_use(tmp_path),
    ):
        pytest.fail("two services hold one folder")
    with folder_in_use(tmp_path):
        pass  # free again


def test_another_process_holds_it_until_it_dies(tmp_path: Path) -> None:
    process = hold(tmp_path)
    with pytest.raises(UnderlidError, match="Stop the other one"), folder_in_use(tmp_path):
        pytest.fail("two services hold one folder")
    process.send_signal(signal.SIGKILL)
    process.communicate()
    with folder_in_use(tmp_path):
        pass
