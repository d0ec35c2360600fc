"""What was known of a journal at a moment: the newest version of each entry by then, and no later ones.

The entries are in `entries.py`. A replay asks this at every tick, so it knows nothing early.
"""

from __future__ import annotations

from collections.abc import Sequence

from underlid.journal.entries import Entry


def known_at(entries: Sequence[Entry], now_ms: int) -> tuple[Entry, ...]:
    """Return what was known of the journal at *now_ms*: the newest versions, by time."""
    newest: dict[str, Entry] = {}
    for entry in entries:
        if entry.known_at_ms > now_ms:
            continue
        before = newest.get(entry.id)
        if before is None or entry.version > before.version:
            newest[entry.id] = entry
    known = [one for one in newest.values() if not one.withdrawn and one.at_ms <= now_ms]
    return tuple(sorted(known, key=lambda one: (one.at_ms, one.id)))
