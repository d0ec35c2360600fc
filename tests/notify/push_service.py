"""A push service as a browser's maker runs it, on loopback with TLS, and browsers that subscribed there.

It reads what a browser could read (RFC 8291), checks who sent it (RFC 8292), and answers as told.
"""

from __future__ import annotations

import base64
import datetime
import json
import secrets
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import http_ece
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
)
from cryptography.x509.oid import NameOID
from py_vapid import Vapid02

from underlid.notify.outside import Outside
from waiting import WAIT_S


def encoded(raw: bytes) -> str:
    return base64.urlsafe_b64encode(raw).rstrip(b"=").decode()


def decoded(text: str) -> bytes:
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))


class PushedBrowser:
    """A browser that subscribed: it alone can read what is sent to it."""

    def __init__(self, endpoint: str) -> None:
        self.endpoint = endpoint
        self.own = ec.generate_private_key(ec.SECP256R1())
        self.secret = secrets.token_bytes(16)

    @property
    def key(self) -> str:
        point = self.own.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)
        return encoded(point)

    @property
    def address(self) -> str:
        return f"push+{self.endpoint}#{self.key}.{encoded(self.secret)}"

    def read(self, body: bytes) -> dict[str, Any]:
        plain = http_ece.decrypt(body, private_key=self.own, auth_secret=self.secret)
        said: dict[str, Any] = json.loads(plain)
        return said


@dataclass
class Pushed:
    """One message that came, and who sent it as its token says."""

    path: str
    headers: dict[str, str]
    body: bytes
    claims: dict[str, Any]
    sender: str


@dataclass
class PushService:
    """Keeps what comes; answers `status`."""

    port: int
    tls: ssl.SSLContext
    status: int = 201
    retry_after: str = ""
    pushed: list[Pushed] = field(default_factory=list)

    @property
    def origin(self) -> str:
        return f"https://localhost:{self.port}"

    @property
    def outside(self) -> Outside:
        """Return the way out for a test: loopback counts as outside, and this certificate holds."""
        return Outside(lambda address: True, self.tls)

    def browser(self, name: str = "5f2c") -> PushedBrowser:
        """Subscribe a browser."""
        return PushedBrowser(f"{self.origin}/in/{name}?v=2")

    def take(self, path: str, headers: dict[str, str], body: bytes) -> None:
        """Keep a message; its token must hold for this service."""
        assert Vapid02.verify(headers["Authorization"])
        token, key = (part[2:] for part in headers["Authorization"][6:].split(","))
        claims = json.loads(decoded(token.split(".")[1]))
        assert claims["aud"] == self.origin
        self.pushed.append(Pushed(path, headers, body, claims, key))


@contextmanager
def push_service() -> Iterator[PushService]:
    """Give a push service on a free port, in threads of its own."""

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            service.take(self.path, dict(self.headers), body)
            self.send_response(service.status)
            if service.retry_after:
                self.send_header("Retry-After", service.retry_after)
            if 300 <= service.status < 400:
                self.send_header("Location", f"{service.origin}/elsewhere")
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, format: str, *args: object) -> None:
            return

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    with TemporaryDirectory() as folder:
        file = Path(folder) / "localhost.pem"
        file.write_bytes(_certificate())
        here = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        here.load_cert_chain(file)
        service = PushService(server.server_address[1], ssl.create_default_context(cafile=file))
    server.socket = here.wrap_socket(server.socket, server_side=True)
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    try:
        yield service
    finally:
        server.shutdown()
        server.server_close()
        thread.join(WAIT_S)


def _certificate() -> bytes:
    """Return a key and a certificate for localhost, signed by itself."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "localhost")])
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(datetime.datetime(2020, 1, 1, tzinfo=datetime.UTC))
        .not_valid_after(datetime.datetime(2120, 1, 1, tzinfo=datetime.UTC))
        .add_extension(x509.SubjectAlternativeName([x509.DNSName("localhost")]), critical=False)
        .sign(key, hashes.SHA256())
    )
    private = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    return private + made.public_bytes(Encoding.PEM)
