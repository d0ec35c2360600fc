"""Records: set-up, journal, alerts, outbox, people and secrets, in SQLite or PostgreSQL.

`records.py` is the facade that everything else uses; `Records.open` is the way in.
"""

from underlid.storage.records.accounts import Person, Role
from underlid.storage.records.leases import Lease, LeaseLostError
from underlid.storage.records.outbox import Delivery
from underlid.storage.records.records import Records
from underlid.storage.records.routes import RouteNews

__all__ = ["Delivery", "Lease", "LeaseLostError", "Person", "Records", "Role", "RouteNews"]
