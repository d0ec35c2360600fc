"""What keeps a new or moved herd in its bin."""

from __future__ import annotations

from underlid.binmodel.settling import Unsettled
from underlid.rules.finding import Advice
from underlid.timeline import DAY_MS


def settle(one: Unsettled | None, now_ms: int) -> tuple[Advice, ...]:
    """Return what to do while a herd settles; nothing for one that has."""
    if one is None:
        return ()
    days = max(1, round((one.until_ms - now_ms) / DAY_MS))
    text = (
        f"The herd is settling in ({one.why}): for {_days(days)} leave a light on over the bin, the"
        " lid ajar, and give no big feed."
    )
    working = "Worms shun light, and climb from what is new to them. Common practice: 3 to 7 days."
    return (Advice("settle", text, days=float(days), working=working),)


def _days(days: int) -> str:
    return "a day" if days == 1 else f"{days} days"
