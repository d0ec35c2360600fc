"""A test message to somebody's address, asked for on a page or by a program."""

from __future__ import annotations

import threading
from typing import Final

from underlid.alerts.alert import Occasion
from underlid.alerts.routes import Route
from underlid.clock import monotonic_s
from underlid.storage.records import RouteNews
from underlid.storage.records.outbox import WAITING
from underlid.storage.records.trials import TooManyTrialsError
from underlid.timeline import SECOND_MS
from underlid.web.context import Context
from underlid.web.problem import Problem

ANSWER_S: Final = 8.0
"""How long somebody waits for its fate: the courier of another process looks every 5 s."""

LOOK_EVERY_S: Final = 0.2


def send_trial(context: Context, route: Route, asker: str) -> RouteNews | None:
    """Send a test message, wait a little, and return what became of it."""
    text = f"{asker} asked whether messages arrive at this address. They do. Nothing to do."
    try:
        context.records.post_trial(route, asker, text, context.clock.now_ms())
    except TooManyTrialsError as error:
        after_s = -(-error.wait_ms // SECOND_MS)
        raise Problem(429, str(error), "Too many", {"retry-after": str(after_s)}) from None
    context.wake_courier()
    until_s, pause = monotonic_s() + ANSWER_S, threading.Event()
    while (news := context.records.last_delivery(route, Occasion.TRIAL)) is not None:
        if news.state != WAITING or monotonic_s() > until_s:
            break
        pause.wait(LOOK_EVERY_S)
    return news
