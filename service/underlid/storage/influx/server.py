"""The server, by `influxdb-client`: line protocol in, InfluxQL out, one error for each kind of trouble.

Only what InfluxDB 1.8, 2.x, 3.x Core and the clustered editions all serve is used: the v2 write
endpoint, and `/query` with `SELECT` and `SHOW`. Writing is synchronous, because the client's
batching drops what it cannot send, and its queue has no bound.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import msgspec
from influxdb_client.client.influxdb_client import InfluxDBClient
from influxdb_client.client.write_api import SYNCHRONOUS
from influxdb_client.rest import ApiException
from urllib3.exceptions import HTTPError

from underlid.storage.influx.answers import Table, tables_of
from underlid.storage.influx.trouble import AwayError, said_by

CONNECT_S: Final = 5.0
ANSWER_S: Final = 30.0
"""How long a connection and an answer may take; then the request counts as failed."""

CHUNK_ROWS: Final = 10_000
"""Rows in one piece of a long answer, so that neither side holds all of it."""

PIECE_BYTES: Final = 1 << 18

PRECISION: Any = "ns"
"""Of the times in lines; the client takes the word, its stubs know only the name of it."""


@dataclass(frozen=True, slots=True)
class InfluxPlace:
    """Where the server is and what it lets us do."""

    url: str
    token: str
    org: str
    bucket: str
    """`db/rp` on 1.x; on later ones a bucket that is mapped so, or whose name it is."""


class InfluxServer:
    """One server and bucket; may be used by many threads."""

    def __init__(self, place: InfluxPlace) -> None:
        self.place = place
        database, _, policy = place.bucket.partition("/")
        self._fields = [("db", database), *([("rp", policy)] if policy else [])]
        self._client = InfluxDBClient(
            url=place.url,
            token=place.token,
            org=place.org or "-",
            timeout=(round(CONNECT_S * 1000), round(ANSWER_S * 1000)),
            enable_gzip=True,
        )
        self._write = self._client.write_api(write_options=SYNCHRONOUS)

    def write(self, lines: str) -> None:
        """Store *lines*, times in nanoseconds; raises `ServerError` when not all were stored."""
        try:
            self._write.write(self.place.bucket, self.place.org or "-", lines.encode(), PRECISION)
        except ApiException as error:
            raise said_by(error) from error
        except (HTTPError, OSError) as error:
            raise AwayError(f"no answer ({type(error).__name__}: {error})") from error

    def query(
        self,
        statements: Sequence[str],
        params: Mapping[str, str] | None = None,
        epoch: str = "ms",
    ) -> Iterator[Table]:
        """Yield what the statements select, in pieces; *params* are bound to `$name`."""
        fields = [
            *self._fields,
            ("q", "; ".join(statements)),
            ("epoch", epoch),
            ("chunked", "true"),
            ("chunk_size", str(CHUNK_ROWS)),
        ]
        if params:
            fields.append(("params", msgspec.json.encode(params).decode()))
        try:
            response, _, _ = self._client.api_client.call_api(  # type: ignore[no-untyped-call]
                "/query",
                "POST",
                header_params={"Content-Type": "application/x-www-form-urlencoded"},
                post_params=fields,
                _preload_content=False,
            )
        except ApiException as error:
            raise said_by(error) from error
        except (HTTPError, OSError) as error:
            raise AwayError(f"no answer ({type(error).__name__}: {error})") from error
        try:
            yield from tables_of(response.stream(PIECE_BYTES))
        except (HTTPError, OSError) as error:
            raise AwayError(f"half an answer ({type(error).__name__}: {error})") from error
        finally:
            response.close()

    def ping(self) -> bool:
        """Tell whether the server answers."""
        return bool(self._client.ping())

    def close(self) -> None:
        """Let go of the connections."""
        self._client.close()  # type: ignore[no-untyped-call]
