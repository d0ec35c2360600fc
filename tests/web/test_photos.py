"""Photos with an entry: sent by a plain form and by programs, shown to who is logged in, taken off."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from playwright.sync_api import Browser, expect

from drawn import PLACE_WORDS, camera_words, claims_to_be, drawn
from underlid.files.photos import PHOTO_MOST_BYTES
from underlid.storage.records import Role
from underlid.web.security import PHOTOS_MOST_BYTES
from underlid.web.tokens import form_token
from waiting import WAIT_S, wait_until
from web.browsing import Held, opened, serious_barriers
from web.household import MELON_AND_BREAD, Household, program
from web.visiting import Visitor, join

SEEN = {"bin": "tansy", "kind": "sighting", "climbers": "few", "once": "tap"}
PICTURE = re.compile(r'<img src="(/photos/\w+/(?:small|full)\.jpg)" alt="([^"]*)"')


def send(visitor: Visitor, path: str, files: dict[str, bytes], **fields: str) -> httpx.Response:
    """Send a form with photos, as a browser does; a field without a file is empty there."""
    parts = [("photos", (name, data)) for name, data in files.items()] or [("photos", ("", b""))]
    fields["form_token"] = form_token(visitor.cookie)
    return visitor.client.post(path, data=fields, files=parts)


def shown(visitor: Visitor, path: str) -> list[tuple[str, str]]:
    """Return address and words of every picture on a page."""
    return PICTURE.findall(visitor.read(path))


def test_photos_come_with_a_new_entry_and_are_shown(house: Household, ash: Visitor) -> None:
    files = {"a.jpg": drawn(1200, 900, **camera_words(6)), "b.exe": drawn(300, 200, "PNG")}
    for _ in range(2):
        answer = send(ash, "/journal/write", files, words="white mould", **SEEN)
        assert answer.headers["location"] == "/bin/tansy?said=entry"
    (entry,) = house.records.entries()
    for page in ("/journal", "/bin/tansy"):
        assert [words for _, words in shown(ash, page)] == ["white mould"] * 2
    pictures = shown(ash, f"/journal/{entry.id}")
    assert len(pictures) == 2, "the same form sent twice keeps one entry and its photos once"
    answer = ash.get(pictures[0][0])
    assert (answer.status_code, answer.headers["content-type"]) == (200, "image/jpeg")
    assert answer.headers["cache-control"] == "private, max-age=31536000, immutable"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert "content-encoding" not in answer.headers
    assert PLACE_WORDS not in answer.content
    headers = {"if-none-match": answer.headers["etag"]}
    assert ash.client.get(pictures[0][0], headers=headers).status_code == 304
    assert ash.get("/photos/none/full.jpg").status_code == 404
    assert ash.get(pictures[0][0].replace("full", "huge")).status_code == 422


def test_a_stranger_sees_no_photo(house: Household, ash: Visitor) -> None:
    send(ash, "/journal/write", {"a.jpg": drawn()}, **SEEN)
    where = shown(ash, "/journal")[0][0]
    answer = Visitor(house).get(where)
    assert (answer.status_code, answer.headers["location"]) == (303, f"/login?to={where}")
    assert answer.headers["cache-control"] == "no-store"


def test_without_words_bin_kind_and_time_are_read_out(house: Household, ash: Visitor) -> None:
    entry = house.write_down(MELON_AND_BREAD)
    assert send(ash, f"/journal/{entry.id}/photos", {"a.jpg": drawn()}).status_code == 303
    words = "Photo of Tansy with the entry “feed”, Fri 12 Jun, 14:30"
    assert [one for _, one in shown(ash, "/journal")] == [words]


def test_an_old_entry_gets_a_photo_that_is_described_removed_and_erased(
    house: Household, ash: Visitor
) -> None:
    entry = house.write_down(MELON_AND_BREAD)
    on = f"/journal/{entry.id}"
    assert send(ash, f"{on}/photos", {"a.jpg": drawn()}).headers["location"] == f"{on}?said=photos"
    (photo,) = house.records.photos_of([entry.id])[entry.id]
    at = f"{on}/photos/{photo.id}"
    assert ash.post(f"{at}/words", {"words": "mites  on bread"}).status_code == 303
    assert "mites on bread" in ash.words(on)
    assert ash.post(f"{at}/words", {"words": "x" * 201}).status_code == 422
    assert ash.post(f"{at}/remove").status_code == 303
    assert shown(ash, on) == []
    assert "photo removed by Ash: mites on bread Look at it" in ash.words(on)
    assert ash.get(f"/photos/{photo.id}/full.jpg").status_code == 200
    keeper = join(house, "Robin", Role.KEEPER)
    assert keeper.post(f"{at}/erase").status_code == 403
    assert ash.post(f"{at}/erase").status_code == 303
    assert ash.get(f"/photos/{photo.id}/full.jpg").status_code == 404
    history = ash.words(f"{on}?said=photo_erased")
    assert "photo erased by Ash" in history
    assert "mites" not in history
    assert "Look at it" not in history
    assert ash.post("/journal/elsewhere/photos/" + photo.id + "/remove").status_code == 404


def test_a_photo_that_cannot_be_kept_costs_neither_the_entry_nor_the_others(
    house: Household, ash: Visitor
) -> None:
    files = {"good.jpg": drawn(), "holiday.jpg": claims_to_be(20_000, 20_000)}
    answer = send(ash, "/journal/write", files, **SEEN)
    assert answer.status_code == 422
    assert "The photo is 400 million pixels, expected at most 64 million" in answer.text
    assert "Written down." in answer.text
    (entry,) = house.records.entries()
    assert len(house.records.photos_of([entry.id])[entry.id]) == 1
    answer = send(ash, f"/journal/{entry.id}/photos", {"a.txt": b"words"})
    assert (answer.status_code, "nothing that can be read as a picture" in answer.text) == (
        422,
        True,
    )
    answer = send(ash, f"/journal/{entry.id}/photos", {})
    assert (answer.status_code, "expected one or a few files" in answer.text) == (422, True)
    assert len(house.records.photos_of([entry.id])[entry.id]) == 1


def test_a_photo_is_an_entry_of_its_own_too(house: Household, ash: Visitor) -> None:
    fields = {"bin": "tansy", "kind": "photo", "text": "the new lid"}
    answer = send(ash, "/journal/write", {}, **fields)
    assert (answer.status_code, "The photo is empty" in answer.text) == (422, True)
    assert house.records.entries() == []
    assert send(ash, "/journal/write", {"a.jpg": drawn()}, **fields).status_code == 303
    (entry,) = house.records.entries()
    assert (entry.kind, entry.text) == ("photo", "the new lid")
    corrected = ash.send(
        f"/journal/{entry.id}/correct",
        {**fields, "text": "the old lid"},
        f"/journal/{entry.id}/correct",
    )
    assert corrected.status_code == 303
    assert len(shown(ash, f"/journal/{entry.id}")) == 1


def test_who_may_not_write_sends_no_photo(house: Household, ash: Visitor) -> None:
    entry = house.write_down(MELON_AND_BREAD)
    at = f"/journal/{entry.id}/photos"
    reader = join(house, "Lee", Role.READER)
    assert send(reader, at, {"a.jpg": drawn()}).status_code == 403
    assert send(Visitor(house), at, {"a.jpg": drawn()}).headers["location"] == "/login"
    forged = ash.client.post(at, data={"form_token": "x"}, files={"photos": ("a.jpg", drawn())})
    assert forged.status_code == 403
    assert "add photos" not in reader.words(f"/journal/{entry.id}")
    assert house.records.photos_of([entry.id]) == {}


@pytest.fixture
def keeper(house: Household) -> Iterator[httpx.Client]:
    with program(house, "keeper") as client:
        yield client


def test_a_program_sends_lists_and_takes_photos_off(house: Household, keeper: httpx.Client) -> None:
    entry = house.write_down(MELON_AND_BREAD)
    at = f"/api/v1/entries/{entry.id}/photos"
    raw = keeper.post(at, params={"words": "mould"}, content=drawn(), headers=JPEG)
    assert raw.status_code == 201, raw.text
    (first,) = raw.json()
    assert (first["words"], first["width_px"], first["state"]) == ("mould", 640, "shown")
    form = keeper.post(
        at,
        data={"words": "more"},
        files=[("photos", ("1", drawn(90))), ("photos", ("2", drawn(91)))],
    )
    assert [one["words"] for one in form.json()] == ["more", "more"]
    assert len(keeper.get(at).json()) == 3
    assert keeper.get(f"/api/v1/entries/{entry.id}").json()["photos"] == 3
    assert keeper.get("/api/v1/entries").json()["entries"][0]["photos"] == 3
    assert keeper.get(first["small"]).headers["content-type"] == "image/jpeg"
    one = f"{at}/{first['id']}"
    assert keeper.put(one, json={"words": "no mould"}).json()["version"] == 2
    assert keeper.delete(one).json()["state"] == "removed"
    assert len(keeper.get(at).json()) == 2
    assert keeper.post(f"{one}/erase").status_code == 403
    with program(house, "lead") as lead:
        assert lead.post(f"{one}/erase").json()["state"] == "erased"
    assert keeper.get(first["full"]).status_code == 404


JPEG = {"content-type": "image/jpeg"}


@pytest.mark.parametrize(
    ("content", "headers", "status", "word"),
    [
        (claims_to_be(30_000, 30_000), {"content-type": "image/png"}, 422, "pixels"),
        (b"<html>", JPEG, 422, "nothing that can be read as a picture"),
        (b"{}", {"content-type": "application/json"}, 415, "Send a picture"),
        (b"x" * (PHOTO_MOST_BYTES + 1), JPEG, 413, "16 MB"),
        (b"x" * (PHOTOS_MOST_BYTES + 1), JPEG, 413, "32 MB"),
        (b"--x\r\n", {"content-type": "multipart/form-data; boundary=x"}, 422, "no photo"),
    ],
)
def test_what_a_program_may_not_send(
    house: Household,
    keeper: httpx.Client,
    content: bytes,
    headers: dict[str, str],
    status: int,
    word: str,
) -> None:
    entry = house.write_down(MELON_AND_BREAD)
    at = f"/api/v1/entries/{entry.id}/photos"
    answer = keeper.post(at, content=content, headers=headers)
    assert (answer.status_code, answer.headers["content-type"]) == (
        status,
        "application/problem+json",
    )
    assert word in answer.json()["detail"]
    assert house.records.photos_of([entry.id]) == {}
    assert keeper.post("/api/v1/entries/x/photos", content=drawn(), headers=JPEG).status_code == 404
    stranger = httpx.post(f"{house.url}{at}", content=drawn(), headers=JPEG, timeout=WAIT_S)
    assert stranger.status_code == 401


def test_a_place_without_room_for_photos_says_so(tmp_path: Path) -> None:
    with Household(tmp_path, photos_mb=0) as house, program(house, "keeper") as keeper:
        house.settle_in()
        entry = house.write_down(MELON_AND_BREAD)
        at = f"/api/v1/entries/{entry.id}/photos"
        answer = keeper.post(at, content=drawn(), headers=JPEG)
        assert "Raise the setting photos_mb" in answer.json()["detail"]


@pytest.mark.parametrize("scripts", ["early", "late", ""])
def test_a_keeper_s_phone_sends_photos(
    browser: Browser, house: Household, ash: Visitor, tmp_path: Path, scripts: str
) -> None:
    file = tmp_path / "photo.jpg"
    file.write_bytes(drawn(4000, 3000, quality=98, **camera_words(6)) + b"\0" * 700_000)
    phone = {"is_mobile": True, "has_touch": True, "java_script_enabled": bool(scripts)}
    with opened(browser, house, **phone) as page:
        late = Held(page, "**/shrink.js") if scripts == "late" else None
        page.goto(f"{house.url}/journal/write?bin=tansy&kind=sighting")
        page.locator("[name=climbers][value=few]").check()
        page.click("summary:has-text('photos')")
        expect(page.locator("#photo")).to_have_attribute("capture", "environment")
        expect(page.locator("#photo")).to_be_visible()
        page.set_input_files("#photos", file)
        if late:
            late.route().continue_()
        if scripts:
            size = "document.querySelector('#photos').files[0].size"
            wait_until(lambda: page.evaluate(size) < 700_000)
        page.fill("#words", "a worm on the wall")
        page.click("text=Write it down")
        picture = page.locator("img[alt='a worm on the wall']")
        picture.wait_for()
        picture.scroll_into_view_if_needed()
        if scripts:
            drawn_px = "[document.querySelector('.thumbs img').naturalWidth]"
            wait_until(lambda: page.evaluate(drawn_px)[0] == 300)
            assert serious_barriers(page) == []
        picture.click()
        page.wait_for_url("**/journal/*")
        expect(page.locator(".photo img")).to_have_attribute("width", "1536")
        if scripts:
            assert serious_barriers(page) == []
