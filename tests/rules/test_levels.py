"""Limits with a deadband on the way back."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from underlid.rules.finding import Priority
from underlid.rules.levels import level

LIMITS = ((85.0, Priority.HIGH), (100.0, Priority.CRITICAL))


@pytest.mark.parametrize(
    ("value", "held", "expected"),
    [
        # release check of the science page, section 8 (OPC UA Part 9): deadband 5
        (96.0, Priority.CRITICAL, Priority.CRITICAL),
        (94.0, Priority.CRITICAL, Priority.HIGH),
        (81.0, Priority.CRITICAL, Priority.HIGH),
        (79.9, Priority.CRITICAL, None),
        (96.0, Priority.HIGH, Priority.HIGH),
        (96.0, None, Priority.HIGH),
        (84.9, None, None),
        (81.0, Priority.MEDIUM, None),
        (100.0, None, Priority.CRITICAL),
    ],
)
def test_the_release_check(value: float, held: Priority | None, expected: Priority | None) -> None:
    assert level(value, LIMITS, held, 5.0) is expected


@given(
    st.floats(90.0, 110.0),
    st.lists(st.floats(-2.4, 2.4), max_size=60),
    st.sampled_from([None, *Priority]),
)
def test_noise_inside_the_deadband_never_chatters(
    around: float, noise: list[float], held: Priority | None
) -> None:
    """Invariant: noise smaller than half the deadband changes the level at most twice."""
    seen = [held]
    for step in noise:
        seen.append(level(around + step, LIMITS, seen[-1], 5.0))
    changes = sum(1 for before, after in itertools.pairwise(seen[1:]) if before is not after)
    assert changes <= 1
