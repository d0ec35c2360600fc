"""The one sentence that stands first on the overview of all bins."""

from __future__ import annotations

from underlid.web.view import BinView, listed


def first_sentence(all_views: list[BinView]) -> str:
    """Return the one sentence that stands first on the overview."""
    all_views = [view for view in all_views if view.out is None]
    if not all_views:
        return "Every bin is out of service: nobody is told of anything."
    need = [view for view in all_views if view.tone in ("act", "see")]
    blind = [view.name for view in all_views if view.tone == "unknown"]
    if need:
        more = len(need) - 1
        rest = f" {_count(more, 'other bin wants', 'other bins want')} a look too." if more else ""
        return need[0].sentence + rest
    if blind and len(blind) == len(all_views):
        return _nothing_judged(all_views)
    if blind:
        return f"Nothing needs you, as far as can be told; {listed(blind)} cannot be judged."
    if len(all_views) == 1:
        return f"{all_views[0].name} is fine. Nothing needs you."
    return f"All {len(all_views)} bins are fine. Nothing needs you."


def _nothing_judged(all_views: list[BinView]) -> str:
    """Return why nothing can be said of any bin."""
    if not any(view.probes for view in all_views):
        one = len(all_views) == 1
        return all_views[0].sentence if one else "No bin has a probe yet: nothing can be said."
    heard = [view for view in all_views if view.measured_at_ms is not None]
    if not heard:
        return "Nothing can be said yet: no bin has usable readings of the last two hours."
    if any(view.verdicts for view in heard):
        return "Readings have come in; too little is known yet to judge by them."
    return "Readings have come in; the first judgement follows within a few minutes."


def _count(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"
