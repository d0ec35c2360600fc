"""What recorder, door and broker go by when other firmware sends: looked up in the records anew.

A mapping is changed on the page, by the interface, by a command, or in another process; everybody
who takes messages in looks here now and then and takes over what is new.
"""

from __future__ import annotations

from underlid.readings.mapped import Mappings
from underlid.storage.records import Records


class MappedTopics:
    """The mappings as last looked up."""

    def __init__(self, records: Records) -> None:
        self._records = records
        self._kept = records.mappings()
        self.mappings = Mappings(self._kept.good)

    @property
    def given_up(self) -> tuple[str, ...]:
        """Return the filters that a broker may still send for, and need not."""
        return self._kept.past_filters

    def look(self) -> None:
        """Look again; `mappings` is another object when anything is different."""
        kept = self._records.mappings()
        if kept != self._kept:
            self._kept, self.mappings = kept, Mappings(kept.good)
