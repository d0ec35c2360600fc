"""Headers on every answer and a bound on every body: plain ASGI, outermost.

The policy allows nothing but our own files: no inline script, no inline style, no frame, no other
host. `static.py` sets the caching of files; everything else is `no-store`.
"""

from __future__ import annotations

import json
import re
from typing import Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from underlid.web.problem import Problem

CSP: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "font-src 'self'; connect-src 'self'; manifest-src 'self'; worker-src 'self'; "
    "base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
)

HEADERS: Final = {
    "content-security-policy": CSP,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=(), payment=()",
}

HSTS: Final = "max-age=31536000"
"""A year; sent only where people come by HTTPS."""

BODY_MOST_BYTES: Final = 128 * 1024
"""Twice the largest message (64 KiB), so that its own sentence can be given; forms are far smaller."""

PHOTOS_MOST_BYTES: Final = 32_000_000
"""Of a request with photos: two of the largest (`files/photos.py`), or a dozen that a browser shrank.
Read only after it is known who sends it."""

PHOTOS_TO: Final = re.compile(r"/journal/write|(/journal|/api/v1/entries)/[^/]+/photos")
"""Where photos may be sent; deploy/proxy/nginx.conf has the same."""

TOO_LARGE: Final = f"A request may carry {BODY_MOST_BYTES} bytes. Send it in smaller parts."
TOO_LARGE_PHOTOS: Final = (
    f"Photos sent together may have {PHOTOS_MOST_BYTES // 1_000_000} MB. Send fewer at a time."
)


class Guard:
    """Adds the headers and cuts off bodies that are too large."""

    def __init__(self, app: ASGIApp, https: bool) -> None:
        self._app = app
        self._headers = HEADERS | ({"strict-transport-security": HSTS} if https else {})

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in self._headers.items():
                    headers.setdefault(name, value)
                headers.setdefault("cache-control", "no-store")
            await send(message)

        most, detail = _bound(scope)
        declared = Headers(scope=scope).get("content-length", "0")
        if not declared.isdecimal() or int(declared) > most:
            await _refuse(send_with_headers, detail)
            return
        await self._app(scope, _Bounded(receive, most, detail).receive, send_with_headers)


def _bound(scope: Scope) -> tuple[int, str]:
    """Return how large the body of a request may be, and what is said beyond that."""
    if scope["method"] == "POST" and PHOTOS_TO.fullmatch(scope["path"]):
        return PHOTOS_MOST_BYTES, TOO_LARGE_PHOTOS
    return BODY_MOST_BYTES, TOO_LARGE


class _Bounded:
    """Counts what a request sends."""

    def __init__(self, receive: Receive, most: int, detail: str) -> None:
        self._receive = receive
        self._most = most
        self._detail = detail
        self._size = 0

    async def receive(self) -> Message:
        """Return the next piece, or stop at the bound."""
        message = await self._receive()
        self._size += len(message.get("body", b""))
        if self._size > self._most:
            raise Problem(413, self._detail)
        return message


async def _refuse(send: Send, detail: str) -> None:
    """Answer 413 as problem details."""
    body = json.dumps(
        {
            "type": "about:blank",
            "title": "Too large",
            "status": 413,
            "detail": detail,
        }
    ).encode()
    headers = [(b"content-type", b"application/problem+json"), (b"connection", b"close")]
    await send({"type": "http.response.start", "status": 413, "headers": headers})
    await send({"type": "http.response.body", "body": body})
