"""What is counted for each mapping: messages, and those of them that were refused."""

from __future__ import annotations

from underlid.readings.mapped import Mappings
from underlid.readings.mapping import PayloadMapping
from underlid.readings.values import RawMessage, Rejected, RejectReason
from underlid.storage.mapping_counts import MappingCounts


def test_a_message_refused_for_two_reasons_is_one_refused_message() -> None:
    values = [{"at": "/t", "channel": "bed_temp_c"}]
    mapping = PayloadMapping.model_validate(
        {"filter": "old/+", "shed": "potting", "probe_level": 1, "values": values}
    )
    mappings, counts = Mappings({"old": mapping}), MappingCounts()
    message = RawMessage("old/p1", b'{"t":"warm"}', 1000)
    refusals = [Rejected(reason, "no", message) for reason in list(RejectReason)[:2]]
    counts.note(mappings, [message], refusals)
    assert (counts.of("old").messages, counts.of("old").refused) == (1, 1)
