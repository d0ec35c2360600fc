"""What a page says of one bin: the sentence, the newest values, verdicts, alerts and the picture.

Built for each request from the judge's state, the open alerts and the newest readings. Values
only come in here; the wording of labels is `wording.py`, the picture is `profile.py`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from markupsafe import Markup

from underlid.advice.retold import retold
from underlid.alerts.alert import Alert, AlertState
from underlid.binmodel.bins import Bin, Setup, Shed
from underlid.binmodel.faults.fault import SOILS
from underlid.journal.units import Units
from underlid.readings.plausibility import doubt
from underlid.rules.finding import Condition, Verdict
from underlid.storage.records.out_of_service import OutOfService
from underlid.timeline import HOUR_MS
from underlid.web.context import Context
from underlid.web.lessons import lessons_in
from underlid.web.profile import profile_svg
from underlid.web.sayings import out_sentence
from underlid.web.series import AIR_CHANNELS, MOISTURE, moisture_shift_pct, newest_of, places_of
from underlid.web.wording import CONDITIONS, FILM, channel_value, span_of_days

FRESH_MS: Final = 2 * HOUR_MS
"""A value older than this is not shown as the present one (our judgement)."""

PATIENT: Final = (Condition.HUNGRY, Condition.PROBE_FAULT)
"""Of alerts of one priority these come last: they can wait longer (our judgement)."""

TONES: Final = ("out", "calm", "unknown", "see", "act")
"""How a bin is marked, mildest first; always with a word beside the colour."""

TONE_WORDS: Final = {
    "out": "out of service",
    "calm": "fine",
    "unknown": "cannot tell",
    "see": "look when you come by",
    "act": "needs you",
}


@dataclass(frozen=True, slots=True)
class BinView:
    """One bin as a page shows it."""

    bin: Bin
    shed: Shed
    name: str
    tone: str
    sentence: str
    now: dict[str, float | None]
    measured_at_ms: int | None
    film_band: str
    feed: dict[str, Any] | None
    feeding: dict[str, Any] | None
    unsettled: dict[str, Any] | None
    verdicts: list[dict[str, Any]]
    distrusted: list[dict[str, Any]]
    """The sensors that are not believed, each with its reason."""
    alerts: list[Alert]
    picture: Markup
    probes: int
    learnt: list[tuple[str, str]]
    out: OutOfService | None
    assumed: list[str]
    """Sentences on what the bin has taught, each with the days it rests on, and on what it has not."""

    @property
    def tone_word(self) -> str:
        """Return the tone in words."""
        watched = self.tone == "calm" and _watched(self.verdicts)
        return "being watched" if watched else TONE_WORDS[self.tone]


def bin_view(
    context: Context,
    setup: Setup,
    bin_id: str,
    alerts: list[Alert],
    units: Units,
    outs: Mapping[str, OutOfService] | None = None,
) -> BinView:
    """Return what is to be said of bin *bin_id*; *alerts* are the open ones of all bins.

    *outs* are the bins out of service, if they have been asked for already.
    """
    one = setup.bins[bin_id]
    shed = setup.sheds.get(one.shed) or Shed(one.shed)
    name = one.name or one.id
    now_ms = context.clock.now_ms()
    state: dict[str, Any] = context.judged.state(bin_id) or {}
    newest = newest_of(context, setup, bin_id, now_ms - FRESH_MS)
    now: dict[str, float | None] = {
        channel: value if value is None or doubt(channel, value) is None else None
        for channel, value in (state.get("now") or {}).items()
    }
    now |= {channel: value for channel, (value, _) in newest.items()}
    if MOISTURE in newest:
        now[MOISTURE] = newest[MOISTURE][0] + moisture_shift_pct(state)
    held = _held(state)
    now |= dict.fromkeys(held)
    raised = [alert for alert in alerts if alert.bin == bin_id and alert.raised_at_ms is not None]
    own = [retold(alert, units) for alert in raised]
    own.sort(key=lambda alert: (-alert.priority.rank, alert.condition in PATIENT, alert.since_ms))
    probes = sum(place.bin == bin_id for place in places_of(setup, bin_id))
    band = str(state.get("film_band") or "")
    verdicts = list(state.get("verdicts") or [])
    lessons = lessons_in(state, units)
    loud = [alert for alert in own if not _quiet(alert, now_ms)]
    faulty = _faulty(verdicts)
    silenced = {alert.subject for alert in own if alert not in loud}
    tone = _tone(loud, now, verdicts, [probe for probe in faulty if probe not in silenced])
    feed = state.get("feed")
    out = context.records.out_of_service().get(bin_id) if outs is None else outs.get(bin_id)
    return BinView(
        out=out,
        bin=one,
        shed=shed,
        name=name,
        tone="out" if out else tone,
        sentence=(
            out_sentence(name, out, shed.timezone)
            if out
            else _alarm(name, loud)
            or _state_of_things(name, now, band, probes, tone, units, verdicts)
        ),
        now=now,
        measured_at_ms=max(
            (at for channel, (_, at) in newest.items() if channel not in AIR_CHANNELS), default=None
        ),
        film_band=band,
        feed=feed,
        feeding=state.get("feeding"),
        unsettled=state.get("unsettled"),
        verdicts=verdicts,
        distrusted=list(state.get("distrusted") or []),
        alerts=own,
        picture=profile_svg(one, name, now, band, feed, units, held),
        probes=probes,
        learnt=[
            (one["text"], span_of_days(one.get("from"), one.get("until"), shed.timezone))
            for one in lessons.values()
            if one.get("learnt")
        ],
        assumed=[one["text"] for one in lessons.values() if not one.get("learnt")],
    )


def _held(state: dict[str, Any]) -> frozenset[str]:
    """Return the channels of which the judge believes nothing now."""
    doubted = {str(one["channel"]) for one in state.get("distrusted") or [] if not one["until"]}
    if doubted & set(SOILS):
        doubted.add(MOISTURE)
    present = state.get("now") or {}
    return frozenset(one for one in doubted if one in present and present[one] is None)


def views(context: Context, setup: Setup, units: Units) -> list[BinView]:
    """Return all bins, those that need somebody first."""
    alerts = context.records.open_alerts()
    outs = context.records.out_of_service()
    all_views = [bin_view(context, setup, bin_id, alerts, units, outs) for bin_id in setup.bins]
    return sorted(all_views, key=_pressing)


def _pressing(view: BinView) -> tuple[int, int, bool, str]:
    """Return what sorts a bin by how much it needs somebody."""
    rank = max((alert.priority.rank for alert in view.alerts), default=-1)
    patient = all(alert.condition in PATIENT for alert in view.alerts)
    return -TONES.index(view.tone), -rank, patient, view.name


def _tone(
    loud: list[Alert],
    now: dict[str, float | None],
    verdicts: list[dict[str, Any]],
    faulty: list[str],
) -> str:
    """Return how the bin is to be marked; a probe in good health says nothing of the bin."""
    if any(alert.priority.rank >= 2 for alert in loud):
        return "act"
    if loud or faulty:
        return "see"
    blind = all(value is None for channel, value in now.items() if channel not in AIR_CHANNELS)
    judged = any(
        one.get("verdict", Verdict.UNKNOWN) != Verdict.UNKNOWN
        for one in verdicts
        if not one.get("subject")
    )
    return "unknown" if blind or not judged else "calm"


def _quiet(alert: Alert, now_ms: int) -> bool:
    """Tell whether an alert is shelved, or already returning to normal."""
    shelved = alert.shelved_until_ms is not None and alert.shelved_until_ms > now_ms
    return shelved or alert.state is AlertState.RETURNING


def _alarm(name: str, loud: list[Alert]) -> str:
    """Return the sentence of the first alert that is not quiet, "" when there is none."""
    text = loud[0].text if loud else ""
    return text if not text or name in text else f"{name}: {text}"


def _state_of_things(
    name: str,
    now: dict[str, float | None],
    band: str,
    probes: int,
    tone: str,
    units: Units,
    verdicts: list[dict[str, Any]],
) -> str:
    """Return the sentence of a bin without an alert."""
    if not probes:
        return f"{name} has no probe yet, so nothing can be said of it."
    values = [
        f"{word} {channel_value(now[channel], channel, units)}"
        for channel, word in (
            ("bed_temp_c", "bed"),
            ("moisture_pct", "moisture"),
            ("headspace_temp_c", "headspace"),
        )
        if now.get(channel) is not None
    ][:2]
    known = ", ".join(values)
    if faulty := _faulty(verdicts):
        which = "probe" if len(faulty) == 1 else "probes"
        verb = "needs" if len(faulty) == 1 else "need"
        said = known or "nothing can be said of the bed"
        return f"{name}: {said}; its {which} {listed(faulty)} {verb} a look."
    if tone == "unknown":
        if not known:
            return f"{name} has sent nothing usable in the last two hours; look at its probe."
        if not verdicts:
            return f"{name}: {known}; the first judgement follows within a few minutes."
        return f"{name}: {known}; too little is known to judge it yet."
    parts = values + ([FILM[band]] if band in FILM else [])
    watched = _watched(verdicts)
    how = f"is being watched for {listed(watched)}" if watched else "is fine"
    return f"{name} {how}: {', '.join(parts)}." if parts else f"{name} {how}."


def _faulty(verdicts: list[dict[str, Any]]) -> list[str]:
    """Return the probes that seem to be faulty, whether or not for long enough for an alert."""
    return [
        str(one.get("subject"))
        for one in verdicts
        if one.get("condition") == Condition.PROBE_FAULT and one.get("verdict") == Verdict.HOLDS
    ]


def _watched(verdicts: list[dict[str, Any]]) -> list[str]:
    """Return what holds, but has not held long enough for an alert."""
    return [
        CONDITIONS.get(str(one.get("condition")), "").lower()
        for one in verdicts
        if one.get("verdict") == Verdict.HOLDS and not one.get("subject")
    ]


def listed(names: list[str]) -> str:
    """Return names as a sentence has them."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
