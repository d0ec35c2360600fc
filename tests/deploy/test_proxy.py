"""The TLS proxy of docker-compose.yml with that very configuration, in front of a running service."""

from __future__ import annotations

import contextlib
import http.client
import json
import re
import socket
import ssl
import subprocess
import sys
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlencode

import pytest

from deploy.composed import ROOT, Outside, parts
from deploy.outside import outside, own, running, user_of
from drawn import drawn
from programs import free_port, require
from service.running import Running
from underlid.web.security import (
    BODY_MOST_BYTES,
    PHOTOS_MOST_BYTES,
    TOO_LARGE,
    TOO_LARGE_PHOTOS,
)
from underlid.web.tokens import FIELD
from waiting import WAIT_S

PART = parts()["proxy"]
NAME = "localhost"


@dataclass
class Front:
    """The proxy, and the service behind it."""

    place: Outside
    service: Running
    plain: int
    tls: int
    inside: int
    trust: ssl.SSLContext
    loose: ssl.SSLContext

    def ask(self, method: str, path: str, body: bytes = b"", **headers: str) -> tuple[int, str]:
        answer, text = self.answer(method, path, body, **headers)
        return answer.status, text

    def answer(
        self, method: str, path: str, body: bytes = b"", **headers: str
    ) -> tuple[http.client.HTTPResponse, str]:
        line = http.client.HTTPSConnection(NAME, self.tls, context=self.trust, timeout=WAIT_S)
        names = {name.replace("_", "-"): value for name, value in headers.items()}
        line.request(method, path, body or None, names)
        answer = line.getresponse()
        text = answer.read().decode(errors="replace")
        line.close()
        return answer, text

    def token(self) -> str:
        """Return a new token that may write."""
        words = ["user", "token", "--role", "keeper", "probe", "--data", str(self.service.folder)]
        return underlid(*words).split()[-1]


def underlid(*words: str, **more: str) -> str:
    """Run a command of the service; return what it printed."""
    environment = {"PYTHONPATH": str(ROOT / "service"), **more}
    command = [sys.executable, "-m", "underlid", *words]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=True)
    return done.stdout


@pytest.fixture(scope="module")
def front() -> Iterator[Front]:
    require("nginx")
    with contextlib.ExitStack() as stack:
        place = stack.enter_context(outside())
        plain, tls, inside = free_port(), free_port(), free_port()
        settings = parts(UNDERLID_NAME=f"{NAME}:{tls}")["web"].environment
        service = Running(
            place.folder / "data",
            web_origin=settings["UNDERLID_WEB_ORIGIN"],
            web_proxies="127.0.0.0/8",
            door=False,
        )
        stack.callback(service.stop)
        words = ["user", "add", "Ash", "--data", str(service.folder)]
        underlid(*words, UNDERLID_PASSPHRASE="a long passphrase")
        # The origin is what people type; the service itself listens elsewhere.
        behind = listens(service.process.pid)
        place.swaps |= {
            "listen 127.0.0.1:8081": f"listen 127.0.0.1:{inside}",
            "listen 8080": f"listen 127.0.0.1:{plain}",
            "listen 8443": f"listen 127.0.0.1:{tls}",
            "http://web:8080": f"http://127.0.0.1:{behind}",
            "/tmp/": f"{place.folder}/proxy/",
        }
        place.place(PART)
        own(PART, place.folder / PART.name)
        stack.enter_context(running(place.command(PART), place, PART.name, tls, **user_of(PART)))
        authority = place.folder / "authority.pem"
        authority.write_text(place.secret("proxy_certificate"), encoding="utf-8")
        trust = ssl.create_default_context(cafile=authority)
        loose = ssl.create_default_context(cafile=authority)
        loose.check_hostname = False
        yield Front(place, service, plain, tls, inside, trust, loose)


def listens(pid: int) -> int:
    """Return the port on which process *pid* listens."""
    import psutil

    found = psutil.Process(pid).net_connections("tcp")
    port: int = next(one.laddr.port for one in found if one.status == psutil.CONN_LISTEN)
    return port


def test_plain_http_is_sent_to_https(front: Front) -> None:
    line = http.client.HTTPConnection("127.0.0.1", front.plain, timeout=WAIT_S)
    line.request("GET", "/bins?x=1", headers={"Host": "bins.example"})
    answer = line.getresponse()
    assert answer.status == 308
    assert answer.headers["location"] == "https://bins.example/bins?x=1"
    line.close()


def test_the_page_comes_through_with_its_headers_once(front: Front) -> None:
    answer, _ = front.answer("GET", "/login")
    assert answer.headers.get_all("strict-transport-security") == ["max-age=31536000"]
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    assert "nginx/" not in answer.headers["server"]
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith("__Host-")
    assert "Secure" in cookie


def test_old_tls_is_refused_and_http_2_is_spoken(front: Front) -> None:
    old = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    old.check_hostname, old.verify_mode = False, ssl.CERT_NONE
    old.set_ciphers("ALL:@SECLEVEL=0")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        old.minimum_version = ssl.TLSVersion.TLSv1
        old.maximum_version = ssl.TLSVersion.TLSv1_1
    with socket.create_connection((NAME, front.tls)) as line, pytest.raises(ssl.SSLError):
        old.wrap_socket(line, server_hostname=NAME)
    new = ssl.create_default_context(cafile=front.place.folder / "authority.pem")
    new.set_alpn_protocols(["h2"])
    with (
        socket.create_connection((NAME, front.tls)) as line,
        new.wrap_socket(line, server_hostname=NAME) as safe,
    ):
        assert safe.selected_alpn_protocol() == "h2"


def test_an_event_is_handed_on_at_once(front: Front) -> None:
    bearer = f"Bearer {front.token()}"
    line = http.client.HTTPSConnection(NAME, front.tls, context=front.trust, timeout=WAIT_S)
    line.request(
        "GET", "/api/v1/live", headers={"Authorization": bearer, "Accept-Encoding": "gzip"}
    )
    stream = line.getresponse()
    assert stream.status == 200
    assert stream.headers["content-type"].startswith("text/event-stream")
    body = json.dumps({"bed_temp_c": 22.5}).encode()
    path = "/api/v1/readings?shed=potting&probe=tansy-1"
    status, text = front.ask(
        "POST", path, body, Authorization=bearer, Content_Type="application/json"
    )
    assert status in (200, 202), text
    # A buffering proxy holds small events back: then nothing comes, and the line runs out of time.
    while b'"reading"' not in (got := stream.readline()):
        assert got, "the stream ended"
    line.close()


@pytest.mark.parametrize(
    ("path", "most_bytes", "sentence"),
    [
        ("/api/v1/readings", BODY_MOST_BYTES, TOO_LARGE),
        ("/api/v1/entries/e1/photos", PHOTOS_MOST_BYTES, TOO_LARGE_PHOTOS),
        ("/journal/write", PHOTOS_MOST_BYTES, TOO_LARGE_PHOTOS),
    ],
)
def test_a_large_body_is_refused_in_the_service_s_words(
    front: Front, path: str, most_bytes: int, sentence: str
) -> None:
    line = http.client.HTTPSConnection(NAME, front.tls, context=front.trust, timeout=WAIT_S)
    line.putrequest("POST", path)
    line.putheader("Content-Length", str(most_bytes + 1))
    line.endheaders()
    answer = line.getresponse()
    said = json.loads(answer.read())
    assert (answer.status, said["status"], said["detail"]) == (413, 413, sentence)
    assert answer.headers["content-type"] == "application/problem+json"
    line.close()


def test_a_body_within_the_bound_reaches_the_service(front: Front) -> None:
    status, text = front.ask("POST", "/api/v1/readings", b"x" * BODY_MOST_BYTES)
    assert status == 401, text
    body, bearer = drawn() + b"\0" * 2_000_000, f"Bearer {front.token()}"
    assert len(body) > BODY_MOST_BYTES
    more = {"Authorization": bearer, "Content_Type": "image/jpeg"}
    status, text = front.ask("POST", "/api/v1/entries/none/photos", body, **more)
    assert (status, "There is no entry" in text) == (404, True)


def test_counters_stay_inside(front: Front) -> None:
    assert front.ask("GET", "/metrics")[0] == 404
    assert front.ask("GET", "/healthz")[0] == 200


def test_who_tries_too_often_is_told_to_wait(front: Front) -> None:
    answers = [front.ask("POST", "/login", b"name=x&passphrase=y")[0] for _ in range(14)]
    assert answers[-1] == 429
    assert front.ask("GET", "/healthz")[0] == 200


class Visitor:
    """A browser at an address of its own that tries passphrases."""

    def __init__(self, front: Front, address: str) -> None:
        self._front, self._source = front, (address, 0)
        self._cookie = ""
        page = self._ask("GET", "")[1]
        found = re.search(rf'name="{FIELD}" value="([^"]+)"', page)
        assert found is not None, page
        self._token = found[1]

    def tries(self, name: str) -> str:
        form = {"name": name, "passphrase": "wrong passphrase", FIELD: self._token}
        return self._ask("POST", urlencode(form))[1]

    def _ask(self, method: str, body: str) -> tuple[int, str]:
        line = http.client.HTTPSConnection(
            "127.0.0.1",
            self._front.tls,
            context=self._front.loose,
            timeout=WAIT_S,
            source_address=self._source,
        )
        headers = {"Content-Type": "application/x-www-form-urlencoded", "Cookie": self._cookie}
        # What a visitor says about its own address is not believed.
        headers["X-Forwarded-For"] = "127.0.0.9"
        line.request(method, "/login", body, headers)
        answer = line.getresponse()
        text = answer.read().decode()
        self._cookie = answer.headers.get("set-cookie", self._cookie).partition(";")[0]
        line.close()
        return answer.status, text


def test_a_guesser_does_not_lock_the_others_out(front: Front) -> None:
    guesser = Visitor(front, "127.0.0.2")
    said = [guesser.tries(f"name-{number}") for number in range(7)]
    assert "Too many tries" not in said[5]
    assert "Too many tries" in said[6]
    assert "Too many tries" not in Visitor(front, "127.0.0.3").tries("somebody")


def test_the_health_check_of_the_file(front: Front) -> None:
    kind, *command = PART.said["healthcheck"]["test"]
    assert kind == "CMD"
    asked = [require(command[0])] + [
        word.replace(":8081", f":{front.inside}") for word in command[1:]
    ]
    assert subprocess.run(asked, check=False).returncode == 0
    dead = [word.replace(f":{front.inside}", f":{free_port()}") for word in asked]
    assert subprocess.run(dead, check=False, capture_output=True).returncode != 0


def test_nothing_is_written_outside_of_its_folder(front: Front) -> None:
    written = list((front.place.folder / "proxy").iterdir())
    assert {path.name for path in written} >= {"nginx.pid", "client_body", "proxy"}
    log = Path(front.place.folder / "proxy.log").read_text(encoding="utf-8")
    assert "emerg" not in log
    assert "Permission denied" not in log
