"""How the parts of a running service are: a look at each, and a sentence where it is not well."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Final

from underlid.mqtt.broker import BrokerClient
from underlid.parts import Parts
from underlid.storage.records import Records
from underlid.watch import Watch
from underlid.workers.sharing import SHED
from underlid.workers.states import StoredStates

LAG_TICKS: Final = 5.0
"""Ticks without a judgement after which the service says that it is not ready."""

STALE_S: Final = 900.0
"""Seconds after which a page says that nobody judges: bins are judged every five minutes."""


def health_of(parts: Parts) -> dict[str, Callable[[], str | None]]:
    """Return a look at each part: None when it is well, else a sentence."""
    health: dict[str, Callable[[], str | None]] = {}
    if parts.settings.readings_store != "sqlite":
        health["readings"] = lambda: parts.readings.backlog().trouble
    if parts.courier is not None:
        for name in parts.courier.channel_names:
            health[f"channel {name}"] = partial(parts.courier.trouble, name)
    if parts.watch is not None:
        health["judgement"] = partial(_late, parts.watch, parts.settings.tick_s)
    if parts.sharing is not None:
        health["leases"] = parts.sharing.trouble
    if parts.tail is not None and parts.states is not None:
        health["judges"] = partial(_nobody_judges, parts.records, parts.states)
    for way in parts.ways:
        if isinstance(way, BrokerClient):
            health["broker"] = partial(_not_reading, way)
    return health


def _late(watch: Watch, tick_s: float) -> str | None:
    """Return a sentence when nothing has been judged for too long, or a bin cannot be."""
    if watch.lag_s() >= max(60.0, LAG_TICKS * tick_s):
        return f"nothing has been judged for {watch.lag_s():.0f} s; see the log"
    failures = dict(watch.failures)
    if failures:
        bin_id, error = min(failures.items())
        others = f", nor can {len(failures) - 1} more" if len(failures) > 1 else ""
        return f"{bin_id} cannot be judged ({error}){others}; see the log"
    return None


def _nobody_judges(records: Records, states: StoredStates) -> str | None:
    """Return a sentence when sheds are held by no worker, or nothing was judged for long."""
    try:
        sheds = {one.shed for one in records.setup().bins.values()}
        alone = sheds - records.holders(SHED).keys()
        lag_s = states.lag_s()
    except Exception as error:  # the records may be away; that is what is to be told
        return f"the records cannot be read ({type(error).__name__})"
    if alone:
        return f"no worker judges {len(alone)} of {len(sheds)} sheds"
    return f"nothing has been judged for {lag_s:.0f} s" if sheds and lag_s > STALE_S else None


def _not_reading(way: BrokerClient) -> str | None:
    """Return a sentence while nothing, or not everything, comes from the broker."""
    if not way.connected.is_set():
        return "the broker is not connected"
    if not way.subscribed.is_set():
        return "the broker does not let us read every topic that probes publish on; see the log"
    if way.refused_filters:
        return f"the broker does not let us read {min(way.refused_filters)}, which a mapping is for"
    return None
