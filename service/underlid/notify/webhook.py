"""The webhook: one signed POST of JSON per message, documented in `telling.md`.

The body is versioned: fields are added within a version, never renamed or removed. A receiver
checks the signature over the time and the body, and knows a second sending by its key.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import http.client
import json
import os
import secrets
import urllib.error
import urllib.request
from pathlib import Path
from typing import Final
from urllib.parse import quote, unquote, urlsplit, urlunsplit

from underlid.alerts.alert import Message
from underlid.errors import UnderlidError
from underlid.notify.channel import ChannelError
from underlid.timeline import SECOND_MS, rfc3339

BODY_VERSION: Final = 1
TIMESTAMP_HEADER: Final = "Underlid-Timestamp"
SIGNATURE_HEADER: Final = "Underlid-Signature"
KEY_HEADER: Final = "Idempotency-Key"
SIGNATURE_SCHEME: Final = "v1"

TIMEOUT_S: Final = 10.0
"""For connecting and for each answer: a receiver should queue, not work, while we wait."""

SECRET_FILE: Final = "webhook-secret"
SECRET_BYTES: Final = 32


class _NoRedirects(urllib.request.HTTPRedirectHandler):
    """A redirect would carry a signed message to an address nobody set."""

    def redirect_request(self, *_args: object, **_more: object) -> None:
        return None


class Webhook:
    """Posts messages to one address."""

    name = "webhook"

    def __init__(self, url: str, secret: str) -> None:
        self._url, self._authorization = _split(url)
        self._secret = secret.encode()
        self._opener = urllib.request.build_opener(_NoRedirects)

    def send(self, message: Message, now_ms: int) -> None:
        """Post *message*; any answer but 2xx is a failure."""
        body = webhook_body(message)
        timestamp = str(now_ms // SECOND_MS)
        headers = {
            "Content-Type": "application/json",
            "User-Agent": "Underlid",
            KEY_HEADER: quote(message.key, safe=":/-_.,|~"),
            TIMESTAMP_HEADER: timestamp,
            SIGNATURE_HEADER: f"{SIGNATURE_SCHEME}={signature(self._secret, timestamp, body)}",
        } | self._authorization
        request = urllib.request.Request(self._url, data=body, headers=headers, method="POST")
        try:
            with self._opener.open(request, timeout=TIMEOUT_S):
                return
        except urllib.error.HTTPError as error:
            error.close()
            raise ChannelError(f"the receiver answered {error.code}") from None
        except urllib.error.URLError as error:
            why = type(error.reason).__name__ if error.reason else "no reason"
            raise ChannelError(f"no connection to the receiver ({why})") from None
        except (OSError, http.client.HTTPException) as error:
            raise ChannelError(f"the receiver did not answer ({type(error).__name__})") from None


def webhook_body(message: Message) -> bytes:
    """Return the JSON body for *message*."""
    return json.dumps(
        {
            "version": BODY_VERSION,
            "id": message.key,
            "event": message.event.value,
            "time": rfc3339(message.at_ms),
            "shed": message.shed,
            "bin": message.bin,
            "alert": message.alert_id,
            "priority": message.priority.value,
            "title": message.title,
            "text": message.text,
        }
    ).encode()


def signature(secret: bytes, timestamp: str, body: bytes) -> str:
    """Return the HMAC-SHA256 of time, a full stop and body, in hexadecimal.

    >>> signature(b"key", "1700000000", b"{}")[:16]
    '9d713ed406bb7076'
    """
    return hmac.new(secret, timestamp.encode() + b"." + body, hashlib.sha256).hexdigest()


def kept_secret(folder: Path) -> str:
    """Return the signing key in the data folder, made on first use, readable by its owner only."""
    path = folder / SECRET_FILE
    try:
        folder.mkdir(parents=True, exist_ok=True)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return path.read_text().strip()
    with os.fdopen(handle, "w") as file:
        secret = secrets.token_hex(SECRET_BYTES)
        file.write(secret + "\n")
    return secret


def _split(url: str) -> tuple[str, dict[str, str]]:
    """Return the address without user and password, and the header that carries those."""
    try:
        parts = urlsplit(url)
        host = parts.hostname
        port = parts.port
    except ValueError:
        host, port, parts = None, None, urlsplit("")
    if not host or parts.scheme not in ("http", "https"):
        raise UnderlidError(
            "setting webhook_url",
            value="(secret)",
            expected="an address that begins with http:// or https://",
            next_step="Correct the address.",
        )
    shown_host = f"[{host}]" if ":" in host else host
    netloc = shown_host if port is None else f"{shown_host}:{port}"
    bare = urlunsplit((parts.scheme, netloc, parts.path or "/", parts.query, ""))
    if parts.username is None:
        return bare, {}
    pair = f"{unquote(parts.username)}:{unquote(parts.password or '')}"
    return bare, {"Authorization": "Basic " + base64.b64encode(pair.encode()).decode()}
