"""Who may come in at the door, publish where, and subscribe to what.

Three sorts of user, told apart by name:
- `probes`, the household's shared user: may publish for any probe without a secret of its own,
  and journal entries; may read confirmations.
- `keeper`: publishes nothing; may read states, alerts and confirmations.
- any other name is a probe's id: publishes under that id only, reads its own confirmations.

On a topic that a mapping reads the same holds of the probe that the mapping finds there, in the topic
or in the payload: nobody sends for a probe whose own secret somebody else has.

Secrets are random (at least 128 bits) and kept as SHA-256: a slow hash would protect nothing
that can be guessed and would keep a hundred probes waiting after a power cut.
"""

from __future__ import annotations

import hashlib
import hmac
from collections.abc import Mapping
from typing import Final

from underlid.mqtt.outward import ROOT, Kind, is_outward, served_filter
from underlid.readings.mapped import NO_MAPPINGS, Mappings

HOUSEHOLD: Final = "probes"
KEEPER: Final = "keeper"

_NOBODY: Final = hashlib.sha256(b"").hexdigest()
"""Compared with when there is no such user, so that the answer takes the same time."""


def secret_hash(secret: str | bytes) -> str:
    """Return the SHA-256 of *secret* in hexadecimal, the form that is stored."""
    data = secret.encode() if isinstance(secret, str) else secret
    return hashlib.sha256(data).hexdigest()


class Grants:
    """Users and mappings known at one moment; replaced whole when one is added or changed."""

    def __init__(self, hashes: Mapping[str, str], mappings: Mappings = NO_MAPPINGS) -> None:
        self._hashes = dict(hashes)
        self._mappings = mappings

    def admits(self, user: str | None, password: bytes | None) -> bool:
        """Tell whether *user* may connect with *password*; nobody comes in without both."""
        known = self._hashes.get(user) if user is not None else None
        same = hmac.compare_digest(secret_hash(password or b""), known or _NOBODY)
        return same and known is not None and bool(password)

    def keeps(self, user: str, before: Grants) -> bool:
        """Tell whether *user* still has the secret it had *before*."""
        return user in self._hashes and self._hashes[user] == before._hashes.get(user)

    def by_topic(self, topic: str) -> bool:
        """Tell whether the topic alone says who may publish to it, whatever the payload."""
        return not any(one.mapping.probe_at is not None for one in self._mappings.covering(topic))

    def may_publish(self, user: str, topic: str, payload: bytes = b"") -> bool:
        """Tell whether *user* may publish *payload* to *topic*.

        The household may send what nobody understands too: it is kept as rejected, with the
        reason, so that the keeper can see what a badly set up probe says.
        """
        if user == KEEPER or topic.startswith("$") or is_outward(topic):
            return False
        probes = self._mappings.probes(topic, payload)
        if probes is not None:
            return all(self._may_speak_for(user, probe) for probe in probes)
        probe = _probe_in(topic)
        if user != HOUSEHOLD:
            return probe == user
        return probe is None or self._may_speak_for(user, probe)

    def _may_speak_for(self, user: str, probe: str) -> bool:
        """Tell whether *user* may send what becomes readings of *probe*."""
        if user != HOUSEHOLD:
            return probe == user
        return probe == HOUSEHOLD or probe not in self._hashes

    def may_subscribe(self, user: str, topic_filter: str) -> bool:
        """Tell whether *user* may subscribe to *topic_filter*."""
        served = served_filter(topic_filter)
        if served is None:
            return False
        if user == KEEPER:
            return True
        return served.kind is Kind.CONFIRM and user in (HOUSEHOLD, served.subject)


def _probe_in(topic: str) -> str | None:
    """Return the probe that *topic* names: its fourth level, when there is a fifth."""
    parts = topic.split("/", 4)
    if len(parts) < 5 or f"{parts[0]}/{parts[1]}" != ROOT:
        return None
    return parts[3]
