"""Serves a place on loopback in a thread, and visits it as a browser without scripts does."""

from __future__ import annotations

import asyncio
import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import TracebackType

import httpx

from underlid.web.app import make_app
from underlid.web.server import Server
from web.places import PASSPHRASE, Place

TOKEN = re.compile(r'name="form_token" value="([^"]+)"')


class Served:
    """A place that answers at `address`, by the real server in a loop of its own."""

    def __init__(self, place: Place) -> None:
        self.place = place
        self.server = Server(make_app(place.context), "127.0.0.1", 0)
        self.address = ""
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, daemon=True)

    def __enter__(self) -> Served:
        self._thread.start()
        asyncio.run_coroutine_threadsafe(self.server.start(), self._loop).result(10)
        self.address = f"http://127.0.0.1:{self.server.port}"
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        asyncio.run_coroutine_threadsafe(self.server.stop(), self._loop).result(20)
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(10)
        self._loop.close()


class Visitor:
    """A browser without scripts: keeps cookies, fills in forms, follows redirects when asked."""

    def __init__(self, address: str) -> None:
        self.client = httpx.Client(base_url=address, timeout=20)

    def get(self, path: str) -> httpx.Response:
        return self.client.get(path)

    def read(self, path: str) -> str:
        """Return a page's text; it must be there."""
        answer = self.client.get(path, follow_redirects=True)
        assert answer.status_code == 200, (path, answer.status_code, answer.text[:400])
        return answer.text

    def send(self, path: str, fields: dict[str, str], on: str) -> httpx.Response:
        """Send a form found on page *on*."""
        found = TOKEN.search(self.client.get(on, follow_redirects=True).text)
        assert found is not None, on
        return self.client.post(path, data={**fields, "form_token": found[1]})

    def log_in(self, name: str = "Ash", passphrase: str = PASSPHRASE) -> httpx.Response:
        return self.send("/login", {"name": name, "passphrase": passphrase}, "/login")


@contextmanager
def visiting(place: Place, name: str = "Ash") -> Iterator[Visitor]:
    """Serve a furnished place and give a visitor who is logged in, unless *name* is empty."""
    with Served(place) as served:
        visitor = Visitor(served.address)
        if name:
            assert visitor.log_in(name).status_code == 303
        try:
            yield visitor
        finally:
            visitor.client.close()
