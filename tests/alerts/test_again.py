"""What is said again, and when it stops."""

from __future__ import annotations

from dataclasses import replace

import pytest

from underlid.alerts.again import TIMES_MOST, again
from underlid.alerts.alert import Alert, AlertState, Occasion
from underlid.binmodel.bins import Bin
from underlid.rules.finding import Condition, Priority
from underlid.timeline import DAY_MS, HOUR_MS

TANSY = Bin("tansy", "potting", "Tansy")
TOLD_MS = 100 * DAY_MS
ALERT = Alert(
    "a1", "tansy", "potting", Condition.OVERHEATING, "", AlertState.ACTIVE, Priority.HIGH,
    TOLD_MS - HOUR_MS, TOLD_MS, TOLD_MS, told_at_ms=(TOLD_MS,), text="Tansy's bed is at 31 °C.",
)  # fmt: skip
EVERY_MS = 12 * HOUR_MS


def test_it_is_said_again_with_how_long_it_holds_once_for_each_stretch() -> None:
    assert again(ALERT, TANSY, TOLD_MS + EVERY_MS - 1, EVERY_MS) is None
    first = again(ALERT, TANSY, TOLD_MS + EVERY_MS, EVERY_MS)
    assert first is not None
    assert first == again(ALERT, TANSY, TOLD_MS + 2 * EVERY_MS - 1, EVERY_MS)
    assert first.event == Occasion.ALERT_REPEATED
    assert first.title == "Tansy: too warm (said again)"
    assert first.text == (
        "Said again, for nobody has acknowledged it: it has held for 13 h. Tansy's bed is at 31 °C."
    )
    later = again(ALERT, TANSY, TOLD_MS + 4 * EVERY_MS, EVERY_MS)
    assert later is not None
    assert later.key != first.key
    assert "it has held for 2 days" in later.text
    foreseen = again(replace(ALERT, forecast_for_ms=1), TANSY, TOLD_MS + EVERY_MS, EVERY_MS)
    assert foreseen is not None
    assert "it has been foreseen for 13 h" in foreseen.text


def test_after_the_last_time_it_is_not_said_any_more() -> None:
    last = again(ALERT, TANSY, TOLD_MS + TIMES_MOST * EVERY_MS, EVERY_MS)
    assert again(ALERT, TANSY, TOLD_MS + 40 * DAY_MS, EVERY_MS) == last


@pytest.mark.parametrize(
    "change",
    [
        {"acknowledged_at_ms": TOLD_MS},
        {"shelved_until_ms": TOLD_MS + 2 * DAY_MS},
        {"state": AlertState.RETURNED},
        {"state": AlertState.RETURNING},
        {"priority": Priority.MEDIUM},
        {"told_at_ms": ()},
        {"told_at_ms": (TOLD_MS, TOLD_MS + HOUR_MS)},
    ],
)
def test_what_was_seen_shelved_or_told_lately_is_not_said_again(change: dict[str, object]) -> None:
    assert again(replace(ALERT, **change), TANSY, TOLD_MS + EVERY_MS, EVERY_MS) is None  # type: ignore[arg-type]
