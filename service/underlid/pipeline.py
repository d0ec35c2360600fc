"""READ THIS FIRST. The reading's way in two functions: `ingest` for what comes in, `evaluate`
for what it means. Both are pure: values in, values out, no clock, no I/O.

`ingest` runs once per batch of messages, before the commit; `evaluate` runs on the tick, after
it. Ingest never waits for judgement. Around them: `storage.recorder` (commit, then acknowledge)
and `judge` (which bin is due).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

from underlid.advice.catalogue import advice_for
from underlid.advice.days import waits_for
from underlid.advice.retold import in_all_units
from underlid.alerts.alert import Alert, AlertState, Message, Spell, Transition
from underlid.alerts.life import step
from underlid.alerts.policy import AT_ONCE, Delays, delays_of
from underlid.alerts.said import worded_alert
from underlid.alerts.telling import MESSAGES_A_DAY, message_for
from underlid.alerts.together import is_of_shed, message_of_shed
from underlid.binmodel.faults.fault import Cause
from underlid.binmodel.faults.soil_moved import WATERED_AFTER
from underlid.binmodel.known import Known
from underlid.binmodel.lids.film import day_offset
from underlid.binmodel.probes.hot import BUCKET_MS, WINDOW_BUCKETS
from underlid.binmodel.settling import unsettled
from underlid.binmodel.taught.learning import learn
from underlid.binmodel.taught.old_samples import reads_of
from underlid.binmodel.window import BinWindow
from underlid.journal.standing import stands
from underlid.journal.units import SI, Units
from underlid.lookback import spells
from underlid.memory import BinMemory
from underlid.readings.admission import keep_apart
from underlid.readings.decode import decode_into
from underlid.readings.mapped import NO_MAPPINGS, Mappings
from underlid.readings.values import Admitted, RawMessage
from underlid.rules.catalogue import findings
from underlid.rules.finding import Finding, Verdict
from underlid.rules.foreseen import NOT_AGAIN_REASON
from underlid.timeline import DAY_MS

Key = TypeVar("Key")
Value = TypeVar("Value")


def ingest(batch: Sequence[RawMessage], mappings: Mappings = NO_MAPPINGS) -> Admitted:
    """Return everything a batch of messages holds, in the order of its messages.

    *mappings* say how messages of other firmware are read.

    Total: a hostile message becomes a rejection with its reason and never stops the others.
    """
    admitted = Admitted([], [], [], [])
    for message in batch:
        decode_into(message, admitted, mappings)
    keep_apart(admitted.readings)
    return admitted


@dataclass(frozen=True, slots=True)
class Judgement:
    """One bin, judged once: what was found, what changed, and what is to be told."""

    bin: str
    at_ms: int
    findings: tuple[Finding, ...]
    alerts: tuple[Alert, ...]
    """Those not yet returned, and those that returned, or were dropped unraised, just now."""
    transitions: tuple[Transition, ...]
    messages: tuple[Message, ...]
    spells: tuple[Spell, ...] = ()
    """Those that began just now, whose condition went, or that went on."""


def evaluate(window: BinWindow, memory: BinMemory, units: Units = SI) -> Judgement:
    """Judge one bin at `window.now_ms`; *memory* is brought up to that moment.

    What is known first, then every rule, then for each finding its advice, its alert's next step,
    its spell's next step, and the message that a change is worth.
    """
    now_ms = window.now_ms
    window, known = know(window, memory)
    open_priorities = {
        condition: alert.priority
        for (condition, subject), alert in memory.alerts.items()
        if not subject and not _only_foreseen(alert)
    }
    found = findings(window, known, open_priorities)
    hold = [one for one in found if one.verdict is Verdict.HOLDS]
    waits = waits_for([*hold, *memory.alerts.values()])
    found = [
        replace(one, advice=advice_for(one, window, known, units, waits))
        if one.verdict is Verdict.HOLDS
        else one
        for one in found
    ]
    changes: list[Transition] = []
    returned: list[Alert] = []
    moved: list[Spell] = []
    for finding in found:
        changes += _alert_step(finding, window, memory, returned, units)
        if finding.condition in spells.WATCHED:
            held = memory.spells.get(finding.condition)
            spell, told = spells.step(held, finding, window, memory.film)
            _put(memory.spells, finding.condition, spell)
            moved += [spell] if spell not in (None, held) else []
            changes += told
    changes += _no_longer_watched(found, window, memory, returned, units)
    _note_moves(changes, memory)
    messages = _messages(changes, window, memory, returned)
    memory.judged_at_ms = now_ms
    memory.findings = tuple(found)
    return Judgement(
        window.bin.id,
        now_ms,
        memory.findings,
        (*memory.alerts.values(), *returned),
        tuple(changes),
        tuple(messages),
        tuple(moved),
    )


def _only_foreseen(alert: Alert) -> bool:
    """Tell whether an alert foresees and is not raised yet: it must be as sure again the next hour."""
    return alert.state is AlertState.PENDING and alert.forecast_for_ms is not None


def know(window: BinWindow, memory: BinMemory) -> tuple[BinWindow, Known]:
    """Bring what is known of the bin up to the window's moment: lessons, film, trend, outlook.

    Lessons are learnt once a day and each part of the outlook is made once an hour, at moments of the bin's
    own that do not depend on when the service was started; late data, journal entries and new lessons make
    them anew.
    """
    if window.entries != memory.entries:
        _journal_changed(window, memory)
    begins_ms = day_offset_ms(window.bin.id)
    day = (window.now_ms - begins_ms) // DAY_MS
    changed = memory.trust.advance(window)
    if changed is not None:
        memory.look_again(changed)
    if window.lessons is not memory.lessons:
        window = replace(window, lessons=memory.lessons)
    memory.film.advance(window)
    if day != memory.day:
        then = replace(window, now_ms=day * DAY_MS + begins_ms, lessons=None)
        memory.reads.update(reads_of(then))
        memory.lessons = learn(then, memory.film.when_day_began())
        memory.day = day
        memory.outlook.forget()
        window = replace(window, lessons=memory.lessons)
    memory.outlook.renew(window, memory.film, begins_ms)
    out = memory.outlook
    return window, Known(memory.film, out.drying, out.forecast, out.food, out.bed)


def day_offset_ms(bin_id: str) -> int:
    """Return when after midnight (UTC) a bin is learnt from, so that not all are at once.

    >>> day_offset_ms("tansy") % BUCKET_MS
    0
    """
    return day_offset(bin_id) * BUCKET_MS


def _journal_changed(window: BinWindow, memory: BinMemory) -> None:
    """Go back to the earliest entry that has become known, was corrected or withdrawn.

    One that only left the window is no news: to go back for it would find faults anew from fewer days.
    """
    oldest = window.end - WINDOW_BUCKETS
    known, before = set(window.entries), set(memory.entries)
    gone = [one for one in before - known if one.at_ms // BUCKET_MS >= oldest or stands(one)]
    news = [*gone, *(known - before)]
    if news:
        earliest = min(one.at_ms for one in news) // BUCKET_MS
        memory.trust.rewind(earliest - WATERED_AFTER)
        memory.look_again(earliest)
    memory.outlook.forget()
    memory.entries = window.entries


def _alert_step(
    finding: Finding,
    window: BinWindow,
    memory: BinMemory,
    returned: list[Alert],
    units: Units,
    delays: Delays | None = None,
) -> list[Transition]:
    """Move the alert of one finding on, with its sentence; sooner for a herd that is settling in."""
    key = (finding.condition, finding.subject)
    alert = memory.alerts.get(key)
    if alert is None and finding.verdict is not Verdict.HOLDS:
        return []
    holds = finding.verdict is Verdict.HOLDS
    said = finding if holds or alert is None else alert
    foreseen = said.forecast_for_ms is not None
    if delays is None:
        watchful = unsettled(window) is not None
        again = finding.reason == NOT_AGAIN_REASON
        delays = delays_of(
            finding.condition, watchful=watchful, foreseen=foreseen, again=again and not foreseen
        )
    alert, change = step(alert, finding, window.bin, window.now_ms, delays)
    if alert is not None:
        if holds or alert.state is AlertState.RETURNED:
            alert = worded_alert(alert, memory.alerts.get(key), finding, window, units)
        alert = memory.shed_told.mark(alert)
        if change is not None:
            change = replace(change, alert=alert)
    elif key in memory.alerts:
        dropped = memory.alerts[key]
        returned.append(replace(dropped, state=AlertState.RETURNED, returned_at_ms=window.now_ms))
    if alert is not None and alert.state is AlertState.RETURNED:
        returned.append(alert)
        alert = None
    _put(memory.alerts, key, alert)
    return [change] if change else []


def _note_moves(changes: Sequence[Transition], memory: BinMemory) -> None:
    """Note which probes were told to be moved: samples weighed before say nothing of them any more."""
    for alert in (*(change.alert for change in changes), *memory.alerts.values()):
        if alert is not None and alert.cause == Cause.MOVED and alert.raised_at_ms is not None:
            memory.moved_ms[alert.subject] = alert.since_ms


def _no_longer_watched(
    found: Sequence[Finding],
    window: BinWindow,
    memory: BinMemory,
    returned: list[Alert],
    units: Units,
) -> list[Transition]:
    """End the alerts that no rule speaks of any more: their probe was taken out of the set-up."""
    spoken_of = {(finding.condition, finding.subject) for finding in found}
    changes: list[Transition] = []
    for condition, subject in [key for key in memory.alerts if key not in spoken_of]:
        gone = Finding(condition, Verdict.CLEAR, subject=subject, reason="no longer watched")
        while (condition, subject) in memory.alerts:
            changes += _alert_step(gone, window, memory, returned, units, AT_ONCE)
    return changes


def _messages(
    changes: Sequence[Transition], window: BinWindow, memory: BinMemory, returned: list[Alert]
) -> list[Message]:
    """Return what is told of *changes*, and note with each alert that it was."""
    messages = []
    told = memory.shed_told
    for change in changes:
        if is_of_shed(change, window, told):
            message = message_of_shed(change, window, told)
        else:
            message = message_for(change, window.bin, memory.told_at_ms)
        if message is not None:
            messages.append(in_all_units(message, change.alert) if change.alert else message)
            memory.told_at_ms = [*memory.told_at_ms[-MESSAGES_A_DAY:], message.at_ms]
            for key, alert in memory.alerts.items():
                memory.alerts[key] = told.mark(_told(alert, message))
            returned[:] = [_told(alert, message) for alert in returned]
    return messages


def _told(alert: Alert, message: Message) -> Alert:
    """Return *alert* with the message noted, if it is about this one."""
    if alert.id != message.alert_id:
        return alert
    told_at_ms = (*alert.told_at_ms[-MESSAGES_A_DAY:], message.at_ms)
    before = alert.told_priority or message.priority
    worst = max(before, message.priority, key=lambda one: one.rank)
    return replace(alert, told_at_ms=told_at_ms, told_priority=worst)


def _put(where: dict[Key, Value], key: Key, value: Value | None) -> None:
    if value is None:
        where.pop(key, None)
    else:
        where[key] = value
