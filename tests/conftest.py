"""For all tests: made-up examples are the same in every run, and a busy machine may take its time."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

settings.register_profile(
    "ours", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("ours")
