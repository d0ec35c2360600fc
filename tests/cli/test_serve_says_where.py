"""Where the page and the door are, as `serve` prints it: addresses that can be typed."""

from __future__ import annotations

import socket
from pathlib import Path

import pytest

from underlid.cli.serve import reachable, say_where
from underlid.service import ServiceInfo


@pytest.mark.parametrize(
    ("url", "typed"),
    [
        ("http://0.0.0.0:8080", f"http://{socket.gethostname()}:8080"),
        ("http://:::8080", f"http://{socket.gethostname()}:8080"),
        ("http://[::]:8080", f"http://{socket.gethostname()}:8080"),
        ("http://127.0.0.1:8080", "http://127.0.0.1:8080"),
        ("http://::1:8080", "http://[::1]:8080"),
        ("http://[::1]:8080", "http://[::1]:8080"),
        ("https://bins.example", "https://bins.example"),
    ],
)
def test_an_address_can_be_typed(url: str, typed: str) -> None:
    assert reachable(url) == typed


def test_no_address_of_every_interface_is_printed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    say_where(
        ServiceInfo(
            data=tmp_path,
            web_url="http://0.0.0.0:8080",
            door_host="::",
            door_port=1883,
            door_tls_port=8883,
            door_user="probes",
            door_password="from the test",
            first_start=False,
            start_key="",
        )
    )
    printed = capsys.readouterr().out
    name = socket.gethostname()
    assert f"Page:   http://{name}:8080\n" in printed
    assert f"Door:   mqtt://{name}:1883\n" in printed
    assert f"Door:   mqtts://{name}:8883\n" in printed
