"""The JSON interface, version 1, and the service's health."""

from underlid.web.api import alerts, bins, entries, health, probes, readings, stream

ROUTERS = (
    readings.router,
    bins.router,
    entries.router,
    alerts.router,
    probes.router,
    stream.router,
    health.router,
)

PLAIN_ROUTERS = (readings.router, health.router)
"""For a worker without pages."""
