"""Runs the app inside the service's own event loop, without touching the process's signals."""

from __future__ import annotations

import asyncio
import contextlib
import socket
from collections.abc import Iterator
from typing import Final

import uvicorn
from fastapi import FastAPI

from underlid.clock import pause
from underlid.errors import UnderlidError
from underlid.web.context import Context

GRACE_S: Final = 3
"""Requests in flight at a stop get this long; without a bound an open stream held a stop up for a
minute."""

BACKLOG: Final = 128
CONNECTIONS_MOST: Final = 1000
KEEP_ALIVE_S: Final = 15
STARTED_POLL_S: Final = 0.01


class _QuietServer(uvicorn.Server):
    """A server that leaves signals to the service around it."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Capture nothing."""
        yield


class Server:
    """The page's listening socket and the task that serves it."""

    def __init__(self, app: FastAPI, host: str, port: int, proxies: str = "") -> None:
        """*proxies*: whose word about a visitor's address is believed, with commas between."""
        self._app = app
        self._host = host
        self.port = port
        self._proxies = proxies
        self._server: _QuietServer | None = None
        self._task: asyncio.Task[None] | None = None

    async def start(self) -> None:
        """Listen; `port` is the real one afterwards. Raises `UnderlidError` when it is taken."""
        listening = _listen(self._host, self.port)
        self.port = listening.getsockname()[1]
        config = uvicorn.Config(
            self._app,
            log_config=None,
            access_log=False,
            server_header=False,
            proxy_headers=bool(self._proxies),
            forwarded_allow_ips=self._proxies,
            limit_concurrency=CONNECTIONS_MOST,
            timeout_keep_alive=KEEP_ALIVE_S,
            timeout_graceful_shutdown=GRACE_S,
        )
        self._server = _QuietServer(config)
        self._task = asyncio.create_task(self._server.serve(sockets=[listening]))
        while not self._server.started:
            if self._task.done():
                await self._task
                raise RuntimeError("the web server ended before it had started")
            await pause(STARTED_POLL_S)

    async def stop(self) -> None:
        """End the streams, finish what is being answered, close the socket."""
        if self._server is None or self._task is None:
            return
        context: Context = self._app.state.context
        context.live.close()
        self._server.should_exit = True
        await self._task
        self._server = self._task = None


def _listen(host: str, port: int) -> socket.socket:
    """Return a listening socket, or say in words why there is none."""
    try:
        family = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0][0]
        listening = socket.create_server((host, port), family=family, backlog=BACKLOG)
    except OSError as error:
        raise UnderlidError(
            "the page's address",
            value=f"{host}:{port}",
            expected=f"a free address of this machine (the system says: {error.strerror or error})",
            next_step="Set web_host and web_port, or stop the program that uses the port.",
        ) from error
    # Connections inherit it; without it every answer waits 40 ms for the other side's delayed ACK.
    listening.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return listening
