"""What both ways in ask of the writer: take a batch, call back after the fsynced commit.

`storage/recorder.py` is the one that does it in the service; the tests of this package also use
a hand-written one that can be full, slow or broken.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Protocol

from underlid.readings.values import Admitted, RawMessage


class Outcome(Protocol):
    """What became of one batch. With an error nothing was stored: do not acknowledge."""

    @property
    def admitted(self) -> Admitted:
        """What the batch's messages turned into."""
        ...

    @property
    def error(self) -> Exception | None:
        """Why nothing was stored, or None."""
        ...


class Intake(Protocol):
    """Takes batches in order and answers in order."""

    def submit(self, batch: Sequence[RawMessage], done: Callable[[Outcome], None]) -> bool:
        """Take *batch* and call *done* once, from another thread, after the commit.

        False when the queue is full: nothing was taken, *done* is not called; try again later.
        """
        ...


class NoIntake:
    """Stands where a writer would, for a worker that only publishes."""

    def submit(self, batch: Sequence[RawMessage], done: Callable[[Outcome], None]) -> bool:  # noqa: ARG002
        """Take nothing."""
        return False
