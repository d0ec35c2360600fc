"""Readings as a CSV file: `time,probe,channel,value[,received]`, one value a row, any order.

Rows of one probe, time and arrival become one `Reading`; its time is admitted by the same rules as
a message's (`readings.admission`). Format and limits are on the files page. Readings are returned in
the order in which they arrived, the order in which a replay delivers them.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from math import isfinite
from operator import itemgetter
from pathlib import Path
from typing import IO, Final

from underlid.errors import UnderlidError
from underlid.files.refused_rows import RefusedRows
from underlid.readings.admission import EARLIEST_MS, Row, admit
from underlid.readings.channels import is_channel_name, is_id
from underlid.readings.refusal import RefusedError
from underlid.readings.topics import Kind, Topic
from underlid.readings.values import Reading
from underlid.timeline import parse_time_ms, rfc3339

COLUMNS: Final = ("time", "probe", "channel", "value")
RECEIVED: Final = "received"

LATEST_MS: Final = 4_102_444_800_000
"""2100-01-01: a time beyond it is in another unit than seconds."""

PIECE_CHARS: Final = 60_000
"""What `reading_lines` yields at once: few enough to hold, enough to send."""

UNPLACED_SHED: Final = "unplaced"
"""The shed of probes that no set-up names."""

Group = tuple[str, str, str]
"""Probe, time and arrival, as they stand in the file."""


@dataclass(slots=True)
class ReadingRows:
    """What a file held: its readings by arrival, and the rows refused."""

    readings: list[Reading]
    refused: RefusedRows


def read_readings(
    path: Path,
    sheds: Mapping[str, str],
    refused: RefusedRows | None = None,
    unplaced: str = UNPLACED_SHED,
) -> ReadingRows:
    """Return the readings in the file at *path*.

    Parameters
    ----------
    sheds
        Shed of each probe; others are put in *unplaced*.
    refused
        Says whether bad rows are skipped; without it the first one raises `UnderlidError`.
    """
    try:
        with path.open(encoding="utf-8-sig", errors="replace", newline="") as file:
            return read_rows(file, path.name, sheds, refused, unplaced)
    except OSError as error:
        raise UnderlidError(
            "readings file",
            value=str(path),
            expected=f"a file that can be read ({error.strerror})",
            next_step="Correct its name.",
        ) from None


def read_rows(
    file: Iterable[str],
    name: str,
    sheds: Mapping[str, str],
    refused: RefusedRows | None = None,
    unplaced: str = UNPLACED_SHED,
) -> ReadingRows:
    """Return the readings in the lines of *file*; *name* stands in the refusals."""
    refused = refused or RefusedRows()
    reader = csv.reader(file)
    pick = _columns(name, _next_row(reader, name) or [])
    groups: dict[Group, dict[str, float]] = {}
    channels: set[str] = set()
    key: Group = ("", "", "")
    group: dict[str, float] = {}
    row: list[str] = []
    while True:
        try:
            for row in reader:
                if not row:
                    continue
                time, probe, channel, text, received = pick(row)
                value = float(text)
                if not isfinite(value) or "_" in text or not text.isascii():
                    raise ValueError
                if channel not in channels:
                    channels.add(_checked_channel(channel))
                if time != key[1] or probe != key[0] or received != key[2]:
                    fresh = (probe, time, received)
                    group = groups.get(fresh) or _checked_group(fresh)
                    groups[fresh], key = group, fresh
                group[channel] = value
            break
        except (ValueError, IndexError, csv.Error, UnderlidError) as error:
            refused.refuse(name, reader.line_num, _trouble(error, row))
    return ReadingRows(_readings(groups, sheds, unplaced), refused)


def write_readings(file: IO[str], readings: Iterable[Reading]) -> int:
    """Write *readings* as rows that `read_rows` reads back; return how many rows."""
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow([*COLUMNS, RECEIVED])
    rows = 0
    for one in readings:
        writer.writerows(_rows_of(one))
        rows += len(one.values)
    return rows


def reading_lines(readings: Iterable[Reading]) -> Iterator[str]:
    """Yield what `write_readings` writes, some kilobytes at a time, so that none need be held."""
    held = io.StringIO()
    writer = csv.writer(held, lineterminator="\n")
    writer.writerow([*COLUMNS, RECEIVED])
    for one in readings:
        writer.writerows(_rows_of(one))
        if held.tell() > PIECE_CHARS:
            yield held.getvalue()
            held.seek(0)
            held.truncate()
    yield held.getvalue()


def _rows_of(one: Reading) -> Iterator[tuple[str, ...]]:
    """Yield a reading's rows, one a channel."""
    time, received = rfc3339(one.taken_at_ms), rfc3339(one.received_at_ms)
    for channel, value in one.values.items():
        yield time, one.probe, channel, number(value), received


def number(value: float) -> str:
    """Return the shortest text that reads back as exactly *value*.

    >>> number(1843.0), number(22.4)
    ('1843', '22.4')
    """
    text = repr(value)
    return text[:-2] if text.endswith(".0") else text


def _next_row(reader: Iterator[list[str]], name: str) -> list[str] | None:
    try:
        return next(reader, None)
    except csv.Error as error:
        raise _no_header(name, str(error)) from None


def _columns(name: str, header: list[str]) -> Callable[[list[str]], tuple[str, ...]]:
    """Return how to pick time, probe, channel, value and received (else time) from a row."""
    names = [column.strip().lower() for column in header]
    if any(column not in names for column in COLUMNS) or len(set(names)) < len(names):
        raise _no_header(name, ",".join(header))
    last = RECEIVED if RECEIVED in names else "time"
    return itemgetter(*(names.index(column) for column in (*COLUMNS, last)))


def _no_header(name: str, seen: str) -> UnderlidError:
    return UnderlidError(
        f"first line of {name}",
        value=seen,
        expected="the columns time,probe,channel,value and perhaps received",
        next_step="Write them as the first line.",
    )


def _checked_channel(channel: str) -> str:
    if is_channel_name(channel):
        return channel
    raise UnderlidError(
        "channel",
        value=channel,
        expected="a name such as bed_temp_c (a-z, 0-9 and _, at most 32)",
        next_step="Correct it.",
    )


def _checked_group(key: Group) -> dict[str, float]:
    """Return an empty group when probe, time and arrival are as they should be."""
    probe, time, received = key
    if not is_id(probe):
        raise UnderlidError(
            "probe",
            value=probe,
            expected="an id of a-z, 0-9, - and _, at most 64, a letter or digit first",
            next_step="Correct it.",
        )
    if received in ("", time):
        checked_time_ms("time", time, EARLIEST_MS)
    else:
        checked_time_ms("time", time, 0)
        checked_time_ms(RECEIVED, received, EARLIEST_MS)
    return {}


def checked_time_ms(what: str, text: str, earliest_ms: int) -> int:
    """Return the time that *text* names, between *earliest_ms* and the year 2100."""
    try:
        at_ms = parse_time_ms(text.strip())
    except (ValueError, OverflowError):
        at_ms = -1
    if earliest_ms <= at_ms < LATEST_MS:
        return at_ms
    raise UnderlidError(
        what,
        value=text,
        expected=f"a time from {rfc3339(earliest_ms)} to 2100, RFC 3339 with offset or epoch seconds",
        next_step="Write it like 2026-05-01T18:30:00Z.",
    )


def _trouble(error: Exception, row: list[str]) -> UnderlidError:
    """Return what is wrong with a row, as a sentence."""
    if isinstance(error, UnderlidError):
        return error
    if isinstance(error, IndexError):
        return UnderlidError(
            "row", value=",".join(row), expected="every column filled", next_step="Complete it."
        )
    if isinstance(error, csv.Error):
        return UnderlidError(
            "row",
            value=str(error),
            expected="one that can be split at its commas",
            next_step="Look for a quote that is not closed.",
        )
    return UnderlidError(
        "value",
        value=",".join(row),
        expected="a finite number with a decimal point",
        next_step="Correct it, or leave the row out.",
    )


def _readings(
    groups: dict[Group, dict[str, float]], sheds: Mapping[str, str], unplaced: str
) -> list[Reading]:
    """Return the groups as readings, by arrival and then by time."""
    found: list[Reading] = []
    times: dict[str, int] = {}
    for (probe, time, received), values in groups.items():
        if not values:
            continue
        for text in (time, received):
            if text and text not in times:
                times[text] = parse_time_ms(text.strip())
        taken_at_ms = times[time]
        topic = Topic(Kind.JSON, sheds.get(probe, unplaced), probe)
        try:
            admit(
                (Row(values, taken_at_ms),),
                topic,
                times[received] if received else taken_at_ms,
                found,
            )
        except RefusedError as error:
            raise UnderlidError(
                f"channels of probe {probe} at {time}",
                value=len(values),
                expected="at most 64",
                next_step="Give it fewer channels.",
            ) from error
    found.sort(key=lambda one: (one.received_at_ms, one.taken_at_ms, one.probe))
    return found
