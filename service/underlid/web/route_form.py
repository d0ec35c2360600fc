"""What an address is told, as fields of a form and as a sentence. Values only."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from underlid.alerts.quiet import QuietHours
from underlid.alerts.routes import RouteRules, span_words
from underlid.binmodel.bins import Setup
from underlid.rules.finding import Priority
from underlid.web.forms import FieldError, choice

LEAST: Final = {
    "low": "everything",
    "medium": "what wants somebody today or tomorrow, and what is more urgent",
    "high": "what wants somebody today or now",
    "critical": "only what wants somebody now",
    "none": "no alerts",
}
WAITS: Final = {
    "0": "at once",
    "15": "if not acknowledged for 15 min",
    "30": "if not acknowledged for 30 min",
    "60": "if not acknowledged for 1 h",
    "120": "if not acknowledged for 2 h",
    "240": "if not acknowledged for 4 h",
    "720": "if not acknowledged for 12 h",
    "1440": "if not acknowledged for 24 h",
}
HOURS: Final = {"": "no digest"} | {str(hour): f"at {hour:02d}:00" for hour in range(24)}

UNIT_WORDS: Final = {"": "as here for everybody", "si": "°C and kilograms", "us": "°F and pounds"}

PLACES_MOST: Final = 120
"""Sheds and bins that one form lists; beyond it bins are chosen with `underlid user route`."""


def rules_from(form: Mapping[str, str], setup: Setup, old: RouteRules) -> RouteRules:
    """Return what a form asks for; of bins too many to be listed, what was chosen stays."""
    least = choice(form, "least", "what is told", LEAST)
    waits = WAITS if str(old.unacknowledged_min) in WAITS else WAITS | _as_it_is(old)
    listed = len(setup.bins) + len(setup.sheds) <= PLACES_MOST
    bins = tuple(one for one in setup.bins if form.get(f"bin_{one}")) if listed else old.bins
    return RouteRules(
        least=None if least == "none" else Priority(least),
        sheds=tuple(one for one in setup.sheds if form.get(f"shed_{one}")),
        bins=bins,
        quiet=_quiet(form),
        unacknowledged_min=int(choice(form, "wait", "when it is told", waits)),
        digest_hour=int(hour) if (hour := choice(form, "digest", "daily digest", HOURS)) else None,
        digest_always=bool(form.get("digest_always")),
        units=choice(form, "units", "units", UNIT_WORDS),
    )


def _as_it_is(rules: RouteRules) -> dict[str, str]:
    """Return a wait that the form does not offer and the command line gave."""
    minutes = rules.unacknowledged_min
    return {str(minutes): f"if not acknowledged for {span_words(minutes)}"}


def fields_of(rules: RouteRules, label: str) -> dict[str, str]:
    """Return the fields that a form for *rules* begins with."""
    begin, _, end = rules.quiet.partition("-")
    fields = {
        "label": label,
        "least": rules.least.value if rules.least else "none",
        "wait": str(rules.unacknowledged_min),
        "quiet_from": begin,
        "quiet_until": end,
        "digest": "" if rules.digest_hour is None else str(rules.digest_hour),
        "digest_always": "yes" * rules.digest_always,
        "units": rules.units,
    }
    fields |= {f"shed_{one}": "yes" for one in rules.sheds}
    return fields | {f"bin_{one}": "yes" for one in rules.bins}


def told_sentence(rules: RouteRules, setup: Setup) -> str:
    """Return in words what an address is told.

    >>> told_sentence(RouteRules(Priority.HIGH, unacknowledged_min=30), Setup({}, {}, {}))
    'Alerts: what wants somebody today or now, if nobody has acknowledged it for 30 min.'
    """
    said = "No alerts" if rules.least is None else f"Alerts: {LEAST[rules.least.value]}"
    names = [_name(setup.sheds[one].name, one) for one in rules.sheds if one in setup.sheds]
    names += [_name(setup.bins[one].name, one) for one in rules.bins if one in setup.bins]
    if rules.sheds or rules.bins:
        said += f", of {', '.join(names) or 'bins that are gone'}"
    if rules.unacknowledged_min:
        said += f", if nobody has acknowledged it for {span_words(rules.unacknowledged_min)}"
    said += f". Quiet {rules.quiet}" if rules.quiet else ""
    if rules.digest_hour is not None:
        always = ", also when there is nothing to say" if rules.digest_always else ""
        said += f". Daily digest at {rules.digest_hour:02d}:00{always}"
    if rules.units:
        said += f". In {UNIT_WORDS[rules.units]}"
    return f"{said}."


def _name(name: str, id_: str) -> str:
    return name or id_.capitalize()


def _quiet(form: Mapping[str, str]) -> str:
    """Return the quiet hours of two fields; empty for those of the settings."""
    begin, end = form.get("quiet_from", "").strip(), form.get("quiet_until", "").strip()
    said = f"{begin}-{end}" if begin or end else ""
    try:
        QuietHours.of(said)
    except ValueError:
        raise FieldError(
            "quiet_from",
            "quiet hours",
            value=said,
            expected="two times such as 22:00 and 07:00",
            next_step="Fill in both, or neither.",
        ) from None
    return said
