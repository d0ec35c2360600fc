"""Debian programs that tests run for real: skipped with a reason at home, required in CI."""

from __future__ import annotations

import os
import shutil
import socket
from collections.abc import Iterator
from functools import cache
from itertools import count, islice
from pathlib import Path

import pytest

PACKAGES = {
    "mosquitto": "mosquitto",
    "mosquitto_pub": "mosquitto-clients",
    "mosquitto_sub": "mosquitto-clients",
    "mosquitto_passwd": "mosquitto",
    "chromium": "chromium",
    "g++": "g++",
    "nginx": "nginx",
    "influxd": "influxdb",
    "initdb": "postgresql",
    "postgres": "postgresql",
    "pg_dump": "postgresql",
    "pg_restore": "postgresql",
    "pg_isready": "postgresql",
    "systemd-analyze": "systemd",
    "ip": "iproute2",
    "unshare": "util-linux",
    "nsenter": "util-linux",
}
"""Program name -> the Debian package that brings it."""

SBIN = ("/usr/sbin", "/usr/local/sbin")
POSTGRESQL = sorted(map(str, Path("/usr/lib/postgresql").glob("*/bin")), reverse=True)
"""Where Debian keeps the server's programs, out of everybody's path; the newest version first."""


def require(program: str) -> str:
    """Return the path of *program*; without it skip the test, or fail it in CI."""
    search = os.pathsep.join([os.environ.get("PATH", ""), *SBIN, *POSTGRESQL])
    path = shutil.which(program, path=search)
    if path is not None:
        return path
    reason = f"{program} is not installed (Debian package {PACKAGES.get(program, program)})"
    if os.environ.get("CI"):
        pytest.fail(reason)
    pytest.skip(reason)


PORTS = 1_500
FIRST_PORT = 20_000
"""Below what a system gives out by itself (from 32,768 or 49,152 on), so that no connection that some
test opens meanwhile can take a port before its server does; each test process has a part of its own."""


@cache
def _ports() -> Iterator[int]:
    part = int(os.environ.get("PYTEST_XDIST_WORKER", "gw0")[2:]) % 8
    first = FIRST_PORT + part * PORTS
    return (first + (os.getpid() + number) % PORTS for number in count())


def answers(port: int) -> bool:
    """Tell whether a program on this machine takes connections at *port*."""
    try:
        socket.create_connection(("127.0.0.1", port), 5).close()
    except OSError:
        return False
    return True


def free_port() -> int:
    """Return a loopback port that is free, and that no other test of this run is given."""
    for port in islice(_ports(), PORTS):
        with socket.socket() as probe:
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                continue
            return port
    raise OSError(f"no free port from {FIRST_PORT} on")
