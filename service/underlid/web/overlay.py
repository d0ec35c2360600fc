"""Several courses laid over each other from hour 0, drawn on the server as SVG, with numbers at their ends.

The picture needs no script and prints as it stands. The newest course is the thick one; the others
differ by their dashes and by the number at their end, which is their row in the table beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import ceil, floor, log10
from typing import Final

import numpy as np
from markupsafe import Markup, escape

from underlid.journal.units import number_text
from underlid.science.numeric import Floats

WIDE: Final = 360
HIGH: Final = 200
LEFT: Final = 34
RIGHT: Final = 290
"""Beyond it is room for the numbers of six courses that end together."""

TOP: Final = 10
BOTTOM: Final = 172
DAY_H: Final = 24
LEVELS_MOST: Final = 5
NUMBER_PX: Final = 12
"""Ends so near, or so near to the numbers of others, have their numbers in one line."""

GAP_H: Final = 3
"""A line is drawn over up to two missing hours, as in the curves; more is a gap."""


Place = Callable[[float], float]
"""From a value to where it stands in the picture."""


def overlay_svg(title: str, unit: str, courses: Sequence[Floats], least: float) -> Markup | None:
    """Return hourly *courses*, newest first, as a picture; None when nothing is known of any.

    *least* is the least reach of the upright axis, so that noise is not drawn as a mountain.
    """
    known = [course[~np.isnan(course)] for course in courses]
    if not any(len(one) for one in known):
        return None
    low = min(0.0, *(float(one.min()) for one in known if len(one)))
    high = max(low + least, *(float(one.max()) for one in known if len(one)))
    hours = max(DAY_H, *(len(course) for course in courses))

    def x(hour: float) -> float:
        return LEFT + (RIGHT - LEFT) * hour / hours

    def y(value: float) -> float:
        return BOTTOM - (BOTTOM - TOP) * (value - low) / (high - low)

    drawn = [
        f'<svg class="overlay" viewBox="0 0 {WIDE} {HIGH}" role="img" '
        f'aria-label="{escape(title)}, {escape(unit)}, from the hour of each feed">'
    ]
    for value, text in levels(low, high):
        drawn.append(
            f'<path class="grid" d="M{LEFT} {y(value):.1f}H{RIGHT}"/>'
            f'<text x="{LEFT - 5}" y="{y(value) + 4:.1f}" text-anchor="end">{text}</text>'
        )
    drawn += [_day(x(day * DAY_H), day) for day in range(hours // DAY_H + 1)]
    ends: list[tuple[int, float, float]] = []
    for number, course in reversed(list(enumerate(courses, 1))):
        there = np.flatnonzero(~np.isnan(course)).tolist()
        if there:
            drawn.append(f'<path class="story s{number}" d="{path_through(course, there, x, y)}"/>')
            ends.append((number, x(there[-1]), y(float(course[there[-1]]))))
    drawn += _numbers(ends)
    return Markup("".join([*drawn, "</svg>"]))


def path_through(course: Floats, there: list[int], x: Place, y: Place) -> str:
    """Return the path through the known steps of a course, lifted over gaps."""
    steps = []
    before = -GAP_H
    for hour in there:
        move = "L" if hour - before < GAP_H else "M"
        steps.append(f"{move}{x(hour):.1f} {y(float(course[hour])):.1f}")
        before = hour
    return "".join(steps)


def _day(at: float, day: int) -> str:
    """Return the line and the label where *day* days have passed."""
    label = "fed" if day == 0 else f"{day} d"
    return (
        f'<path class="grid" d="M{at:.1f} {TOP}V{BOTTOM}"/>'
        f'<text x="{at:.1f}" y="{BOTTOM + 15}" text-anchor="middle">{label}</text>'
    )


def _numbers(ends: list[tuple[int, float, float]]) -> list[str]:
    """Return the numbers at the ends of the courses; those that would touch stand in one line."""
    groups: list[list[tuple[int, float, float]]] = []
    for end in sorted(ends, key=lambda one: one[1]):
        _, at, level = end
        for group in groups:
            _, last, beside = group[-1]
            if at - last < NUMBER_PX * len(group) and abs(level - beside) < NUMBER_PX:
                group.append(end)
                break
        else:
            groups.append([end])
    return [
        f'<text class="end" x="{group[-1][1] + 5:.1f}" y="{group[-1][2] + 4:.1f}">'
        f"{' '.join(str(number) for number, _, _ in sorted(group))}</text>"
        for group in groups
    ]


def levels(low: float, high: float) -> list[tuple[float, str]]:
    """Return round values inside [low, high] with their text.

    >>> levels(0.0, 9.0)
    [(0.0, '0'), (2.0, '2'), (4.0, '4'), (6.0, '6'), (8.0, '8')]
    """
    rough = (high - low) / LEVELS_MOST
    power = 10.0 ** floor(log10(rough))
    step = power * next(one for one in (1, 2, 5, 10) if one * power >= rough * 0.999)
    decimals = max(0, -floor(log10(step) + 1e-9))
    first, last = ceil(low / step - 1e-9), floor(high / step + 1e-9)
    return [(one * step, number_text(one * step, decimals)) for one in range(first, last + 1)]
