"""First start, log in and out, form tokens, roles, headers."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from underlid.storage.records import Role
from underlid.web.attempts import FAILURES_MOST, KEYS_MOST, WITHIN_S, Attempts
from underlid.web.security import BODY_MOST_BYTES, CSP
from underlid.web.tokens import form_token, form_token_holds
from waiting import WAIT_S
from web.household import Household
from web.visiting import PASSPHRASE, Visitor, join

FIRST = {"name": "Ash", "passphrase": PASSPHRASE, "again": PASSPHRASE}


def test_an_empty_place_asks_who_is_there_and_lets_them_in(tmp_path: Path) -> None:
    with Household(tmp_path) as house:
        visitor = Visitor(house)
        assert visitor.get("/").headers["location"] == "/start"
        assert visitor.send("/start", FIRST, "/start").headers["location"] == "/"
        assert "three steps" in visitor.read("/")
        assert [one.role for one in house.records.people()] == ["lead"]
        assert visitor.get("/start").headers["location"] == "/login"


@pytest.fixture(scope="module")
def keyed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Household]:
    with Household(tmp_path_factory.mktemp("keyed"), start_key="moss-7") as opened:
        yield opened


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"name": " "}, "Your name is"),
        ({"passphrase": "short", "again": "short"}, "Passphrase is 5 characters long"),
        (
            {"again": "something else"},
            "Second passphrase is another one, expected the same as the first",
        ),
        ({"start_key": "guess"}, "Start key is"),
    ],
)
def test_first_start_says_what_is_wrong(
    keyed: Household, wrong: dict[str, str], sentence: str
) -> None:
    fields = {**FIRST, "start_key": "moss-7", **wrong}
    answer = Visitor(keyed).send("/start", fields, "/start")
    assert answer.status_code == 422
    assert sentence in answer.text
    assert PASSPHRASE not in answer.text
    assert not keyed.records.people()


def test_a_wrong_passphrase_is_refused_and_guessing_is_slowed(
    house: Household, ash: Visitor
) -> None:
    del ash
    visitor = Visitor(house)
    for _ in range(FAILURES_MOST):
        answer = visitor.log_in("Ash", "wrong guess")
        assert answer.status_code == 422
        assert "Name or passphrase" in answer.text
    answer = visitor.log_in("Ash")
    assert answer.status_code == 429
    assert int(answer.headers["retry-after"]) > 60


def test_attempts_are_bounded_and_end() -> None:
    attempts = Attempts()
    for number in range(KEYS_MOST + 10):
        for _ in range(FAILURES_MOST):
            attempts.failed((f"name {number}",), 0.0)
    assert attempts.wait_s(("name 0",), 1.0) == 0
    assert attempts.wait_s((f"name {KEYS_MOST}",), 1.0) == WITHIN_S - 1
    assert attempts.wait_s((f"name {KEYS_MOST}",), WITHIN_S) == 0


def test_logging_out_ends_the_session_in_the_store(ash: Visitor) -> None:
    cookie = dict(ash.client.cookies)
    assert ash.send("/logout", {}, "/").headers["location"] == "/login"
    again = httpx.get(f"{ash.client.base_url}/journal", cookies=cookie, timeout=WAIT_S)
    assert again.headers["location"].startswith("/login")


def test_log_in_goes_back_to_the_page_but_never_elsewhere(
    still: Household, looker: Visitor
) -> None:
    del looker
    visitor = Visitor(still)
    assert visitor.get("/journal").headers["location"] == "/login?to=/journal"
    for given, gone in (("/journal", "/journal"), ("//else.example", "/")):
        fields = {"name": "Ash", "passphrase": PASSPHRASE, "to": given}
        assert visitor.send("/login", fields, "/login").headers["location"] == gone


FORMS = [
    "/start",
    "/login",
    "/logout",
    "/units",
    "/journal/write",
    "/journal/e1/correct",
    "/journal/e1/withdraw",
    "/alerts/a1/acknowledge",
    "/alerts/a1/shelve",
    "/probes/tansy-1/place",
    "/probes/tansy-1/remove",
    "/probes/secret",
    "/probes/tansy-1/secret/end",
    "/probes/undelivered/1",
    "/mapping",
    "/mapping/remove",
    "/mappings/listen",
    "/places/shed",
    "/places/bin",
]


@pytest.mark.parametrize("path", FORMS)
@pytest.mark.parametrize("token", ["", "made.up", "x" * 5000])
def test_no_form_is_taken_without_its_own_token(looker: Visitor, path: str, token: str) -> None:
    answer = looker.client.post(path, data={"form_token": token})
    assert answer.status_code == 403
    assert "too old" in answer.text


def test_a_token_belongs_to_one_browser() -> None:
    token = form_token("one browser's secret")
    assert form_token_holds(token, "one browser's secret")
    assert not form_token_holds(token, "another's")
    assert not form_token_holds(token, "")


def test_only_the_lead_changes_the_set_up(house: Household, ash: Visitor) -> None:
    fields = {"name": "Cellar", "timezone": "Europe/London"}
    for visitor, allowed in (
        (join(house, "Robin", Role.KEEPER), False),
        (join(house, "Guest", Role.READER), False),
        (ash, True),
    ):
        for path in ("/places/shed", "/places/bin", "/probes/tansy-1"):
            assert (visitor.get(path).status_code == 200) == allowed
        answer = visitor.send("/places/shed", fields, "/")
        assert answer.status_code == (303 if allowed else 403)


def test_a_reader_sees_no_buttons_and_may_not_write(house: Household) -> None:
    guest = join(house, "Guest", Role.READER)
    assert "Write a feed" not in guest.read("/bin/tansy")
    fields = {"bin": "tansy", "kind": "turned"}
    assert guest.send("/journal/write", fields, "/").status_code == 403


def test_every_answer_carries_the_policy_and_cookies_are_safe(
    still: Household, looker: Visitor
) -> None:
    del looker
    visitor = Visitor(still)
    for path in ("/login", "/healthz", "/nowhere", "/api/v1/bins", "/metrics"):
        headers = visitor.get(path).headers
        assert headers["content-security-policy"] == CSP
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["cache-control"] == "no-store"
    cookie = visitor.log_in().headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=lax" in cookie
    assert "secure" not in cookie


def test_behind_https_the_cookie_insists_on_it(tmp_path: Path) -> None:
    with Household(tmp_path, web_origin="https://bins.example") as house:
        house.records.add_person("Ash", Role.LEAD, PASSPHRASE)
        answer = httpx.get(f"{house.url}/login", timeout=WAIT_S)
        cookie = answer.headers["set-cookie"]
        assert cookie.startswith("__Host-underlid_session=")
        assert "Secure" in cookie
        assert "Path=/;" in cookie
        assert answer.headers["strict-transport-security"]


def test_a_body_without_end_is_cut_off(looker: Visitor) -> None:
    answer = looker.client.post("/login", content=b"a" * (BODY_MOST_BYTES + 1))
    assert answer.status_code == 413

    def pieces() -> list[bytes]:
        return [b"a" * 60_000] * 4

    form = {"content-type": "application/x-www-form-urlencoded"}
    answer = looker.client.post("/login", content=iter(pieces()), headers=form)
    assert answer.status_code == 413
