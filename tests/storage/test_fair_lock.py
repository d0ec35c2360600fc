"""A loop that takes the lock again and again lets others in between."""

from __future__ import annotations

import threading
import time
from statistics import median

from underlid.storage.fair_lock import FairLock

HELD_S = 0.002
TURNS = 50


def test_one_that_waits_is_next() -> None:
    lock = FairLock()
    over = threading.Event()
    turns = 0

    def hog() -> None:
        nonlocal turns
        while not over.is_set():
            with lock:
                turns += 1
                time.sleep(HELD_S)

    thread = threading.Thread(target=hog)
    thread.start()
    while not turns:
        time.sleep(HELD_S)
    overtaken = []
    for _ in range(TURNS):
        before = turns
        with lock:
            overtaken.append(turns - before)
    over.set()
    thread.join()
    # The turn under way, and one that may begin before this thread asks.
    assert median(overtaken) <= 2
