"""A bin's last weeks in low, wide pictures for paper, drawn on the server as SVG.

Lines differ by their dashes, and their words stand at their right ends, so that a copy in black and
white says the same. Curves to move and zoom are drawn in the browser (`static/curves.js`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

import numpy as np
from markupsafe import Markup, escape

from underlid.science.numeric import Floats
from underlid.storage.protocols import Integers
from underlid.timeline import SECOND_MS
from underlid.web.overlay import levels, path_through
from underlid.web.wording import local

WIDE: Final = 860
HIGH: Final = 96
LEFT: Final = 34
RIGHT: Final = 790
TOP: Final = 14
BOTTOM: Final = 77
LABEL_PX: Final = 13
DAYS_A_LABEL: Final = 2


@dataclass(frozen=True, slots=True)
class Line:
    """One course: its word, its values at the picture's steps, NaN where nothing was said."""

    word: str
    values: Floats


def strip_svg(
    title: str,
    lines: Sequence[Line],
    start_ms: Integers,
    timezone: str,
    fed_ms: Sequence[int],
    *,
    least: float,
    level: float | None = None,
    low: float | None = None,
) -> Markup | None:
    """Return *lines* over common steps; None when nothing is known of any.

    *least* is the least reach of the upright axis, *level* one that is aimed at, *low* its foot.
    """
    known = [line for line in lines if np.isfinite(line.values).any()]
    if not known or len(start_ms) < 2:
        return None
    every = np.concatenate([line.values for line in known])
    foot = float(np.nanmin(every)) if low is None else low
    foot = foot if level is None else min(foot, level - least / 4)
    top = max(foot + least, float(np.nanmax(every)), foot if level is None else level)
    first_ms, last_ms = int(start_ms[0]), int(start_ms[-1])

    def at(ms: float) -> float:
        return LEFT + (RIGHT - LEFT) * (ms - first_ms) / (last_ms - first_ms)

    def y(value: float) -> float:
        return BOTTOM - (BOTTOM - TOP) * (value - foot) / (top - foot)

    drawn = [
        f'<svg class="strip" viewBox="0 0 {WIDE} {HIGH}" role="img" aria-label="{escape(title)}">'
    ]
    for value, text in levels(foot, top):
        drawn.append(
            f'<path class="grid" d="M{LEFT} {y(value):.1f}H{RIGHT}"/>'
            f'<text x="{LEFT - 5}" y="{y(value) + 4:.1f}" text-anchor="end">{text}</text>'
        )
    drawn += [
        f'<path class="grid" d="M{at(ms):.1f} {TOP}V{BOTTOM}"/>'
        f'<text x="{at(ms):.1f}" y="{BOTTOM + 14}" text-anchor="middle">{text}</text>'
        for ms, text in _midnights(first_ms, last_ms, timezone)
    ]
    drawn += [
        f'<path class="fed" d="M{at(ms):.1f} {TOP}V{BOTTOM}"/>'
        f'<path class="fed-flag" d="M{at(ms) - 4:.1f} {TOP - 8}h8l-4 8z"/>'
        for ms in fed_ms
        if first_ms <= ms <= last_ms
    ]
    if level is not None:
        drawn.append(f'<path class="target" d="M{LEFT} {y(level):.1f}H{RIGHT}"/>')
    ends = []
    for number, line in enumerate(known, 1):
        there = np.flatnonzero(np.isfinite(line.values)).tolist()
        path = path_through(line.values, there, lambda step: at(float(start_ms[int(step)])), y)
        drawn.append(f'<path class="story s{number}" d="{path}"/>')
        ends.append((y(float(line.values[there[-1]])), line.word))
    drawn += _words(ends)
    return Markup("".join([*drawn, "</svg>"]))


def _midnights(first_ms: int, last_ms: int, timezone: str) -> list[tuple[int, str]]:
    """Return every other midnight of the shed's wall clock in a stretch, with its day."""
    day = local(first_ms, timezone).replace(hour=0, minute=0, second=0, microsecond=0)
    found = []
    while (ms := round(day.timestamp() * SECOND_MS)) <= last_ms:
        if ms >= first_ms:
            found.append((ms, f"{day.day} {day:%b}"))
        day += timedelta(days=1)
    return found[::-DAYS_A_LABEL][::-1]


def _words(ends: list[tuple[float, str]]) -> list[str]:
    """Return the words at the lines' ends, moved apart where they would touch."""
    drawn = []
    free_y = -float("inf")
    for level_y, word in sorted(ends):
        free_y = max(level_y, free_y + LABEL_PX)
        drawn.append(
            f'<text class="end" x="{RIGHT + 6}" y="{free_y + 4:.1f}">{escape(word)}</text>'
        )
    return drawn
