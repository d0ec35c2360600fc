"""The service's own keys: made once, whoever asks first."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from storage.records_places import address
from underlid.storage.records import Records

pytestmark = pytest.mark.usefixtures("either_database")


def test_workers_that_ask_at_once_get_the_same_key_and_so_does_a_restart(tmp_path: Path) -> None:
    workers = [Records.open(address(tmp_path)) for _ in range(4)]
    with ThreadPoolExecutor(4) as pool:
        asked = [
            pool.submit(worker.own_key, "web-push", lambda number=number: f"key-{number}")
            for number, worker in enumerate(workers)
        ]
        (kept,) = {one.result() for one in asked}
    for worker in workers:
        worker.close()
    again = Records.open(address(tmp_path))
    assert again.own_key("web-push", lambda: "another") == kept
    assert again.own_key("other", lambda: "another") == "another"
    again.close()
