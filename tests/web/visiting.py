"""A browser without scripts: keeps its cookie, fills forms in, reads pages as words."""

from __future__ import annotations

import re

import httpx

from underlid.storage.records import Role
from underlid.web.tokens import form_token
from waiting import WAIT_S
from web.household import Household

PASSPHRASE = "damp straw and melon rind"
SHOWN_TOKEN = re.compile(r'name="form_token" value="([^"]+)"')


class Visitor:
    """Visits a household's pages."""

    def __init__(self, house: Household) -> None:
        self.client = httpx.Client(base_url=house.url, timeout=WAIT_S)

    @property
    def cookie(self) -> str:
        """Return the session cookie, whatever it is called here."""
        return next((c.value or "" for c in self.client.cookies.jar if "session" in c.name), "")

    def get(self, path: str) -> httpx.Response:
        return self.client.get(path)

    def read(self, path: str) -> str:
        """Return a page's text as it was sent; it must be there."""
        answer = self.client.get(path, follow_redirects=True)
        assert answer.status_code == 200, (path, answer.status_code, answer.text[:400])
        return answer.text

    def words(self, path: str) -> str:
        """Return the words of a page, as they are read."""
        return plain(self.read(path))

    def post(self, path: str, fields: dict[str, str] | None = None) -> httpx.Response:
        """Send a form with the token that belongs to this browser."""
        return self.client.post(
            path, data={"form_token": form_token(self.cookie), **(fields or {})}
        )

    def send(self, path: str, fields: dict[str, str], on: str) -> httpx.Response:
        """Send a form with the token that page *on* shows."""
        found = SHOWN_TOKEN.search(self.client.get(on, follow_redirects=True).text)
        assert found is not None, on
        return self.client.post(path, data={**fields, "form_token": found[1]})

    def log_in(self, name: str = "Ash", passphrase: str = PASSPHRASE) -> httpx.Response:
        return self.send("/login", {"name": name, "passphrase": passphrase}, "/login")


def begin(house: Household) -> Visitor:
    """Be the first person of a house: Ash, the lead, who is logged in afterwards."""
    visitor = Visitor(house)
    fields = {"name": "Ash", "passphrase": PASSPHRASE, "again": PASSPHRASE}
    answer = visitor.send("/start", fields, "/start")
    assert answer.status_code == 303, answer.text
    return visitor


def join(house: Household, name: str, role: Role) -> Visitor:
    """Let one more person in, and log them in."""
    house.records.add_person(name, role, PASSPHRASE)
    visitor = Visitor(house)
    assert visitor.log_in(name).status_code == 303
    return visitor


def plain(page: str) -> str:
    """Return the words of a page, as they are read."""
    body = re.sub(r"<(script|style|title)\b.*?</\1>", " ", page, flags=re.S)
    words = re.sub(r"<[^>]+>", " ", body)
    for code, letter in (
        ("&#39;", "'"),
        ("&#34;", '"'),
        ("&lt;", "<"),
        ("&gt;", ">"),
        ("&amp;", "&"),
    ):
        words = words.replace(code, letter)
    return " ".join(words.split())
