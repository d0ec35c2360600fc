"""A mail server and a web server that only listen, for what the service sends out."""

from __future__ import annotations

import email
import threading
from email.message import Message
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from aiosmtpd.controller import Controller

from programs import free_port


class MailSink:
    """A real SMTP server on loopback that keeps what it is given."""

    def __init__(self) -> None:
        self.mails: list[Message] = []
        self._controller = Controller(self, hostname="127.0.0.1", port=free_port())
        self._controller.start()

    @property
    def port(self) -> int:
        port: int = self._controller.port
        return port

    async def handle_DATA(self, _server: Any, _session: Any, envelope: Any) -> str:
        self.mails.append(email.message_from_bytes(envelope.content))
        return "250 OK"

    def close(self) -> None:
        self._controller.stop()


class HookSink:
    """A real HTTP server on loopback that keeps (headers, body) of every POST."""

    def __init__(self) -> None:
        self.posts: list[tuple[dict[str, str], bytes]] = []
        sink = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                sink.posts.append((dict(self.headers), body))
                self.send_response(204)
                self.end_headers()

            def log_message(self, *_args: object) -> None:
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._thread = threading.Thread(target=self._server.serve_forever, daemon=True)
        self._thread.start()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self._server.server_address[1]}/bins"

    def close(self) -> None:
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()
