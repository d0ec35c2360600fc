"""Stands before InfluxDB 1.6.7 in tests: speaks the v2 write endpoint, and fails when it is told to.

    POST /api/v2/write?bucket=db/rp&precision=ns   ->  POST /write?db=db&rp=rp&precision=n
    Authorization: Token user:password             ->  Authorization: Basic …

1.8 and later have both themselves. Faults come from a list, one for each request that it is for.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import parse_qs, urlencode

import httpx
import uvicorn

from programs import free_port
from storage.influxd import basic
from underlid.clock import monotonic_s, pause
from waiting import WAIT_S

LOOK_S = 0.02

Scope = dict[str, Any]
Receive = Callable[[], Awaitable[dict[str, Any]]]
Send = Callable[[dict[str, Any]], Awaitable[None]]


@dataclass
class Fault:
    """What happens to one request instead of, or besides, being passed on."""

    status: int = 0
    """Answer with this, without passing it on; 0 to pass it on."""
    headers: dict[str, str] = field(default_factory=dict)
    body: str = ""
    slow_s: float = 0.0
    cut: bool = False
    """Pass it on and break the connection before the answer is whole."""
    path: str = "/api/v2/write"


class Front:
    """A server in a thread; `faults` are used up in order by the requests to their path."""

    def __init__(self, url: str) -> None:
        self._behind = url
        self.port = free_port()
        self.faults: deque[Fault] = deque()
        self.always: Fault | None = None
        """Befalls every request until it is taken away."""
        self.writes: list[tuple[int, int]] = []
        """Of each write: bytes as they came, status of the answer."""
        self.queries: list[str] = []
        self.asked = 0
        """Requests that have come, answered or not."""
        self._client: httpx.AsyncClient | None = None
        self._server = uvicorn.Server(
            uvicorn.Config(self, "127.0.0.1", self.port, log_level="critical", lifespan="off")
        )
        self._thread = threading.Thread(target=self._server.run, daemon=True)
        self._thread.start()
        while not self._server.started:
            self._thread.join(0.01)

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def stop(self) -> None:
        self._server.should_exit = True
        self._thread.join()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        body = b""
        while True:
            message = await receive()
            body += message.get("body", b"")
            if not message.get("more_body"):
                break
        path = scope["path"]
        fault = self._fault(path)
        self.asked += 1
        lasting = fault is self.always
        until = monotonic_s() + fault.slow_s
        while monotonic_s() < until and not (lasting and self.always is None):
            await pause(LOOK_S)
        if fault.status:
            status, headers, answer = fault.status, fault.headers, fault.body.encode()
        else:
            status, headers, answer = await self._pass_on(scope, path, body)
        if path == "/api/v2/write":
            self.writes.append((len(body), status))
        else:
            self.queries.append(body.decode())
        length = len(answer)
        if fault.cut:
            status, length = 200, length + 100
        await send(
            {
                "type": "http.response.start",
                "status": status,
                "headers": [
                    *((k.lower().encode(), v.encode()) for k, v in headers.items()),
                    *([(b"content-length", str(length).encode())] if status != 204 else []),
                ],
            }
        )
        await send({"type": "http.response.body", "body": answer})

    def _fault(self, path: str) -> Fault:
        if self.always is not None:
            return self.always
        if self.faults and path == self.faults[0].path:
            return self.faults.popleft()
        return Fault()

    async def _pass_on(
        self, scope: Scope, path: str, body: bytes
    ) -> tuple[int, dict[str, str], bytes]:
        given = {key.decode(): value.decode() for key, value in scope["headers"]}
        headers = {key: given[key] for key in ("content-type", "content-encoding") if key in given}
        kind, _, secret = given.get("authorization", "").partition(" ")
        if kind == "Token":
            headers["authorization"] = basic(*secret.partition(":")[::2])
        query = scope["query_string"].decode()
        if path == "/api/v2/write":
            asked = {key: value[0] for key, value in parse_qs(query).items()}
            database, _, policy = asked["bucket"].partition("/")
            precision = {"ns": "n", "us": "u"}.get(asked["precision"], asked["precision"])
            query = urlencode({"db": database, "rp": policy, "precision": precision})
            path = "/write"
        if self._client is None:
            self._client = httpx.AsyncClient(timeout=WAIT_S)
        try:
            answer = await self._client.request(
                scope["method"], f"{self._behind}{path}?{query}", content=body, headers=headers
            )
        except httpx.HTTPError as error:
            return 502, {}, repr(error).encode()
        kept = {
            key: answer.headers[key] for key in ("x-influxdb-version",) if key in answer.headers
        }
        return answer.status_code, kept, answer.content
