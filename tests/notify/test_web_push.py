"""Web push to a real TLS server that reads the messages: who may, what comes, what ends, what waits."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from notify.messages import AT_MS, TOLD
from notify.push_service import PushedBrowser, PushService, push_service
from notify.test_addresses import ALERT
from storage.records_places import fresh
from underlid.alerts.alert import Message, Occasion
from underlid.alerts.quiet import QuietHours
from underlid.alerts.routes import Route, RouteRules
from underlid.clock import VirtualClock
from underlid.config import Settings
from underlid.errors import UnderlidError
from underlid.files.backup import restore_backup, write_backup
from underlid.notify.addresses import RouteChannels, hint_of
from underlid.notify.drained import Drained
from underlid.notify.outbox import STOP_S, Courier
from underlid.notify.outside import ADDRESSES_MOST, NOT_OUTSIDE, TIMEOUT_S, Outside
from underlid.notify.push_keys import PushKeys
from underlid.notify.web_push import BODY_MOST_BYTES, NO_CONTACT, push_body
from underlid.rules.finding import Priority
from underlid.storage.records import Records
from underlid.timeline import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS

ORIGIN = "https://bins.example:8443"


@pytest.fixture
def service() -> Iterator[PushService]:
    with push_service() as opened:
        yield opened


@pytest.fixture
def records() -> Iterator[Records]:
    with fresh() as opened:
        opened.add_person("Ash", "keeper", "herd under the lid")
        yield opened


def add(records: Records, browser: PushedBrowser, **rules: object) -> Route:
    return records.add_route(
        "Ash", browser.address, "a browser", "phone", RouteRules(**rules), AT_MS  # type: ignore[arg-type]
    )  # fmt: skip


def courier(records: Records, service: PushService, quiet: str = "") -> Courier:
    routes = RouteChannels(records, Settings(web_origin=ORIGIN), service.outside)
    return Courier(records, [], VirtualClock(AT_MS), quiet=QuietHours.of(quiet), routes=routes)


def tell(records: Records, **changes: object) -> Message:
    told = replace(TOLD, **changes)  # type: ignore[arg-type]
    records.save_judgement([ALERT], [], [told], [])
    return told


def test_an_alert_comes_as_a_sentence_that_only_the_browser_reads(
    records: Records, service: PushService
) -> None:
    browser = service.browser()
    add(records, browser)
    tell(records)
    one = courier(records, service)
    assert one.drain_once(AT_MS) == Drained(sent=1)
    assert courier(records, service).drain_once(AT_MS + DAY_MS) == Drained()
    (pushed,) = service.pushed
    assert browser.read(pushed.body) == {
        "title": TOLD.title,
        "text": TOLD.text,
        "to": "/bin/tansy",
        "about": TOLD.alert_id,
        "id": TOLD.key,
    }
    assert pushed.path == "/in/5f2c?v=2"
    assert b"newspaper" not in pushed.body
    assert pushed.sender == PushKeys(records).public()
    assert pushed.claims == {
        "aud": service.origin,
        "sub": ORIGIN,
        "exp": AT_MS // SECOND_MS + 12 * 3600,
    }
    wanted = {"Content-Encoding": "aes128gcm", "TTL": "86400", "Urgency": "normal"}
    assert wanted.items() <= pushed.headers.items()
    assert len(pushed.headers["Topic"]) == 32


def test_news_of_an_alert_take_the_place_of_older_ones_and_what_is_urgent_says_so(
    records: Records, service: PushService
) -> None:
    browser = service.browser()
    add(records, browser)
    tell(records)
    tell(records, key="worse", event=Occasion.ALERT_WORSENED, priority=Priority.HIGH)
    tell(records, key="look", event=Occasion.LOOK_NOW, alert_id="")
    assert courier(records, service).drain_once(AT_MS) == Drained(sent=3)
    topics = [one.headers["Topic"] for one in service.pushed]
    assert topics[0] == topics[1] != topics[2]
    assert [one.headers["Urgency"] for one in service.pushed] == ["normal", "high", "normal"]
    assert len({one.body[:16] for one in service.pushed}) == 3  # each has a salt of its own


@pytest.mark.parametrize("status", [404, 410])
def test_a_subscription_that_has_ended_is_removed_and_what_waited_is_seen(
    records: Records, service: PushService, status: int
) -> None:
    ended = add(records, service.browser())
    other = service.browser("other")
    for key in ("one", "two", "three"):
        tell(records, key=key)
    service.status = status
    one = courier(records, service)
    assert one.drain_once(AT_MS) == Drained(failed=1, given_up=3)
    assert len(service.pushed) == 1
    assert records.routes() == []
    said = {letter.error for letter in records.dead_letters()}
    assert said == {"the browser has ended its subscription; the address of Ash was removed"}
    assert records.channels_of_the_gone() == {ended.channel}
    assert one.failing() == {}

    service.status = 201
    add(records, other)
    tell(records, key="four")
    assert one.drain_once(AT_MS) == Drained(sent=1)
    records.forget_dead(records.dead_letters()[0].id)
    assert len(records.dead_letters()) == 2


def test_a_browser_that_subscribed_anew_under_the_same_address_stays(
    records: Records, service: PushService
) -> None:
    """The old subscription's end is told while the new one is kept already."""
    route = add(records, service.browser())
    fresh_one = service.browser("new")
    tell(records)
    service.status = 410
    take, changed = service.take, []

    def change_while_it_is_sent(*came: object) -> None:
        take(*came)  # type: ignore[arg-type]
        if not changed:
            changed.append(
                records.change_route(
                    route.id, "phone", RouteRules(), AT_MS, fresh_one.address, "a browser"
                )
            )

    service.take = change_while_it_is_sent  # type: ignore[method-assign]
    one = courier(records, service)
    assert one.drain_once(AT_MS) == Drained(failed=1)
    assert [kept.id for kept in records.routes()] == [route.id]
    service.status = 201
    assert one.drain_once(AT_MS + MINUTE_MS) == Drained(sent=1)
    assert fresh_one.read(service.pushed[-1].body)["id"] == TOLD.key


@pytest.mark.parametrize(
    ("status", "retry_after", "wait_ms"),
    [
        (429, "3600", HOUR_MS),
        (503, "Fri, 01 May 2026 20:30:00 GMT", 2 * HOUR_MS),
        (503, "", 10 * SECOND_MS),
        (500, "99999999999999", 6 * HOUR_MS),
        (301, "", 10 * SECOND_MS),
    ],
)
def test_a_push_service_that_is_busy_is_left_alone_as_long_as_it_asks(
    records: Records, service: PushService, status: int, retry_after: str, wait_ms: int
) -> None:
    add(records, service.browser())
    tell(records)
    tell(records, key="two")
    service.status, service.retry_after = status, retry_after
    one = courier(records, service)
    tried = 1 if retry_after else 2  # asked to wait, it gets no second message either
    assert one.drain_once(AT_MS) == Drained(failed=tried)
    assert one.drain_once(AT_MS + wait_ms // 2) == Drained()
    assert len(service.pushed) == tried
    (route,) = records.routes()
    assert one.failing() == {route.channel: f"the browser's push service answered {status}"}
    service.status, service.retry_after = 201, ""
    assert one.drain_once(AT_MS + wait_ms * 5 // 4) == Drained(sent=2)


def test_an_address_that_leads_elsewhere_by_now_need_not_wait(
    records: Records, service: PushService
) -> None:
    route = add(records, service.browser())
    tell(records)
    tell(records, key="two")
    service.status, service.retry_after = 429, "3600"
    one = courier(records, service)
    assert one.drain_once(AT_MS) == Drained(failed=1)
    service.status, service.retry_after = 201, ""
    elsewhere = service.browser()
    records.change_route(route.id, "", route.rules, AT_MS, elsewhere.address, "a browser")
    assert one.drain_once(AT_MS + 1) == Drained(sent=1)


def test_quiet_hours_digests_and_test_messages_are_those_of_other_addresses(
    records: Records, service: PushService
) -> None:
    browser = service.browser()
    route = add(records, browser, quiet="18:00-19:00")
    tell(records)
    digest = replace(TOLD, key="digest:1", alert_id="", bin="", shed="", event=Occasion.DIGEST)
    records.post_digest(route, AT_MS + 1, digest)
    records.post_trial(route, "Ash", "a test", AT_MS)
    one = courier(records, service)
    assert one.drain_once(AT_MS) == Drained(sent=2)
    came = [browser.read(pushed.body) for pushed in service.pushed]
    assert {(said["title"], said["to"]) for said in came} == {
        (TOLD.title, "/"),
        ("Underlid: a test", "/"),
    }
    assert one.drain_once(AT_MS + 30 * MINUTE_MS) == Drained(sent=1)


def test_a_long_text_is_cut_and_fits_into_what_every_push_service_takes(
    records: Records, service: PushService
) -> None:
    browser = service.browser()
    add(records, browser)
    tell(records, text='Wet "lid" — 0.8 °C.\n' * 900)
    assert courier(records, service).drain_once(AT_MS) == Drained(sent=1)
    body = service.pushed[0].body
    assert len(body) <= BODY_MOST_BYTES + 103 <= 4096
    assert browser.read(body)["text"].endswith("…")
    assert b"\xe2\x80\xa6" not in push_body(TOLD)


def test_the_key_is_made_once_for_all_workers_and_comes_back_with_a_backup(tmp_path: Path) -> None:
    folder, there = tmp_path / "data", tmp_path / "restored"
    folder.mkdir()
    with_key = Records.open(f"sqlite:///{folder / 'records.sqlite'}")
    beside = Records.open(f"sqlite:///{folder / 'records.sqlite'}")
    made = PushKeys(with_key).public()
    assert PushKeys(beside).public() == made
    assert len(made) == 87  # 65 bytes: a point of P-256
    with_key.close()
    beside.close()
    write_backup(folder, tmp_path / "backup.zip", AT_MS)
    restore_backup(tmp_path / "backup.zip", there)
    back = Records.open(f"sqlite:///{there / 'records.sqlite'}")
    assert PushKeys(back).public() == made
    back.close()
    assert (there / "records.sqlite").stat().st_mode & 0o077 == 0


def test_a_place_without_an_address_of_its_own_names_no_contact(
    records: Records, service: PushService
) -> None:
    add(records, service.browser())
    tell(records)
    routes = RouteChannels(records, Settings(), service.outside)
    Courier(records, [], VirtualClock(AT_MS), routes=routes).drain_once(AT_MS)
    assert service.pushed[0].claims["sub"] == NO_CONTACT


def test_no_address_of_the_own_network_is_taken_or_connected_to(
    records: Records, service: PushService
) -> None:
    browser = service.browser()
    with pytest.raises(UnderlidError, match="a push service on the internet") as caught:
        hint_of(browser.address, Settings())
    assert "5f2c" not in str(caught.value)
    assert hint_of(browser.address, Settings(), service.outside) == "a browser, by localhost"
    for host in (
        "127.0.0.1",
        "10.0.0.1",
        "169.254.169.254",
        "0",
        "2130706433",
        "0x7f.1",
        "localhost",
    ):
        with pytest.raises(UnderlidError):
            hint_of(browser.address.replace("localhost", host), Settings())
    route = add(records, browser)
    tell(records)
    strict = RouteChannels(records, Settings(), Outside(tls=service.tls))
    one = Courier(records, [], VirtualClock(AT_MS), routes=strict)
    assert one.drain_once(AT_MS) == Drained(failed=1)
    assert one.failing() == {route.channel: NOT_OUTSIDE}
    assert service.pushed == []


@pytest.mark.parametrize(
    ("part", "other"),
    [
        (r"push\+https", "push+http"),
        (r"https://", "https://ash:word@"),
        (r"localhost", "[::1]"),
        (r"localhost", ""),
        (r"localhost", "a..example"),
        (r"localhost", "a" * 64 + ".example"),
        (r":\d+", ":99999"),
        (r"/in/", "/in /"),
        (r"/in/", "/in\n/"),
        (r"/in/", "/ín/"),
        (r"#", ""),
        (r"#", "#AAAA"),
        (r"[.][^.]+$", ""),
        (r"[.][^.]+$", ".AAAA"),
        (r"#[^.]+", "#BAAA"),
    ],
)
def test_what_no_browser_gives_is_refused_and_not_repeated(
    service: PushService, part: str, other: str
) -> None:
    address = re.sub(part, other, service.browser().address, count=1)
    with pytest.raises(UnderlidError) as caught:
        hint_of(address, Settings(), service.outside)
    assert "5f2c" not in str(caught.value)
    assert "aaaa" not in str(caught.value)


def test_a_push_service_that_does_not_answer_holds_no_stop_up() -> None:
    assert (ADDRESSES_MOST + 2) * TIMEOUT_S < STOP_S


def test_a_certificate_that_does_not_hold_and_a_closed_port_are_failures_to_be_tried_again(
    records: Records, service: PushService, capsys: pytest.CaptureFixture[str]
) -> None:
    browser = service.browser()
    route = add(records, browser)
    tell(records)
    trusting = RouteChannels(records, Settings(), Outside(lambda address: True))
    one = Courier(records, [], VirtualClock(AT_MS), routes=trusting)
    assert one.drain_once(AT_MS) == Drained(failed=1)
    why = "the browser's push service did not answer (SSLCertVerificationError)"
    assert one.failing() == {route.channel: why}
    closed = PushedBrowser("https://localhost:1/in/5f2c")
    records.change_route(route.id, "", RouteRules(), AT_MS, closed.address, "a browser")
    assert one.drain_once(AT_MS + MINUTE_MS) == Drained(failed=1)
    assert "ConnectionRefusedError" in one.failing()[route.channel]
    log = capsys.readouterr().out
    assert route.channel in log
    assert "5f2c" not in log
