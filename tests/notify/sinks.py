"""A mail server and a web server on loopback that keep what they get and fail when told to."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from email import message_from_bytes
from email.message import Message as Mail
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from aiosmtpd.smtp import SMTP, Envelope, Session

from waiting import WAIT_S


class MailSink:
    """Keeps every mail; answers 451 while `failing`."""

    def __init__(self) -> None:
        self.failing = False
        self.mails: list[Mail] = []
        self.port = 0

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        if self.failing:
            return "451 come back later"
        assert isinstance(envelope.content, bytes)
        self.mails.append(message_from_bytes(envelope.content))
        return "250 taken"

    def address(self, more: str = "") -> str:
        """Return the notification address of this server."""
        return (
            f"mailto://127.0.0.1:{self.port}"
            f"?from=bins@example.org&to=ash@example.org&mode=insecure{more}"
        )

    def text(self, index: int = -1) -> str:
        """Return the plain text of one mail."""
        for part in self.mails[index].walk():
            if part.get_content_type() == "text/plain":
                data = part.get_payload(decode=True)
                assert isinstance(data, bytes)
                return data.decode()
        return ""


@contextmanager
def mail_sink() -> Iterator[MailSink]:
    """Give a mail server on a free port, in a thread of its own."""
    sink = MailSink()
    loop = asyncio.new_event_loop()

    async def serve() -> asyncio.Server:
        server = await loop.create_server(
            lambda: SMTP(sink, hostname="sink.example", loop=loop), "127.0.0.1", 0
        )
        sink.port = server.sockets[0].getsockname()[1]
        return server

    thread = threading.Thread(target=loop.run_forever, daemon=True)
    thread.start()
    server = asyncio.run_coroutine_threadsafe(serve(), loop).result(WAIT_S)
    try:
        yield sink
    finally:
        loop.call_soon_threadsafe(server.close)
        asyncio.run_coroutine_threadsafe(_end_tasks(), loop).result(WAIT_S)
        loop.call_soon_threadsafe(loop.stop)
        thread.join(WAIT_S)
        loop.close()


async def _end_tasks() -> None:
    tasks = asyncio.all_tasks() - {asyncio.current_task()}
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)


class WebSink:
    """Keeps every request; answers `status`."""

    def __init__(self) -> None:
        self.status = 204
        self.location = ""
        self.silent = threading.Event()
        self.requests: list[tuple[str, dict[str, str], bytes]] = []
        self.port = 0

    def address(self, path: str = "/hook", user: str = "") -> str:
        """Return the address of this server."""
        return f"http://{user}127.0.0.1:{self.port}{path}"


@contextmanager
def web_sink() -> Iterator[WebSink]:
    """Give a web server on a free port, in threads of its own."""
    sink = WebSink()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            sink.requests.append((self.path, dict(self.headers), body))
            if sink.silent.is_set():
                sink.silent.wait(0.1)
                self.close_connection = True
                return
            self.send_response(sink.status)
            if sink.location:
                self.send_header("Location", sink.location)
            self.send_header("Content-Length", "0")
            self.end_headers()

        do_GET = do_POST

        def log_message(self, format: str, *args: object) -> None:
            return

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    sink.port = server.server_address[1]
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    try:
        yield sink
    finally:
        server.shutdown()
        server.server_close()
        thread.join(WAIT_S)
