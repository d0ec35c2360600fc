"""kill -9 at any moment, and the probe sends again what was not answered: stored once, late or not.

`test_crash.py` kills a stream of readings with times; here some have only a number.
"""

from __future__ import annotations

import random
from pathlib import Path

from storage.killed import write_until_killed
from storage.killed_writer import BATCH_MS, PROBES, START_MS
from storage.readings_places import all_rows
from underlid.storage.sqlite_readings import SqliteReadings
from underlid.timeline import DAY_MS

KILLS = 6
SCRIPT = Path(__file__).with_name("killed_writer.py")


def test_nothing_acknowledged_is_lost_or_doubled_by_kill_9(tmp_path: Path) -> None:
    path = tmp_path / "readings.sqlite"
    chance = random.Random(11)
    promised, packed = -1, 0
    for _ in range(KILLS):
        promised = write_until_killed(SCRIPT, path, promised + 1, chance=chance)
        store = SqliteReadings(path)
        for n in range(PROBES):
            rows = all_rows(store, f"tansy-{n}")
            numbers = len(rows)
            assert numbers in (promised + 1, promised + 2)  # the last one may be there unpromised
            assert rows == {
                START_MS + number * BATCH_MS + n: {"bed_temp_c": number / 10 + n}
                for number in range(numbers)
            }
        untimed = [row["soil_raw"] for row in all_rows(store, "sorrel-1").values()]
        assert untimed == [float(number) for number in range(len(untimed))]
        assert len(untimed) == numbers
        days = store.buckets("tansy-0", START_MS, START_MS + 400 * DAY_MS, DAY_MS)
        assert days.count["bed_temp_c"].sum() == numbers
        with store._readers.snapshot() as reader:
            assert reader.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            packed = reader.execute("SELECT count(*) FROM packed_day").fetchone()[0]
        store.close()
    assert packed > 5
