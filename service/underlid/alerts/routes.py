"""A route: one of a person's own addresses, and which messages go there. The address itself is not here.

It is kept where it is sent from (`storage.records.routes`), so that no page can show it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from underlid.alerts.alert import Message, Occasion
from underlid.rules.finding import Priority
from underlid.timeline import MINUTE_MS

CHANNEL_PREFIX: Final = "route-"

PUSH_SCHEME: Final = "push+https://"
"""How the address of a browser begins; see `notify.subscription`."""

NO_WAIT: Final = frozenset({Occasion.ALERT_RETURNED, Occasion.ALERT_REPEATED, Occasion.LOOK_NOW})
"""The first two come when others have been told already; a note has nothing to acknowledge."""

WAIT_MOST_MIN: Final = 7 * 24 * 60
"""The longest that an address waits for somebody to acknowledge: a week (our judgement)."""


@dataclass(frozen=True, slots=True)
class RouteRules:
    """What a person wants to be told at one address."""

    least: Priority | None = Priority.LOW
    """Alerts from this priority on; None for no alerts."""

    sheds: tuple[str, ...] = ()
    bins: tuple[str, ...] = ()
    """Only these sheds and bins; all of them where neither is named."""

    quiet: str = ""
    """Own quiet hours, such as 22:00-07:00; empty for those of the settings."""

    unacknowledged_min: int = 0
    """Told only when nobody has acknowledged the alert for so many minutes."""

    digest_hour: int | None = None
    """The hour of the day of the daily digest; None for no digest."""

    digest_always: bool = False
    """The digest comes when there is nothing to say as well."""

    units: str = ""
    """The units of what is told, by their word (`journal.units`); empty for those of the settings."""

    @property
    def wait_ms(self) -> int:
        """Return how long a message waits for somebody else to acknowledge its alert."""
        return self.unacknowledged_min * MINUTE_MS


@dataclass(frozen=True, slots=True)
class Route:
    """One address of a person: how it is called, where it leads to in a word, what it is told."""

    id: str
    person: str
    label: str
    hint: str
    rules: RouteRules
    changed_at_ms: int
    digested_at_ms: int = 0

    @property
    def channel(self) -> str:
        """Return the name under which its messages stand in the outbox."""
        return CHANNEL_PREFIX + self.id


def watches(rules: RouteRules, shed: str, bin_id: str) -> bool:
    """Tell whether a bin is among those the person wants to hear of.

    >>> watches(RouteRules(), "potting", "tansy"), watches(RouteRules(bins=("sorrel",)), "potting", "tansy")
    (True, False)
    """
    everything = not rules.sheds and not rules.bins
    return everything or shed in rules.sheds or bin_id in rules.bins


def reaches(rules: RouteRules, message: Message, *, told_before: bool) -> bool:
    """Tell whether *message* goes to an address; that it is over, only if it was told of before."""
    if rules.least is None or not watches(rules, message.shed, message.bin):
        return False
    if message.event == Occasion.ALERT_RETURNED:
        return told_before
    if message.event == Occasion.ALERT_REPEATED and rules.wait_ms and not told_before:
        return False  # who waits hears of it first when the wait is over
    return message.priority.rank >= rules.least.rank


def worded_for(rules: RouteRules, message: Message) -> Message:
    """Return the message as it is told at an address: in its units; where it waits, with why now."""
    message = replace(message, text=message.texts.get(rules.units, message.text), texts={})
    if not rules.wait_ms or message.event in NO_WAIT:
        return message
    waited = span_words(rules.unacknowledged_min)
    return replace(message, text=f"{message.text} Nobody has acknowledged this for {waited}.")


def span_words(minutes: int) -> str:
    """Return a span in the largest unit that fits it.

    >>> span_words(45), span_words(60), span_words(90), span_words(720)
    ('45 min', '1 h', '90 min', '12 h')
    """
    return f"{minutes // 60} h" if minutes % 60 == 0 else f"{minutes} min"
