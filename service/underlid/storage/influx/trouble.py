"""What can go wrong with the server, by what is to be done about it."""

from __future__ import annotations

from typing import Final

from influxdb_client.rest import ApiException

from underlid.storage.trouble import StoreError

REFUSALS: Final = frozenset({400, 413, 422})
"""The server took the request and will never take this row, or not so many at once."""

ASK_AGAIN: Final = frozenset({408, 425, 429})
"""Statuses below 500 after which the same request may succeed."""

SAID_CHARS: Final = 500
"""Of the server's words."""


class ServerError(StoreError):
    """The server did not do what was asked; nothing is lost by it."""

    def __init__(self, said: str, *, expected: str, next_step: str) -> None:
        self.said = said[:SAID_CHARS]
        super().__init__("InfluxDB", value=self.said, expected=expected, next_step=next_step)


class AwayError(ServerError):
    """It cannot be reached, or asks for patience: try the same again later."""

    def __init__(self, said: str, retry_after_s: float = 0.0) -> None:
        self.retry_after_s = retry_after_s
        super().__init__(
            said,
            expected="an answer",
            next_step="Readings are kept here and sent when it answers; see that it runs.",
        )


class OperatorError(ServerError):
    """It will not work until somebody changes something: the token, the bucket, the address."""

    def __init__(self, said: str) -> None:
        super().__init__(
            said,
            expected="that it takes readings and answers",
            next_step="Check influxdb_url, influxdb_token, influxdb_org and influxdb_bucket; readings"
            " are kept here until then.",
        )


class RefusedError(ServerError):
    """It refuses what was sent, whoever sends it and whenever."""

    def __init__(self, said: str) -> None:
        super().__init__(
            said,
            expected="readings that it takes",
            next_step="See the refused readings on the probes page.",
        )


def said_by(error: ApiException) -> ServerError:
    """Return our error for an answer that is none of 2xx."""
    status = int(error.status or 0)
    words = error.message if isinstance(error.message, str) else repr(error.message)
    said = f"{status} {words.strip()}" if status else f"no answer ({error.reason})"
    if status in REFUSALS:
        return RefusedError(said)
    if status == 0 or status >= 500 or status in ASK_AGAIN:
        return AwayError(said, _seconds(error.retry_after))
    return OperatorError(said)


def _seconds(text: object) -> float:
    """Return what a Retry-After header says; 0 for a date or nonsense."""
    try:
        return max(0.0, float(str(text)))
    except ValueError:
        return 0.0
