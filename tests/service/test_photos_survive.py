"""A photo that was answered is there after a power cut."""

from __future__ import annotations

from pathlib import Path

import httpx

from drawn import camera_words, drawn
from service.running import Running
from storage.records_places import PLACE
from underlid.journal.entries import Entry, Turned
from underlid.storage.records import Records, Role
from waiting import WAIT_S


def test_a_photo_that_was_answered_outlives_a_power_cut(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    first = Running(folder)
    records = Records.open(f"sqlite:///{folder / 'records.sqlite'}")
    records.save_setup(PLACE)
    records.add_entry(Entry("e1", "tansy", 1, 1, Turned()))
    headers = {"authorization": f"Bearer {records.make_token('phone', Role.KEEPER)}"}
    records.close()
    at, picture = "/api/v1/entries/e1/photos", {"content-type": "image/jpeg"}
    with httpx.Client(base_url=first.web, headers=headers, timeout=WAIT_S) as phone:
        sent = phone.post(at, content=drawn(3000, 2000, **camera_words(6)), headers=picture)
        assert sent.status_code == 201, sent.text
        shown = phone.get(sent.json()[0]["full"]).content
    first.kill()
    second = Running(folder)
    with httpx.Client(base_url=second.web, headers=headers, timeout=WAIT_S) as phone:
        (photo,) = phone.get(at).json()
        assert (photo["width_px"], photo["height_px"]) == (1365, 2048)
        assert phone.get(photo["full"]).content == shown
    second.stop()
