"""The service of `durable_service.py` as a process that can be killed and started again."""

from __future__ import annotations

import signal
import subprocess
import sys
from pathlib import Path

import pytest

SERVICE = Path(__file__).parent / "durable_service.py"


class Service:
    """The service as a process that can be killed and started again."""

    def __init__(self, folder: Path, way: str, port: int, *more: str) -> None:
        self.command = [sys.executable, str(SERVICE), str(folder), way, str(port), *more]
        self.start()

    def start(self) -> None:
        self.process = subprocess.Popen(self.command, stdout=subprocess.PIPE, text=True)
        assert self.process.stdout is not None
        for line in self.process.stdout:
            if "ready" in line:  # a log line may have come between
                return
        pytest.fail("the service did not start")

    def kill(self) -> None:
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()
        assert self.process.stdout is not None
        self.process.stdout.close()
