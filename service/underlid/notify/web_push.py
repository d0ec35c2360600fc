"""Web push: a message as a notification of somebody's browser (RFC 8030, 8291, 8292).

The text is encrypted for that one browser; its push service, which the browser's maker runs, passes it
on without being able to read it. The encryption is that of the http_ece library, the token that of
py_vapid. What the browser does with it is in `web/static/sw.js`.
"""

from __future__ import annotations

import base64
import hashlib
import http.client
import json
from dataclasses import dataclass
from typing import Final

import http_ece
from cryptography.hazmat.primitives.asymmetric import ec

from underlid.alerts.alert import Message
from underlid.notify.backoff import asked_wait_ms
from underlid.notify.channel import AddressEndedError, ChannelError
from underlid.notify.outside import Outside
from underlid.notify.push_keys import PushKeys
from underlid.notify.subscription import Subscription
from underlid.rules.finding import Priority
from underlid.timeline import DAY_MS, HOUR_MS, SECOND_MS

KEPT_S: Final = DAY_MS // SECOND_MS
"""So long a push service keeps a message for a phone that is off; later it is old news (our judgement)."""

TOKEN_HOLDS_S: Final = 12 * HOUR_MS // SECOND_MS
"""Half of what RFC 8292 allows, for clocks that differ."""

BODY_MOST_BYTES: Final = 3000
"""A push service must take 4,096 bytes (RFC 8030), 103 of them for the encryption. A longer text is cut."""

NO_CONTACT: Final = "mailto:keeper@underlid.invalid"
"""Where no `web_origin` says how to reach whoever runs this place."""

URGENT: Final = frozenset({Priority.HIGH, Priority.CRITICAL})
ENDED: Final = frozenset({http.HTTPStatus.NOT_FOUND, http.HTTPStatus.GONE})


@dataclass(frozen=True, slots=True)
class Pushing:
    """What all browsers of a place share: its keys, the way out, whom push services may write to."""

    keys: PushKeys
    outside: Outside
    contact: str = NO_CONTACT


class WebPush:
    """One browser."""

    def __init__(self, name: str, to: Subscription, pushing: Pushing) -> None:
        self.name = name
        self._to = to
        self._pushing = pushing

    def send(self, message: Message, now_ms: int) -> None:
        """Hand *message* to the browser's push service."""
        to, headers = self._to, self._headers(message, now_ms)
        try:
            answer = self._pushing.outside.post(
                to.host, to.port, to.path, sealed(to, push_body(message)), headers
            )
        except (OSError, http.client.HTTPException) as error:
            why = type(error).__name__
            raise ChannelError(f"the browser's push service did not answer ({why})") from None
        if answer.status in ENDED:
            raise AddressEndedError("the browser has ended its subscription")
        if not 200 <= answer.status < 300:
            wait_ms = asked_wait_ms(answer.retry_after, now_ms)
            raise ChannelError(f"the browser's push service answered {answer.status}", wait_ms)

    def _headers(self, message: Message, now_ms: int) -> dict[str, str]:
        claims = {
            "aud": self._to.origin,
            "exp": now_ms // SECOND_MS + TOKEN_HOLDS_S,
            "sub": self._pushing.contact,
        }
        signed: dict[str, str] = self._pushing.keys.pair().sign(claims)
        return signed | {
            "Content-Type": "application/octet-stream",
            "Content-Encoding": "aes128gcm",
            "TTL": str(KEPT_S),
            "Urgency": "high" if message.priority in URGENT else "normal",
            "Topic": _topic(message),
        }


def push_body(message: Message) -> bytes:
    """Return what the browser gets: what to show, where pressing it leads, what it replaces."""
    text = message.text
    while len(body := _json(message, text)) > BODY_MOST_BYTES and len(text) > 1:
        text = text[: len(text) * 3 // 4].rstrip() + "…"
    return body


def _json(message: Message, text: str) -> bytes:
    values = {
        "title": message.title,
        "text": text,
        "to": f"/bin/{message.bin}" if message.bin else "/",
        "about": _about(message),
        "id": message.key,
    }
    return json.dumps(values, ensure_ascii=False).encode()


def sealed(to: Subscription, body: bytes) -> bytes:
    """Return *body* as only the browser can read it, with a key made for this one message."""
    own = ec.generate_private_key(ec.SECP256R1())
    made: bytes = http_ece.encrypt(
        body, private_key=own, dh=to.key, auth_secret=to.secret, version="aes128gcm"
    )
    return made


def _about(message: Message) -> str:
    """Return what a later message replaces: news of one alert stand in one notification."""
    return message.alert_id or message.key


def _topic(message: Message) -> str:
    """Return the same for the push service, which keeps the newest for a phone that is off."""
    digest = hashlib.sha256(_about(message).encode()).digest()
    return base64.urlsafe_b64encode(digest[:24]).decode()
