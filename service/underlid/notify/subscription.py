"""A browser's push subscription as an address: `push+https://…#KEY.SECRET`, one line.

Before the `#` is where its push service takes messages (RFC 8030), behind it the key and the secret
that messages to this browser are encrypted with (RFC 8291), both in base64url. A part behind `#` is
never sent, so none is lost. Values only.
"""

from __future__ import annotations

import base64
from dataclasses import dataclass
from typing import Final
from urllib.parse import urlsplit

from cryptography.hazmat.primitives.asymmetric import ec

from underlid.alerts.routes import PUSH_SCHEME
from underlid.errors import UnderlidError, Words

HTTPS_PORT: Final = 443
SECRET_BYTES: Final = 16
"""RFC 8291, section 3.2."""


@dataclass(frozen=True, slots=True)
class Subscription:
    """One browser: its push service, where there, its key, its secret."""

    host: str
    port: int
    path: str
    key: bytes
    secret: bytes

    @property
    def origin(self) -> str:
        """Return the push service as a token for it names it (RFC 8292)."""
        return f"https://{self.host}" + (f":{self.port}" if self.port != HTTPS_PORT else "")


def subscription_of(address: str) -> Subscription:
    """Return the subscription that an address is; raises `UnderlidError` for what is none."""
    try:
        endpoint, _, secrets = address.removeprefix("push+").partition("#")
        parts = urlsplit(endpoint)
        host, port = parts.hostname or "", parts.port or HTTPS_PORT
        key, _, secret = secrets.partition(".")
        path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
        found = Subscription(host, port, path, _raw(key), _raw(secret))
        ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), found.key)
    except ValueError:
        raise _refusal() from None
    plain = address.isascii() and address.isprintable() and " " not in address
    named = host and ":" not in host and parts.username is None
    if not (
        plain and named and address.startswith(PUSH_SCHEME) and len(found.secret) == SECRET_BYTES
    ):
        raise _refusal()
    return found


def _raw(text: str) -> bytes:
    """Return the bytes of base64url without padding, as browsers give it."""
    return base64.b64decode(text + "=" * (-len(text) % 4), b"-_", validate=True)


def _refusal() -> UnderlidError:
    return UnderlidError(
        "address",
        value=Words("something else"),
        expected="a push subscription as a browser gives it",
        next_step="Press the button on the page where you are told, in that browser.",
    )
