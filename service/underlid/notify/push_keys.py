"""The key that push services know this place by (RFC 8292), made when it is first asked for.

It stands in the records, so that it goes with the subscriptions that were made with it: into a backup,
back from one, and to every worker.
"""

from __future__ import annotations

import base64
import threading
from typing import Final

from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from py_vapid import Vapid02

from underlid.storage.records import Records

NAME: Final = "web-push"
KEY_BYTES: Final = 32


class PushKeys:
    """The place's key pair."""

    def __init__(self, records: Records) -> None:
        self._records = records
        self._pair: Vapid02 | None = None
        self._lock = threading.Lock()

    def pair(self) -> Vapid02:
        """Return the pair, which signs."""
        with self._lock:
            if self._pair is None:
                kept = self._records.own_key(NAME, _new_key)
                self._pair = Vapid02.from_raw(kept.encode())
                self._pair.conf = {"no-strict": True}  # a contact with a port is one as well
            return self._pair

    def public(self) -> str:
        """Return what browsers are given, as `applicationServerKey` in base64url."""
        point = self.pair().public_key.public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)
        return base64.urlsafe_b64encode(point).rstrip(b"=").decode()


def _new_key() -> str:
    number = ec.generate_private_key(ec.SECP256R1()).private_numbers().private_value
    raw = number.to_bytes(KEY_BYTES, "big")
    return base64.urlsafe_b64encode(raw).rstrip(b"=").decode()
