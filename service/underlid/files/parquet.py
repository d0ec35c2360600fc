"""Readings and journal as Parquet files, for programs that analyse: the columns of the CSV files.

Needs pyarrow, which not every small computer has: without it the sentence says what to install.
Times are UTC timestamps in milliseconds; numbers are numbers.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import islice
from pathlib import Path
from typing import Any, Final

from underlid.errors import UnderlidError
from underlid.files.journal_csv import COLUMNS as JOURNAL_COLUMNS
from underlid.files.journal_csv import read_entries
from underlid.files.readings_csv import UNPLACED_SHED, ReadingRows, number, read_rows
from underlid.files.refused_rows import RefusedRows
from underlid.journal.entries import Entry
from underlid.journal.parse import fields_from_entry
from underlid.readings.values import Reading
from underlid.timeline import SECOND_MS, parse_time_ms

ROWS_AT_ONCE: Final = 100_000
"""Rows in memory while writing or reading: some 10 MB."""

NUMBERS: Final = ("mass_g", "drained_g", "moisture_pct")
TIMES: Final = ("time", "received")


def write_readings(path: Path, readings: Iterable[Reading]) -> int:
    """Write *readings* to *path*, one row a value; return how many rows."""
    pa, pq = _arrow()
    word = pa.dictionary(pa.int32(), pa.string())
    schema = pa.schema(
        [
            ("time", pa.timestamp("ms", tz="UTC")),
            ("probe", word),
            ("channel", word),
            ("value", pa.float64()),
            ("received", pa.timestamp("ms", tz="UTC")),
        ]
    )
    rows = (
        (one.taken_at_ms, one.probe, channel, value, one.received_at_ms)
        for one in readings
        for channel, value in one.values.items()
    )
    count = 0
    with pq.ParquetWriter(path, schema) as writer:
        while batch := list(islice(rows, ROWS_AT_ONCE)):
            columns = [
                pa.array(column, field.type)
                for column, field in zip(zip(*batch, strict=True), schema, strict=True)
            ]
            writer.write_table(pa.table(columns, schema=schema))
            count += len(batch)
    return count


def read_readings(
    path: Path,
    sheds: Mapping[str, str],
    refused: RefusedRows | None = None,
    unplaced: str = UNPLACED_SHED,
) -> ReadingRows:
    """Return the readings in the Parquet file at *path*; the rules are those of the CSV file."""
    return read_rows(_as_csv(path), path.name, sheds, refused, unplaced)


def write_journal(path: Path, entries: Iterable[Entry]) -> int:
    """Write *entries* to *path*; return how many."""
    pa, pq = _arrow()
    rows = [_typed(fields_from_entry(entry)) for entry in entries]
    schema = pa.schema([(name, _type(pa, name)) for name in JOURNAL_COLUMNS])
    pq.write_table(pa.Table.from_pylist(rows, schema=schema), path)
    return len(rows)


def read_journal(path: Path, refused: RefusedRows | None = None) -> list[Entry]:
    """Return the entries in the Parquet file at *path*."""
    return read_entries(_as_csv(path), path.name, refused)


def _as_csv(path: Path) -> Iterator[str]:
    """Yield the file as lines of CSV, so that one reader checks the rows of both formats."""
    _, pq = _arrow()
    try:
        file = pq.ParquetFile(path)
        names = file.schema_arrow.names
        yield ",".join(_quoted(name) for name in names)
        for batch in file.iter_batches(ROWS_AT_ONCE):
            columns = [_texts(batch.column(at)) for at in range(len(names))]
            for row in zip(*columns, strict=True):
                yield ",".join(row)
    except (OSError, ValueError) as error:
        raise UnderlidError(
            "Parquet file",
            value=str(path),
            expected=f"one that can be read ({str(error)[:120]})",
            next_step="Check its name and that it is whole.",
        ) from None


def _texts(column: Any) -> list[str]:
    """Return a column's values as quoted CSV fields."""
    pa, _ = _arrow()
    if pa.types.is_timestamp(column.type):
        times = column.cast(pa.timestamp("ms", tz="UTC"), safe=False).cast(pa.int64())
        return ["" if at is None else number(at / SECOND_MS) for at in times.to_pylist()]
    return [_quoted(value) for value in column.to_pylist()]


def _quoted(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return number(float(value))
    text = str(value).replace('"', '""')
    return f'"{text}"'


def _typed(fields: Mapping[str, str | float | bool]) -> dict[str, object]:
    """Return an entry's fields with times as milliseconds and yes/no as words."""
    row: dict[str, object] = {}
    for name, value in fields.items():
        if name in TIMES:
            row[name] = parse_time_ms(str(value))
        elif isinstance(value, bool):
            row[name] = "yes" if value else "no"
        else:
            row[name] = value
    return row


def _type(pa: Any, name: str) -> Any:
    if name in TIMES:
        return pa.timestamp("ms", tz="UTC")
    return pa.float64() if name in NUMBERS else pa.string()


def _arrow() -> tuple[Any, Any]:
    """Return pyarrow and its Parquet part, or say how to get them."""
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError:
        raise UnderlidError(
            "Parquet",
            value="not available",
            expected="the package pyarrow beside Underlid",
            next_step="Install underlid[parquet], or use CSV.",
        ) from None
    return pyarrow, pyarrow.parquet
