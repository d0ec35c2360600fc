"""Days that swing around a mean, which leaves the mild for some days: heat waves, rows of cold nights."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

from judge.series import START_MS, changes, readings, setup
from underlid.alerts.alert import Alert, Transition
from underlid.judge import Judge
from underlid.rules.finding import Condition
from underlid.timeline import HOUR_MS

FROM_H, UNTIL_H, TURNS_IN_H = 150.0, 270.0, 36.0
MILD_C = 18.0
AIR_LEADS_H = 3.0


@dataclass(frozen=True)
class Swinging:
    """A bin and its shed whose days are *change_c* warmer or colder for some days."""

    condition: Condition
    change_c: float
    bed_swing_c: float
    air_swing_c: float
    every_min: int

    def level_c(self, hour: float) -> float:
        """Return the day's mean."""
        leaves = min(1.0, max(0.0, (hour - FROM_H) / TURNS_IN_H))
        returns = min(1.0, max(0.0, (hour - UNTIL_H) / TURNS_IN_H))
        return MILD_C + self.change_c * (leaves - returns)

    def bin_curve(self, hour: float) -> dict[str, float]:
        swing = math.sin(2 * math.pi * hour / 24)
        return {
            "bed_temp_c": self.level_c(hour) + self.bed_swing_c * swing,
            "headspace_temp_c": self.level_c(hour) + (self.bed_swing_c - 0.1) * swing,
            "headspace_rh_pct": 85.0,
            "soil_raw": 1760.0,
        }

    def air_curve(self, hour: float) -> dict[str, float]:
        hour += AIR_LEADS_H
        swing = math.sin(2 * math.pi * hour / 24)
        return {"shed_temp_c": self.level_c(hour) + self.air_swing_c * swing}

    @lru_cache  # noqa: B019  # two of them, as long as their tests
    def history(self, hours: float) -> list[Transition]:
        """Return what becomes of the condition's alerts."""
        made = readings(self.bin_curve, self.air_curve, hours, self.every_min)
        found = changes(made, hours, [])
        return [one for one in found if one.condition is self.condition and one.alert]

    def alert_after(self, first_h: int, last_h: int) -> Alert:
        """Return the alert as it stands when every hour from *first_h* to *last_h* was judged."""
        judge = Judge(setup(), START_MS)
        judge.add_readings(readings(self.bin_curve, self.air_curve, float(last_h), self.every_min))
        alert = None
        for hour in range(first_h, last_h + 1):
            judged = judge.judge(START_MS + hour * HOUR_MS)[0]
            found = (one for one in judged.alerts if one.condition is self.condition)
            alert = next(found, alert)
        assert alert is not None
        return alert
