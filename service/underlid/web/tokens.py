"""Form tokens: proof that a form was made for the browser that sends it.

A token is a random part and its HMAC under the browser's own secret cookie. It needs no storage,
differs on every page (so that compression tells nothing about it), and another site, which cannot
read the cookie, cannot make one.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from typing import Final

RANDOM_BYTES: Final = 12
FIELD: Final = "form_token"
HEADER: Final = "x-form-token"


def form_token(cookie: str) -> str:
    """Return a new token for the browser that holds *cookie*."""
    salt = secrets.token_urlsafe(RANDOM_BYTES)
    return f"{salt}.{_seal(cookie, salt)}"


def form_token_holds(token: str, cookie: str) -> bool:
    """Tell whether *token* was made for the browser that holds *cookie*.

    >>> form_token_holds(form_token("secret"), "secret"), form_token_holds("a.b", "secret")
    (True, False)
    """
    salt, _, seal = token.partition(".")
    return bool(cookie) and hmac.compare_digest(seal.encode(), _seal(cookie, salt).encode())


def _seal(cookie: str, salt: str) -> str:
    return hmac.new(cookie.encode(), b"form " + salt.encode(), hashlib.sha256).hexdigest()
