"""A backup made while somebody writes is whole; a restore puts all of it in place, or nothing."""

from __future__ import annotations

import json
import os
import threading
import zipfile
from pathlib import Path

import pytest

from files.samples import T0_MS, reading, setup
from underlid.errors import UnderlidError
from underlid.files.backup import CONTENTS, restore_backup, write_backup
from underlid.journal.entries import Entry, Moved, Note
from underlid.journal.photos import PictureSize, PreparedPhoto
from underlid.storage.records import Records
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import DAY_MS
from waiting import WAIT_S


def make_folder(folder: Path) -> tuple[Records, SqliteReadings]:
    folder.mkdir()
    records = Records.open(f"sqlite:///{folder / 'records.sqlite'}")
    records.save_setup(setup())
    (folder / "door-users.txt").write_text("probes secret\n")
    (folder / "beside").mkdir()
    (folder / "beside" / "kept.bin").write_bytes(b"\xff\xd8 not really")
    (folder / "in-use").touch()
    return records, SqliteReadings(folder / "readings.sqlite")


def test_a_backup_under_writing_is_whole(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    records, store = make_folder(folder)
    store.write([reading(minute) for minute in range(500)])
    stop = threading.Event()

    def go_on() -> None:
        minute = 500
        while not stop.is_set():
            store.write([reading(minute + i) for i in range(20)])
            minute += 20

    writer = threading.Thread(target=go_on)
    writer.start()
    try:
        assert write_backup(folder, tmp_path / "b.zip", T0_MS) > 0
    finally:
        stop.set()
        writer.join()
        store.close()
        records.close()
    assert (tmp_path / "b.zip").stat().st_mode & 0o077 == 0
    assert [
        path.name for path in tmp_path.iterdir() if "part" in path.name or "-" in path.name
    ] == []

    fresh = tmp_path / "there" / "data"
    assert restore_backup(tmp_path / "b.zip", fresh) == 4
    again = Records.open(f"sqlite:///{fresh / 'records.sqlite'}")
    assert again.setup() == setup()
    again.close()
    found = SqliteReadings(fresh / "readings.sqlite")
    count = len(found.raw("tansy-1", T0_MS, T0_MS + 400 * DAY_MS).taken_at_ms)
    found.close()
    assert count >= 500
    assert (count - 500) % 20 == 0, "whole commits only"
    assert (fresh / "beside" / "kept.bin").read_bytes() == b"\xff\xd8 not really"
    assert not (fresh / "in-use").exists()


def test_a_restore_takes_only_an_empty_folder(tmp_path: Path) -> None:
    records, store = make_folder(tmp_path / "data")
    store.close()
    records.close()
    write_backup(tmp_path / "data", tmp_path / "b.zip", T0_MS)
    with pytest.raises(UnderlidError, match="an empty folder"):
        restore_backup(tmp_path / "b.zip", tmp_path / "data")
    (tmp_path / "empty").mkdir()
    restore_backup(tmp_path / "b.zip", tmp_path / "empty")


def test_a_damaged_backup_leaves_nothing_behind(tmp_path: Path) -> None:
    records, store = make_folder(tmp_path / "data")
    store.close()
    records.close()
    write_backup(tmp_path / "data", tmp_path / "b.zip", T0_MS)
    with zipfile.ZipFile(tmp_path / "b.zip") as whole:
        parts = {name: whole.read(name) for name in whole.namelist()}
    parts["door-users.txt"] += b"x"
    with zipfile.ZipFile(tmp_path / "bad.zip", "w") as bad:
        for name, data in parts.items():
            bad.writestr(name, data)
    with pytest.raises(UnderlidError, match="damaged"):
        restore_backup(tmp_path / "bad.zip", tmp_path / "fresh")
    assert not (tmp_path / "fresh").exists()


@pytest.mark.parametrize("name", ["../evil.txt", "/tmp/evil.txt"])
def test_a_name_that_leaves_the_folder_is_refused(tmp_path: Path, name: str) -> None:
    with zipfile.ZipFile(tmp_path / "bad.zip", "w") as bad:
        bad.writestr(name, b"x")
        bad.writestr(CONTENTS, json.dumps({"format": 1, "files": {name: {"sha256": ""}}}))
    with pytest.raises(UnderlidError):
        restore_backup(tmp_path / "bad.zip", tmp_path / "sub" / "fresh")
    assert not (tmp_path / "sub" / "evil.txt").exists()


def test_what_is_no_backup_is_refused(tmp_path: Path) -> None:
    (tmp_path / "b.zip").write_bytes(b"hello")
    with pytest.raises(UnderlidError, match="a whole backup"):
        restore_backup(tmp_path / "b.zip", tmp_path / "fresh")
    with pytest.raises(UnderlidError, match="that a service has used"):
        write_backup(tmp_path, tmp_path / "c.zip", T0_MS)


def test_a_backup_of_many_photos_ends_while_the_journal_is_written(tmp_path: Path) -> None:
    """Each write would begin a copy of more than one step anew."""
    records, store = make_folder(tmp_path / "data")
    records.add_entry(Entry("e0", "tansy", T0_MS, T0_MS, Note(), text="mould"))
    pictures = [os.urandom(1_000_000) for _ in range(40)]
    for number, data in enumerate(pictures):
        entry = Entry(f"p{number}", "tansy", T0_MS, T0_MS, Moved())
        records.add_entry(entry)
        photo = PreparedPhoto(data, b"small", 640, 480, f"sum {number}")
        records.add_photo(
            entry.id, photo, new_id=entry.id, by="Ash", words="", at_ms=T0_MS, room_bytes=10**9
        )
    stop = threading.Event()

    def go_on() -> None:
        number = 1
        while not stop.is_set():
            records.add_entry(Entry(f"e{number}", "tansy", T0_MS, T0_MS, Note(), text="mould"))
            number += 1

    writer = threading.Thread(target=go_on)
    copying = threading.Thread(
        target=write_backup, args=(tmp_path / "data", tmp_path / "b.zip", T0_MS), daemon=True
    )
    writer.start()
    copying.start()
    copying.join(WAIT_S)
    ended = not copying.is_alive()
    stop.set()
    writer.join()
    copying.join()
    records.close()
    store.close()
    assert ended
    restore_backup(tmp_path / "b.zip", tmp_path / "there")
    again = Records.open(f"sqlite:///{tmp_path / 'there' / 'records.sqlite'}")
    kept = [again.picture(f"p{number}", PictureSize.FULL) for number in range(40)]
    assert kept == pictures
    assert again.photos_of(["p7"])["p7"][0].by == "Ash"
    again.close()
