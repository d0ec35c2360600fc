"""For all tests: made-up examples are the same in every run, a busy machine may take its time, and two
servers stand in for other people's.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, settings

from notify.sinks import MailSink, WebSink, mail_sink, web_sink

settings.register_profile(
    "ours", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("ours")


@pytest.fixture
def mail() -> Iterator[MailSink]:
    """Give a mail server."""
    with mail_sink() as sink:
        yield sink


@pytest.fixture
def web() -> Iterator[WebSink]:
    """Give a web server that takes what is posted."""
    with web_sink() as sink:
        yield sink
