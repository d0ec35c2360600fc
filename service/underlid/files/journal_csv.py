"""The journal as a CSV file: one entry a row, empty columns where a kind has no use for them.

What the columns mean is `journal.parse`'s business (the same fields as in forms and messages). An
entry's id is made from its row, so that the same file read twice gives the same entries.
"""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Iterable, Mapping
from hashlib import blake2b
from pathlib import Path
from typing import IO, Final

from underlid.errors import UnderlidError
from underlid.files.notebook_times import Zones, with_offset
from underlid.files.readings_csv import RECEIVED, checked_time_ms, number
from underlid.files.refused_rows import RefusedRows
from underlid.journal.entries import Entry
from underlid.journal.parse import entry_from_fields, fields_from_entry
from underlid.readings.admission import EARLIEST_MS

COLUMNS: Final = (
    "time", "bin", "kind", "ingredient", "mass_g", "drained_g", "bedding", "liquid", "climbers",
    "lid", "squeeze", "smell", "pests", "used_up", "moisture_pct", "file", "text", "by", RECEIVED,
)  # fmt: skip
"""What an export writes. An import takes further fields of `journal.parse` too, such as mass_lb."""

NEEDED: Final = ("time", "bin", "kind")

EARLIEST_ENTRY_MS: Final = 0
"""An old notebook may be older than the first probe."""

SURPLUS: Final = "surplus columns"


def read_journal(
    path: Path, refused: RefusedRows | None = None, zones: Zones | None = None
) -> list[Entry]:
    """Return the entries in the file at *path*, by when they became known.

    With *zones* a row may have a day, or a day and an hour, of its bin's wall clock.
    """
    try:
        with path.open(encoding="utf-8-sig", errors="replace", newline="") as file:
            return read_entries(file, path.name, refused, zones)
    except OSError as error:
        raise UnderlidError(
            "journal file",
            value=str(path),
            expected=f"a file that can be read ({error.strerror})",
            next_step="Correct its name.",
        ) from None


def read_entries(
    file: Iterable[str],
    name: str,
    refused: RefusedRows | None = None,
    zones: Zones | None = None,
) -> list[Entry]:
    """Return the entries in the lines of *file*; *name* stands in the refusals."""
    refused = refused or RefusedRows()
    reader = csv.DictReader(file, restkey=SURPLUS)
    seen: Counter[str] = Counter()
    entries: list[Entry] = []
    try:
        header = reader.fieldnames or []
        if any(column not in header for column in NEEDED):
            raise UnderlidError(
                f"first line of {name}",
                value=",".join(header),
                expected="columns, among them time, bin and kind",
                next_step="Write them as the first line.",
            )
        while (row := _next(reader, name, refused)) is not None:
            fields = {key: value for key, value in row.items() if value}
            if not fields:
                continue
            try:
                entries.append(_entry(fields, seen, zones))
            except UnderlidError as error:
                refused.refuse(name, reader.line_num, error)
    except csv.Error as error:
        raise _unsplit(error) from None
    return sorted(entries, key=lambda entry: (entry.known_at_ms, entry.at_ms, entry.id))


def write_journal(file: IO[str], entries: Iterable[Entry]) -> int:
    """Write *entries* as rows that `read_entries` reads back; return how many."""
    writer = csv.DictWriter(file, COLUMNS, lineterminator="\n", restval="")
    writer.writeheader()
    count = 0
    for entry in entries:
        writer.writerow({key: _text(value) for key, value in fields_from_entry(entry).items()})
        count += 1
    return count


def entry_id(fields: Mapping[str, object], copy: int) -> str:
    """Return the id of the entry in a row; *copy* counts identical rows before it."""
    words = "\n".join(f"{key}={fields[key]}" for key in sorted(fields)) + f"\n{copy}"
    return blake2b(words.encode(errors="replace"), digest_size=10).hexdigest()


def _entry(fields: Mapping[str, object], seen: Counter[str], zones: Zones | None) -> Entry:
    """Return the entry of a row; it became known when received, else when it happened."""
    if SURPLUS in fields:
        raise UnderlidError(
            "row",
            value=fields[SURPLUS],
            expected="no more columns than the first line has",
            next_step="Put texts with commas in double quotes.",
        )
    first_id = entry_id(fields, 0)
    id_ = entry_id(fields, seen[first_id])
    if zones is not None and "time" in fields:
        time = with_offset(str(fields["time"]), fields.get("bin"), zones)
        fields = {**fields, "time": time}
    known = fields.get(RECEIVED) or fields.get("time")
    if not known:
        raise UnderlidError(
            "time",
            value="",
            expected="a time, RFC 3339 with offset or epoch seconds",
            next_step="Write it like 2026-05-01T18:30:00Z.",
        )
    what = RECEIVED if fields.get(RECEIVED) else "time"
    least = EARLIEST_MS if what == RECEIVED else EARLIEST_ENTRY_MS
    known_at_ms = checked_time_ms(what, str(known), least)
    entry = entry_from_fields(fields, known_at_ms=known_at_ms, new_id=id_)
    seen[first_id] += 1
    return entry


def _next(
    reader: csv.DictReader[str], name: str, refused: RefusedRows
) -> Mapping[str, object] | None:
    """Return the next row that can be split, None at the end."""
    while True:
        try:
            return next(reader, None)
        except csv.Error as error:
            refused.refuse(name, reader.line_num, _unsplit(error))


def _unsplit(error: csv.Error) -> UnderlidError:
    return UnderlidError(
        "row",
        value=str(error),
        expected="one that can be split at its commas",
        next_step="Look for a quote that is not closed.",
    )


def _text(value: str | float | bool) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return number(float(value)) if isinstance(value, int | float) else value
