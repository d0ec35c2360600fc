"""Starts the real service as a process of its own, on loopback, and stops or kills it by its pid."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import httpx

from programs import free_port
from waiting import WAIT_S

START = """
import sys, json
from underlid import config, service
from underlid.clock import ScaledClock
given = json.loads(sys.argv[1])
start_ms, speed = given.pop("start_ms", 0), given.pop("speed", 1.0)
clock = ScaledClock(start_ms, speed) if start_ms else None
def ready(info):
    now_ms = clock.now_ms() if clock else 0
    print(json.dumps([info.web_url, info.door_port, info.door_password, now_ms]), flush=True)
service.run(config.load(**given), clock=clock, on_ready=ready)
"""


def hears_probes(web: str) -> bool:
    """Tell whether the broker has agreed to send a service what probes publish."""
    return "broker" not in httpx.get(f"{web}/readyz", timeout=WAIT_S).json()["unwell"]


class Running:
    """One service process on *folder*; `web`, `door_port` and `password` tell where it is."""

    def __init__(self, folder: Path, **settings: object) -> None:
        self.folder = folder
        self.log = (folder.parent / f"{folder.name}.log").open("ab")
        self._speed = float(str(settings.get("speed", 1.0)))
        given = {
            "data": str(folder),
            "door_host": "127.0.0.1",
            "door_port": settings.pop("door_port", free_port()),
            "web_port": free_port(),
            **settings,
        }
        environment = {k: v for k, v in os.environ.items() if not k.startswith("UNDERLID_")}
        self.process = subprocess.Popen(
            [sys.executable, "-c", START, json.dumps(given)],
            stdout=subprocess.PIPE,
            stderr=self.log,
            cwd=folder.parent,
            env=environment,
            text=True,
        )
        assert self.process.stdout is not None
        for line in self.process.stdout:
            if line.startswith("["):
                self.web, self.door_port, self.password, self._ready_ms = json.loads(line)
                self._ready_s = time.monotonic()
                return
        text = Path(self.log.name).read_text(encoding="utf-8")
        raise AssertionError(f"the service did not start: {text[-2000:]}")

    def now_ms(self) -> int:
        """Return what its clock shows, or a moment before, if it was given one."""
        return self._ready_ms + round((time.monotonic() - self._ready_s) * self._speed * 1000)

    def kill(self) -> None:
        """End it as a power cut would."""
        self._end(signal.SIGKILL)

    def stop(self) -> None:
        """Ask it to stop, and wait until it has."""
        self._end(signal.SIGTERM)

    def get(self, path: str) -> str:
        """Return the body of a page."""
        with urllib.request.urlopen(self.web + path, timeout=WAIT_S) as answer:
            body: str = answer.read().decode()
            return body

    def _end(self, how: signal.Signals) -> None:
        if self.process.poll() is None:
            self.process.send_signal(how)
            self.process.wait(WAIT_S)
        if self.process.stdout is not None:
            self.process.stdout.close()
        self.log.close()
