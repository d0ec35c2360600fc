"""The JSON interface, version 1, and the service's health."""

from underlid.web.api import (
    addresses,
    alerts,
    bins,
    calibrations,
    entries,
    health,
    look_back,
    mappings,
    photos,
    probes,
    readings,
    refused,
    stream,
    weather,
)

ROUTERS = (
    readings.router,
    refused.router,
    bins.router,
    look_back.router,
    entries.router,
    photos.router,
    alerts.router,
    probes.router,
    calibrations.router,
    mappings.router,
    weather.router,
    addresses.router,
    stream.router,
    health.router,
)

PLAIN_ROUTERS = (readings.router, refused.router, health.router)
"""For a worker without pages."""
