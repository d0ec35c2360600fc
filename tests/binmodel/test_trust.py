"""Trust is the same live, after a restart and with late data, and says from when it has changed."""

from __future__ import annotations

import random
from collections.abc import Callable

import numpy as np
import pytest

from binmodel.faulty import START_MS, Floats, Series, Watched, healthy, watched
from underlid.binmodel.probes.hot import BUCKET_MS
from underlid.timeline import HOUR_MS

HOURS = 9 * 24.0
NAMES = ("bed_temp_c", "headspace_temp_c", "headspace_rh_pct", "moisture_pct", "shed_temp_c")


def troubled(step_min: int = 5) -> Series:
    """Return nine days with spikes, a stuck humidity, a probe pulled out twice, noise and lifted lids."""
    rng = np.random.default_rng(11)
    made = healthy(9, step_min)
    hours, values = made.hours, made.values
    values["bed_temp_c"] += np.where(rng.random(len(hours)) < 0.01, 9.0, 0.0)
    stuck = (hours > 60) & (hours < 90)
    values["headspace_rh_pct"][stuck] = values["headspace_rh_pct"][stuck][0]
    for out in (110, 180):
        values["soil_raw"][(hours > out) & (hours < out + 20)] = 2740.0
    noisy = (hours > 140) & (hours < 160)
    values["shed_temp_c"][noisy] += 2.0 * rng.standard_normal(int(noisy.sum()))
    for lid in (30.0, 100.0, 170.3):
        off = (hours >= lid) & (hours < lid + 0.4)
        values["headspace_rh_pct"][off] -= 22.0
        values["headspace_temp_c"][off] -= 1.2
    return made


def live(made: Series, every_min: int = 5) -> Watched:
    bin_ = Watched()
    queue = made.readings()
    place = 0
    for minute in range(0, round(HOURS * 60) + 1, every_min):
        before = place
        while place < len(queue) and queue[place].taken_at_ms < START_MS + minute * 60_000:
            place += 1
        bin_.add(queue[before:place])
        bin_.judge(minute / 60)
    return bin_


def shown(bin_: Watched) -> dict[str, list[float]]:
    window = bin_.window(HOURS)
    return {name: np.nan_to_num(window.means(name, 9 * 288), nan=-1.0).tolist() for name in NAMES}


def faults(bin_: Watched) -> list[tuple[str, str, int, int | None]]:
    found = [
        (key[1], one.cause.value, one.from_bucket, one.until_bucket)
        for key, spans in bin_.trust._spans.items()
        for one in spans
    ]
    return sorted(found)


@pytest.mark.parametrize("step_min", [5, 10])
def test_a_restart_and_a_late_arrival_in_any_order_end_alike(step_min: int) -> None:
    """Invariant: trust depends on the readings, not on when or in what order they came."""
    made = troubled(step_min)
    first = live(made)
    assert {cause for _, cause, *_ in faults(first)} >= {"stuck", "noise", "pulled_out"}
    assert len(first.trust.opened) >= (2 if step_min == 5 else 0)
    restarted = Watched()
    restarted.add(made.readings())
    restarted.judge(HOURS)
    assert faults(restarted) == faults(first)
    assert shown(restarted) == shown(first)
    rng = random.Random(4)
    late = sorted(made.readings(), key=lambda one: one.taken_at_ms + rng.random() * 20 * HOUR_MS)
    shuffled = Watched()
    for part in range(0, len(late), 97):
        shuffled.add(late[part : part + 97])
        shuffled.judge(min(HOURS, 24.0 + part / len(late) * HOURS))
    shuffled.judge(HOURS)
    assert faults(shuffled) == faults(first)
    assert shown(shuffled) == shown(first)


def lost_twice() -> Series:
    made = healthy(6, 5)
    rng = np.random.default_rng(2)
    gone = rng.random(len(made.hours)) < 0.66
    gone &= ((made.hours >= 48) & (made.hours < 70)) | ((made.hours >= 100) & (made.hours < 122))
    for name, values in made.values.items():
        values[gone & (not name.startswith("shed_"))] = np.nan
    return made


def moved_thrice() -> Series:
    """Return a soil probe that is moved to the same place again after more than a week."""

    def there(hours: Floats, values: Floats) -> Floats:
        values[(hours >= 48) & (hours < 72)] += 160.0
        values[(hours >= 110) & (hours < 134)] += 270.0
        values[(hours >= 260) & (hours < 284)] += 160.0
        return values

    return healthy(13, 10).change("soil_raw", there)


def ramped_twice() -> Series:
    def slope(hours: Floats, values: Floats) -> Floats:
        for begin, counts_d in ((48.0, 75.0), (180.0, -75.0)):
            at = (hours >= begin) & (hours < begin + 96)
            values[at] += counts_d * (hours[at] - begin) / 24.0
        return values

    return healthy(13, 10).change("soil_raw", slope)


@pytest.mark.parametrize(
    ("make", "causes"),
    [(lost_twice, ["dropout"] * 2), (moved_thrice, ["moved"] * 3), (ramped_twice, ["drift"] * 2)],
)
def test_every_fault_of_a_channel_is_found_after_a_restart_too(
    make: Callable[[], Series], causes: list[str]
) -> None:
    """All of the past is judged at once then, and holds them all."""
    made = make()
    until = float(made.hours[-1])
    going, _ = watched(made)
    restarted = Watched()
    restarted.add(made.readings(until))
    restarted.judge(until)
    assert [one[1] for one in faults(going)] == causes
    assert faults(restarted) == faults(going)


def test_a_change_says_from_when_so_that_the_film_goes_back_there() -> None:
    made = healthy(6)
    stuck = (made.hours >= 72) & (made.hours < 100)
    made.values["headspace_rh_pct"][stuck] = 91.0
    bin_ = Watched()
    queue = made.readings()
    bin_.add([one for one in queue if one.taken_at_ms < START_MS + 72 * HOUR_MS])
    bin_.judge(72.0)
    changed = {}
    for hour in range(73, 120):
        begin, end = START_MS + (hour - 1) * HOUR_MS, START_MS + hour * HOUR_MS
        bin_.add([one for one in queue if begin <= one.taken_at_ms < end])
        found = bin_.judge(float(hour))
        if found is not None:
            changed[hour] = (found * BUCKET_MS - START_MS) / HOUR_MS
    assert len(changed) == 2
    (told, since), (ended, until) = sorted(changed.items())
    assert told < 84
    assert since == pytest.approx(72.0, abs=1.1)
    assert until == pytest.approx(100.0, abs=1.1)
    assert ended <= 102


def test_untrusted_buckets_are_in_no_series_and_stay_out() -> None:
    made = healthy(6)
    made.values["bed_temp_c"][(made.hours >= 72) & (made.hours < 100)] = 19.5
    bin_ = live(made, 60)
    means = bin_.window(140.0).means("bed_temp_c", 140 * 12)
    hours = np.arange(140 * 12) / 12.0
    assert np.isnan(means[(hours > 73.2) & (hours < 98.8)]).all()
    assert np.isnan(bin_.window(140.0).hottest(140 * 12)[(hours > 73.2) & (hours < 98.8)]).all()
    assert not np.isnan(means[(hours > 20) & (hours < 71)]).any()
    assert not np.isnan(means[hours > 102]).any()
