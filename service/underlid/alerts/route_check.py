"""Refuses what cannot be told at an address: places that are not there, quiet hours that are no hours."""

from __future__ import annotations

from underlid.alerts.quiet import QuietHours
from underlid.alerts.routes import WAIT_MOST_MIN, RouteRules
from underlid.binmodel.bins import Setup
from underlid.errors import UnderlidError


def checked(rules: RouteRules, setup: Setup) -> RouteRules:
    """Return *rules*, which can be kept; raises `UnderlidError` that names what is wrong."""
    for what, given, known in (
        ("shed", rules.sheds, setup.sheds.keys()),
        ("bin", rules.bins, setup.bins.keys()),
    ):
        for one in given:
            if one not in known:
                expected = f"the id of a {what} that is set up"
                raise _refusal(what, one, expected, "List the bins, with their sheds.")
    try:
        QuietHours.of(rules.quiet)
    except ValueError:
        raise _refusal("quiet hours", rules.quiet, "two times, such as 22:00-07:00") from None
    if not 0 <= rules.unacknowledged_min <= WAIT_MOST_MIN:
        expected = f"0 to {WAIT_MOST_MIN} min"
        raise _refusal("wait for others to acknowledge", rules.unacknowledged_min, expected)
    if rules.digest_hour is not None and not 0 <= rules.digest_hour <= 23:
        raise _refusal("hour of the digest", rules.digest_hour, "an hour from 0 to 23")
    return rules


def _refusal(
    what: str, value: object, expected: str, next_step: str = "Correct it."
) -> UnderlidError:
    return UnderlidError(what, value=value, expected=expected, next_step=next_step)
