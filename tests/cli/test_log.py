"""What the log holds of an error: where it was, and none of the values at hand."""

from __future__ import annotations

import json
from collections.abc import Iterator

import pytest
import structlog

from underlid.cli.log import set_log_up
from underlid.config import Settings

SECRET = "herd-secret"


@pytest.fixture(autouse=True)
def as_before() -> Iterator[None]:
    yield
    structlog.reset_defaults()


@pytest.mark.parametrize("form", ["text", "json"])
def test_an_error_is_logged_without_the_values_at_hand(
    form: str, capsys: pytest.CaptureFixture[str]
) -> None:
    set_log_up(Settings.model_validate({"log_format": form}))

    def send(address: str) -> None:
        raise ConnectionError("no answer")

    try:
        send(f"json://bins.example/{SECRET}")
    except ConnectionError:
        structlog.get_logger().exception("not_sent")
    said = capsys.readouterr().err
    assert "not_sent" in said
    assert "ConnectionError" in said
    assert "no answer" in said
    assert "test_log.py" in said
    assert SECRET not in said
    if form == "json":
        assert json.loads(said)["exception"][0]["frames"][-1]["name"] == "send"
