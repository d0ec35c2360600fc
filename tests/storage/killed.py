"""A writer as a process of its own that is killed in the middle of its work."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import time
from pathlib import Path

SOON_S = 0.02


def write_until_killed(script: Path, *words: object, chance: random.Random) -> int:
    """Run *script*, kill it somewhere behind some dozens of its answers; return the last one.

    So far by the writer's own pace and not by the clock: a busy machine gets as far.
    """
    process = subprocess.Popen(
        [sys.executable, str(script), *map(str, words)], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    answers = [process.stdout.readline() for _ in range(chance.randint(30, 60))]
    assert answers[-1], "the writer ended by itself"
    time.sleep(chance.uniform(0.0, SOON_S))
    process.send_signal(signal.SIGKILL)
    answers += process.stdout.readlines()
    assert process.wait() == -signal.SIGKILL
    process.stdout.close()
    return int([one for one in answers if one.endswith("\n")][-1])
