"""Whether a message may go now, must wait for quiet hours to end, or is not needed any more."""

from __future__ import annotations

from typing import Final

from underlid.alerts.alert import Occasion
from underlid.alerts.quiet import LOUD, QuietHours
from underlid.alerts.routes import RouteRules
from underlid.binmodel.facts import zone_named
from underlid.rules.finding import Priority
from underlid.storage.records import Delivery, Records

ASKED_FOR: Final = frozenset({Occasion.TRIAL, Occasion.DIGEST})
"""What a person asked for at that very time: quiet hours do not hold it back."""


def quiet_until_ms(
    records: Records,
    delivery: Delivery,
    rules: RouteRules | None,
    everybodys: QuietHours | None,
    now_ms: int,
) -> int | None:
    """Return until when a message waits because its shed has quiet hours; None when it may go."""
    message = delivery.message
    again = message.event == Occasion.ALERT_REPEATED and message.priority is not Priority.CRITICAL
    if message.event in ASKED_FOR or (message.priority in LOUD and not again):
        return None
    own = rules.quiet if rules is not None else ""
    quiet = QuietHours.of(own) if own else everybodys
    if quiet is None:
        return None
    shed = records.setup().sheds.get(message.shed)
    return quiet.until_ms(now_ms, zone_named(shed.timezone if shed else "UTC"))


def why_needless(
    records: Records, delivery: Delivery, rules: RouteRules | None, now_ms: int
) -> str | None:
    """Return why a message is not to be sent any more; None while it is."""
    message = delivery.message
    waited = rules is not None and rules.wait_ms > 0
    again = message.event == Occasion.ALERT_REPEATED
    if not message.alert_id or not (waited or again):
        return None
    if message.event == Occasion.ALERT_RETURNED:
        told = records.was_told(message.alert_id, delivery.channel)
        return None if told else "nobody was told of it here"
    needed = records.needs_somebody(message.alert_id, message.at_ms, now_ms)
    return None if needed else "somebody has seen to it"
