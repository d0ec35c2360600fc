"""Workers as processes of their own that are there at once: forked from one that has all imported.

A worker is killed and started many times in one test; importing everything anew each time would
take longer than the test.
"""

from __future__ import annotations

import multiprocessing
import os
import sys
import time
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from programs import free_port
from waiting import WAIT_S

context = multiprocessing.get_context("forkserver")
context.set_forkserver_preload(["underlid.service", "service.forked"])


def work(given: dict[str, Any], log: str, ready: Connection) -> None:
    """Run the service in this process, as `underlid serve` does."""
    from underlid import config, service
    from underlid.clock import ScaledClock

    descriptor = os.open(log, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)
    os.dup2(descriptor, sys.stderr.fileno())
    os.dup2(descriptor, sys.stdout.fileno())
    for name in [name for name in os.environ if name.startswith("UNDERLID_")]:
        del os.environ[name]
    speed, began_s = given.pop("speed"), given.pop("began_s")
    passed_s = time.monotonic() - began_s
    clock = ScaledClock(given.pop("start_ms") + round(passed_s * speed * 1000), speed)
    settings = config.load(**given)
    service.run(settings, clock=clock, on_ready=lambda info: ready.send(info.web_url))


def get_ready() -> None:
    """Have everything imported before the first worker is needed."""
    first = context.Process(target=print)
    first.start()
    first.join()


class Forked:
    """One worker on *folder*; `web` tells where it is."""

    def __init__(self, folder: Path, **settings: object) -> None:
        self._log = folder.parent / f"{folder.name}.log"
        given = {"data": str(folder), "web_port": free_port(), **settings}
        here, there = context.Pipe(duplex=False)
        self._process = context.Process(target=work, args=(given, str(self._log), there))
        self._process.start()
        there.close()
        if not here.poll(WAIT_S):
            raise AssertionError(f"the worker did not start: {self.log()[-2000:]}")
        try:
            self.web: str = here.recv()
        except EOFError:
            raise AssertionError(f"the worker ended: {self.log()[-2000:]}") from None
        finally:
            here.close()

    def log(self) -> str:
        return self._log.read_text(encoding="utf-8") if self._log.exists() else ""

    def kill(self) -> None:
        """End it as a power cut would."""
        self._process.kill()
        self._process.join()

    def stop(self) -> None:
        """Ask it to stop, and wait until it has."""
        self._process.terminate()
        self._process.join(WAIT_S)
