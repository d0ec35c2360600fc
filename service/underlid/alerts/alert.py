"""An alert and its changes, as values. `life.py` moves them; `sentence.py` words them."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from underlid.journal.entries import Portion
from underlid.rules.finding import Advice, Condition, Priority


class AlertState(StrEnum):
    """Where an alert stands, in the terms of IEC 62682."""

    PENDING = "pending"
    """The condition holds, but not yet for the on-delay; nobody is told."""
    ACTIVE = "active"
    RETURNING = "returning"
    """The condition has gone, but not yet for the off-delay."""
    RETURNED = "returned"


@dataclass(frozen=True, slots=True)
class Said:
    """What an alert's sentence says besides its evidence and advice, to say it in other units too."""

    at_ms: int
    name: str
    """Of the bin, as people call it."""
    timezone: str = "UTC"
    reason: str = ""
    forecast_for_ms: int | None = None
    """When what it foresees will be; also of an alert that has come and foresees again."""
    fed: tuple[Portion, ...] = ()
    fed_at_ms: int = 0
    """The feed that it is put down to; nothing where it is put down to none."""
    measured: bool = True
    """Whether anything was measured when it returned to normal."""


@dataclass(frozen=True, slots=True)
class Alert:
    """One alert of one bin: it is raised once, may worsen, and returns to normal once."""

    id: str
    bin: str
    shed: str
    condition: Condition
    subject: str
    state: AlertState
    priority: Priority
    since_ms: int
    """When the condition began to hold (before the on-delay)."""
    state_at_ms: int
    raised_at_ms: int | None = None
    returned_at_ms: int | None = None
    acknowledged_at_ms: int | None = None
    acknowledged_by: str = ""
    shelved_until_ms: int | None = None
    cause: str = ""
    grade: str = ""
    certainty: float = 1.0
    forecast_for_ms: int | None = None
    feed_at_ms: int | None = None
    evidence: dict[str, float | str] = field(default_factory=dict)
    advice: tuple[Advice, ...] = ()
    text: str = ""
    """Its sentence, in the units of the setting."""
    said: Said | None = None
    """None for an alert from before this was kept: its sentence stays as it was written."""
    told_at_ms: tuple[int, ...] = ()
    """When messages were made for it: a return is told only if the raising was, and a bin's
    messages of a day are counted from these."""
    told_priority: Priority | None = None
    """The worst of which messages were made since it came; what wavers about a limit is told once."""


class TransitionKind(StrEnum):
    """What happened to an alert or a spell; the words of `verdicts.jsonl`."""

    ALERT_RAISED = "alert_raised"
    ALERT_WORSENED = "alert_worsened"
    ALERT_RETURNED = "alert_returned"
    SPELL_BEGAN = "spell_began"
    SPELL_ENDED = "spell_ended"


@dataclass(frozen=True, slots=True)
class Transition:
    """One change, at one time, with the reason a person can read."""

    kind: TransitionKind
    at_ms: int
    bin: str
    condition: Condition
    reason: str
    alert: Alert | None = None
    spell: Spell | None = None


@dataclass(frozen=True, slots=True)
class Spell:
    """A stretch of time in which one condition held."""

    bin: str
    condition: Condition
    began_ms: int
    ended_ms: int | None
    grade: str = ""
    peak: float | None = None
    """Film g/m² (condensation), °C (heat, cold) or % (moisture): the worst value."""
    water_g_m2: float | None = None
    feed_at_ms: int | None = None


class Occasion(StrEnum):
    """What a message is about: an alert's change, or something a person asked to be told."""

    ALERT_RAISED = "alert_raised"
    ALERT_WORSENED = "alert_worsened"
    ALERT_RETURNED = "alert_returned"
    ALERT_REPEATED = "alert_repeated"
    """It is said again, for nobody has acknowledged it."""
    LOOK_NOW = "look_now"
    """A big feed is a week old: it is time to see what is left of it."""
    DIGEST = "digest"
    TRIAL = "trial"
    """Whether an address works; it goes to that address only."""


@dataclass(frozen=True, slots=True)
class Message:
    """What is to be told. `key` makes a second sending recognisable."""

    key: str
    alert_id: str
    bin: str
    shed: str
    at_ms: int
    priority: Priority
    title: str
    text: str
    event: Occasion
    of_shed: bool = False
    """It is of the whole shed, and `bin` only the one that it was noticed by."""
    texts: dict[str, str] = field(default_factory=dict)
    """The text in the units that an address may ask for, by their word (`journal.units`)."""
