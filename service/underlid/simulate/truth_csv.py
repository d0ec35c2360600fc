"""What was true in a simulated place, as a CSV file beside what the probes said."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from typing import TextIO

from underlid.simulate.place import Truth
from underlid.timeline import rfc3339


def write_truth(file: TextIO, truths: Iterable[Truth]) -> int:
    """Write *truths*, one row a bin and moment; return how many rows."""
    writer = csv.writer(file, lineterminator="\n")
    count = 0
    for truth in truths:
        if not count:
            writer.writerow(["time", "bin", *truth.values])
        writer.writerow([rfc3339(truth.at_ms), truth.bin, *truth.values.values()])
        count += 1
    return count
