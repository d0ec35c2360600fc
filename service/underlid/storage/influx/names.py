"""What lies in InfluxDB, and under which name. Read this beside a query tool.

| measurement | tags | fields | time |
|---|---|---|---|
| `reading` | probe | a channel each; `received_at_ms`, `time_source`, `sent_at_ms` if held up | taken |
| `hourly` | probe | `CHANNEL_low`, `_sum`, `_high`, `_count` | start of the hour |
| `stale` | probe, by | `n` 1: worker `by` sent late rows of this hour and has not summed it up | the hour |
| `late` | probe | `n` 1: a row of the hour that the nanoseconds name arrived late | arrival |
| `probe` | probe | `shed`, a text | an hour in which it spoke |

All fields but `shed` are floats. Ids and channel names are of a-z, 0-9, - and _, so no line and no
statement ever needs a character escaped; what is not is refused here (`lines.py`).
"""

from __future__ import annotations

from typing import Final

READING: Final = "reading"
HOURLY: Final = "hourly"
STALE: Final = "stale"
LATE: Final = "late"
PROBE: Final = "probe"

RECEIVED: Final = "received_at_ms"
SOURCE: Final = "time_source"
SENT: Final = "sent_at_ms"

OWN: Final = frozenset({RECEIVED, SOURCE, SENT, "time", "probe"})
"""Names that are taken in `reading`; a channel that is called so is stored with `C_` before it."""

SUMS: Final = ("low", "sum", "high", "count")


def field_of(channel: str) -> str:
    """Return the field that holds a channel.

    >>> field_of("bed_temp_c"), field_of("time")
    ('bed_temp_c', 'C_time')
    """
    return f"C_{channel}" if channel in OWN else channel


def channel_of(field: str) -> str | None:
    """Return the channel that a field holds, or None for one of our own.

    >>> channel_of("C_time"), channel_of("time_source")
    ('time', None)
    """
    return None if field in OWN else field.removeprefix("C_")
