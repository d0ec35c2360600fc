"""A small place, and a data folder in which it is set up before a service starts there."""

from __future__ import annotations

from pathlib import Path

from underlid.binmodel.bins import Bin, ProbePlace, Setup, Shed
from underlid.journal.entries import Entry, Feed
from underlid.storage.records import Records

PLACE = Setup(
    {"potting": Shed("potting", "Potting shed", air_probe="air1")},
    {"tansy": Bin("tansy", "potting", "Tansy")},
    {
        "tansy-1": ProbePlace("tansy-1", "potting", "tansy"),
        "air1": ProbePlace("air1", "potting", None),
    },
)


def write_setup(folder: Path, feed: Feed | None = None, fed_ms: int = 0) -> None:
    """Make *folder* and set the place up in it, with a feed in its journal."""
    folder.mkdir()
    records = Records.open(f"sqlite:///{folder / 'records.sqlite'}")
    records.save_setup(PLACE)
    if feed is not None:
        records.add_entry(Entry("feed-1", "tansy", fed_ms, fed_ms, feed, by="Ash"))
    records.close()
