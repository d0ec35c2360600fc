"""Which drift is told while other thermometers are, or were, not to be believed."""

from __future__ import annotations

import pytest

from underlid.binmodel.faults.fault import Cause, Span
from underlid.binmodel.faults.scene import Begin
from underlid.binmodel.faults.upset import is_upset, taken_for
from underlid.binmodel.probes.hot import BUCKETS_PER_DAY

FROM = 20_000


def test_a_drift_that_was_put_down_to_another_thermometer_is_put_right() -> None:
    mistaken = Span(Cause.DRIFT, 0, FROM)
    begin = Begin(0, 0, mistaken.from_bucket, corrects=True)
    spans = {("tansy-1", "headspace_temp_c"): [mistaken]}
    bed = ("tansy-1", "bed_temp_c")
    assert taken_for(spans, bed, begin) is mistaken
    assert taken_for(spans, bed, begin._replace(corrects=False)) is None
    assert taken_for(spans, bed, begin._replace(from_bucket=begin.from_bucket + 600)) is None
    found = begin.from_bucket + 2 * BUCKETS_PER_DAY
    assert is_upset(spans, (), begin.from_bucket, found)
    assert not is_upset(spans, (), begin.from_bucket, found, mistaken)


@pytest.mark.parametrize(
    ("off", "upsets"), [((10, None), True), ((-9000, -8990), False), ((600, None), False)]
)
def test_no_drift_is_told_that_came_while_a_clock_was_off(
    off: tuple[int, int | None], upsets: bool
) -> None:
    begin, found = FROM, FROM + 2 * BUCKETS_PER_DAY
    clock = (begin + off[0], None if off[1] is None else begin + off[1])
    assert is_upset({}, [clock], begin, found) is upsets
