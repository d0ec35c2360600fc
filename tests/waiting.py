"""Tests wait for what they need, never for a time: a busy machine is late, and late is not wrong."""

from __future__ import annotations

import time
from collections.abc import Callable

import pytest

WAIT_S = 120.0
"""When a test gives up: far longer than anything takes, on a small machine that is busy too."""

LOOK_S = 0.01


def wait_until(holds: Callable[[], object], within_s: float = WAIT_S) -> None:
    """Wait until *holds()* is true, or fail."""
    until = time.monotonic() + within_s
    while not holds():
        if time.monotonic() > until:
            pytest.fail("it did not come true in time")
        time.sleep(LOOK_S)
