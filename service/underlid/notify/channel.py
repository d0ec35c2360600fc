"""What a channel is: something with a name that takes a message or says why not."""

from __future__ import annotations

from typing import Protocol

from underlid.alerts.alert import Message


class ChannelError(Exception):
    """A channel did not take a message: a clause without addresses or secrets.

    *wait_ms* is how long it asked to be left alone.
    """

    def __init__(self, why: str, wait_ms: int = 0) -> None:
        super().__init__(why)
        self.wait_ms = wait_ms


class AddressEndedError(ChannelError):
    """Nobody is at the address any more, and nobody will be: it is not to be tried again."""


class Channel(Protocol):
    """One way to tell people. Its name stands in the outbox and on the page: no secrets in it."""

    name: str

    def send(self, message: Message, now_ms: int) -> None:
        """Hand *message* over; raises `ChannelError` when it was not taken. Bounded in time."""
        ...
