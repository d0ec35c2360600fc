"""Debian's InfluxDB 1.6.7, with its own configuration and folders, on loopback only.

It has no `/api/v2/write`; `influx_front.py` stands before it.
"""

from __future__ import annotations

import base64
import json
import subprocess
import urllib.error
import urllib.request
from pathlib import Path
from urllib.parse import urlencode

from programs import free_port, require
from waiting import WAIT_S, wait_until

USER, PASSWORD = "underlid", "worms-need-air"
DATABASE = "underlid"

CONFIGURATION = """
reporting-disabled = true
bind-address = "127.0.0.1:{rpc}"

[meta]
  dir = "{folder}/meta"

[data]
  dir = "{folder}/data"
  wal-dir = "{folder}/wal"
  query-log-enabled = false
  cache-max-memory-size = "128m"
  cache-snapshot-write-cold-duration = "{cold}"
  compact-full-write-cold-duration = "{cold}"

[monitor]
  store-enabled = false

[http]
  bind-address = "127.0.0.1:{port}"
  auth-enabled = true
  log-enabled = false

[continuous_queries]
  enabled = false

[logging]
  level = "warn"
"""


class Influxd:
    """One server; may be killed and started again on the same folders and port."""

    def __init__(self, folder: Path) -> None:
        self._program = require("influxd")
        folder.mkdir(parents=True, exist_ok=True)
        self.folder = folder
        self.port = free_port()
        self._configuration = folder / "influxdb.conf"
        self.configure()
        self._process: subprocess.Popen[bytes] | None = None
        self.start()
        self.ask(f"CREATE USER {USER} WITH PASSWORD '{PASSWORD}' WITH ALL PRIVILEGES")
        self.ask(f"CREATE DATABASE {DATABASE}")

    def configure(self, cold: str = "10m") -> None:
        """Write the configuration; *cold* is how long data lies still before it is packed."""
        text = CONFIGURATION.format(rpc=free_port(), port=self.port, folder=self.folder, cold=cold)
        self._configuration.write_text(text)

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Start it and wait until it answers."""
        log = (self.folder / "log").open("ab")
        self._process = subprocess.Popen(
            [self._program, "-config", str(self._configuration)], stdout=log, stderr=log
        )
        log.close()
        process = self._process
        wait_until(lambda: self._pings() or process.poll() is not None)
        assert process.poll() is None, (self.folder / "log").read_text()[-2000:]

    def kill(self) -> None:
        """Kill it as a power cut does."""
        assert self._process is not None
        self._process.kill()
        self._process.wait()

    def stop(self) -> None:
        """End it."""
        if self._process is not None and self._process.poll() is None:
            self._process.terminate()
            try:
                self._process.wait(WAIT_S)
            except subprocess.TimeoutExpired:
                self.kill()

    def _pings(self) -> bool:
        try:
            urllib.request.urlopen(f"{self.url}/ping", timeout=WAIT_S).close()
        except OSError:
            return False
        return True

    def ask(self, statement: str, database: str = "") -> list[list[object]]:
        """Return the rows that a statement answers with."""
        body = urlencode({"q": statement, "db": database, "epoch": "ms"}).encode()
        with self._open("/query", body) as answer:
            found = json.load(answer)["results"][0]
        assert "error" not in found, found
        return [row for one in found.get("series", []) for row in one["values"]]

    def write(self, lines: str, database: str) -> None:
        """Store lines as another program would."""
        self._open(f"/write?db={database}&precision=ns", lines.encode()).close()

    def _open(self, path: str, body: bytes):  # noqa: ANN202
        request = urllib.request.Request(self.url + path, body)
        request.add_header("Authorization", basic(USER, PASSWORD))
        return urllib.request.urlopen(request, timeout=WAIT_S)


def basic(user: str, password: str) -> str:
    return "Basic " + base64.b64encode(f"{user}:{password}".encode()).decode()
