"""Spikes are found the same whether a channel is taken for calm or looked at each time."""

from __future__ import annotations

import numpy as np

from underlid.binmodel.faults.spike_watch import SpikeWatch
from underlid.binmodel.probes.hot import BUCKET_MS, HotProbe

KEY = ("p", "bed_temp_c")
FIRST = 5_000_000


def test_a_calm_channel_has_the_same_spikes_as_one_that_is_looked_at_each_time() -> None:
    for seed in range(8):
        rng = np.random.default_rng(seed)
        quick, slow, probe = SpikeWatch(), SpikeWatch(), HotProbe()
        temp_c, often = 20.0, (1.0, 0.5, 0.2, 0.05)[seed % 4]
        for bucket in range(FIRST, FIRST + 600):
            temp_c += float(rng.normal(0.0, 0.1))
            odd = 6.0 if rng.random() < 0.01 else 0.0
            if rng.random() < often:
                probe.add(bucket * BUCKET_MS, {"bed_temp_c": temp_c + odd})
            probe.settle(bucket + 1)
            if "bed_temp_c" not in probe.channels:
                continue
            slow.rewind()
            told = [one.advance(probe, KEY, bucket, bucket + 1) for one in (quick, slow)]
            assert told[0] == told[1]
            assert quick.found == slow.found
